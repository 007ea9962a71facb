"""A setup written as the TOML text that it can be read from."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from doe.model.setup import Setup, table_of
from doe.store.definitions import NAMED, PLURALS, to_body


def setup_text(setup: Setup) -> str:
    """Return a setup as TOML; reading it gives an equal setup."""
    parts = [_pairs({"title": setup.title, "question": setup.question})]
    effort = table_of(setup.effort)
    parts += [_table("[effort]", effort)] if effort else []
    for kind in NAMED:
        parts += [_table(f"[[{kind}]]", to_body(record)) for record in getattr(setup, PLURALS[kind])]
    return "\n\n".join(parts) + "\n"


def _table(head: str, body: Mapping[str, Any]) -> str:
    """Write a table; tables inside it stand inline."""
    return f"{head}\n{_pairs(body)}"


def _pairs(body: Mapping[str, Any]) -> str:
    return "\n".join(f"{_key(key)} = {_value(value)}" for key, value in body.items())


def _key(key: str) -> str:
    return key if key.isascii() and key.replace("_", "").replace("-", "").isalnum() else _text(key)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return (
            "{ " + ", ".join(f"{_key(key)} = {_value(item)}" for key, item in value.items()) + " }" if value else "{}"
        )
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(item) for item in value)}]"
    return _text(value) if isinstance(value, str) else repr(value)


def _text(value: str) -> str:
    """Write a basic string: JSON's escapes are TOML's, but for the delete character."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
