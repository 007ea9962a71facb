"""The build sheet of a settled version: one or two pages that someone else could rebuild from."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from doe.charts import text
from doe.charts.export import write_whole
from doe.charts.goal import phrase
from doe.model import wording
from doe.model.effort import bare_setting, setting_minutes
from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.settled import SettledVersion, promise
from doe.model.setup import Setup
from doe.sheets.cautions import cautions_of
from doe.sheets.contexts import said
from doe.sheets.pictures import css_palette
from doe.sheets.render import asset, check_page, render

_MOST_PHOTOS = 4
_KINDS = {".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png"}


@dataclass(frozen=True, slots=True)
class SettingLine:
    """One setting to hold, or not."""

    factor: str = field(metadata=said("factor as people read it"))
    setting: str = field(metadata=said("with its unit"))
    room: str = field(metadata=said("how far it may drift"))
    care: str = field(metadata=said("hold it, some care, hold until known, need not be held; may be empty"))
    kind: str = field(metadata=said("class: hold, some, free"))


@dataclass(frozen=True, slots=True)
class StepLine:
    """One step at the bench."""

    what: str = field(metadata=said("what to do"))
    note: str = field(metadata=said("how, and with what care; may be empty"))
    takes: str = field(metadata=said("bench time; may be empty"))


@dataclass(frozen=True, slots=True)
class PromiseLine:
    """One outcome to expect."""

    outcome: str = field(metadata=said("outcome"))
    expected: str = field(metadata=said("mean and 95 % interval of one new build"))
    wanted: str = field(metadata=said("the goal"))
    how: str = field(metadata=said("how to take a reading; may be empty"))
    confirmed: str = field(metadata=said("what fresh builds showed; may be empty"))


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole build sheet."""

    title: str = field(metadata=said("what is built"))
    version: str = field(metadata=said("version, number and name"))
    facts: tuple[tuple[str, str], ...] = field(metadata=said("settled when, from what, note"))
    settings: tuple[SettingLine, ...] = field(metadata=said("settings with tolerances"))
    room: tuple[str, ...] = field(metadata=said("how the tolerances are meant"))
    parts: tuple[tuple[str, str], ...] = field(
        metadata=said("parts with their prices; last the sum, where there are prices")
    )
    steps: tuple[StepLine, ...] = field(metadata=said("bench steps in order"))
    takes: str = field(metadata=said("bench time of all steps"))
    promises: tuple[PromiseLine, ...] = field(metadata=said("expected outcomes"))
    confirmation: tuple[str, ...] = field(metadata=said("how it was confirmed"))
    is_confirmed: bool = field(metadata=said("whether fresh builds were judged"))
    photos: tuple[tuple[str, str], ...] = field(metadata=said("data address and caption"))
    cautions: tuple[str, ...] = field(metadata=said("the usual cautions"))
    fingerprint: str = field(metadata=said("hash of the project"))
    readings: str = field(metadata=said("hash of the readings that it rests on"))
    css: str = field(metadata=said("style sheet"))


def build_sheet(project: Any, path: str | Path, number: int | None = None, *, replace: bool = False) -> Path:
    """Write the build sheet of a settled version as one HTML page that opens offline and prints on one or two pages.

    Parameters
    ----------
    project : Project
        From `doe.open` or `doe.create`.
    path : str or Path
        Of the file to write; ends in ``.html``.
    number : int, optional
        Of the version; the newest by default.
    replace : bool
        Whether a file of that name may be overwritten.

    Raises
    ------
    UsageError
        If the name does not end in ``.html``, or there is no such version.
    DataError
        If nothing is settled yet.
    StoreError
        If the file exists and may not be replaced, or its folder cannot be written.
    """
    path = Path(path)
    check_page(path, replace=replace)
    page = render("build_sheet.html", sheet_context(project, project.version(number)))
    write_whole(path, page.encode("utf-8"), replace=replace)
    return path


def sheet_context(project: Any, version: SettledVersion) -> Sheet:
    """Put everything that a version froze into words."""
    setup: Setup = project.setup
    evidence = version.evidence
    steps = bench_steps(setup, version.settings)
    return Sheet(
        title=setup.title,
        version=f"{version.title[0].upper()}{version.title[1:]}",
        facts=_facts(version),
        settings=tuple(_settings(setup, version)),
        room=tuple(_room(evidence.get("tolerances"))),
        parts=tuple(_parts(setup, version.settings)),
        steps=tuple(line for line, _ in steps),
        takes=wording.duration(sum(minutes for _, minutes in steps)) if any(minutes for _, minutes in steps) else "",
        promises=tuple(_promises(setup, evidence)),
        confirmation=tuple(_confirmation(evidence.get("confirmation"))),
        is_confirmed=bool(evidence.get("confirmation")),
        photos=tuple(_photos(project, version)),
        cautions=cautions_of(project, setup),
        fingerprint=str(project.file.fingerprint()),
        readings=version.readings_sha256,
        css=css_palette() + asset("build_sheet.css"),
    )


def _facts(version: SettledVersion) -> tuple[tuple[str, str], ...]:
    came = f"changed from version {version.came_from}" if version.came_from else "the first of its line"
    built = (
        " from ".join(["variant " + version.variant, *version.lineage])
        if version.variant
        else "taken out of the log since"
    )
    through = wording.spaced(str(version.evidence.get("through") or ""))
    facts = [
        ("Settled", version.at.strftime("%Y-%m-%d %H:%M") if version.at else ""),
        ("Line", came),
        ("In the log", built),
        ("Predicted through", through),
        ("Note", version.note),
    ]
    return tuple(fact for fact in facts if fact[1])


def _settings(setup: Setup, version: SettledVersion) -> list[SettingLine]:
    rows = {row["factor"]: row for row in (version.evidence.get("tolerances") or {}).get("rows", [])}
    units = {factor.name: factor.unit for factor in setup.factors}
    lines = []
    for name, value in version.settings.items():
        row = rows.get(name)
        care = str(row["care"]) if row else ""
        kind = {"hold it": "hold", "some care": "some", "hold until known": "hold"}.get(care, "free")
        lines.append(
            SettingLine(
                text.name(name),
                wording.setting(value, units.get(name, "")),
                _drift(row, units.get(name, "")),
                care,
                kind,
            )
        )
    return lines


def _drift(row: Mapping[str, Any] | None, unit: str) -> str:
    if row is None:
        return ""
    if row["low"] is None:
        others = [level for level in row["levels"] if level != row["setting"]]
        return f"or {', '.join(others)}" if others else "no other"
    if row["low"] == row["high"]:
        return "no other" if row["kind"] == "count" else "as near as can be"
    tail = wording.unit_behind(unit)
    if row["kind"] == "count" and row["high"] - row["low"] == 1:
        return f"{wording.number(row['low'])} or {wording.number(row['high'])}{tail}"
    return f"{wording.number(row['low'])} to {wording.number(row['high'])}{tail}"


def _room(tolerances: Mapping[str, Any] | None) -> list[str]:
    return [tolerances["headline"], *tolerances["notes"]] if tolerances else []


def _parts(setup: Setup, settings: Mapping[str, Any]) -> list[tuple[str, str]]:
    """List what has to be had for one new unit, with prices where they are known."""
    parts: list[tuple[str, float]] = []
    if setup.effort.new_unit_price:
        parts.append(("material of one unit", setup.effort.new_unit_price))
    for factor in setup.factors:
        value = settings.get(factor.name)
        if value is None:
            continue
        if not factor.is_numeric:
            parts.append((f"{text.name(factor.name)}: {value}", factor.prices.get(str(value), 0.0) + factor.price))
        elif not _is_left_at_none(factor, value) and (factor.price or factor.way == "rebuild"):
            parts.append((f"{text.name(factor.name)}: {wording.setting(value, factor.unit)}", factor.price))
    lines = [(what, wording.number(price) if price else "-") for what, price in parts]
    total = sum(price for _, price in parts)
    return [*lines, ("all parts with a price", wording.number(total))] if total else lines


def _is_left_at_none(factor: Factor, value: Any) -> bool:
    """Whether a setting is the 0 that a fresh unit has anyhow."""
    return factor.is_numeric and float(value) == 0.0 and bare_setting(factor) == 0


def bench_steps(setup: Setup, settings: Mapping[str, Any]) -> list[tuple[StepLine, float]]:
    """Return the steps of a fresh build in order: what cannot be changed later first, then one-way changes, then the rest."""
    order = {"rebuild": 0, "up": 1, "down": 1, "either": 2}
    steps: list[tuple[StepLine, float]] = []
    known = [factor for factor in setup.factors if factor.name in settings]  # others came after it was settled
    made = [factor for factor in known if factor.way == "rebuild"]
    with_ = ", ".join(
        f"{text.name(factor.name)} {wording.setting(settings[factor.name], factor.unit)}" for factor in made
    )
    minutes = setup.effort.new_unit_minutes + sum(_minutes(factor, settings[factor.name]) for factor in made)
    notes = " ".join(_sentence(factor.note) for factor in made if factor.note)
    lasting = " It cannot be changed afterwards." if made else ""
    steps.append(
        (
            StepLine(f"Make a new unit{': ' + with_ if with_ else ''}.", f"{notes}{lasting}".strip(), _took(minutes)),
            minutes,
        )
    )
    rest = sorted((factor for factor in known if factor.way != "rebuild"), key=lambda factor: order[factor.way])
    for factor in rest:
        minutes = _minutes(factor, settings[factor.name])
        setting = wording.setting(settings[factor.name], factor.unit)
        is_none = _is_left_at_none(factor, settings[factor.name])
        what = (
            f"Leave {text.name(factor.name)} at {setting}."
            if is_none
            else f"Set {text.name(factor.name)} to {setting}."
        )
        one_way = "" if factor.way == "either" or is_none else f"It only goes {factor.way}: stop at {setting}."
        note = "" if is_none else f"{_sentence(factor.note)} {one_way}".strip()
        steps.append((StepLine(what, note, _took(minutes)), minutes))
    return steps


def _minutes(factor: Factor, value: Any) -> float:
    try:
        return setting_minutes(factor, bare_setting(factor), value)
    except DataError:  # a level that was taken out since
        return 0.0


def _took(minutes: float) -> str:
    return wording.duration(minutes) if minutes else ""


def _sentence(note: str) -> str:
    note = note.strip()
    return note if not note or note[-1] in ".!?" else f"{note}."


def _promises(setup: Setup, evidence: Mapping[str, Any]) -> list[PromiseLine]:
    outcomes = {outcome.name: outcome for outcome in setup.outcomes}
    findings = {row["outcome"]: row for row in (evidence.get("confirmation") or {}).get("rows", [])}
    lines = []
    for row in evidence.get("expected", []):
        outcome = outcomes.get(row["outcome"])
        found = findings.get(row["outcome"])
        lines.append(
            PromiseLine(
                text.name(row["outcome"]),
                promise(row),
                (phrase(outcome) or "no goal") if outcome else "",
                outcome.note if outcome else "",
                str(found["verdict"]) if found else "",
            )
        )
    return lines


def _confirmation(confirmation: Mapping[str, Any] | None) -> list[str]:
    if not confirmation:
        return ["It was not confirmed by fresh builds: build one and read it before anything depends on these figures."]
    findings = [str(row["finding"]) for row in confirmation["rows"]]
    return [
        f"{confirmation['headline']} {wording.counted(confirmation['readings'], 'reading')}.",
        *findings,
        *confirmation["notes"],
    ]


def _photos(project: Any, version: SettledVersion) -> list[tuple[str, str]]:
    owners = {file["sha256"]: file["variant"] for file in version.files}
    found = []
    for row in project.file.attachments():
        kind = _KINDS.get(Path(row["filename"]).suffix.casefold())
        if kind and row["sha256"] in owners and Path(row["path"]).is_file():
            data = base64.b64encode(Path(row["path"]).read_bytes()).decode("ascii")
            variant = row["variant"] or owners[row["sha256"]]  # taken out of the log since
            found.append(
                (
                    variant != version.variant,
                    f"data:{kind};base64,{data}",
                    f"variant {variant}: {row['note'] or row['filename']}",
                )
            )
    found.sort(key=lambda photo: photo[0])
    once: dict[str, str] = {}  # one picture may have been kept with several variants
    for _, address, caption in found:
        once.setdefault(address, caption)
    return list(once.items())[:_MOST_PHOTOS]
