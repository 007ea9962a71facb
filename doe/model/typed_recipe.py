"""The keys of a measuring recipe as a person types them, and as they are shown to be typed over."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from typing import Any

from doe.model.errors import UsageError


def read_value(text: str) -> Any:
    """Read a value as in the setup file, where a list needs no brackets and text no quotes.

    Examples
    --------
    >>> read_value("40,150"), read_value("[40, 150]"), read_value("12"), read_value("mic.txt")
    ([40, 150], [40, 150], 12, 'mic.txt')
    """
    for attempt in (text, f"[{text}]" if "," in text else text):
        try:
            return tomllib.loads(f"value = {attempt}")["value"]
        except tomllib.TOMLDecodeError:
            continue
    return text


def write_value(value: object) -> str:
    """Write a value so that `read_value` reads it back.

    Examples
    --------
    >>> write_value([40.0, 150.0]), write_value("mic.txt"), write_value("12")
    ('40, 150', 'mic.txt', '"12"')
    """
    if isinstance(value, str):
        return value if read_value(value) == value else _quoted(value)
    if isinstance(value, list | tuple):
        inner = ", ".join(_quoted(item) if isinstance(item, str) else write_value(item) for item in value)
        return inner if len(value) > 1 else f"[{inner}]"
    if isinstance(value, float):
        return f"{value:.0f}" if value.is_integer() and abs(value) < 1e15 else repr(value)
    return json.dumps(value)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def read_keys(text: str) -> dict[str, Any]:
    """Read one key a line, as in ``band = 40, 150``.

    Raises
    ------
    UsageError
        If a line has no equals sign with something on both sides of it, or a key comes twice.
    """
    found: dict[str, Any] = {}
    for line in filter(None, map(str.strip, text.splitlines())):
        key, _, value = (part.strip() for part in line.partition("="))
        if not key or not value:
            raise UsageError(f"'{line[:60]}' is no key with its value; write it like band = 40, 150.")
        if key in found:
            raise UsageError(f"{key} stands twice; keep one of the lines.")
        found[key] = read_value(value)
    return found


def write_keys(recipe: Mapping[str, Any]) -> str:
    """Write the keys of a recipe, one a line; its name is told apart from them."""
    return "\n".join(f"{key} = {write_value(value)}" for key, value in recipe.items() if key != "from")
