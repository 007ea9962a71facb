"""What a name may look like, so that terms, rules and columns can always be told apart."""

from __future__ import annotations

import re

from doe.model.errors import UsageError

_IDENTIFIER = re.compile(r"[^\W\d]\w{0,59}", re.UNICODE)
RESERVED = frozenset(
    [
        "variant",
        "outcome",
        "value",
        "versus",
        "session",
        "rater",
        "order",
        "unit",
        "parent",
        "when",
        "note",
        "minutes",
        "price",
        "readings",
        "kind",
        "reason",
        "and",
        "or",
        "not",
        "in",
        "is",
        "if",
        "else",
        "min",
        "max",
        "abs",
        "sqrt",
        "exp",
        "log",
        "log10",
        "floor",
        "ceil",
        "round",
        "pi",
        "true",
        "false",
        "none",
        "new",
    ]
)


def check_name(field: str, name: object) -> str:
    """Return a name usable in terms and rules: letters, digits and underscores, not starting with a digit.

    Raises
    ------
    UsageError
        If the name has blanks or signs, is longer than 60 characters, or means something else already.
    """
    text = name if isinstance(name, str) else ""
    if not _IDENTIFIER.fullmatch(text):
        raise UsageError(
            f"{field} '{name}' must be 1 to 60 letters, digits or underscores, starting with a letter: 'tip_gap'."
        )
    if text.casefold() in RESERVED:
        raise UsageError(f"{field} '{name}' is a word that Fettle uses itself; choose another, such as '{name}_1'.")
    return text


def check_label(field: str, label: object, longest: int = 200) -> str:
    """Return free text on one line, such as a level, a unit of measure or a variant's label.

    Raises
    ------
    UsageError
        If it is no text, empty, too long, or holds a line break or another control character.
    """
    text = label.strip() if isinstance(label, str) else ""
    if not text or len(text) > longest or any(ord(sign) < 32 or ord(sign) == 127 for sign in text):
        shown = str(label)[:40]
        raise UsageError(f"{field} '{shown}' must be text on one line, 1 to {longest} characters.")
    return text
