"""One tuning effort: the place where the store meets the engines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from doe.model.change import Change, broken_told, find_variant, resolve_change
from doe.model.errors import DataError, FettleError, UsageError, did_you_mean, listed, there_are
from doe.model.given import as_mapping, check_facts, check_names, check_one, check_text
from doe.model.outcome import Outcome
from doe.model.records import Reading, Unit, Variant, changed_since, newly_against_ways, read_settings
from doe.model.setup import Setup, check_factors
from doe.model.slips import slip, slips_among, slips_in_time, slips_of_build
from doe.model.wording import counted, setting, spaced
from doe.planning import Planning
from doe.planning.adopted import beside_advice
from doe.settling import Settling
from doe.store import ProjectFile
from doe.store.clock import now
from doe.store.photos import clean_photo
from doe.store.readings import with_known_raters
from doe.store.receipts import Build, Imported, Logged, ReadingsStored
from doe.store.sessions import with_known
from doe.store.setup_file import read_setup
from doe.store.snapshot import Snapshot, take_snapshot

if TYPE_CHECKING:
    import pandas as pd

    from doe.advise import Advice, Track
    from doe.advise.what_if import WhatIf
    from doe.fit.effects import Effects
    from doe.measuring import Measurements, Recomputed
    from doe.store import Entry

_PHOTO = "a file name with its content in bytes"


class Project(Planning, Settling):
    """A project file with its history, and the questions that can be asked of it.

    The file is opened for a moment whenever something is asked or stored, so there is nothing to close. Threads and processes
    may share a project, and it can be pickled.

    Parameters
    ----------
    file : ProjectFile
        Of the store; `doe.open` and `doe.create` make one from a path.
    """

    def __init__(self, file: ProjectFile) -> None:
        self.file = file

    @classmethod
    def create(cls, path: str | Path, setup: Setup | str | Path | None = None) -> Project:
        """Start a project file.

        Parameters
        ----------
        path : str or Path
            Of the new file, such as ``"radio.duckdb"``.
        setup : Setup, str or Path, optional
            The definitions, or the TOML file that holds them; empty by default.

        Raises
        ------
        StoreError
            If a file is there already, or none can be written.
        DataError
            If the setup file cannot be read.
        UsageError
            If an outcome's recipe cannot be used or its goal lies beyond its scale, no settings keep the limits, or a derived
            quantity never gives a number.
        """
        if setup is None or isinstance(setup, str | Path):
            setup = read_setup(setup) if setup is not None else Setup()
        check_one("setup", setup, Setup)
        if any(outcome.recipe for outcome in setup.outcomes):
            from doe.measuring import check_setup  # scipy takes longer than making a project

            check_setup(setup)
        return cls(ProjectFile.create(Path(path), setup))

    @classmethod
    def open(cls, path: str | Path) -> Project:
        """Open a project file.

        Raises
        ------
        StoreError
            If it is missing, no project, or written by a newer version.
        """
        return cls(ProjectFile.open(Path(path)))

    @property
    def path(self) -> Path:
        """Where the file is."""
        return Path(self.file.path)

    @property
    def setup(self) -> Setup:
        """The definitions as they count now."""
        return self.file.setup()

    def snapshot(self) -> Snapshot:
        """Return definitions, units, variants and sessions, all of the same moment."""
        return take_snapshot(self.path)

    def readings(self) -> pd.DataFrame:
        """Return one row per reading, with the settings of its variant."""
        return self.file.readings_frame()

    def variants(self) -> pd.DataFrame:
        """Return one row per variant."""
        return self.file.variants_frame()

    def units(self) -> pd.DataFrame:
        """Return one row per unit with its present settings."""
        return self.file.units_frame()

    def history(self) -> pd.DataFrame:
        """Return one row per acknowledged change, oldest first."""
        import pandas as pd  # only frames need it

        columns = ["id", "at", "kind", "summary", "subject", "takes_back", "taken_back_by"]
        rows = [[getattr(entry, name) for name in columns] for entry in self.file.history()]
        return pd.DataFrame(rows, columns=columns)

    def analyse(self, outcome: str, terms: str | Sequence[str] | None = None, seed: int = 1) -> Effects:
        """Find out which factor moves an outcome.

        Parameters
        ----------
        outcome : str
            Its name.
        terms : {"main", "two-factor", "quadratic"} or sequence of str, optional
            What to look for; by default the engine searches.
        seed : int
            Of whatever is drawn at random.

        Raises
        ------
        UsageError
            If the outcome or a term is unknown.
        DataError, FitError
            If the readings cannot answer the question.
        """
        from doe.fit import analyse  # numpy and pandas take longer than a whole `fettle log`

        setup = self.setup
        return analyse(
            self.readings(),
            setup.factors,
            _outcome(setup, outcome),
            terms=terms,
            derived=setup.derived,
            limits=setup.limits,
            seed=seed,
        )

    def recommend(
        self,
        count: int = 1,
        *,
        hours: float | None = None,
        only: Literal["improve", "learn"] | None = None,
        unit: str | None = None,
        seed: int = 1,
    ) -> Advice:
        """Work out the next change that is worth its bench time.

        Parameters
        ----------
        count : int
            How many suggestions.
        hours : float, optional
            Bench hours that are left.
        only : {"improve", "learn"}, optional
            Look at one side of a move only.
        unit : str, optional
            Consider this unit only; ``"new"`` for a new one.
        seed : int
            Of the posterior draws.

        Raises
        ------
        UsageError
            If an argument is unknown.
        DataError, FitError
            If nothing can be recommended from what is there.
        """
        from doe.advise import recommend

        setup, readings = self.setup, self.readings()
        check_factors(setup)
        advice = recommend(
            readings,
            setup.factors,
            setup.outcomes,
            units=self.units(),
            effort=setup.effort,
            limits=setup.limits,
            derived=setup.derived,
            expectations=setup.expectations,
            count=count,
            hours=hours,
            only=only,
            unit=unit,
            seed=seed,
            widen=self._track(readings, setup).widen,
        )
        waiting = beside_advice(self.file.variants(), advice.table, setup.factors)
        return replace(advice, notes=(*advice.notes, waiting)) if waiting else advice

    def predict(
        self, changes: Mapping[str, object] | None = None, *, start: str | None = None, seed: int = 1
    ) -> WhatIf:
        """Predict settings, built or not, beside the variant that they start from, and say what they take.

        Parameters
        ----------
        changes : mapping of str to setting, optional
            What is to be otherwise than in the variant.
        start : str, optional
            The variant; by default the best one.
        seed : int
            Of whatever is drawn at random.

        Raises
        ------
        DataError
            If no variant is known to be the best, or a name or a setting is not allowed.
        """
        from doe.advise.effort import bought_levels
        from doe.advise.nearest import all_starts
        from doe.advise.what_if import WhatIf, foresee

        known = self.snapshot()
        setup = known.setup
        variant = find_variant(start or self._best(seed), [item for item in known.variants if item.settings])
        settings = read_settings(as_mapping("changes", changes or {}), setup.factors, variant.settings)
        analyses, refusals = [], {}
        for outcome in setup.outcomes:
            try:
                analyses.append(self.analyse(outcome.name, seed=seed))
            except FettleError as err:
                refusals[outcome.name] = str(err)
        found = foresee(analyses, settings, variant.settings)
        there = [*(item.settings for item in known.variants), *(unit.settings for unit in known.units)]
        return WhatIf(
            start=variant.name,
            settings=settings,
            changed=tuple(
                f"{spaced(factor.name)} {setting(settings[factor.name], factor.unit)}"
                for factor in setup.factors
                if settings[factor.name] != variant.settings.get(factor.name)
            ),
            foreseen=tuple(found),
            refusals=refusals | {one.outcome.name: one.refusal for one in found if one.refusal},
            ways=tuple(
                all_starts(setup.factors, known.units, settings, setup.effort, bought_levels(setup.factors, there))
            ),
            broken=broken_told(settings, setup),
        )

    def _best(self, seed: int) -> str:
        best = self.recommend(seed=seed).best.get("variant") if len(self.readings()) else None
        if not best:
            raise DataError(
                "No variant is known to be the best yet.", command="--start VARIANT names one to start from"
            )
        return str(best)

    def keep_advice(self, advice: Advice) -> list[Entry]:
        """Put suggestions on record with their predictions, to be held against what comes.

        Advice that is on record already, word for word, is not kept twice.

        Returns
        -------
        list of Entry
            One for each suggestion that was new.
        """
        from doe.advise import Advice
        from doe.advise.record import suggestions_of

        check_one("advice", advice, Advice)
        return self.keep_suggestions(suggestions_of(advice, [factor.name for factor in self.setup.factors]))

    def keep_suggestions(self, bodies: Sequence[Mapping[str, Any]]) -> list[Entry]:
        """Put suggestions on record as `doe.advise.record.suggestions_of` gives them; each only once."""
        known = [{**kept, "id": None, "at": None} for kept in self.file.suggestions()]
        return self.file.add_suggestions([body for body in bodies if {**body, "id": None, "at": None} not in known])

    def track(self) -> Track:
        """Hold the predictions on record against the readings that came after them."""
        return self._track(self.readings(), self.setup)

    def _track(self, readings: pd.DataFrame, setup: Setup) -> Track:
        from doe.advise.track import track

        suggestions = self.file.suggestions()
        times = self.file.reading_times() if suggestions else {}
        timed = readings.assign(at=readings["id"].map(times).astype("datetime64[us]"))
        return track(suggestions, timed, setup.factors, setup.outcomes)

    def import_log(
        self, path: str | Path, mapping: Mapping[str, str] | None = None, *, dry_run: bool = False
    ) -> Imported:
        """Bring in a log kept in a spreadsheet; all of it, or nothing.

        Parameters
        ----------
        path : str or Path
            CSV, Parquet or XLSX, long or wide.
        mapping : mapping of str to str, optional
            Column name in the file -> name here.
        dry_run : bool
            Whether only to read and check it.

        Raises
        ------
        ImportProblems
            With every cell that cannot be read.
        DataError
            If the file holds no log, or was imported before.
        """
        from doe.store import read_log

        there = self.snapshot()
        variants, units = [item.name for item in there.variants], [item.name for item in there.units]
        log = read_log(
            Path(path),
            there.setup,
            dict(mapping or {}),
            known=variants,
            known_units=units,
            planned=[item.name for item in there.variants if item.status == "planned"],
            first=int(there.next_name),
            refuse_known=self.file.refuse_imported,
        )
        entry = None
        if not dry_run:
            entry = self.file.import_rows(
                log.variants, log.sessions, log.units, log.readings, source=log.source, digest=log.digest
            )
        return Imported(
            variants=len(log.variants),
            readings=len(log.readings),
            sessions=len(log.sessions),
            units=len(log.units),
            notes=(
                *log.notes,
                *_against_ways(there, log.variants),
                *(f"{note}." for note in self._slips_in(log.readings)),
            ),
            entry=entry,
        )

    def log(
        self,
        settings: Mapping[str, object],
        *,
        unit: str | None = None,
        new_unit: str | None = None,
        start: str | None = None,
        name: str | None = None,
        again: bool = False,
        planned: str | None = None,
        minutes: float | None = None,
        price: float | None = None,
        when: datetime | None = None,
        note: str = "",
        photos: Sequence[tuple[str, bytes]] = (),
    ) -> Logged:
        """Log a variant by what was changed.

        Parameters
        ----------
        settings : mapping of str to object
            Factor -> setting, for those that changed.
        unit, new_unit, start, again
            Where it was made; see `doe.model.change.resolve_change`.
        planned : str, optional
            The planned variant that was built; by default the first one planned with these settings.
        name : str, optional
            Its label; otherwise the next number.
        minutes, price : float, optional
            Effort actually spent.
        when : datetime, optional
            When it was built; now by default.
        note : str
            Free text.
        photos : sequence of (str, bytes)
            File name and content of JPEG or PNG pictures, kept without their location and other metadata.

        Raises
        ------
        UsageError
            If it is not clear which unit is meant, or an argument is of the wrong kind.
        DataError
            If a setting is not allowed, a limit broken, a one-way change turned back, the name taken, or a photo no
            picture; nothing is stored then.
        """
        check_facts(when, note, unit=unit, new_unit=new_unit, start=start, name=name, planned=planned)
        settings = as_mapping("settings", settings)
        check_names("settings", settings)
        cleaned = [(file, clean_photo(data, file)) for file, data in _pairs("photos", photos, _PHOTO)]
        where: dict[str, Any] = {"unit": unit, "new_unit": new_unit, "start": start, "again": again, "planned": planned}
        told: dict[str, Any] = {"minutes": minutes, "price": price, "when": when or now(), "note": note}

        def work_out(known: Snapshot) -> Build:
            change = resolve_change(known.setup, known.units, known.variants, settings, **where)
            variant = Variant(name or known.next_name, change.settings, unit=change.unit, parent=change.parent, **told)
            as_planned = self._planned_as(change, planned, name, known.variants)
            return Build(variant, change, known.setup, as_planned, number_on=name is None)

        entry, build = self.file.log_build(work_out)
        kept = tuple(self.file.attach(entry.subject, file, data) for file, data in cleaned)
        stored = replace(build.variant, name=entry.subject)
        notes = tuple(slips_of_build(stored.name, stored.when, stored.minutes, now()))
        return Logged(stored, build.change, entry, build.setup, kept, build.planned is not None, notes)

    def log_reference(self, name: str, *, note: str = "", photos: Sequence[tuple[str, bytes]] = ()) -> Logged:
        """Log a reference object: one that is heard and measured but has no settings.

        Raises
        ------
        DataError
            If the name is taken, or a photo is no picture.
        """
        check_facts(None, note)
        cleaned = [(file, clean_photo(data, file)) for file, data in _pairs("photos", photos, _PHOTO)]
        variant = Variant(name, when=now(), note=note)
        entry = self.file.add_variant(variant)
        kept = tuple(self.file.attach(name, file, data) for file, data in cleaned)
        return Logged(variant, Change({}, {}, None, None, False, None), entry, self.setup, kept)

    def read(
        self,
        variant: str,
        values: Sequence[tuple[str, object]] | Mapping[str, object],
        *,
        versus: str | None = None,
        session: str | None = None,
        rater: str | None = None,
        order: int | None = None,
        when: datetime | None = None,
        note: str = "",
    ) -> ReadingsStored:
        """Log readings of a variant.

        Parameters
        ----------
        variant : str
            What was read.
        values : sequence of (str, object) or mapping
            Outcome and value as typed; an outcome may come several times.
        versus : str, optional
            The second variant of a comparison.
        session, rater, order, when, note
            Under which conditions; a session that is not known yet is made; rater and session are spelled as at first.

        Raises
        ------
        DataError
            If the variant or outcome is unknown, or a value is not allowed; nothing is stored then.
        UsageError
            If there is no value, or an argument is of the wrong kind.
        """
        check_text("variant", variant)
        check_facts(when, note, versus=versus, session=session, rater=rater)
        pairs = _pairs("values", values, "an outcome with its value")
        if not pairs:
            raise UsageError("There is nothing to store: give at least one outcome with its value.")
        known = self.snapshot()
        found = find_variant(variant, known.variants)
        second = find_variant(versus, known.variants).name if versus is not None else None
        facts = {"session": session, "rater": rater, "order": order, "when": when or now(), "note": note}
        typed = [
            _reading(found, name, value, known.setup, second, {**facts, "unit": found.unit}) for name, value in pairs
        ]
        sessions = [item.name for item in known.sessions]
        readings = tuple(with_known(with_known_raters(typed, self.file.raters() if rater else ()), sessions))
        is_new = session is not None and readings[0].session not in sessions
        notes = (*self._slips(readings, known.setup), *([] if when else self._no_longer_there(found, known.units)))
        return ReadingsStored(readings, is_new, self.file.add_readings(readings), known.setup, notes)

    def _no_longer_there(self, variant: Variant, units: Sequence[Unit]) -> list[str]:
        """Say that the unit is another variant by now, which nobody has read yet."""
        unit = changed_since(variant, units)
        if unit is None or unit.variant in (None, variant.name) or self.file.readings(variant=unit.variant):
            return []
        return [
            f"unit {unit.name} carries variant {unit.variant} by now, which is unread; this was stored for {variant.name}"
        ]

    def _slips_in(self, readings: Sequence[Reading]) -> list[str]:
        return [
            note
            for outcome in self.setup.outcomes
            for note in slips_among(outcome, [item.value for item in readings if item.outcome == outcome.name])
        ] + _dated_late(readings)

    def _slips(self, readings: Sequence[Reading], setup: Setup) -> tuple[str, ...]:
        """Say which readings lie far from all before them, or from these and those that are stored together with them."""
        before = {name: self.file.seen(name) for name in {item.outcome for item in readings}}
        found = []
        for item in readings:
            outcome, seen = _outcome(setup, item.outcome), before[item.outcome]
            beside = [one.value for one in readings if one is not item and one.outcome == item.outcome]
            found.append(slip(outcome, item.value, seen) or slip(outcome, item.value, seen.with_values(beside)))
        return (*dict.fromkeys(note for note in found if note), *_dated_late(readings))

    def measure(
        self,
        variant: str,
        files: str | Path | Sequence[str | Path],
        outcomes: Sequence[str] = (),
        *,
        session: str | None = None,
        rater: str | None = None,
        when: datetime | None = None,
        note: str = "",
        dry_run: bool = False,
    ) -> Measurements:
        """Measure outcomes from takes of a variant, and keep the takes; see `doe.measuring.measure`.

        Raises
        ------
        DataError, UsageError
            If something cannot be measured; nothing is stored then.
        """
        from doe.measuring import measure

        return measure(
            self.file, variant, files, outcomes, session=session, rater=rater, when=when, note=note, dry_run=dry_run
        )

    def measure_again(
        self, variants: Sequence[str] = (), outcomes: Sequence[str] = (), *, dry_run: bool = False
    ) -> Recomputed:
        """Recompute from the kept takes what has another recipe by now; see `doe.measuring.measure_again`.

        Raises
        ------
        DataError, UsageError
            If something cannot be recomputed; nothing is stored then.
        """
        from doe.measuring import measure_again

        return measure_again(self.file, variants, outcomes, dry_run=dry_run)

    def _repr_html_(self) -> str:
        from doe.model import markup

        setup = self.setup
        facts = [
            ("factors", listed([factor.name for factor in setup.factors], "and")),
            ("outcomes", listed([outcome.name for outcome in setup.outcomes], "and")),
            ("variants", str(sum(item.status == "built" for item in self.file.variants()))),
            ("units", str(len(self.file.units()))),
            ("readings", str(len(self.file.readings()))),
            ("file", self.path.name),
        ]
        return markup.shown(markup.facts(setup.title, facts))

    def __repr__(self) -> str:
        return f"Project({str(self.path)!r})"


create = Project.create
open = Project.open


def _outcome(setup: Setup, name: str) -> Outcome:
    """Return the outcome of that name.

    Raises
    ------
    UsageError
        If the project has none of that name.
    """
    check_text("outcome", name)
    known = {outcome.name: outcome for outcome in setup.outcomes}
    if name in known:
        return known[name]
    if not known:
        raise UsageError(
            "This project has no outcomes yet; define one before asking about it.",
            command="'fettle outcome add' does that",
        )
    raise UsageError(f"There is no outcome '{name}'; {there_are(known)}.{did_you_mean(name, known)}")


def _pairs(what: str, given: object, each: str) -> list[tuple[str, Any]]:
    """Return names with what belongs to them, from a list of pairs, a mapping, or a row of a data frame.

    Raises
    ------
    UsageError
        If it is none of them.
    """
    if not isinstance(given, list | tuple):
        return list(as_mapping(what, given).items())
    try:
        return [(name, value) for name, value in given]
    except (TypeError, ValueError):
        raise UsageError(f"{what} holds something that is no pair; each must be {each}.") from None


def _reading(
    variant: Variant, name: str, value: object, setup: Setup, versus: str | None, facts: Mapping[str, Any]
) -> Reading:
    known = {outcome.name: outcome for outcome in setup.outcomes}
    if name not in known:
        raise DataError(f"'{name}' is no outcome of this project; {there_are(known)}.{did_you_mean(name, known)}")
    outcome = known[name]
    if outcome.kind == "compared" and versus is None:
        raise DataError(f"{name} compares two variants; say which the second one was.")
    if outcome.kind != "compared" and versus is not None:
        raise DataError(f"{name} is {outcome.kind}, so it has no second variant; only compared outcomes have.")
    return Reading(variant.name, name, outcome.read(value), versus=versus, **facts)


def _against_ways(there: Snapshot, logged: Sequence[Variant]) -> list[str]:
    """Tell of changes on a unit that its factors do not allow, which a log that is brought in says there were."""
    found = newly_against_ways(there.variants, (*there.variants, *logged), there.setup.factors)
    if not found:
        return []
    more = f" ({counted(len(found) - 1, 'more such change')})" if len(found) > 1 else ""
    return [f"Against the way that a factor can go, yet taken as logged: {found[0]}{more}"]


def _dated_late(readings: Sequence[Reading]) -> list[str]:
    return slips_in_time([item.when for item in readings], now())
