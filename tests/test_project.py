import pickle
import re
import shutil
import threading
from datetime import datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest

import doe
from doe.model.change import next_unit_name, resolve_change
from doe.model.errors import DataError, StoreError, UsageError
from doe.model.records import Unit, Variant
from doe.store import ProjectFile

FACTORS = (
    doe.Factor("vents", kind="count", low=0, high=6, way="up", minutes=12),
    doe.Factor("rings", kind="count", low=7, high=12, way="rebuild"),
    doe.Factor("wool", low=0, high=60, step=5, unit="%", minutes=8, minutes_per_step=1),
)
SETUP = doe.Setup(
    title="Test <rig>",
    factors=FACTORS,
    outcomes=(
        doe.Outcome("bass", unit="dB", goal="hit", target=0, worst=6, matters=1.0),
        doe.Outcome("echo", kind="rated", scale=(1, 7), goal="lower"),
        doe.Outcome("clarity", kind="compared"),
    ),
    limits=(doe.Limit("inner_air >= 180", "the magnet needs the room"),),
    derived=(doe.Derived("inner_air", "rings * 42 - wool * 2.1", "cm3"),),
)
FIRST = {"vents": 2, "rings": 9, "wool": 0}


@pytest.fixture
def tmp_path(desk):
    """The folder that is used again and again."""
    return desk


@pytest.fixture(scope="module")
def made_once(tmp_path_factory):
    made = doe.create(tmp_path_factory.mktemp("rig") / "rig.duckdb", SETUP)
    made.log(FIRST, new_unit="body A")
    return made.path


@pytest.fixture
def project(made_once, tmp_path):
    return doe.open(shutil.copyfile(made_once, tmp_path / "rig.duckdb"))


def refused(kind, sentence):
    return pytest.raises(kind, match=f"^{re.escape(sentence)}$")


def test_a_project_is_what_its_setup_says_and_opens_again(tmp_path):
    """From a Setup, from a TOML file, or empty; a file that exists is never overwritten."""
    (tmp_path / "setup.toml").write_text(
        'title = "From a file"\n[[factor]]\nname = "a"\nlow = 0\nhigh = 1\n', encoding="utf-8"
    )
    assert doe.create(tmp_path / "a.duckdb", SETUP).setup == SETUP
    assert doe.create(tmp_path / "b.duckdb", tmp_path / "setup.toml").setup.title == "From a file"
    assert doe.create(str(tmp_path / "c.duckdb")).setup == doe.Setup()
    assert doe.open(tmp_path / "a.duckdb").setup == SETUP
    path = tmp_path / "a.duckdb"
    with refused(StoreError, f"{path} exists already; choose another name, or open it."):
        doe.create(path)


def test_frames_have_the_columns_that_the_engines_take(project):
    project.read("1", {"bass": 1.5}, session="Tuesday", rater="Ann", order=1)
    readings = project.readings()
    assert set(readings.columns) >= {"variant", "outcome", "value", "session", "rater", "order", "unit", *FIRST}
    assert readings.loc[0, "value"] == 1.5
    assert set(project.units().columns) >= {"unit", *FIRST}
    assert project.variants()["variant"].tolist() == ["1"]
    assert project.history()["summary"].str.len().min() > 0
    assert all(isinstance(frame, pd.DataFrame) for frame in (readings, project.units(), project.history()))


def test_a_change_is_logged_from_what_the_unit_carries(project):
    """Only what changed is given; the rest, the parent and the minutes follow."""
    logged = project.log({"vents": 3, "wool": 20}, note="fuller", minutes=25, when=datetime(2026, 3, 3))
    assert logged.variant == Variant(
        "2",
        {"vents": 3, "rings": 9, "wool": 20.0},
        unit="body A",
        parent="1",
        minutes=25,
        when=datetime(2026, 3, 3),
        note="fuller",
    )
    assert logged.change.changed == {"vents": (2, 3), "wool": (0.0, 20.0)}
    assert logged.change.minutes == 12 + 8 + 4  # minutes, and minutes per step for four steps of 5 %
    assert project.file.variants()[-1] == logged.variant


def test_the_number_of_a_variant_that_was_withdrawn_stays_its_own(project, tmp_path):
    project.log({"vents": 3})
    project.file.withdraw_variant("2")
    (tmp_path / "log.csv").write_text("vents,rings,wool,bass\n2,9,20,1\n", encoding="utf-8")
    assert project.import_log(tmp_path / "log.csv").notes[0].endswith("each line is a build of its own, from 3 on.")
    assert project.variants()["variant"].tolist() == ["1", "3"]


def test_a_change_that_the_unit_cannot_make_is_refused(project):
    with refused(DataError, "vents cannot go from 2 to 1 on unit body A: it only goes up."):
        project.log({"vents": 1})
    with refused(DataError, "rings cannot go from 9 to 10 on unit body A: it needs a new unit."):
        project.log({"rings": 10})
    assert project.log({"vents": 1, "rings": 10}, start="1", new_unit="").variant.unit == "body B"


def test_a_broken_limit_is_named_with_its_reason_and_values(project):
    sentence = "These settings break the limit 'inner_air >= 180' (the magnet needs the room): inner_air = 168."
    with refused(DataError, sentence):
        project.log({"rings": 7, "wool": 60}, start="1", new_unit="body B")
    assert [unit.name for unit in project.file.units()] == ["body A"]


def test_settings_are_checked_against_range_and_step(project):
    with refused(DataError, "wool is 22; it must be a number from 0 to 60 % in steps of 5."):
        project.log({"wool": 22})
    with refused(
        DataError, "'wol' is no factor of this project; there are vents, rings and wool. Did you mean 'wool'?"
    ):
        project.log({"wol": 20})


def test_which_unit_is_meant_must_be_clear(project):
    project.log({}, start="1", new_unit="body B")
    with refused(UsageError, "Say which unit was changed: body A or body B, or a new one."):
        project.log({"wool": 5})
    assert project.log({"wool": 5}, unit="BODY b").variant.unit == "body B"
    assert project.log({"wool": 10}, start="1").variant.unit == "body A"
    project.file.retire_unit("body B")
    assert project.log({"wool": 15}).variant.unit == "body A"
    with refused(DataError, "Unit body B is retired; it cannot be changed any more."):
        project.log({"wool": 5}, unit="body B")


def test_a_log_may_not_bring_units_that_differ_in_capitals_only(project, tmp_path):
    """Looking at the file tells it already."""
    (tmp_path / "log.csv").write_text("variant,unit,vents,rings,wool\n8,BODY A,2,9,5\n", encoding="utf-8")
    with pytest.raises(doe.ImportProblems, match="line 2, column 'unit': 'BODY A' - differs from 'body A' in capitals"):
        project.import_log(tmp_path / "log.csv", dry_run=True)


def test_a_project_that_keeps_no_units_goes_on_without_them(tmp_path):
    """A log imported without a unit column: a change starts from the last variant, and no way is checked."""
    made = doe.create(tmp_path / "plain.duckdb", SETUP)
    made.file.import_rows([Variant("7", FIRST)], [], [], [], source="log.csv")
    logged = made.log({"vents": 1})
    assert (logged.variant.name, logged.variant.unit, logged.variant.parent) == ("8", None, "7")


def test_readings_are_checked_before_any_is_stored(project):
    before = project.file.fingerprint()
    with refused(DataError, "echo is 8; it must be a grade from 1 to 7."):
        project.read("1", {"bass": 2, "echo": 8})
    with refused(DataError, "There is no variant '4'; there is only 1."):
        project.read("4", {"bass": 2})
    with refused(UsageError, "There is nothing to store: give at least one outcome with its value."):
        project.read("1", {})
    assert project.file.fingerprint() == before


def test_the_first_build_takes_a_setting_of_every_factor(tmp_path):
    empty = doe.create(tmp_path / "empty.duckdb", SETUP)
    with refused(DataError, "There is no unit 'A'; no unit is known yet, so make it as a new unit."):
        empty.log(FIRST, unit="A")
    first, *rest = FIRST
    with refused(
        DataError,
        f"{first} has no value; it {SETUP.factors[0].allowed()}. What is built anew takes a setting of every factor.",
    ):
        empty.log({name: FIRST[name] for name in rest})


def test_a_reading_far_from_all_others_is_stored_and_remarked_on(project):
    """Bass is worth nothing 6 dB off its target: a lost decimal point stands more than three such ranges off."""
    assert project.read("1", {"bass": "1.5 dB"}).notes == ()
    done = project.read("1", {"bass": 150, "echo": 3})
    assert done.notes == ("bass is 150 dB, far from all that is known of it (-6 to 6)",)
    assert [item["value"] for item in project.file.readings()] == [1.5, 150, 3]


def test_a_reading_of_what_a_unit_no_longer_is_is_stored_and_remarked_on(project):
    """Readings typed in late are as welcome; who dates them knows that."""
    project.log({"wool": 5})
    told = "unit body A carries variant 2 by now, which is unread; this was stored for 1"
    assert project.read("1", {"bass": 1.5}, when=datetime(2026, 3, 3)).notes == ()
    assert project.read("1", {"bass": 1.5}).notes == (told,)
    assert project.read("2", {"bass": 1.5}).notes == ()
    assert project.read("1", {"bass": 1.5}).notes == ()


def test_readings_of_one_outcome_may_come_several_times(project):
    done = project.read("1", [("bass", "1,5"), ("bass", 1.7)], session="Tuesday")
    assert [reading.value for reading in done.readings] == [1.5, 1.7]
    assert (done.is_new_session, done.readings[0].unit) == (True, "body A")
    assert not project.read("1", {"bass": 1.6}, session="Tuesday").is_new_session


def test_a_comparison_needs_both_variants(project):
    project.log({"wool": 5})
    assert project.read("1", {"clarity": "second"}, versus="2").readings[0].value == 0.0
    with refused(DataError, "clarity compares two variants; say which the second one was."):
        project.read("1", {"clarity": "first"})


def test_asking_about_an_unknown_outcome_names_those_there_are(project):
    with refused(UsageError, "There is no outcome 'bas'; there are bass, echo and clarity. Did you mean 'bass'?"):
        project.analyse("bas")


def test_a_log_comes_in_whole_or_not_at_all(project, tmp_path):
    (tmp_path / "log.csv").write_text(
        "variant,vents,rings,wool,Bass (dB)\n8,2,9,5,1.5\n9,3,9,5,1.2\n", encoding="utf-8"
    )
    looked = project.import_log(tmp_path / "log.csv", {"Bass (dB)": "bass"}, dry_run=True)
    assert (looked.variants, looked.readings, looked.entry) == (2, 2, None)
    done = project.import_log(tmp_path / "log.csv", {"Bass (dB)": "bass"})
    assert (done.variants, done.readings, len(project.readings())) == (2, 2, 2)
    (tmp_path / "bad.csv").write_text("variant,vents,rings,wool,bass\n10,2,9,5,1\n11,9,9,5,1\n", encoding="utf-8")
    before = project.file.fingerprint()
    with pytest.raises(doe.ImportProblems, match="line 3, column 'vents': '9'"):
        project.import_log(tmp_path / "bad.csv")
    assert project.file.fingerprint() == before


def test_a_notebook_shows_what_the_project_holds(project):
    """Text from the project is escaped."""
    shown = project._repr_html_()
    assert "<caption>Test &lt;rig&gt;</caption>" in shown
    assert "<th>factors</th><td>vents, rings and wool</td>" in shown
    assert repr(project) == f"Project({str(project.path)!r})"


def test_four_hands_at_once_get_numbers_of_their_own(project):
    """The number is given by the store, not by what was read before."""
    other = doe.open(project.path)
    stale = other.snapshot()
    project.log({"wool": 5})
    assert stale.next_name == "2"
    assert other.log({"wool": 10}).variant.name == "3"


@pytest.mark.slow
@pytest.mark.parametrize("has_units", [True, False])
def test_two_programs_never_work_from_what_the_other_has_changed(tmp_path, monkeypatch, has_units):
    """While one change is worked out another is logged: it comes before or after, and neither is lost."""
    path = tmp_path / "two.duckdb"
    made = doe.create(path, SETUP)
    if has_units:
        made.log(FIRST, new_unit="body A")
    else:
        made.file.import_rows([Variant("1", FIRST)], [], [], [], source="log.csv")
    other = threading.Thread(target=lambda: doe.open(path).log({"vents": 5}))

    def slowly(*args, **options):
        worked_out = resolve_change(*args, **options)
        if threading.current_thread() is not other:
            other.start()
            other.join(timeout=0.5)
        return worked_out

    monkeypatch.setattr("doe.project.resolve_change", slowly)
    made.log({"wool": 20})
    other.join()
    *_, last = made.file.variants()
    assert last.settings == {"vents": 5, "rings": 9, "wool": 20.0}
    assert [variant.parent for variant in made.file.variants()] == [None, "1", "2"]


@pytest.mark.parametrize(
    ("names", "following"),
    [
        ([], "A"),
        (["A"], "B"),
        (["body A", "body B"], "body C"),
        (["print 9"], "print 10"),
        (["K7", "K8", "K9"], "K10"),
        (["body Z"], "body Z 2"),
        (["box"], "box 2"),
        (["Bella"], "Bella 2"),
        (["body B", "body C", "body A"], "body D"),
    ],
)
def test_the_next_unit_carries_the_naming_on(names, following):
    assert next_unit_name([Unit(name) for name in names]) == following


def test_a_derived_limit_that_cannot_be_computed_counts_as_broken():
    setup = doe.Setup(
        factors=(doe.Factor("a", low=0, high=2),),
        limits=(doe.Limit("ratio < 5"),),
        derived=(doe.Derived("ratio", "1 / a"),),
    )
    with pytest.raises(DataError, match=re.escape("'1 / a' cannot be computed for a = 0")):
        resolve_change(setup, [], [], {"a": 0})
    assert resolve_change(setup, [], [], {"a": 1}).unit == "A"


@pytest.mark.slow
def test_predictions_on_record_meet_the_readings_that_came_after(tmp_path):
    """A reading before the suggestion meets nothing; one after it is held against it, also after export and restoring; what
    missed widens the next advice by the factor that the track gives.
    """
    project = doe.create(
        tmp_path / "p.duckdb",
        doe.Setup(
            factors=[doe.Factor("a", low=0, high=4, step=1), doe.Factor("b", low=0, high=4, step=1)],
            outcomes=[doe.Outcome("y", goal="raise", best=10, worst=0)],
        ),
    )
    project.log({"a": 0, "b": 0}, new_unit="u")
    project.read("1", {"y": 3}, when=datetime.now() - timedelta(hours=1))  # an export keeps times to the second
    prediction = {"outcome": "y", "mean": 3.0, "low": 2.9, "high": 3.1, "widened": 1.0}
    project.keep_suggestions([{"settings": {"a": 0, "b": 0}, "predictions": [prediction]}])
    assert (len(project.track().table), project.track().waiting) == (0, 1)
    project.read("1", {"y": 4.0}, when=datetime.now() + timedelta(hours=1))
    found = project.track()
    assert found.table[["read", "held"]].to_numpy().tolist() == [[4.0, False]]
    assert found.widen["y"] > 1.5
    (factor,) = project.recommend().predictions["widened"].unique()
    assert factor == found.widen["y"]
    assert any("drawn" in note for note in project.recommend().notes)
    project.file.export(tmp_path / "out", "csv")
    again = doe.Project(ProjectFile.restore(tmp_path / "again.duckdb", tmp_path / "out"))
    assert again.track().table.equals(found.table)


@pytest.mark.slow
def test_the_same_question_gets_the_same_answer(tmp_path):
    """Analysis and advice depend on the log and the seed alone; the kept advice holds its predictions."""
    examples = Path(__file__).parents[1] / "examples" / "radio"
    project = doe.create(tmp_path / "radio.duckdb", examples / "setup.toml")
    project.import_log(examples / "log.csv")
    assert project.analyse("bass").to_frame().equals(project.analyse("bass").to_frame())
    advice = project.recommend(2, seed=3)
    assert project.recommend(2, seed=3).to_frame().equals(advice.to_frame())
    kept = project.keep_advice(advice)
    assert len(kept) == len(advice.table)
    assert project.keep_advice(advice) == []
    assert [body["reason"] for body in ProjectFile.open(project.path).suggestions()] == advice.table["reason"].tolist()


DATED = datetime(2026, 3, 3, 19, 30)


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (lambda rig: rig.read(1, {"bass": 2}), "variant is 1; it must be text, such as '1'."),
        (lambda rig: rig.read("1", {"bass": 2}, session=3), "session is 3; it must be text, such as '3'."),
        (lambda rig: rig.read("1", {"bass": 2}, rater=float("nan")), "rater is nan; it must be text."),
        (lambda rig: rig.read("1", {"bass": 2}, note=None), "note is None; it must be text."),
        (lambda rig: rig.read("1", {"clarity": 1}, versus=2), "versus is 2; it must be text, such as '2'."),
        (lambda rig: rig.read("1", {"bass": 2}, when=pd.NaT),
         "when is a NaTType; it must be a datetime, such as datetime(2026, 3, 3, 19, 30)."),
        (lambda rig: rig.read("1", {"bass": 2}, when=DATED.date()),
         "when is a date; it must be a datetime, such as datetime(2026, 3, 3, 19, 30)."),
        (lambda rig: rig.read("1", {"bass": 2}, when="2026-03-03"),
         "when is '2026-03-03'; it must be a datetime, such as datetime(2026, 3, 3, 19, 30)."),
        (lambda rig: rig.read("1", "bass=2"), "values is 'bass=2'; it must be values by name, such as a dict."),
        (lambda rig: rig.read("1", ["bass"]),
         "values holds something that is no pair; each must be an outcome with its value."),
        (lambda rig: rig.log(["wool"]), "settings is a list; it must be values by name, such as a dict."),
        (lambda rig: rig.log({3: 1}), "settings holds 3; each must be a name."),
        (lambda rig: rig.log({"wool": 5}, unit=3), "unit is 3; it must be text, such as '3'."),
        (lambda rig: rig.log({"wool": 5}, photos=["front.jpg"]),
         "photos holds something that is no pair; each must be a file name with its content in bytes."),
        (lambda rig: rig.log_reference("shop radio", note=None), "note is None; it must be text."),
        (lambda rig: rig.analyse(SETUP.outcomes[0]), "outcome is an Outcome; it must be text."),
        (lambda rig: rig.measure(1, "take.wav"), "variant is 1; it must be text, such as '1'."),
        (lambda rig: rig.measure("1", "take.wav", "bass"), "outcomes is 'bass'; it must be a list of names."),
        (lambda rig: rig.measure_again("12"), "variants is '12'; it must be a list of names."),
        (lambda rig: rig.tolerances(1), "variant is 1; it must be text, such as '1'."),
        (lambda rig: rig.confirm("12"), "builds is '12'; it must be a list of names."),
        (lambda rig: rig.prepare_confirmation(["1"], "Ines"), "raters is 'Ines'; it must be a list of names."),
        (lambda rig: rig.judge_plan([FIRST]), "table must be a pandas DataFrame, one row per run, not a list."),
        (lambda rig: rig.keep_advice(SETUP), "advice is a Setup; it must be a doe.Advice."),
        (lambda rig: doe.create("rig2.duckdb", {"title": "x"}), "setup is a dict; it must be a doe.Setup."),
    ],
)  # fmt: skip
def test_an_argument_of_the_wrong_kind_is_named_and_nothing_is_stored(project, ask, sentence):
    """NaT was stored as no date, text taken for a list was read letter by letter (builds "12" as 1 and 2)."""
    before = len(project.history())
    with refused(UsageError, sentence):
        ask(project)
    assert len(project.history()) == before


def test_yes_is_no_place_in_the_order(project):
    with refused(DataError, "order is 'True'; it must be a whole number from 1."):
        project.read("1", {"bass": 2}, order=True)


def test_a_row_of_a_frame_can_be_logged_and_read(project):
    rows = pd.DataFrame({"wool": [5.0], "bass": [1.5]})
    assert project.log(rows[["wool"]].iloc[0]).variant.settings["wool"] == 5.0
    stored = project.read("2", rows[["bass"]].iloc[0], when=pd.Timestamp(DATED))
    assert [(item.outcome, item.value) for item in stored.readings] == [("bass", 1.5)]


def test_a_project_goes_to_another_process_and_back(project):
    back = pickle.loads(pickle.dumps(project))
    pd.testing.assert_frame_equal(back.variants(), project.variants())


def test_a_one_way_factor_that_went_back_in_a_log_is_told_and_believed(project, tmp_path):
    """Vents only go up: from the two that body A carries already as well as within the log."""
    lines = "variant,unit,vents,rings,wool,bass\nx,body A,1,9,0,2\ny,B,4,9,0,2\nz,B,3,9,0,2\n"
    (tmp_path / "log.csv").write_text(lines, encoding="utf-8")
    done = project.import_log(tmp_path / "log.csv")
    assert done.variants == 3
    assert done.notes == (
        "Against the way that a factor can go, yet taken as logged: variant x: vents cannot go from 2 to 1 on unit body A: it"
        " only goes up. (1 more such change)",
    )


def test_a_slip_is_seen_by_what_was_read_before_and_by_what_is_stored_with_it(project):
    """Nothing is known of a hum without a goal but its readings; two slips alike do not excuse each other."""
    project.file.change_setup("outcome", doe.Outcome("hum", unit="dB"))
    hums = [("hum", value) for value in (1.0, 1.2, 0.9, 1.1, 1.3, 90.0)]
    assert project.read("1", [*hums, ("bass", 90), ("bass", 91), ("echo", 2)]).notes == (
        "hum is 90 dB, far from all that is known of it (0.9 to 1.3)",
        "bass is 90 dB, far from all that is known of it (-6 to 6)",
        "bass is 91 dB, far from all that is known of it (-6 to 6)",
    )


def test_what_was_stored_is_told_in_a_line(project, tmp_path):
    """A notebook shows what a call returns: it was all definitions, 2,500 signs, with the slip at their end."""
    assert repr(project.log({"wool": 5})) == "<Logged: logged variant 2 from 1 on body A: wool 0 -> 5>"
    assert repr(project.read("2", {"bass": 2})) == "<ReadingsStored: read bass 2 of variant 2>"
    project.read("2", [("bass", 2.2), ("bass", 1.8), ("bass", 2.4)])
    slip = project.read("2", {"bass": 400})
    assert repr(slip) == f"<ReadingsStored: read bass 400 of variant 2; {slip.notes[0]}>"
    (tmp_path / "log.csv").write_text("variant,vents,rings,wool,bass\nx,1,9,0,2\n", encoding="utf-8")
    looked = project.import_log(tmp_path / "log.csv", dry_run=True)
    assert repr(looked).startswith("<Imported: 1 variant and 1 reading could be imported")
    assert repr(project.import_log(tmp_path / "log.csv")).startswith("<Imported: imported ")
    assert repr(project.track()) == "<Track: No prediction has been met by a reading yet.>"
