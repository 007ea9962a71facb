from pathlib import Path

import pytest

from doe.model.errors import DataError
from doe.model.listening import Judgement, PreparedSession, RaterSheet, Sample
from doe.model.planned import Run
from doe.model.records import Reading, Unit, Variant
from doe.model.settled import SettledVersion
from doe.store import ProjectFile
from tests.refusing import refused
from tests.store.radio import SETTINGS
from tests.store.test_transfer import ONE_QUICK

FACTS = {"headline": "Fraction of 4 runs, 3 factors.", "kind": "fraction", "model": "main", "seed": 7}
RUNS = [
    Run({**SETTINGS, "vents": 3}, block=1, unit="new 1"),
    Run({**SETTINGS, "vents": 4, "wool": 30.0}, block=1, unit="new 1", kind="centre"),
    Run({**SETTINGS, "vents": 5, "rings": 10}, block=2, unit="new 2"),
    Run({**SETTINGS, "vents": 3}, block=2, unit="new 2"),
]


@pytest.fixture
def adopted(radio: ProjectFile) -> ProjectFile:
    """The radio with a plan of four runs, variants 3 to 6."""
    radio.adopt_plan(FACTS, RUNS)
    return radio


def test_an_adopted_plan_is_kept_as_planned_variants(adopted: ProjectFile):
    """In run order, with block, unit and kind of point; each variant planned, none built."""
    plan = adopted.adopted_plan()
    assert plan is not None
    assert plan.facts == FACTS
    assert [run.variant for run in plan.runs] == ["3", "4", "5", "6"] == list(plan.left)
    assert [(run.settings, run.block, run.unit, run.kind) for run in plan.runs] == [
        (run.settings, run.block, run.unit, run.kind) for run in RUNS
    ]
    assert [variant.status for variant in plan.variants] == ["planned"] * 4
    assert plan.headline == "Fraction of 4 runs, 3 factors: 0 of 4 built."
    assert adopted.history()[-1].summary == "adopted a plan (Fraction of 4 runs, 3 factors): variants 3 to 6"
    adopted.withdraw_variant("4")
    assert adopted.adopted_plan().left == ("3", "5", "6")


def test_planned_runs_take_no_readings_and_no_unit(adopted: ProjectFile):
    """A unit carries what was built on it last, whatever is planned."""
    with refused(DataError, "Variant '3' is only planned; mark it as built before taking readings of it."):
        adopted.add_readings([Reading("3", "bass", 1.0)])
    with refused(DataError, "Variant '3' is only planned; mark it as built before taking readings of it."):
        adopted.import_rows([], [], [], [Reading("1", "nicer", 1.0, versus="3")], source="log.csv")
    assert [unit.variant for unit in adopted.units()] == ["2"]


@pytest.mark.slow
def test_a_build_stays_built_while_something_stands_on_it(adopted: ProjectFile):
    """Else its readings would be of something planned, which advice leaves out."""
    built = adopted.build_planned("3", new_unit=Unit("B"), unit="B")
    read = adopted.add_readings([Reading("1", "nicer", 1.0, versus="3")])
    with refused(
        DataError,
        f"Entry {built.id} cannot be taken back, since other records stand on it; take back {read.id} first: Reading 5: "
        "variant 3 is only planned.",
    ):
        adopted.take_back(built.id)
    adopted.take_back(read.id)
    settled = adopted.settle_version(SettledVersion(0, "first", "3", {}))
    with pytest.raises(DataError, match=f"take back {settled.id} first: Settled version 1: variant 3 is only planned"):
        adopted.take_back(built.id)


def test_a_session_is_not_closed_over_what_is_planned_again(adopted: ProjectFile):
    built = adopted.build_planned("3", new_unit=Unit("B"), unit="B")
    adopted.prepare_session(
        PreparedSession("blind", ["echo"], [Sample("111", "3")], [RaterSheet("Ann", "key", [["111"]])])
    )
    adopted.judge(1, Judgement("Ann", 1, {"echo": 3}))
    adopted.take_back(built.id)
    with refused(DataError, "Variant '3' is only planned; mark it as built before taking readings of it."):
        adopted.close_session(1)


def test_adopting_is_taken_back_whole(adopted: ProjectFile):
    before = adopted.fingerprint()
    entry = adopted.history()[-1]
    adopted.take_back(entry.id)
    assert adopted.adopted_plan() is None
    assert [variant.name for variant in adopted.variants()] == ["1", "2", "shop"]
    adopted.take_back(entry.id + 1)
    assert adopted.fingerprint() == before


def test_a_second_plan_waits_for_the_first(adopted: ProjectFile):
    said = "A plan is being built already (Fraction of 4 runs, 3 factors: 0 of 4 built); abandon it first."
    with refused(DataError, said):
        adopted.adopt_plan(FACTS, RUNS)


def test_a_plan_without_runs_is_refused(radio: ProjectFile):
    with refused(DataError, "The plan has no runs, so there is nothing to adopt."):
        radio.adopt_plan(FACTS, [])


def test_a_run_that_is_not_allowed_keeps_the_whole_plan_out(radio: ProjectFile):
    before = radio.fingerprint()
    with pytest.raises(DataError, match="breaks the limit 'air >= 180'"):
        radio.adopt_plan(FACTS, [*RUNS, Run({**SETTINGS, "rings": 7, "wool": 60})])
    assert radio.fingerprint() == before


def test_building_a_run_makes_it_a_variant_like_any_other(adopted: ProjectFile):
    """On a unit made for it in the same entry; runs of the same label then belong on that unit."""
    entry = adopted.build_planned("3", new_unit=Unit("B"), unit="B", settings={"vents": 4}, minutes=30)
    assert entry.summary == "built variant 3 as planned on B, but with vents 4"
    plan = adopted.adopted_plan()
    assert plan is not None
    built = plan.variants[0]
    assert (built.status, built.unit, built.settings["vents"], built.minutes) == ("built", "B", 4, 30.0)
    assert plan.left == ("4", "5", "6")
    assert [plan.unit_of(run) for run in plan.runs] == ["B", "B", "new 2", "new 2"]
    assert {unit.name: unit.variant for unit in adopted.units()} == {"A": "2", "B": "3"}
    adopted.build_planned("4", new_unit=Unit("C"), unit="C")
    plan = adopted.adopted_plan()
    assert plan is not None
    assert [plan.unit_of(run) for run in plan.runs][:2] == ["B", "C"]  # built is where it was built
    adopted.add_readings([Reading("3", "bass", 1.0)])
    with refused(DataError, "Variant 3 is built already."):
        adopted.build_planned("3")


def test_building_is_taken_back_to_planned(adopted: ProjectFile):
    before = adopted.fingerprint()
    adopted.take_back(adopted.build_planned("3", new_unit=Unit("B"), unit="B").id)
    assert adopted.fingerprint() == before
    assert adopted.check() == []


def test_a_run_is_built_only_where_the_unit_can_go(adopted: ProjectFile):
    """Unit A stands at 4 vents, which cannot be taken out; nothing is stored then."""
    before = adopted.fingerprint()
    with pytest.raises(DataError, match="vents"):
        adopted.build_planned("3", unit="A")
    assert adopted.fingerprint() == before


def test_a_plan_that_runs_stand_on_is_not_taken_back(adopted: ProjectFile):
    adopted.build_planned("4", unit="A")
    with pytest.raises(DataError, match="cannot be taken back"):
        adopted.take_back(adopted.history()[-2].id)


def test_a_plan_is_over_when_all_is_built(radio: ProjectFile):
    assert radio.adopt_plan({}, RUNS[1:2]).summary == "adopted a plan (1 run): variant 3"
    radio.build_planned("3", unit="A")
    assert radio.adopted_plan() is None
    assert len(radio.plans()) == 1
    with refused(DataError, "No plan is adopted, or the last one is built."):
        radio.abandon_plan()
    radio.adopt_plan(FACTS, RUNS)
    assert radio.adopted_plan() is not None


def test_abandoning_keeps_what_is_built(adopted: ProjectFile):
    """The rest is withdrawn; the history shows it, and taking it back brings the plan back."""
    adopted.build_planned("4", unit="A")
    before = adopted.fingerprint()
    entry = adopted.abandon_plan()
    assert entry.summary == "abandoned the plan: 3 runs not built, 1 built"
    assert adopted.adopted_plan() is None
    assert [variant.name for variant in adopted.variants()] == ["1", "2", "shop", "4"]
    assert adopted.check() == []
    adopted.take_back(entry.id)
    assert adopted.fingerprint() == before


def test_an_edit_changes_adds_and_takes_out(adopted: ProjectFile):
    adopted.build_planned("4", unit="A")
    plan = adopted.adopted_plan()
    assert plan is not None
    kept = [run for run in plan.runs if run.variant != "6"]
    changed = Run({**SETTINGS, "vents": 6}, "3", unit="new 1")
    entry = adopted.edit_plan({**FACTS, "kind": "edited"}, [Run({**SETTINGS, "driver": "paper"}), changed, *kept[1:]])
    assert entry.summary == "edited the plan: 1 run changed, 1 run added, 1 run taken out"
    edited = adopted.adopted_plan()
    assert edited is not None
    assert [run.variant for run in edited.runs] == ["7", "3", "4", "5"]
    assert edited.runs[1].settings["vents"] == 6
    assert edited.facts["kind"] == "edited"
    assert adopted.check() == []
    adopted.take_back(entry.id)
    assert adopted.adopted_plan() == plan


@pytest.mark.parametrize(
    ("runs", "said"),
    [
        (["3", "4", "9"], "Variant '9' is no run of the plan; leave the name empty for a new run."),
        (["3", "3", "4"], "Variant 3 is a run of the plan twice; leave the name empty for a new run."),
        (["3", "5"], "Variant 4 is built already, so it stays a run of the plan, with its settings."),
        (["4"], "Nothing is left to build in the edited plan; abandon it instead."),
    ],
)
def test_an_edit_that_does_not_fit_is_refused(adopted: ProjectFile, runs, said):
    adopted.build_planned("4", unit="A")
    plan = adopted.adopted_plan()
    assert plan is not None
    known = {run.variant: run for run in plan.runs}
    before = adopted.fingerprint()
    with refused(DataError, said):
        adopted.edit_plan(FACTS, [known.get(name, Run(SETTINGS, name)) for name in runs])
    assert adopted.fingerprint() == before


def test_what_is_built_is_not_edited(adopted: ProjectFile):
    adopted.build_planned("4", unit="A")
    with refused(DataError, "Variant 4 is built already, so it stays a run of the plan, with its settings."):
        adopted.edit_plan(FACTS, [Run(SETTINGS, "4")])


@pytest.mark.parametrize("kind", ONE_QUICK)
def test_an_export_carries_plans(adopted: ProjectFile, tmp_path, kind):
    adopted.build_planned("4", unit="A")
    back = ProjectFile.restore(tmp_path / "back.duckdb", adopted.export(tmp_path / f"out.{kind}", kind))
    assert back.fingerprint() == adopted.fingerprint()
    plan, known = back.adopted_plan(), adopted.adopted_plan()
    assert plan is not None and known is not None
    assert (plan.facts, plan.runs, plan.left) == (known.facts, known.runs, known.left)


def test_a_planned_variant_of_its_own_is_built_the_same_way(radio: ProjectFile):
    """A suggestion that was taken is planned without a plan."""
    radio.add_variant(Variant("x", {**SETTINGS, "vents": 5}, unit="A", status="planned"), number_on=True)
    radio.build_planned("3")
    assert radio.units()[0].variant == "3"


def test_variants_stand_in_the_order_in_which_they_were_built(adopted: ProjectFile, tmp_path: Path):
    """Whatever their numbers are: in the list, in the table, on the units and in an export that is read back."""
    adopted.build_planned("5", new_unit=Unit("B"), unit="B")
    adopted.add_variant(Variant("7", {**RUNS[2].settings, "vents": 6}, unit="B", parent="5"))
    adopted.build_planned("3", new_unit=Unit("C"), unit="C")
    order = ["1", "2", "shop", "5", "7", "3", "4", "6"]  # 4 and 6 are planned
    assert [variant.name for variant in adopted.variants()] == order
    assert adopted.variants_frame()["variant"].tolist() == order
    adopted.export(tmp_path / "out", "csv")
    again = ProjectFile.restore(tmp_path / "again.duckdb", tmp_path / "out")
    assert [variant.name for variant in again.variants()] == order
