"""The project's definitions: kept as versions, read as one `Setup`."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import duckdb

from doe.model.choices import Settings, Value
from doe.model.effort import Effort
from doe.model.errors import DataError, UsageError, did_you_mean, listed, or_else
from doe.model.expectation import Expectation
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.outcome import Outcome
from doe.model.setup import Setup, record_of, table_of
from doe.model.wording import rounded
from doe.store.rows import fetch, insert, next_id

Record = Factor | Outcome | Limit | Derived | Expectation | Effort
NAMED: dict[str, type] = {
    "factor": Factor,
    "outcome": Outcome,
    "limit": Limit,
    "derived": Derived,
    "expectation": Expectation,
}
_SPOKEN = {"derived": "derived quantity", "limit": "limit", "expectation": "expectation", "outcome": "outcome"}
_REFERENCE = "reference_variant"
"""Key of a recipe that names a variant."""
SINGLE = ("effort", "title", "question")
KINDS = (*NAMED, *SINGLE)
PLURALS = {
    "factor": "factors",
    "outcome": "outcomes",
    "limit": "limits",
    "derived": "derived",
    "expectation": "expectations",
}


@dataclass(frozen=True, slots=True)
class Definition:
    """One definition as it counts now.

    Attributes
    ----------
    id, entry : int
        Its lasting id, and the entry that wrote this version.
    kind : str
        One of `KINDS`.
    value : Record or str
        The definition; text for title and question.
    was : setting or None
        A factor that came late: the setting of the variants before it.
    """

    id: int
    entry: int
    kind: str
    value: Record | str
    was: Value | None = None

    @property
    def name(self) -> str:
        """What it goes by: its name, a limit's rule, or the kind of a single one."""
        return name_of(self.kind, self.value)


@dataclass(frozen=True, slots=True)
class Definitions:
    """All definitions that count now, in the order in which they came."""

    all: tuple[Definition, ...]

    def of(self, kind: str) -> list[Definition]:
        """Return the definitions of one kind."""
        return [item for item in self.all if item.kind == kind]

    def find(self, kind: str, name: str) -> Definition | None:
        """Return the definition of that kind and name, if there is one."""
        return next((item for item in self.all if item.kind == kind and item.name == name), None)

    def outcomes(self) -> dict[int, Outcome]:
        """Return the outcomes by id."""
        return {item.id: item.value for item in self.of("outcome") if isinstance(item.value, Outcome)}

    def factors(self) -> dict[int, Factor]:
        """Return the factors by id."""
        return {item.id: item.value for item in self.of("factor") if isinstance(item.value, Factor)}

    def setup(self) -> Setup:
        """Return them as one setup.

        Raises
        ------
        UsageError
            If they contradict each other.
        """
        single: dict[str, Any] = {item.kind: item.value for item in self.all if item.kind in SINGLE}
        many: dict[str, Any] = {plural: [item.value for item in self.of(kind)] for kind, plural in PLURALS.items()}
        return Setup(**single, **many)

    def settings(self, stored: Mapping[int, object]) -> Settings:
        """Return one entry per factor from stored settings by factor id; late factors have what `was`."""
        settings: Settings = {}
        for item in self.of("factor"):
            value = stored.get(item.id, item.was)
            if value is not None and isinstance(item.value, Factor):
                settings[item.name] = _as_defined(item.value, value)
        return settings


def name_of(kind: str, value: Record | str) -> str:
    """Return what a definition goes by."""
    if isinstance(value, Limit):
        return value.rule
    return str(getattr(value, "name", kind)) if kind in NAMED else kind


def _as_defined(factor: Factor, value: object) -> Value:
    """Read a stored setting; one that no longer fits is shown as it is, for the check to find."""
    try:
        return factor.read(value)
    except DataError:
        return value  # type: ignore[return-value]


def load(con: duckdb.DuckDBPyConnection) -> Definitions:
    """Read the definitions that count now."""
    rows = fetch(con, "SELECT id, entry, kind, body, was FROM live_definition ORDER BY id")
    return Definitions(
        tuple(
            Definition(
                row["id"],
                row["entry"],
                row["kind"],
                from_body(row["kind"], json.loads(row["body"])),
                json.loads(row["was"]) if row["was"] is not None else None,
            )
            for row in rows
        )
    )


def to_body(value: Record | str) -> Any:
    """Return a definition as a plain table; a recipe stays a table of its own, apart from the outcome's keys."""
    if isinstance(value, str):
        return value
    if isinstance(value, Outcome) and value.recipe:
        return {**table_of(replace(value, recipe={})), "recipe": dict(value.recipe)}
    return table_of(value)


def from_body(kind: str, body: Any) -> Record | str:
    """Build a definition from its plain table."""
    if isinstance(body, str):
        return body
    return record_of(Effort if kind == "effort" else NAMED[kind], body)


def add_all(con: duckdb.DuckDBPyConnection, entry: int, setup: Setup) -> None:
    """Store a whole setup in a project that has none."""
    found: list[tuple[str, Record | str]] = [(kind, getattr(setup, kind)) for kind in SINGLE]
    found += [(kind, record) for kind, plural in PLURALS.items() for record in getattr(setup, plural)]
    first = next_id(con, "definition")
    rows = [{"id": first + place, **_row(entry, kind, value, None, None)} for place, (kind, value) in enumerate(found)]
    insert(con, "definition", rows)


def change(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    kind: str,
    value: Record | str | None,
    name: str | None = None,
    was: object = None,
) -> tuple[str, str]:
    """Add, replace or remove one definition, and return its name and a line for the journal.

    Raises
    ------
    UsageError
        If the kind or name is unknown, the name is taken, the title empty, the setup would contradict itself, or no settings
        would keep the limits.
    DataError
        If other definitions use what is to be removed.
    """
    _check_kind(kind, value)
    if kind == "title" and not str(value).strip():
        raise UsageError("title is empty; say what is being tuned.")
    if isinstance(value, Outcome):
        value.check_on_scale()
    present = load(con)
    wanted = kind if kind in SINGLE else name
    old = present.find(kind, wanted) if wanted is not None else None
    if wanted is not None and old is None:
        known = [item.name for item in present.of(kind)]
        raise UsageError(f"There is no {kind} '{wanted}' in this project{or_else(wanted, known)}")
    if value is None:
        return _remove(con, entry, kind, old, present)
    before = _was(value, was)
    label = name_of(kind, value)
    if (old is None or old.name != label) and present.find(kind, label) is not None:
        raise UsageError(
            f"{kind.capitalize()} '{label}' is defined already; change that one, or take another name.",
            command=f"'fettle {kind} change' does the first" if kind in ("factor", "outcome") else "",
        )
    if old is not None and before is None:
        before = old.was
    identity = old.id if old is not None else next_id(con, "definition")
    row = {"id": identity, **_row(entry, kind, value, before, old.entry if old is not None else None)}
    insert(con, "definition", [row])
    along = carry_along(con, entry, kind, old.name, label, present) if old is not None and old.name != label else ""
    if kind in ("factor", "limit", "derived"):
        _check_possible(load(con), present)
    return label, _told(kind, old, label, value) + along


def carry_along(con: duckdb.DuckDBPyConnection, entry: int, kind: str, old: str, new: str, present: Definitions) -> str:
    """Let the definitions that speak of something, which may be a variant, take its new name over; tell of them."""
    users = _users(present, kind, old)
    rows = [
        {"id": item.id, **_row(entry, item.kind, _with_name(item.value, kind, old, new), item.was, item.entry)}
        for item in users
    ]
    insert(con, "definition", rows)
    return f"; with it {listed([f'{_SPOKEN[item.kind]} {item.name}' for item in users], 'and')}" if users else ""


def _users(present: Definitions, kind: str, name: str) -> list[Definition]:
    """Return the definitions that speak of another one."""
    return [item for item in present.all if _speaks_of(item.value, kind, name)]


def _speaks_of(value: Record | str, kind: str, name: str) -> bool:
    if isinstance(value, Expectation):
        return kind in ("factor", "outcome") and name == getattr(value, kind)
    if isinstance(value, Limit | Derived):
        rule = value.expression if isinstance(value, Limit) else value.parsed
        return kind in ("factor", "derived") and name in rule.names
    return isinstance(value, Outcome) and kind == "variant" and name in _variants_of(value)


def _variants_of(outcome: Outcome) -> tuple[str | None, str | None]:
    """Return the variants that an outcome is compared with: by its readings, and by its recipe."""
    return outcome.relative_to, outcome.recipe.get(_REFERENCE)


def _with_name(value: Record | str, kind: str, old: str, new: str) -> Record:
    if isinstance(value, Expectation):
        return replace(value, factor=new) if kind == "factor" else replace(value, outcome=new)
    if isinstance(value, Limit):
        return replace(value, rule=value.expression.renamed(old, new))
    if isinstance(value, Outcome):
        relative_to, reference = (new if name == old else name for name in _variants_of(value))
        recipe = {**value.recipe, _REFERENCE: reference} if _REFERENCE in value.recipe else value.recipe
        return replace(value, relative_to=relative_to, recipe=recipe)
    assert isinstance(value, Derived)  # nothing else speaks of other definitions
    return replace(value, expression=value.parsed.renamed(old, new))


def _check_possible(new: Definitions, present: Definitions) -> None:
    """Refuse what leaves no settings; what an older project holds may be put right step by step."""
    from doe.model.possible import faults  # takes a moment, and few commands define something

    found = list(faults(new.setup()))
    before = set(faults(present.setup())) if found else set()
    for fault in found:
        if fault not in before:
            raise UsageError(fault)


def _check_kind(kind: str, value: Record | str | None) -> None:
    if kind not in KINDS:
        raise UsageError(f"kind is '{kind}'; it must be {listed(KINDS)}.{did_you_mean(kind, KINDS)}")
    wanted = NAMED.get(kind, Effort if kind == "effort" else str)
    if value is None and kind not in NAMED:
        raise UsageError(f"The {kind} cannot be removed; set it to something else.")
    if value is not None and not isinstance(value, wanted):
        raise UsageError(f"The {kind} must be given as {wanted.__name__}, not as {type(value).__name__}.")


def _was(value: Record | str, was: object) -> Value | None:
    if was is None:
        return None
    if not isinstance(value, Factor):
        raise UsageError("was is the earlier setting of a factor; it does not fit anything else.")
    return value.read(was)


def _remove(
    con: duckdb.DuckDBPyConnection, entry: int, kind: str, old: Definition | None, present: Definitions
) -> tuple[str, str]:
    if old is None:
        raise UsageError(f"Name the {kind} to remove.")
    _refuse_used(old, present)
    row = {"id": old.id, **_row(entry, kind, old.value, old.was, old.entry), "withdrawn": True}
    insert(con, "definition", [row])
    return old.name, f"removed {kind} {old.name}"


def _refuse_used(old: Definition, present: Definitions) -> None:
    users = [f"{_SPOKEN[item.kind]} {item.name}" for item in _users(present, old.kind, old.name)]
    if users:
        use, that = ("uses", "that") if len(users) == 1 else ("use", "those")
        what = _SPOKEN.get(old.kind, old.kind).capitalize()
        raise DataError(
            f"{what} {old.name} cannot be removed, since {listed(users, 'and')} {use} it; remove or change {that} first."
        )


def _row(entry: int, kind: str, value: Record | str, was: Value | None, replaces: int | None) -> dict[str, object]:
    return {
        "entry": entry,
        "replaces": replaces,
        "withdrawn": False,
        "kind": kind,
        "body": json.dumps(to_body(value), ensure_ascii=False),
        "was": json.dumps(was, ensure_ascii=False) if was is not None else None,
    }


def _told(kind: str, old: Definition | None, label: str, value: Record | str) -> str:
    if kind in SINGLE:
        shown = value.told() if isinstance(value, Effort) else value
        return f"set the {kind}: {shown}"
    if old is None:
        return f"added {kind} {label}"
    renamed = f" to {label}" if old.name != label else ""
    return f"changed {kind} {old.name}{renamed}{_differences(old.value, value)}"


def _differences(old: Record | str, new: Record | str) -> str:
    before, after = to_body(old), to_body(new)
    keys = [key for key in {**before, **after} if before.get(key) != after.get(key) and key != "name"]
    if not keys:
        return ""
    return ": " + ", ".join(
        f"{key} {_shown(_said(old, before, key))} -> {_shown(_said(new, after, key))}" for key in keys
    )


def _said(record: Record | str, body: Mapping[str, Any], key: str) -> Any:
    """Return what a definition says; its body leaves out what goes without saying, such as that a factor goes either way."""
    default = getattr(record, key, None)
    return body.get(key, default if isinstance(default, int | float | str) and default != "" else None)


def _shown(value: Any) -> str:
    if isinstance(value, list):
        return f"({', '.join(_shown(item) for item in value)})"
    if isinstance(value, int | float) and not isinstance(value, bool):
        return rounded(value)
    return "-" if value is None else str(value)
