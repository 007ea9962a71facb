"""A whole project out to files that any program reads, and back in without loss."""

from __future__ import annotations

import json
import os
import shutil
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb

from doe.model.choices import Settings
from doe.model.errors import DataError, FettleError, StoreError, listed, shown
from doe.model.records import Reading, Session, Unit, Variant, read_settings
from doe.model.setup import Setup
from doe.store import (
    attachments,
    definitions,
    journal,
    listening,
    measurements,
    plans,
    readings,
    sessions,
    settled,
    suggestions,
    units,
    variants,
)
from doe.store.definitions import Definitions
from doe.store.journal import Entry
from doe.store.kept import known
from doe.store.place import put_in_place
from doe.store.rows import fetch, insert, statement
from doe.store.setup_file import toml_fault
from doe.store.setup_text import setup_text
from doe.store.tables import (
    Kind,
    Table,
    read_csv,
    read_parquet,
    read_workbook,
    typed,
    write_csv,
    write_parquet,
    write_workbook,
)

_VARIANTS: dict[str, Kind] = {
    "variant": "text", "unit": "text", "parent": "text", "status": "text", "minutes": "number", "price": "number",
    "when": "time", "note": "text",
}  # fmt: skip
_UNITS: dict[str, Kind] = {"unit": "text", "variant": "text", "retired": "claim", "note": "text"}
_SESSIONS: dict[str, Kind] = {"session": "text", "when": "time", "note": "text"}
_READINGS: dict[str, Kind] = {
    "id": "whole", "variant": "text", "outcome": "text", "value": "number", "versus": "text", "session": "text",
    "rater": "text", "order": "whole", "unit": "text", "when": "time", "note": "text",
}  # fmt: skip
_MEASUREMENTS: dict[str, Kind] = {
    "id": "whole", "recipe": "text", "version": "whole", "settings": "json", "uses": "json", "sha256": "text"
}  # fmt: skip
_PREPARED: dict[str, Kind] = {"id": "whole", "session": "text", "closed": "claim", "body": "json"}
_JUDGEMENTS: dict[str, Kind] = {
    "prepared": "whole", "rater": "text", "place": "whole", "values": "json", "when": "time", "note": "text"
}  # fmt: skip
_PLANS: dict[str, Kind] = {"id": "whole", "body": "json"}
_SETTLED: dict[str, Kind] = {"number": "whole", "name": "text", "variant": "text", "at": "time", "body": "json"}
_SUGGESTIONS: dict[str, Kind] = {"id": "whole", "at": "time", "body": "json"}
_ATTACHMENTS: dict[str, Kind] = {
    "id": "whole", "variant": "text", "filename": "text", "sha256": "text", "size": "whole", "note": "text"
}  # fmt: skip
_HISTORY: dict[str, Kind] = {
    "id": "whole", "at": "time", "kind": "text", "summary": "text", "subject": "text", "takes_back": "whole",
    "taken_back_by": "whole",
}  # fmt: skip
_SETUP: dict[str, Kind] = {"line": "text"}
TABLES = (
    "variants",
    "units",
    "arrivals",
    "sessions",
    "readings",
    "suggestions",
    "attachments",
    "history",
    "measurements",
    "prepared",
    "judgements",
    "plans",
    "settled",
)
_REQUIRED = {
    "variants": ("variant", "status"),
    "units": ("unit",),
    "arrivals": ("unit",),
    "sessions": ("session",),
    "readings": ("id", "variant", "outcome", "value"),
    "suggestions": ("id", "at", "body"),
    "attachments": ("id", "filename", "sha256", "size"),
    "history": ("id", "at", "kind"),
    "measurements": ("id", "recipe", "version", "settings", "uses", "sha256"),
    "prepared": ("id", "session", "body"),
    "judgements": ("prepared", "rater", "place", "values"),
    "plans": ("id", "body"),
    "settled": ("number", "name", "at", "body"),
}
"""Columns of each table in which no cell may be empty."""
_CAME_LATER = ("measurements", "prepared", "judgements", "plans", "settled")
"""Tables that an export of an earlier version does not have."""
_UNFIT = (AttributeError, LookupError, TypeError, ValueError, ArithmeticError, duckdb.DataError, duckdb.IntegrityError)
"""What records, and the database, make of content of another shape."""


@dataclass(frozen=True, slots=True)
class Content:
    """Everything of a project that counts, and its history.

    Attributes
    ----------
    setup : Setup
        The definitions.
    tables : dict of str to Table
        variants, units, arrivals (units with the settings they came in with), sessions, readings, suggestions,
        attachments, history, measurements (how readings were computed from files), prepared (sessions), judgements, plans and
        settled (versions).
    files : tuple of dict
        The attachments with their paths.
    """

    setup: Setup
    tables: dict[str, Table]
    files: tuple[dict[str, Any], ...] = ()


def collect(con: duckdb.DuckDBPyConnection, files_folder: Path) -> Content:
    """Read everything that an export holds."""
    defined = definitions.load(con)
    setup = defined.setup()
    kept = variants.load(con, defined)
    in_order = [item.record for item in kept]
    settings = {variant.name: variant.settings for variant in in_order}
    files = attachments.load(con, files_folder)
    arrivals = [item.record for item in units.load_initial(con, defined)]
    outcome_ids = {outcome.name: identity for identity, outcome in defined.outcomes().items()}
    variant_ids = {item.record.name: item.id for item in kept}
    prepared, said = listening.export_rows(listening.load(con, variant_ids, outcome_ids))
    rows: dict[str, list[dict[str, Any]]] = {
        "variants": [{**_row(item, _VARIANTS), "variant": item.name, **item.settings} for item in in_order],
        "units": [
            {"unit": item.record.name, **_row(item.record, ("variant", "retired", "note")), **item.record.settings}
            for item in units.load(con, defined, kept)
        ],
        "arrivals": [{"unit": unit.name, **unit.settings} for unit in arrivals if unit.settings],
        "sessions": [{"session": item.name, "when": item.when, "note": item.note} for item in sessions.load(con)],
        "readings": [{**row, **settings[row["variant"]]} for row in readings.load(con, defined)],
        "suggestions": fetch(con, 'SELECT id, made_at AS "at", body FROM live_suggestion ORDER BY id'),
        "attachments": files,
        "history": fetch(con, statement("history")),
        "prepared": prepared,
        "judgements": said,
        "plans": plans.export_rows(plans.load(con, kept)),
        "settled": settled.export_rows(settled.load(con)),
        "measurements": measurements.table_rows(measurements.load(con, defined, files_folder)),
    }
    return Content(setup, {name: _table(name, rows[name], setup) for name in rows}, tuple(files))


def _row(record: Any, names: Mapping[str, Kind] | Sequence[str]) -> dict[str, Any]:
    return {name: getattr(record, name, None) for name in names}


def _table(name: str, rows: Sequence[Mapping[str, Any]], setup: Setup) -> Table:
    columns = _columns(name, setup)
    return Table(name, columns, [{column: row.get(column) for column in columns} for row in rows])


def _columns(name: str, setup: Setup) -> dict[str, Kind]:
    """Return the columns of a table; those with settings have one more for each factor."""
    own: dict[str, dict[str, Kind]] = {
        "variants": _VARIANTS,
        "units": _UNITS,
        "arrivals": {"unit": "text"},
        "sessions": _SESSIONS,
        "readings": _READINGS,
        "suggestions": _SUGGESTIONS,
        "attachments": _ATTACHMENTS,
        "history": _HISTORY,
        "measurements": _MEASUREMENTS,
        "prepared": _PREPARED,
        "judgements": _JUDGEMENTS,
        "plans": _PLANS,
        "settled": _SETTLED,
    }
    factors: dict[str, Kind] = {factor.name: "number" if factor.is_numeric else "text" for factor in setup.factors}
    return {**own[name], **factors} if name in ("variants", "units", "arrivals", "readings") else own[name]


def write(content: Content, target: Path, kind: str) -> None:
    """Write an export: a new folder for csv and parquet, a new file (with a folder of attachments beside it) for xlsx.

    Raises
    ------
    StoreError
        If the target exists, or cannot be written.
    """
    if target.exists():
        raise StoreError(f"{target} exists already; choose another name, or move it away.")
    draft = target.with_name(f".{target.name}.{os.urandom(8).hex()}.part")
    try:
        if kind == "xlsx":
            _write_workbook(content, target, draft)
        else:
            _write_folder(content, target, draft, write_csv if kind == "csv" else write_parquet)
    except OSError as err:
        if isinstance(err, StoreError):
            raise
        raise StoreError(f"{target} cannot be written: {err.strerror or err}.") from err


def _write_workbook(content: Content, target: Path, draft: Path) -> None:
    lines = [{"line": line} for line in setup_text(content.setup).split("\n")]
    try:
        with attachments.copied(content.files, target.with_suffix(".files")):
            write_workbook(draft, [*content.tables.values(), Table("setup", _SETUP, lines)])
            put_in_place(draft, target)
    finally:
        draft.unlink(missing_ok=True)


def _write_folder(content: Content, target: Path, draft: Path, write_one: Callable[[Path, Table], None]) -> None:
    try:
        draft.mkdir()
        (draft / "setup.toml").write_text(setup_text(content.setup), encoding="utf-8", newline="\n")
        for table in content.tables.values():
            write_one(draft, table)
        attachments.copy_files(content.files, draft / "files")
        draft.rename(target)
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def read(source: Path) -> Content:
    """Read an export back.

    Raises
    ------
    StoreError
        If there is none.
    DataError
        If a table of it is not what it should be.
    """
    try:
        if source.is_dir() and (source / "setup.toml").is_file():
            return _read_folder(source)
        if source.is_file():
            return _read_workbook(source)
    except OSError as err:
        if isinstance(err, StoreError):
            raise
        raise StoreError(f"{source} cannot be read: {err.strerror or err}.") from err
    raise StoreError(f"{source} is no exported project: neither a workbook nor a folder with a setup.toml.")


def _read_folder(source: Path) -> Content:
    read_one, ending = (read_csv, "csv") if (source / "variants.csv").is_file() else (read_parquet, "parquet")
    try:
        text = (source / "setup.toml").read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as err:
        raise DataError("The setup of the export is no text in UTF-8; save setup.toml in UTF-8.") from err

    def rows_of(name: str) -> list[dict[str, Any]]:
        is_missing = name in _CAME_LATER and not (source / f"{name}.{ending}").is_file()
        return [] if is_missing else read_one(source, name)

    return _content(text, rows_of, source / "files")


def _read_workbook(source: Path) -> Content:
    book = read_workbook(source)
    if "setup" not in book or "variants" not in book:
        raise StoreError(f"{source} is no exported project: it has no sheets 'setup' and 'variants'.")
    text = "\n".join(row["line"] or "" for row in book["setup"])

    def rows_of(name: str) -> list[dict[str, Any]]:
        if name not in book and name not in _CAME_LATER:
            raise StoreError(f"{source} is no whole export: it has no sheet '{name}'.")
        return book.get(name, [])

    return _content(text, rows_of, source.with_suffix(".files"))


def _content(text: str, rows_of: Callable[[str], list[dict[str, Any]]], files: Path) -> Content:
    try:
        setup = Setup.from_tables(tomllib.loads(text))
    except tomllib.TOMLDecodeError as err:
        raise DataError(f"The setup of the export is no TOML that can be read: {toml_fault(text, str(err))}.") from err
    tables = {}
    for name in TABLES:
        columns = _columns(name, setup)
        tables[name] = Table(name, columns, typed(rows_of(name), columns, name, _REQUIRED[name]))
    for row in tables["attachments"].rows:
        attachments.check_row(row)
    for row in tables["measurements"].rows:
        measurements.check_row(row)
    return Content(setup, tables, tuple({**row, "path": files / row["sha256"]} for row in tables["attachments"].rows))


def restore(con: duckdb.DuckDBPyConnection, content: Content, source: str) -> Entry:
    """Store an export in a project file that holds nothing yet.

    The entries of its history are told again, but hold no rows; all that counts belongs to one new entry.

    Raises
    ------
    DataError
        If a record does not fit the definitions.
    """
    rows = {name: table.rows for name, table in content.tables.items()}
    with _named("history"):
        _tell_history(con, rows["history"])
    entry = journal.begin(con)
    definitions.add_all(con, entry, content.setup)
    defined = definitions.load(con)
    ids = _restore_builds(con, entry, rows, defined)
    variant_ids = ids.variants
    with _named("readings"):
        _restore_readings(con, entry, rows["readings"], defined, ids)
    with _named("measurements"):
        measurements.add(con, entry, [(row["id"], measurements.read_row(row)) for row in rows["measurements"]])
    outcome_ids = {outcome.name: identity for identity, outcome in defined.outcomes().items()}
    with _named("prepared"):
        listening.restore(con, entry, rows["prepared"], rows["judgements"], variant_ids, outcome_ids)
    with _named("plans"):
        plans.restore(con, entry, rows["plans"], variant_ids)
        plans.load(con, variants.load(con, defined))
    with _named("settled"):
        settled.restore(con, entry, rows["settled"], variant_ids)
    with _named("suggestions"):
        advice = [(row["at"], json.loads(row["body"])) for row in rows["suggestions"]]
        suggestions.add(con, entry, advice, [row["id"] for row in rows["suggestions"]])
        suggestions.load(con)
    with _named("attachments"):
        _restore_attachments(con, entry, rows["attachments"], variant_ids)
    return journal.close(con, entry, "restore", f"read the export {source} back", subject=source)


@contextmanager
def _named(table: str) -> Iterator[None]:
    """Tell in a sentence what a table holds that fits nowhere, which only someone who edited it can have brought about."""
    try:
        yield
    except FettleError:
        raise
    except _UNFIT as err:
        lacks = f"an entry '{shown(err.args[0], 40)}' is missing" if isinstance(err, KeyError) and err.args else ""
        reason = lacks or "something in it was altered"
        raise DataError(
            f"Table {table} of the export does not hold what it should: {reason}. Take back what was edited in it, or export "
            "the project anew."
        ) from err


def _restore_builds(
    con: duckdb.DuckDBPyConnection, entry: int, rows: Mapping[str, Sequence[Mapping[str, Any]]], defined: Definitions
) -> readings.Ids:
    """Store variants, sessions and units, and return the ids of each by name."""
    setup = defined.setup()
    with _named("units"):
        came_with = {row["unit"]: _settings(row, setup) for row in rows["arrivals"]}
        new_units = [
            Unit(row["unit"], came_with.get(row["unit"], {}), retired=bool(row["retired"]), note=row["note"] or "")
            for row in rows["units"]
        ]
        unit_ids = units.add(con, entry, new_units, defined, {}, exact=True)
    with _named("sessions"):
        named = [Session(row["session"], row["when"], row["note"] or "") for row in rows["sessions"]]
        session_ids = sessions.add(con, entry, named, {}, exact=True)
    with _named("variants"):
        built = [_variant(row, setup) for row in rows["variants"]]
        ids = variants.add(con, entry, built, defined, {}, unit_ids, exact=True)
    return readings.Ids(ids, session_ids, unit_ids)


def _restore_attachments(
    con: duckdb.DuckDBPyConnection, entry: int, rows: Sequence[Mapping[str, Any]], ids: Mapping[str, int]
) -> None:
    owned = [{**row, "variant": known(ids, row["variant"], "Variant"), "note": row["note"] or ""} for row in rows]
    attachments.add(con, entry, owned)


def _restore_readings(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    rows: Sequence[Mapping[str, Any]],
    defined: Definitions,
    ids: readings.Ids,
) -> None:
    taken = [
        Reading(**{name: row[name] for name in _READINGS if name not in ("id", "note")}, note=row["note"] or "")
        for row in rows
    ]
    readings.add(con, entry, taken, defined, ids, numbers=[row["id"] for row in rows])


def _settings(row: Mapping[str, Any], setup: Setup) -> Settings:
    """Return the settings in a row, none at all for a reference object."""
    typed_in = {factor.name: row[factor.name] for factor in setup.factors if row[factor.name] is not None}
    return read_settings(typed_in, setup.factors) if typed_in else {}


def _variant(row: Mapping[str, Any], setup: Setup) -> Variant:
    own = {name: row[name] for name in _VARIANTS if name not in ("variant", "note")}
    if own["status"] not in variants.STATUSES:
        raise DataError(
            f"Variant {row['variant']}: status is '{own['status']}'; it must be {listed(variants.STATUSES)}."
        )
    own |= {name: variants.effort(row["variant"], name, own[name]) for name in ("minutes", "price")}
    return Variant(name=row["variant"], settings=_settings(row, setup), note=row["note"] or "", **own)


def _tell_history(con: duckdb.DuckDBPyConnection, rows: Sequence[Mapping[str, Any]]) -> None:
    told = [
        {
            "id": row["id"],
            "done_at": row["at"],
            "kind": row["kind"],
            "summary": row["summary"] or "",
            "subject": row["subject"] or "",
            "takes_back": row["takes_back"],
            "digest": None,
            "inherited": True,
        }
        for row in rows
    ]
    insert(con, "entry", told)
    undone = [row for row in rows if row["taken_back_by"] is not None]
    insert(con, "toggle", [{"entry": row["taken_back_by"], "target": row["id"], "live": False} for row in undone])
