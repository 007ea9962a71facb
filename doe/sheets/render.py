"""Templates to text: autoescaped, strict about names, one trailing newline."""

from __future__ import annotations

from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from doe.charts.export import check_free
from doe.model.errors import UsageError

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


def check_page(path: Path, *, replace: bool) -> None:
    """Refuse early, before anything is worked out, a page that could not be written.

    Raises
    ------
    UsageError
        If the name does not end in ``.html``.
    StoreError
        If the file exists and may not be replaced, or is a folder.
    """
    if path.suffix.casefold() not in (".html", ".htm"):
        raise UsageError(f"'{path.name}' must end in .html.")
    check_free(path, replace=replace)


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
