"""Templates to text: autoescaped, strict about names, one trailing newline."""

from __future__ import annotations

from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

TEMPLATES = Path(__file__).parent / "templates"
"""Folder of the templates; pages of the web app may include its partials."""


@cache
def environment() -> Environment:
    """Return the template environment: every value is escaped, an unknown name is an error."""
    return Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def render(name: str, context: Any) -> str:
    """Render a template.

    Parameters
    ----------
    name : str
        File in the templates folder.
    context : dataclass
        Its fields become the template's names.
    """
    values = {item.name: getattr(context, item.name) for item in fields(context)}
    return environment().get_template(name).render(values)


def asset(name: str) -> str:
    """Read a style sheet or script that stands beside the templates."""
    return (TEMPLATES / name).read_text(encoding="utf-8")
