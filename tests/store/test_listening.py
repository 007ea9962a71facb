import pytest

from doe.model.errors import DataError, UsageError
from doe.model.listening import Judgement, PreparedSession, RaterSheet, Sample
from doe.model.records import Reading, Session, Variant
from doe.store import ProjectFile, definitions, journal, listening
from tests.refusing import refused
from tests.store.radio import RADIO, SETTINGS
from tests.store.test_transfer import ONE_QUICK


@pytest.fixture
def file(tmp_path):
    made = ProjectFile.create(tmp_path / "radio.duckdb", RADIO)
    for name in ("1", "2"):
        made.add_variant(Variant(name, SETTINGS))
    return made


def session(**changes):
    given = {
        "name": "Evening",
        "outcomes": ["echo"],
        "samples": [Sample("417", "1"), Sample("832", "2"), Sample("256", "1")],
        "sheets": [RaterSheet("Ann", "secret", [("832",), ("417",), ("256",)])],
        "ends": {"echo": ("dry", "wet")},
        "note": "small room",
    }
    return PreparedSession(**{**given, **changes})


def test_what_is_judged_becomes_readings_when_the_session_is_closed(file):
    file.prepare_session(session())
    number = file.prepared_sessions()[0].id
    for place, grade in enumerate((5, 3, 4), start=1):
        file.judge(number, Judgement("Ann", place, {"echo": grade}))
    assert file.readings() == []
    entry = file.close_session(number)
    assert [(row["variant"], row["value"], row["order"]) for row in file.readings()] == [
        ("2", 5, 1),
        ("1", 3, 2),
        ("1", 4, 3),
    ]
    assert file.check() == []
    with pytest.raises(DataError, match="closed"):
        file.judge(number, Judgement("Ann", 1, {"echo": 2}))
    file.take_back(entry.id)
    assert file.readings() == []
    assert not file.prepared_sessions()[0].session.is_closed


def test_no_entry_of_the_journal_tells_what_is_behind_a_code(file):
    file.prepare_session(session())
    file.judge(1, Judgement("Ann", 2, {"echo": 3}))
    told = [entry.summary for entry in file.history()[-2:]]
    assert told == ["prepared session Evening: 3 samples, 1 rater", "Ann judged place 2 of session Evening"]


def test_renaming_a_variant_changes_no_code_and_taking_one_out_leaves_its_grades_out(file):
    file.prepare_session(session())
    for place in (1, 2, 3):
        file.judge(1, Judgement("Ann", place, {"echo": 3}))
    file.correct_variant("1", name="one")
    assert file.prepared_sessions()[0].session.variant_of("417") == "one"
    file.withdraw_variant("2")
    file.close_session(1)
    assert {row["variant"] for row in file.readings()} == {"one"}
    assert file.check() == []


def test_grades_of_an_outcome_that_was_removed_are_told_as_left_out(file):
    """They were judged, in this session and not in the one beside it, so it is not said that nothing was."""
    file.prepare_session(session(name="Morning"))
    file.prepare_session(session())
    file.judge(2, Judgement("Ann", 1, {"echo": 3}))
    assert [len(kept.judgements) for kept in file.prepared_sessions()] == [0, 1]
    file.change_setup("outcome", None, name="echo")
    with refused(
        DataError,
        "All that was judged in session 'Evening' is of variants or outcomes that were taken out since, so there is nothing to "
        "store; bring them back in the history, or drop the session.",
    ):
        file.close_session(2)
    with refused(DataError, "There is no prepared session 3."):
        file.close_session(3)


def test_a_dropped_session_takes_its_judgements_along_and_comes_back(file):
    file.prepare_session(session())
    file.judge(1, Judgement("Ann", 1, {"echo": 3}))
    entry = file.drop_session(1)
    assert file.prepared_sessions() == []
    assert file.check() == []
    file.take_back(entry.id)
    assert len(file.prepared_sessions()[0].judgements) == 1


def test_preparing_cannot_be_taken_back_under_its_judgements(file):
    entry = file.prepare_session(session())
    file.judge(1, Judgement("Ann", 1, {"echo": 3}))
    with pytest.raises(DataError, match="other records stand on it"):
        file.take_back(entry.id)


@pytest.mark.parametrize("kind", ONE_QUICK)
def test_an_export_and_back_loses_nothing(file, tmp_path, kind):
    """What was taken out meanwhile stays out, and no other variant stands behind its codes."""
    file.prepare_session(session())
    file.judge(1, Judgement("Ann", 1, {"echo": 3}, "a remark"))
    file.withdraw_variant("1")
    target = file.export(tmp_path / ("out.xlsx" if kind == "xlsx" else "out"), kind)
    back = ProjectFile.restore(tmp_path / "back.duckdb", target)
    assert back.fingerprint() == file.fingerprint()
    (told,), (kept,) = back.prepared_sessions(), file.prepared_sessions()
    assert (told.session, told.judgements) == (kept.session, kept.judgements)
    back.judge(1, Judgement("Ann", 2, {"echo": 4}))
    back.close_session(1)


@pytest.mark.parametrize(
    ("judgement", "sentence"),
    [
        (Judgement("Ann", 4, {"echo": 3}), "asks Ann nothing at place 4"),
        (Judgement("Bo", 1, {"echo": 3}), "asks Bo nothing at place 1"),
        (Judgement("Ann", 1, {"echo": 30}), "echo is 30; it must be a grade"),
        (Judgement("Ann", 1, {}), "echo is ''; it must be a grade"),
    ],
)
def test_a_judgement_that_does_not_fit_is_refused(file, judgement, sentence):
    file.prepare_session(session())
    with pytest.raises(DataError, match=sentence):
        file.judge(1, judgement)
    assert file.prepared_sessions()[0].judgements == ()


def test_names_and_codes_are_checked(file):
    file.prepare_session(session())
    with pytest.raises(DataError, match="'Evening' is in the project already"):
        file.prepare_session(session())
    with pytest.raises(DataError, match="Variant '9'"):
        file.prepare_session(
            session(name="Other", samples=[Sample("417", "9"), Sample("832", "2"), Sample("256", "1")])
        )
    with pytest.raises(UsageError, match="three digits"):
        session(samples=[Sample("417", "1"), Sample("417", "2")])
    with pytest.raises(UsageError, match="at least one rater"):
        session(sheets=[])


def test_a_blind_session_keeps_its_name_until_it_is_closed(file):
    """Readings under that name would stand in the way of its own."""
    file.prepare_session(session())
    said = (
        "Session 'Evening' is prepared and still blind; what is judged in it becomes its readings when it is closed. "
        "Name another session."
    )
    for store in (
        lambda: file.add_readings([Reading("1", "echo", 3, session="evening")]),
        lambda: file.add_session(Session("Evening")),
    ):
        with refused(DataError, said):
            store()
    file.judge(1, Judgement("Ann", 1, {"echo": 3}))
    file.close_session(1)
    file.add_readings([Reading("1", "echo", 3, session="evening")])
    assert [item.name for item in file.sessions()] == ["Evening"]
    assert {row["session"] for row in file.readings()} == {"Evening"}


@pytest.mark.slow
@pytest.mark.parametrize("name", ["Evening", "evening"])
def test_a_blind_session_does_not_come_back_beside_one_of_its_name(file, name):
    """It could not be closed any more."""
    dropped = file.take_back(file.prepare_session(session()).id)
    read = file.add_readings([Reading("1", "echo", 3, session=name)])
    with refused(
        DataError,
        f"Entry {dropped.id} cannot be taken back, since other records stand on it; take back {read.id} first: "
        f"Session 'Evening' is prepared and still blind, and '{name}' holds readings.",
    ):
        file.take_back(dropped.id)
    file.take_back(read.id)
    file.take_back(dropped.id)
    assert [kept.session.name for kept in file.prepared_sessions()] == ["Evening"]


def test_a_prepared_session_differs_from_others_by_more_than_capitals(file):
    file.add_session(Session("evening"))
    with refused(DataError, "Session 'Evening' differs from 'evening' in capitals only; give it a name of its own."):
        file.prepare_session(session())


def test_many_judgements_are_stored_with_one_look_at_those_before(file):
    """As when an export is read back: also those that stand in for earlier ones."""
    file.prepare_session(session())
    file.judge(1, Judgement("Ann", 2, {"echo": 3}))
    asked = []
    with file._writing() as con:

        class Counting:
            def execute(self, sql, *values):
                asked.append(sql)
                return con.execute(sql, *values)

            def __getattr__(self, name):
                return getattr(con, name)

        entry = journal.begin(con)
        ids = {outcome.name: identity for identity, outcome in definitions.load(con).outcomes().items()}
        made = [(None, Judgement("Ann", place, {"echo": 4})) for place in (1, 2, 3)]
        listening.add_judgements(Counting(), entry, 1, made, ids)
        journal.close(con, entry, "judgement", "three at once")
    assert sum("live_judgement" in sql for sql in asked) == 1
    kept = file.prepared_sessions()[0].judgements
    assert sorted((one.place, one.values["echo"]) for _, _, one in kept) == [(1, 4), (2, 4), (3, 4)]
    assert file.check() == []
