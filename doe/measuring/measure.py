"""Takes of one variant measured, and stored as readings with their files: all of it, or nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from doe.measuring.check import unit_warning
from doe.measuring.choice import chosen_outcomes, compute_outcome
from doe.measuring.results import Measurements, OutcomeMeasured
from doe.measuring.takes import Kept, Take, is_reference_itself, kept_takes, look_at
from doe.model.change import find_variant
from doe.model.errors import DataError, UsageError, listed
from doe.model.given import check_facts, check_names, check_text
from doe.model.names import spelled_alike
from doe.model.outcome import Outcome
from doe.model.planned import not_built
from doe.model.records import Computation, KeptFile, Reading, Variant
from doe.store import ProjectFile
from doe.store.attachments import TAKE, USED, hash_of
from doe.store.clock import now
from doe.store.snapshot import take_snapshot


def measure(
    file: ProjectFile,
    variant: str,
    files: Path | str | Sequence[Path | str],
    outcomes: Sequence[str] = (),
    *,
    session: str | None = None,
    rater: str | None = None,
    when: datetime | None = None,
    note: str = "",
    dry_run: bool = False,
) -> Measurements:
    """Measure outcomes from the takes of a variant, and keep the takes beside the project.

    Parameters
    ----------
    file : ProjectFile
        The project.
    variant : str
        What was measured.
    files : path or sequence of path
        One per take: put up anew, measured again.
    outcomes : sequence of str
        Which; by default all that have a recipe.
    session, rater, when, note
        Of the readings; a session that is not known yet is made.
    dry_run : bool
        Whether only to compute.

    Raises
    ------
    DataError
        If variant, outcome, recipe or file cannot be used, or a take was measured before; nothing is stored then.
    UsageError
        If a recipe holds what it may not, or there is no file.
    """
    check_text("variant", variant)
    check_facts(when, note, session=session, rater=rater)
    outcomes = check_names("outcomes", outcomes)
    known = take_snapshot(file.path)
    found = find_variant(variant, known.variants)
    if found.status == "planned":
        raise not_built(found.name, "measuring it")
    chosen = chosen_outcomes(known.setup.outcomes, outcomes)
    takes = look_at([files] if isinstance(files, str | Path) else files)
    work, notes = _still_to_do(file, found.name, chosen, takes, is_named=bool(outcomes), is_stored=not dry_run)
    with kept_takes(file, chosen, known.variants) as kept:
        done = _computed(work, kept, is_named=bool(outcomes))
        facts = {"session": session, "rater": rater, "when": when or now(), "note": note, "unit": found.unit}
        result = _told(found, takes, done, [*_shared(file, found.name, takes)], notes)
        if dry_run:
            return result
        made = [_readings(found, item, own, kept, facts) for item, (_, own) in zip(done, work, strict=True)]
        entry, numbers = file.add_measured(
            [row for rows in made for row in rows], _files(found, takes, done, kept), found.name
        )
    is_new = session is not None and not spelled_alike(session, [item.name for item in known.sessions])
    return replace(result, entry=entry, measured=_numbered(done, numbers), is_new_session=is_new and bool(numbers))


def _computed(work: Sequence[tuple[Outcome, list[Take]]], kept: Kept, *, is_named: bool) -> list[OutcomeMeasured]:
    """Compute each outcome; where one does not fit the files, say how to measure others."""
    done = []
    for outcome, own in work:
        try:
            done.append(OutcomeMeasured(outcome, compute_outcome(outcome, [take.path for take in own], kept.context)))
        except (DataError, UsageError) as err:
            if len(work) > 1 and not is_named:
                err.command = (
                    err.command or "if the files are not for it, name the outcomes they are for with --outcome"
                )
            raise
    return done


def _still_to_do(
    file: ProjectFile,
    variant: str,
    chosen: Sequence[Outcome],
    takes: Sequence[Take],
    *,
    is_named: bool,
    is_stored: bool,
) -> tuple[list[tuple[Outcome, list[Take]]], list[str]]:
    """Leave out what was measured before, so that no take counts twice, and what a reference is compared with.

    Raises
    ------
    DataError
        If an outcome was named, or nothing at all is left.
    """
    before = file.takes_read(variant)
    work: list[tuple[Outcome, list[Take]]] = []
    notes: list[str] = []
    refusal: DataError | None = None
    for outcome in chosen:
        if is_reference_itself(outcome, variant):
            notes.append(f"{outcome.name} compares with {variant} itself; its takes are kept for that, and not read.")
            continue
        left = [take for take in takes if not is_stored or (outcome.name, take.sha256) not in before]
        for take in takes:
            if take not in left:
                number = before[outcome.name, take.sha256]
                told = (
                    f"{take.path.name} was measured for {outcome.name} of variant {variant} already (reading {number})"
                )
                refusal = refusal or DataError(
                    f"{told}; each take counts once.", command="'fettle measure --again' recomputes it"
                )
                notes.append(f"{told}; it was not measured twice.")
        work += [(outcome, left)] if left else []
    if is_stored and not work and all(take.sha256 in _kept_of(file, variant) for take in takes):
        told = f"{takes[0].path.name} is kept of variant {variant} already"
        refusal = refusal or DataError(f"{told}; each take counts once.")
    if refusal is not None and (is_named or not work):
        raise refusal
    return work, notes


def _kept_of(file: ProjectFile, variant: str) -> set[str]:
    return {row["sha256"] for row in file.attachments() if row["note"] == TAKE and row["variant"] == variant}


def _shared(file: ProjectFile, variant: str, takes: Sequence[Take]) -> list[str]:
    """Say which takes are kept for another variant too."""
    others: dict[str, list[str]] = {}
    for row in file.attachments():
        if row["note"] == TAKE and row["variant"] not in (None, variant):
            others.setdefault(row["sha256"], []).append(row["variant"])
    return [
        f"{take.path.name} is a take of variant {listed(others[take.sha256], 'and')} too; make sure whose it is."
        for take in takes
        if take.sha256 in others
    ]


def _told(
    variant: Variant,
    takes: Sequence[Take],
    done: Sequence[OutcomeMeasured],
    warnings: Sequence[str],
    notes: Sequence[str],
) -> Measurements:
    units = [unit_warning(item.outcome, item.measured.unit) for item in done]
    said = [*warnings, *filter(None, units), *(text for item in done for text in item.measured.warnings)]
    noted = [*notes, *(text for item in done for text in item.measured.notes)]
    names = tuple(take.path.name for take in takes)
    return Measurements(
        variant.name, names, tuple(done), warnings=tuple(dict.fromkeys(said)), notes=tuple(dict.fromkeys(noted))
    )


def _readings(
    variant: Variant, item: OutcomeMeasured, takes: Sequence[Take], kept: Kept, facts: Mapping[str, Any]
) -> list[tuple[Reading, Computation]]:
    made = item.measured
    uses = kept.uses(made.settings)
    return [
        (
            Reading(variant.name, item.outcome.name, item.outcome.read(value), **facts),
            Computation(made.recipe, made.version, made.settings, take.sha256, uses),
        )
        for take, value in zip(takes, made.values, strict=True)
    ]


def _files(variant: Variant, takes: Sequence[Take], done: Sequence[OutcomeMeasured], kept: Kept) -> list[KeptFile]:
    """Return the takes, and each file that a recipe used."""
    used = dict.fromkeys(path for item in done for path in kept.used_files(item.measured.settings))
    return [
        *(KeptFile(take.path, take.sha256, variant.name, TAKE) for take in takes),
        *(KeptFile(path, hash_of(path), None, USED) for path in used),
    ]


def _numbered(done: Sequence[OutcomeMeasured], numbers: Sequence[int]) -> tuple[OutcomeMeasured, ...]:
    rest = iter(numbers)
    return tuple(replace(item, readings=tuple(next(rest) for _ in item.measured.values)) for item in done)
