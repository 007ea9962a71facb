"""The part of a project file that keeps adopted plans, and marks what is built of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import duckdb

from doe.model.errors import DataError
from doe.model.planned import AdoptedPlan, Run
from doe.model.records import Unit
from doe.model.wording import counted
from doe.store import definitions, journal, plans, units, variants
from doe.store.build_records import put_variant
from doe.store.journal import Entry
from doe.store.kept import find, names_to_ids, shown
from doe.store.opened import Opened
from doe.store.receipts import Build
from doe.store.snapshot import Snapshot, read_snapshot


class PlanRecords(Opened):
    """Adopts, edits and abandons plans; takes in that a planned variant is built."""

    def plans(self) -> list[AdoptedPlan]:
        """Return the adopted plans, oldest first; built ones too."""
        with self._reading() as con:
            return plans.load(con, variants.load(con, definitions.load(con)))

    def adopted_plan(self) -> AdoptedPlan | None:
        """Return the plan that is being built, if any."""
        return plans.current(self.plans())

    def adopt_plan(self, facts: Mapping[str, Any], runs: Sequence[Run]) -> Entry:
        """Keep a plan: each run becomes a planned variant.

        Parameters
        ----------
        facts : mapping
            What it is, as plain data.
        runs : sequence of Run
            In run order.

        Raises
        ------
        DataError
            If another plan has runs left, there are no runs, or settings are not allowed.
        """
        if not runs:
            raise DataError("The plan has no runs, so there is nothing to adopt.")
        with self._writing() as con:
            entry = journal.begin(con)
            defined = definitions.load(con)
            kept = variants.load(con, defined)
            other = plans.current(plans.load(con, kept))
            if other is not None:
                raise DataError(
                    f"A plan is being built already ({other.headline.rstrip('.')}); abandon it first.",
                    command="'fettle plan --abandon' does that",
                )
            named, ids = plans.add_runs(con, entry, runs, kept, defined)
            plans.put(con, entry, facts, named, ids)
            return journal.close(con, entry, "plan", plans.told(facts, named))

    def edit_plan(self, facts: Mapping[str, Any], runs: Sequence[Run]) -> Entry:
        """Change the plan that is being built; runs that are built stay as they are.

        Parameters
        ----------
        facts : mapping
            What it is now.
        runs : sequence of Run
            All runs in order. One that names a planned variant changes its settings, one without a name is new, and a planned
            variant that none names is taken out.

        Raises
        ------
        DataError
            If no plan is being built, a run names a variant that is none of its runs, a built one would be changed or left
            out, or settings are not allowed.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            defined = definitions.load(con)
            kept = variants.load(con, defined)
            plan = plans.open_one(con, kept)
            changed = _changed(plan, runs)
            for run in changed:
                variants.correct(con, entry, kept, run.variant, {"settings": run.settings}, defined)
            named_in = {run.variant for run in runs}
            dropped = [name for name in plan.left if name not in named_in]
            for name in dropped:
                variants.withdraw(con, entry, kept, name, defined)
            fresh, ids = plans.add_runs(con, entry, [run for run in runs if not run.variant], kept, defined)
            waiting = iter(fresh)
            everything = [run if run.variant else next(waiting) for run in runs]
            plans.put(con, entry, facts, everything, ids, plan)
            parts = [(len(changed), "changed"), (len(fresh), "added"), (len(dropped), "taken out")]
            told = ", ".join(f"{counted(count, 'run')} {what}" for count, what in parts if count)
            return journal.close(con, entry, "plan", f"edited the plan: {told or 'another order'}")

    def abandon_plan(self) -> Entry:
        """Give the plan up that is being built: its runs that are not built are withdrawn, the others stay.

        Raises
        ------
        DataError
            If no plan is being built.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            defined = definitions.load(con)
            kept = variants.load(con, defined)
            plan = plans.open_one(con, kept)
            for name in plan.left:
                variants.withdraw(con, entry, kept, name, defined)
            ids = {item.record.name: item.id for item in kept}
            plans.put(con, entry, plan.facts, plan.runs, ids, plan, withdrawn=True)
            left = f"{counted(len(plan.left), 'run')} not built, {len(plan.runs) - len(plan.left)} built"
            return journal.close(con, entry, "plan", f"abandoned the plan: {left}")

    def build_planned(self, name: str, /, *, new_unit: Unit | None = None, **facts: Any) -> Entry:
        """Take in that a planned variant is built.

        Parameters
        ----------
        name : str
            The variant.
        new_unit : Unit, optional
            A unit made for it, taken in with the same entry.
        **facts
            Fields of `Variant` as they came out: `unit`, `parent`, `when`, `settings`, ...

        Raises
        ------
        DataError
            If it is unknown or built already, or the unit cannot be changed that way.
        """
        with self._writing() as con:
            return _put_planned(con, name, new_unit, facts)

    def log_build(self, work_out: Callable[[Snapshot], Build]) -> tuple[Entry, Build]:
        """Store a build that is worked out from the records as they are at that very moment.

        Nobody else can write between the two, so that a change is never put on top of a state that its unit has left.

        Parameters
        ----------
        work_out : callable
            Told what the project holds, it returns the build.

        Raises
        ------
        DataError, UsageError
            As `work_out`, `add_variant` and `build_planned` do.
        """
        with self._writing() as con:
            build = work_out(read_snapshot(con))
            if build.planned is not None:
                return _put_planned(con, build.planned, build.new_unit, build.facts), build
            return put_variant(con, build.variant, number_on=build.number_on, new_unit=build.new_unit), build


def _put_planned(con: duckdb.DuckDBPyConnection, name: str, new_unit: Unit | None, facts: Mapping[str, Any]) -> Entry:
    """Store within a transaction that a planned variant is built; see `PlanRecords.build_planned`."""
    entry = journal.begin(con)
    defined = definitions.load(con)
    kept = variants.load(con, defined)
    planned = find(kept, name, "Variant").record
    if planned.status != "planned":
        raise DataError(f"Variant {planned.name} is built already.")
    if new_unit is not None:
        units.add(con, entry, [new_unit], defined, names_to_ids(con, "live_unit"))
    new = replace(planned, **{**facts, "status": "built"})
    if new.unit is not None:
        unit = find(units.load(con, defined, kept), new.unit, "Unit").record
        units.check_change(new, unit, defined.setup().factors)
    variants.correct(con, entry, kept, name, {**facts, "status": "built"}, defined)
    where = f" on {new.unit}" if new.unit else ""
    changes = {key: value for key, value in new.settings.items() if planned.settings.get(key) != value}
    but = f", but with {', '.join(f'{key} {shown(value)}' for key, value in changes.items())}" if changes else ""
    return journal.close(con, entry, "variant", f"built variant {name} as planned{where}{but}", subject=new.name)


def _changed(plan: AdoptedPlan, runs: Sequence[Run]) -> list[Run]:
    """Return the runs whose settings are changed by an edit.

    Raises
    ------
    DataError
        If a run names a variant that is none of the plan's, is named twice, or a built one is changed or left out.
    """
    known = {variant.name: variant for variant in plan.variants}
    names = [run.variant for run in runs if run.variant]
    for name in names:
        if name not in known:
            raise DataError(f"Variant '{name}' is no run of the plan; leave the name empty for a new run.")
        if names.count(name) > 1:
            raise DataError(f"Variant {name} is a run of the plan twice; leave the name empty for a new run.")
    built = [name for name, variant in known.items() if variant.status == "built"]
    changed = [run for run in runs if run.variant and dict(run.settings) != dict(known[run.variant].settings)]
    touched = [name for name in built if name not in names] + [run.variant for run in changed if run.variant in built]
    if touched:
        raise DataError(f"Variant {touched[0]} is built already, so it stays a run of the plan, with its settings.")
    if len(names) == len(runs) and set(names) == set(built):
        raise DataError("Nothing is left to build in the edited plan; abandon it instead.")
    return changed
