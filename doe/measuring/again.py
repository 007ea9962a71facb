"""Readings computed anew from their kept files, after a recipe or what it uses has changed."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from doe.measuring.check import unit_warning
from doe.measuring.choice import chosen_outcomes, compute_outcome
from doe.measuring.results import Change, Recomputed
from doe.measuring.takes import Kept, is_reference_itself, kept_takes, under_its_name
from doe.model.change import find_variant
from doe.model.errors import DataError, listed
from doe.model.given import check_names
from doe.model.outcome import Outcome
from doe.model.records import Computation
from doe.model.wording import counted, exact
from doe.signals.recipes import Measured, check_recipe, plain_settings
from doe.store import ProjectFile
from doe.store.attachments import hash_of
from doe.store.snapshot import take_snapshot

Row = Mapping[str, Any]


def measure_again(
    file: ProjectFile, variants: Sequence[str] = (), outcomes: Sequence[str] = (), *, dry_run: bool = False
) -> Recomputed:
    """Compute readings anew wherever the recipe, its version or a file that it uses differs from before.

    The new values supersede the old ones; nothing is overwritten. A value that was put in by hand is left alone.

    Parameters
    ----------
    file : ProjectFile
        The project.
    variants, outcomes : sequence of str
        Which; by default all.
    dry_run : bool
        Whether only to compute.

    Raises
    ------
    DataError
        If a variant, an outcome or a kept file cannot be used; nothing is stored then.
    UsageError
        If a recipe holds what it may not.
    """
    variants, outcomes = check_names("variants", variants), check_names("outcomes", outcomes)
    known = take_snapshot(file.path)
    names = {find_variant(name, known.variants).name for name in variants}
    rows = [row for row in file.computations() if not names or row["variant"] in names]
    chosen = chosen_outcomes(known.setup.outcomes, outcomes)
    by_name = {outcome.name: outcome for outcome in chosen}
    notes = [] if outcomes else _without_recipe(rows, known.setup.outcomes)
    with kept_takes(file, chosen, known.variants) as kept, TemporaryDirectory(prefix="fettle-") as folder:
        due = [(row, by_name[row["outcome"]]) for row in rows if row["outcome"] in by_name]
        due = [(row, outcome) for row, outcome in due if _is_due(row, outcome, kept)]
        made = [(row, outcome, _computed(row, outcome, kept, Path(folder))) for row, outcome in due]
        fresh = [(row["id"], made_now.values[0], _how(row, made_now, kept)) for row, _, made_now in made]
        changes = tuple(
            _change(row, outcome, now, how) for (row, outcome, now), (_, _, how) in zip(made, fresh, strict=True)
        )
    warnings = [unit_warning(outcome, now.unit) for _, outcome, now in made]
    warnings += [text for _, _, now in made for text in now.warnings]
    notes += [text for _, _, now in made for text in now.notes]
    entry = None
    if changes and not dry_run:
        entry = file.recompute(fresh, _summary(changes), changes[0].variant if len(names) == 1 else "")
    return Recomputed(changes, entry, tuple(filter(None, dict.fromkeys(warnings))), tuple(dict.fromkeys(notes)))


def _without_recipe(rows: Sequence[Row], outcomes: Sequence[Outcome]) -> list[str]:
    bare = {outcome.name for outcome in outcomes if not outcome.recipe}
    counts = {name: sum(row["outcome"] == name for row in rows) for name in sorted(bare)}
    return [
        f"{name} has no recipe any more; its {counted(count, 'computed reading')} stay as they are."
        for name, count in counts.items()
        if count
    ]


def _is_due(row: Row, outcome: Outcome, kept: Kept) -> bool:
    if is_reference_itself(outcome, row["variant"]):
        return False
    recipe, settings = check_recipe(outcome.recipe)
    before: Computation = row["computation"]
    plain = plain_settings(settings)
    now = (recipe.name, recipe.version, _through_text(plain), kept.uses(plain))
    return now != (before.recipe, before.version, before.settings, before.uses)


def _computed(row: Row, outcome: Outcome, kept: Kept, folder: Path) -> Measured:
    """Compute one reading from its kept bytes.

    Raises
    ------
    DataError
        If these are gone or were altered, or cannot be measured in the new way.
    """
    path, name = row["path"], row["filename"] or "the file"
    if not path.is_file():
        raise DataError(f"{name} of variant {row['variant']} is missing: {path} does not exist.")
    if hash_of(path) != row["computation"].sha256:
        raise DataError(f"{name} of variant {row['variant']} was altered: {path} is no longer what was measured.")
    own = under_its_name(path, name, folder / row["computation"].sha256)
    return compute_outcome(outcome, [own], kept.context)


def _how(row: Row, now: Measured, kept: Kept) -> Computation:
    return Computation(now.recipe, now.version, now.settings, row["computation"].sha256, kept.uses(now.settings))


def _change(row: Row, outcome: Outcome, now: Measured, how: Computation) -> Change:
    return Change(
        reading=row["id"],
        variant=row["variant"],
        outcome=outcome.name,
        unit=now.unit or outcome.unit,
        file=row["filename"],
        before=row["value"],
        after=outcome.read(now.values[0]),
        why=_why(row["computation"], how),
    )


def _why(before: Computation, now: Computation) -> str:
    """Say what differs: the recipe, its version, a key, a file."""
    if (before.recipe, before.version) != (now.recipe, now.version):
        name = "" if before.recipe == now.recipe else f"{now.recipe} "
        return f"{before.recipe} {before.version} -> {name}{now.version}"
    old, new = before.settings, _through_text(now.settings)
    keys = [key for key in new if old.get(key) != new[key]]
    parts = [f"{key} {_shown(old.get(key))} -> {_shown(new[key])}" for key in keys]
    if not parts:
        files = [name for name in {**before.uses, **now.uses} if before.uses.get(name) != now.uses.get(name)]
        parts = [f"{name} {_fate(name, before, now)}" for name in files]
    return ", ".join(parts)


def _fate(name: str, before: Computation, now: Computation) -> str:
    if name not in before.uses:
        return "is new"
    return "is gone" if name not in now.uses else "was changed"


def _shown(value: object) -> str:
    if isinstance(value, list):
        return f"[{', '.join(map(_shown, value))}]"
    if value is None:
        return "none"
    return exact(value) if isinstance(value, float) else str(value)


def _summary(changes: Sequence[Change]) -> str:
    if len(changes) == 1:
        return f"recomputed {changes[0].line()}"
    names = listed(dict.fromkeys(change.outcome for change in changes), "and")
    return f"recomputed {counted(len(changes), 'reading')} of {names} from the kept files"


def _through_text(settings: Mapping[str, Any]) -> dict[str, Any]:
    """Return settings as they are once written and read."""
    read: dict[str, Any] = json.loads(json.dumps(dict(settings)))
    return read
