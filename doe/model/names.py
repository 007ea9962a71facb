"""What a name may look like, so that terms, rules and columns can always be told apart."""

from __future__ import annotations

import keyword
import re
import unicodedata
from collections.abc import Iterable

from doe.model.errors import UsageError, shown

_IDENTIFIER = re.compile(r"[^\W\d_]\w{0,59}")
# fmt: off
COLUMNS = frozenset([
    "variant", "outcome", "value", "versus", "session", "rater", "order", "unit", "parent", "when",
    "note", "minutes", "price", "readings", "kind", "reason", "new", "id", "status", "retired",
])
"""Names of columns that stand beside factors and outcomes in tables."""

RULE_WORDS = frozenset([
    "and", "or", "not", "in", "is", "if", "else", "min", "max", "abs",
    "sqrt", "exp", "log", "log10", "floor", "ceil", "round", "pi", "true", "false",
    "none",
    *(word.casefold() for word in keyword.kwlist),  # the parser of rules would stumble over them
])
RESERVED = COLUMNS | RULE_WORDS
NEW_UNIT = "new"
"""What tables and pages call a unit that does not exist yet, so no unit is called that."""
AT_HAND = "the unit at hand"
"""What they call the one unit of a log that names none."""
MEANS_NEW = "is what a unit yet to be made is called; give it a name of its own"
ADVICE_COLUMNS = frozenset([
    "cost", "settles", "worth_now", "worth_expected", "chance_better", "worth_per_hour", "block",
])
"""Columns that stand beside one column per factor in tables of advice and of plans."""

# fmt: on
MEAN = "the mean"
"""What a term that a plan never varies is one with; no term has a blank."""
_BREAKS = frozenset(["Cc", "Cs", "Zl", "Zp"])


def unit_text(name: str) -> str:
    """Write the unit that a table names in a sentence.

    Examples
    --------
    >>> unit_text("A"), unit_text("new"), unit_text("the unit at hand")
    ('unit A', 'a new unit', 'the unit at hand')
    """
    return {NEW_UNIT: "a new unit", AT_HAND: AT_HAND}.get(name, f"unit {name}")


def versus_column(factor: str) -> str:
    """Return the column that holds a factor's setting of the second of two variants compared; no name has a blank.

    Examples
    --------
    >>> versus_column("wool")
    'versus wool'
    """
    return f"versus {factor}"


def interval_columns(outcome: str) -> list[str]:
    """Return the columns that hold an outcome and both ends of its interval beside factors; no name has a blank.

    Examples
    --------
    >>> interval_columns("bass")
    ['bass', 'bass low', 'bass high']
    """
    return [outcome, f"{outcome} low", f"{outcome} high"]


def same_name(name: str) -> str:
    """Return a name in the one spelling in which rules read it, whichever way its letters were typed.

    Python's parser does this to names (NFKC, Unicode Standard Annex 31); without it a micro sign would not be found.
    """
    return unicodedata.normalize("NFKC", name.strip())


def quoted(name: str) -> str:
    """Return a name as it is typed into a command: in quotes where it is more than a word."""
    return name if re.fullmatch(r"\w[\w.+-]*", name) else '"' + re.sub(r'(["\\$`])', r"\\\1", name) + '"'


def file_stem(title: str) -> str:
    """Name a file after what is tuned: letters and digits, dashes between them, 60 at most.

    Examples
    --------
    >>> file_stem("Tabletop radio, No. 2"), file_stem("?")
    ('tabletop-radio-no-2', 'project')
    """
    return re.sub(r"\W+", "-", title.casefold()).strip("-")[:60].rstrip("-") or "project"


def spelled_alike(name: str, names: Iterable[str]) -> list[str]:
    """Return which of the names may be meant: the one that is spelled the same, or else those that differ in capitals only.

    Examples
    --------
    >>> spelled_alike("a1", ["A1", "a1"]), spelled_alike("b", ["B"]), spelled_alike("c", ["B"])
    (['a1'], ['B'], [])
    """
    wanted, known = name.strip(), list(names)
    if wanted in known:
        return [wanted]
    return [other for other in known if other.casefold() == wanted.casefold()]


def check_name(field: str, name: object, taken: frozenset[str] = RESERVED) -> str:
    """Return a name usable in terms and rules: letters, digits and underscores, starting with a letter.

    Raises
    ------
    UsageError
        If the name has blanks or signs, is longer than 60 characters, or means something else already.
    """
    text = unicodedata.normalize("NFKC", name) if isinstance(name, str) else ""
    is_identifier = isinstance(name, str) and name.isidentifier()  # x² is none, though x2, which becomes of it, is
    if not is_identifier or not _IDENTIFIER.fullmatch(text):
        raise UsageError(
            f"{field} '{shown(name)}' must be 1 to 60 letters, digits or underscores, starting with a letter: 'tip_gap'."
        )
    if text.casefold() in taken:
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
    if not text or len(text) > longest or any(unicodedata.category(sign) in _BREAKS for sign in text):
        raise UsageError(f"{field} '{shown(label, 40)}' must be text on one line, 1 to {longest} characters.")
    return text
