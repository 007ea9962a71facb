"""The part of a project file that keeps prepared sessions, blind until they are closed."""

from __future__ import annotations

from dataclasses import replace

import duckdb

from doe.model.errors import DataError
from doe.model.listening import Judgement, PreparedSession
from doe.model.outcome import Outcome
from doe.model.records import Reading, Session
from doe.model.wording import counted
from doe.store import definitions, journal, listening, readings, sessions, variants
from doe.store.clock import now
from doe.store.journal import Entry
from doe.store.kept import names_to_ids
from doe.store.listening import KeptSession
from doe.store.opened import Opened


class ListeningRecords(Opened):
    """Prepares sessions, takes judgements in, closes sessions."""

    def prepare_session(self, session: PreparedSession) -> Entry:
        """Keep a prepared session.

        Raises
        ------
        DataError
            If its name is taken, also in other capitals, or it names a variant or an outcome that is not there, or one that is
            only planned.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            taken = [item.session.name for item in _load(con)] + list(names_to_ids(con, "live_session"))
            sessions.free_names(taken).take(session.name)
            readings.check_built(con, [sample.variant for sample in session.samples])
            outcome_ids = {outcome.name: identity for identity, outcome in definitions.load(con).outcomes().items()}
            listening.add(con, entry, session, names_to_ids(con, "live_variant"), outcome_ids)
            who = counted(len(session.sheets), "rater")
            told = f"prepared session {session.name}: {counted(len(session.samples), 'sample')}, {who}"
            return journal.close(con, entry, "session", told, subject=session.name)

    def prepared_sessions(self) -> list[KeptSession]:
        """Return the prepared sessions with what was judged, oldest first; closed ones too."""
        with self._reading() as con:
            return _load(con)

    def judge(self, number: int, judgement: Judgement) -> Entry:
        """Take one judgement in; one made before at the same place stays in the history.

        Raises
        ------
        DataError
            If the session is unknown or closed, the rater or the place not part of it, or a value off its scale.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            kept = listening.find(_load(con), number)
            session = kept.session
            if session.is_closed:
                raise DataError(f"Session '{session.name}' is closed; nothing more can be judged in it.")
            sheet = next((item for item in session.sheets if item.rater == judgement.rater), None)
            if sheet is None or not 1 <= judgement.place <= len(sheet.trials):
                raise DataError(f"Session '{session.name}' asks {judgement.rater} nothing at place {judgement.place}.")
            outcomes = {item.name: (number, item) for number, item in definitions.load(con).outcomes().items()}
            checked = replace(judgement, values=_checked(judgement, session, {k: v for k, (_, v) in outcomes.items()}))
            ids = {name: identity for name, (identity, _) in outcomes.items()}
            listening.add_judgements(con, entry, kept.id, [(now(), checked)], ids)
            told = f"{judgement.rater} judged place {judgement.place} of session {session.name}"
            return journal.close(con, entry, "judgement", told, subject=session.name)

    def close_session(self, number: int) -> Entry:
        """Resolve the codes and store what was judged as readings, all in one entry.

        Raises
        ------
        DataError
            If the session is unknown or closed already, or nothing was judged in it.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            kept = listening.find(_load(con), number)
            session = kept.session
            if session.is_closed:
                raise DataError(f"Session '{session.name}' is closed already.")
            defined = definitions.load(con)
            units = {item.record.name: item.record.unit for item in variants.load(con, defined)}
            made = _readings(kept, units)
            lost = _of_what_is_gone(kept)
            if not made and lost:
                raise DataError(
                    f"All that was judged in session '{session.name}' is of variants or outcomes that were taken out since, so "
                    "there is nothing to store; bring them back in the history, or drop the session."
                )
            if not made:
                raise DataError(f"Nothing was judged in session '{session.name}' yet, so there is nothing to close.")
            variant_ids = names_to_ids(con, "live_variant")
            outcome_ids = {outcome.name: identity for identity, outcome in defined.outcomes().items()}
            first = min((when for _, when, _ in kept.judgements if when is not None), default=None)
            own = Session(session.name, first, session.note)
            session_ids = sessions.add(con, entry, [own], names_to_ids(con, "live_session"), exact=True)
            readings.check_built(con, readings.variants_of(made))
            made = readings.with_known_raters(made, readings.raters(con))
            ids = readings.Ids(variant_ids, session_ids, names_to_ids(con, "live_unit"))
            readings.add(con, entry, made, defined, ids)
            listening.add(con, entry, replace(session, is_closed=True), variant_ids, outcome_ids, kept=kept)
            without = f", without {counted(lost, 'judgement')} of what was taken out since" if lost else ""
            told = f"closed session {session.name} with {counted(len(made), 'reading')}{without}"
            return journal.close(con, entry, "readings", told, subject=session.name)

    def drop_session(self, number: int) -> Entry:
        """Take a prepared session out, with what was judged in it; the history keeps both.

        Raises
        ------
        DataError
            If it is unknown or closed.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            kept = listening.find(_load(con), number)
            if kept.session.is_closed:
                raise DataError(f"Session '{kept.session.name}' is closed; withdraw its readings instead.")
            count = listening.withdraw_judgements(con, entry, kept.id)
            listening.add(con, entry, kept.session, {}, {}, kept=kept, is_withdrawn=True)
            also = f" with {counted(count, 'judgement')}" if count else ""
            told = f"dropped session {kept.session.name}{also}"
            return journal.close(con, entry, "withdrawal", told, subject=kept.session.name)


def _load(con: duckdb.DuckDBPyConnection) -> list[KeptSession]:
    outcome_ids = {outcome.name: identity for identity, outcome in definitions.load(con).outcomes().items()}
    return listening.load(con, names_to_ids(con, "live_variant"), outcome_ids)


def _checked(judgement: Judgement, session: PreparedSession, outcomes: dict[str, Outcome]) -> dict[str, float]:
    """Return the values as their outcomes read them; one for each outcome of the session that is still there."""
    values = {}
    for name in session.outcomes:
        if name in outcomes:
            if name not in judgement.values:
                raise DataError(f"{name} is ''; it {outcomes[name].allowed()}.")
            values[name] = outcomes[name].read(judgement.values[name])
    return values


def _of_what_is_gone(kept: KeptSession) -> int:
    """Count the judgements of variants that were withdrawn since, or of outcomes that were removed."""
    trials = {sheet.rater: sheet.trials for sheet in kept.session.sheets}
    return sum(
        not made.values or listening.GONE in map(kept.session.variant_of, trials[made.rater][made.place - 1])
        for _, _, made in kept.judgements
    )


def _readings(kept: KeptSession, units: dict[str, str | None]) -> list[Reading]:
    """Return a session's judgements as readings; of what was taken out since there are none."""
    session = kept.session
    trials = {sheet.rater: sheet.trials for sheet in session.sheets}
    made = []
    for _, when, judgement in kept.judgements:
        trial = trials[judgement.rater][judgement.place - 1]
        named = [session.variant_of(code) for code in trial]
        if listening.GONE in named or len(set(named)) < len(named):
            continue
        code = f"code {' against '.join(trial)}"
        made += [
            Reading(
                named[0],
                outcome,
                value,
                versus=named[1] if len(named) == 2 else None,
                session=session.name,
                rater=judgement.rater,
                unit=units.get(named[0]),
                order=judgement.place,
                when=when,
                note=f"{code}; {judgement.note}" if judgement.note else code,
            )
            for outcome, value in judgement.values.items()
        ]
    return made
