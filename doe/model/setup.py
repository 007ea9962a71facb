"""A project's definitions as one object, read from the tables of a setup file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import MISSING, dataclass, field, fields
from typing import Any, TypeVar

from doe.model.effort import Effort
from doe.model.errors import UsageError, did_you_mean, listed, shown
from doe.model.expectation import Expectation, check_expectations
from doe.model.factor import Factor
from doe.model.given import check_each, check_one, check_text
from doe.model.limit import Derived, Limit, check_rules
from doe.model.outcome import Outcome

_Record = TypeVar("_Record", Factor, Outcome, Effort, Limit, Derived, Expectation)
_RECIPE_KEY = "from"
_PARTS = ("title", "question", "effort", "factor", "outcome", "limit", "derived", "expectation")


UNTITLED = "Untitled"

_KINDS = {"factors": Factor, "outcomes": Outcome, "limits": Limit, "derived": Derived, "expectations": Expectation}


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything that is decided before the first variant is built.

    Attributes
    ----------
    title : str
        What is being tuned, on one line; `UNTITLED` where nothing is said.
    question : str
        What is wrong, in the maker's words.
    factors, outcomes, limits, derived, expectations : tuple
        The definitions.
    effort : Effort
        Minutes and money outside the factors.

    Raises
    ------
    UsageError
        If two definitions share a name, or a rule uses an unknown one.
    """

    title: str = UNTITLED
    question: str = ""
    factors: Sequence[Factor] = ()
    outcomes: Sequence[Outcome] = ()
    effort: Effort = field(default_factory=Effort)
    limits: Sequence[Limit] = ()
    derived: Sequence[Derived] = ()
    expectations: Sequence[Expectation] = ()

    def __post_init__(self) -> None:
        for name, kind in _KINDS.items():
            check_each(name, getattr(self, name), kind)
            object.__setattr__(self, name, tuple(getattr(self, name)))
        check_one("effort", self.effort, Effort)
        for name in ("title", "question"):
            check_text(name, getattr(self, name))
        object.__setattr__(self, "title", " ".join(self.title.split()) or UNTITLED)
        check_rules(self.factors, self.limits, self.derived)
        taken = {item.name.casefold() for items in (self.factors, self.derived) for item in items}
        for outcome in self.outcomes:
            if outcome.name.casefold() in taken:
                raise UsageError(f"Outcome '{outcome.name}' has the name of something defined before it.")
            taken.add(outcome.name.casefold())
        check_expectations(self.expectations, self.factors, self.outcomes)

    @classmethod
    def from_tables(cls, tables: Mapping[str, Any]) -> Setup:
        """Build a setup from the parsed tables of a TOML file.

        Raises
        ------
        UsageError
            If a key is unknown, has the wrong type, or a definition contradicts itself.
        """
        _check_keys("The setup", tables, _PARTS)
        return cls(
            title=_text("title", tables.get("title", UNTITLED)),
            question=_text("question", tables.get("question", "")),
            factors=[_record(Factor, table) for table in _tables("factor", tables)],
            outcomes=[_record(Outcome, _with_recipe(table)) for table in _tables("outcome", tables)],
            effort=_record(Effort, tables.get("effort", {})),
            limits=[_record(Limit, table) for table in _tables("limit", tables)],
            derived=[_record(Derived, table) for table in _tables("derived", tables)],
            expectations=[_record(Expectation, table) for table in _tables("expectation", tables)],
        )

    def to_tables(self) -> dict[str, Any]:
        """Return the setup as plain tables; `from_tables` gives it back unchanged."""
        return {
            "title": self.title,
            "question": self.question,
            "effort": table_of(self.effort),
            "factor": [table_of(factor) for factor in self.factors],
            "outcome": [table_of(outcome) for outcome in self.outcomes],
            "limit": [table_of(limit) for limit in self.limits],
            "derived": [table_of(quantity) for quantity in self.derived],
            "expectation": [table_of(item) for item in self.expectations],
        }


def check_factors(setup: Setup) -> None:
    """Check that there is something to change.

    Raises
    ------
    UsageError
        If the project has no factors.
    """
    if not setup.factors:
        raise UsageError(
            "There are no factors yet; define what can be changed first.", command="'fettle factor add' does that"
        )


def table_of(record: Factor | Outcome | Effort | Limit | Derived | Expectation) -> dict[str, Any]:
    """Return a definition as a plain table, leaving out what is at its default."""
    table: dict[str, Any] = {}
    for item in fields(record):
        value = getattr(record, item.name)
        default = item.default_factory() if item.default_factory is not MISSING else item.default
        if not item.init or value == default or value == ():
            continue
        table[item.name] = list(value) if isinstance(value, tuple) else value
    recipe = table.get("recipe", {})
    if _RECIPE_KEY not in recipe or any(key in _own_keys(Outcome) for key in recipe):
        return table  # its keys would be taken for the outcome's own
    del table["recipe"]
    return {**table, **recipe}


def record_of(kind: type[_Record], table: Mapping[str, Any]) -> _Record:
    """Build one definition from its table, as in the setup file.

    Raises
    ------
    UsageError
        If a key is unknown or the definition contradicts itself.
    """
    return _record(kind, _with_recipe(table) if kind is Outcome else table)


def _record(kind: type[_Record], table: Any) -> _Record:
    what = kind.__name__.lower()
    what = f"[{what}]" if kind is Effort else f"[[{what}]]"
    if not isinstance(table, Mapping):
        raise UsageError(f"{what} must be a table of keys and values.")
    allowed = _own_keys(kind)
    _check_keys(f"{what} {table.get('name', '')}".strip(), table, allowed)
    required = [
        item.name for item in fields(kind) if item.default is MISSING and item.default_factory is MISSING and item.init
    ]
    missing = [name for name in required if name not in table]
    if missing:
        raise UsageError(f"{what} {table.get('name', '')} has no {listed(missing, 'and')}.".replace("  ", " "))
    for name in ("unit", "note", "rule", "expression", "relative_to", "factor", "outcome"):
        if name in table:
            _text(f"{what} {name}", table[name])
    return kind(**table)


def _own_keys(kind: type[_Record]) -> list[str]:
    return [item.name for item in fields(kind) if item.init]


def _with_recipe(table: Any) -> Any:
    """Gather the keys of a measuring recipe, which stand beside the outcome's own in the file."""
    if not isinstance(table, Mapping) or _RECIPE_KEY not in table:
        return table
    own = _own_keys(Outcome)
    if "recipe" in table:
        raise UsageError(f"[[outcome]] {table.get('name', '')} has both '{_RECIPE_KEY}' and 'recipe'; keep one.")
    # A list at relative_to is a band of the recipe; text there is the outcome's own reference object.
    recipe = {
        key: value
        for key, value in table.items()
        if key not in own or (key == "relative_to" and isinstance(value, list))
    }
    return {**{key: value for key, value in table.items() if key not in recipe}, "recipe": recipe}


def _tables(what: str, tables: Mapping[str, Any]) -> list[Any]:
    found = tables.get(what, [])
    if not isinstance(found, list):
        raise UsageError(f"'{what}' must be written as [[{what}]], once for each.")
    return found


def _check_keys(what: str, table: Mapping[str, Any], allowed: Sequence[str]) -> None:
    for key in table:
        if key not in allowed:
            raise UsageError(
                f"{what} has an unknown key '{key}'; it may have {listed(allowed, 'and')}.{did_you_mean(key, allowed)}"
            )


def _text(field_name: str, value: object) -> str:
    if not isinstance(value, str):
        raise UsageError(f"{field_name} is '{shown(value)}'; it must be text in quotes.")
    return value
