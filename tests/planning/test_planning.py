from dataclasses import replace

import pandas as pd
import pytest

import doe
from doe.model.errors import DataError, UsageError
from doe.model.planned import AdoptedPlan, Run
from doe.model.records import Variant
from doe.planning.adopted import beside_advice, facts_of, frame_of, model_of, outcome_of, runs_of
from doe.planning.known import Judged
from tests.planning.conftest import FACTORS, OUTCOMES, SETTINGS, SETUP
from tests.refusing import refused

KNOWN = Judged("bass", 0.5, 1.0)


@pytest.fixture
def planned(radio):
    """The radio with a plan of eight runs, variants 2 to 9."""
    radio.adopt(radio.plan(8, judged=KNOWN, starts=20), outcome="bass")
    return radio


def test_a_plan_is_made_of_the_projects_factors(radio):
    made = radio.plan(8, judged=KNOWN, starts=20)
    assert [factor.name for factor in made.factors] == [factor.name for factor in FACTORS]
    assert (made.n_runs, made.scatter, made.matters) == (8, 0.5, 1.0)
    assert len(made.existing) == 0
    assert not facts_of(made, "main", "bass")["beside_log"]


def test_a_plan_beside_the_log_counts_what_is_built(radio):
    """Reference objects and what is only planned do not."""
    radio.log_reference("shop radio")
    radio.file.add_variant(Variant("9", {**SETTINGS, "wool": 0}, status="planned"))
    made = radio.plan(7, beside_log=True, judged=KNOWN, starts=20)
    assert made.existing.to_dict("records") == [SETTINGS]
    assert facts_of(made, "main", "bass")["beside_log"]


def test_what_was_adopted_comes_back_as_it_was_judged(planned):
    made = planned.plan(8, judged=KNOWN, starts=20)
    shown = planned.review_plan(KNOWN)
    names = [factor.name for factor in FACTORS]
    assert shown.table[names].equals(made.table[names])
    assert shown.table["variant"].tolist() == [str(number) for number in range(2, 10)]
    assert set(shown.table["status"]) == {"planned"}
    assert shown.headline == f"{made.headline.rstrip('.')}: 0 of 8 built."
    pd.testing.assert_frame_equal(shown.precision, made.precision)


def test_a_plan_follows_the_names_that_it_is_judged_by(radio):
    """It is shown and edited as before; of an outcome that is gone it says nothing."""
    assert outcome_of(AdoptedPlan(1, 1, {"outcome": "gone"}), OUTCOMES) is None
    terms = ["vents", "wool"]
    table = pd.DataFrame([{**SETTINGS, "vents": vents, "wool": wool} for vents in (2, 4) for wool in (0, 60)])
    radio.adopt(radio.judge_plan(table, terms, judged=KNOWN), terms, "bass")
    radio.file.change_setup("factor", replace(FACTORS[2], name="stuffing"), name="wool")
    radio.file.change_setup("outcome", replace(OUTCOMES[0], name="boom"), name="bass")
    assert radio.review_plan(KNOWN).precision["term"].tolist() == ["vents", "stuffing"]
    assert radio.adopted_outcome() == "boom"


def test_a_plan_is_judged_without_terms_of_what_was_removed_since():
    """It could not be shown any more; without any term left it is judged by its main effects."""
    plan = AdoptedPlan(1, 1, {"model": ["vents", "wool", "vents:wool", "wool^2", "air"]})
    for factors, model in (
        (FACTORS[2:3], ["wool", "wool^2"]),
        (FACTORS[:3], plan.facts["model"][:4]),
        (FACTORS[1:2], "main"),
    ):
        assert model_of(plan, replace(SETUP, factors=factors)) == model
    assert model_of(AdoptedPlan(1, 1, {"model": "quadratic"}), SETUP) == "quadratic"


def test_a_plan_is_judged_without_a_factor_that_came_since_until_runs_vary_it():
    """That its runs cannot estimate feet was all that was said of it; a complement may leave it to what is built."""
    feet = doe.Factor("feet", kind="categorical", levels=["felt", "cork"])
    setup = doe.Setup(factors=[*FACTORS[:2], feet])
    runs = [Run({"vents": vents, "rings": rings, "feet": "felt"}) for vents, rings in ((0, 7), (6, 12), (6, 7))]
    plan = AdoptedPlan(1, 1, {"model": "two-factor"}, tuple(runs))
    assert model_of(plan, setup) == ["vents", "rings", "vents:rings"]
    table = pd.DataFrame([run.settings for run in runs])
    assert model_of(plan, setup, (), table) == ["vents", "rings", "vents:rings"]
    assert model_of(plan, setup, (), table.assign(feet=["felt", "cork", "felt"])) == "two-factor"
    assert model_of(plan, setup, [Variant("1", {**runs[0].settings, "feet": "cork"}), Variant("shop")]) == "two-factor"


def test_planned_runs_are_no_evidence(planned):
    """No readings, no effort, no unit changed: the next change sees the log as it was."""
    assert len(planned.readings()) == 0
    assert planned.units()["variant"].tolist() == ["1"]
    with pytest.raises(DataError, match="only planned"):
        planned.read("2", {"bass": 3.0})


def test_logging_the_settings_of_a_run_builds_it(planned):
    """Whether or not the run is named; the unit then carries it, and the plan has one run less to build."""
    run = planned.adopted()[1].iloc[0]
    logged = planned.log({name: run[name] for name in SETTINGS}, new_unit="B")
    assert (logged.variant.name, logged.was_planned, logged.variant.unit) == (run["variant"], True, "B")
    assert logged.entry.summary == f"built variant {run['variant']} as planned on B"
    plan, table = planned.adopted()
    assert len(plan.left) == 7
    assert table["status"].tolist() == ["built"] + ["planned"] * 7


def test_a_planned_variant_is_built_by_its_name(planned):
    """What came out otherwise is said, and kept."""
    logged = planned.log({"wool": 35}, planned="3", new_unit="", minutes=40, note="dense")
    assert (logged.variant.name, logged.variant.settings["wool"], logged.was_planned) == ("3", 35.0, True)
    built = next(item for item in planned.file.variants() if item.name == "3")
    assert (built.status, built.unit, built.minutes, built.note) == ("built", "B", 40.0, "dense")
    planned.file.take_back(logged.entry.id)
    assert next(item for item in planned.file.variants() if item.name == "3").status == "planned"


def test_a_variant_with_a_name_of_its_own_is_no_planned_one(planned):
    run = planned.adopted()[1].iloc[0]
    logged = planned.log({name: run[name] for name in SETTINGS}, new_unit="B", name="mine")
    assert (logged.variant.name, logged.was_planned) == ("mine", False)
    assert len(planned.adopted()[0].left) == 8


def test_nothing_starts_from_what_is_only_planned(planned):
    said = "Variant 3 is only planned, so nothing starts from it; log it as built first."
    with refused(DataError, said):
        planned.log({"wool": 0}, start="3")
    with refused(UsageError, "A planned variant has its settings, so no other one to start from goes with it."):
        planned.log({}, planned="3", start="1")
    with refused(DataError, "Variant 1 is built already; planned are 2, 3, 4, 5, 6, 7, 8 and 9."):
        planned.log({}, planned="1")
    with refused(DataError, "There is no planned variant '30'; planned are 2, 3, 4, 5, 6, 7, 8 and 9."):
        planned.log({}, planned="30")


def test_an_edited_plan_is_judged_and_kept(planned):
    _, table = planned.adopted()
    table = table.drop(index=7)
    entry, made = planned.edit_plan(table, KNOWN)
    assert entry.summary == "edited the plan: 1 run taken out"
    assert (made.n_runs, made.kind) == (7, "edited")
    assert planned.adopted()[0].headline == "Plan as edited, 7 runs, 4 factors, 4 units: 0 of 7 built."


def test_empty_cells_of_a_table_name_nothing():
    table = pd.DataFrame([{"variant": 12, "unit": None, **SETTINGS}, {"variant": None, "unit": " B ", **SETTINGS}])
    table["kind"] = ["centre", None]
    assert [(run.variant, run.unit, run.block, run.kind) for run in runs_of(table, FACTORS)] == [
        ("12", "", 1, "centre"),
        ("", "B", 1, "run"),
    ]
    for block in ("x", 0.5, 0):
        with refused(DataError, f"Run 1: block is '{block}'; it must be a whole number from 1."):
            runs_of(table.assign(block=block), FACTORS)


def test_what_is_the_same_for_all_runs_is_no_column():
    """Two blocks are one; a single kind and no unit are none."""
    planned = [Variant(name, {**SETTINGS, "vents": int(name)}, status="planned") for name in ("2", "3")]
    runs = [Run(variant.settings, variant.name, block) for block, variant in enumerate(planned, 1)]
    table = frame_of(AdoptedPlan(1, 1, {}, tuple(runs), tuple(planned)), FACTORS)
    assert table.columns.tolist() == ["order", "variant", "status", "block", *SETTINGS]
    assert table["block"].tolist() == [1, 2]


def test_what_waits_is_counted_beside_other_advice():
    learns = (
        "A plan learns from all its runs together; this looks one session ahead and takes none of them for granted."
    )
    waiting = [Variant("2", SETTINGS, status="planned")]
    assert beside_advice(waiting, pd.DataFrame(), FACTORS) == f"1 planned variant waits to be built. {learns}"
    assert beside_advice([Variant("1", SETTINGS)], pd.DataFrame(), FACTORS) == ""


def test_the_own_runs_of_an_edited_plan_do_not_stand_beside_it(radio):
    """Whether a spreadsheet made numbers of their names or not: a built run counts once."""
    table = pd.DataFrame(
        [{"variant": name, **SETTINGS, "vents": vents} for name, vents in ((1, 2), (None, 3), (None, 4))]
    )
    for names in (table["variant"], table["variant"].map({1.0: "1"})):
        made = radio.judge_plan(table.assign(variant=names), ["vents"], beside_log=True, judged=KNOWN)
        assert (made.n_runs, len(made.existing)) == (3, 0)


def test_an_edit_that_cannot_estimate_the_model_is_refused_and_not_kept(planned):
    _, table = planned.adopted()
    before = planned.file.fingerprint()
    with pytest.raises(UsageError, match="cannot estimate"):
        planned.edit_plan(table.head(3), KNOWN)
    assert planned.file.fingerprint() == before


def test_the_route_leads_through_everything_planned(planned):
    """Runs of the adopted plan and a suggestion that was taken; what is built is passed over."""
    planned.file.add_variant(Variant("taken", {**SETTINGS, "wool": 0}, unit="A", status="planned"))
    planned.log({}, planned="2", new_unit="B")
    found = planned.route()
    assert sorted(found.table["variant"]) == sorted([str(number) for number in range(3, 10)] + ["taken"])
    assert found.table.set_index("variant").loc["taken", "unit"] == "A"
    assert found.reading_minutes == 8 * 5 + 10


@pytest.mark.slow
def test_the_next_change_says_what_is_planned(planned):
    """Whether it is one of the planned runs, or something else while they wait."""
    advice = planned.recommend()
    waiting = "8 planned variants wait to be built"
    assert advice.notes[-1].startswith(waiting)
    first = advice.table.iloc[0]
    planned.file.add_variant(Variant("taken", {name: first[name] for name in SETTINGS}, unit=None, status="planned"))
    assert planned.recommend().notes[-1] == (
        "9 planned variants wait to be built; the first of these suggestions is planned as variant taken."
    )
    planned.abandon_plan()
    planned.file.withdraw_variant("taken")
    assert not any("planned" in note for note in planned.recommend().notes)


def test_a_retired_unit_carries_nothing_more(planned):
    planned.file.retire_unit("A")
    assert "A" not in planned.route().table["unit"].tolist()


def test_without_a_plan_there_is_nothing_to_show_or_route(radio):
    assert radio.adopted() is None
    none = "No plan is adopted, or the last one is built."
    for ask in (radio.review_plan, radio.abandon_plan, lambda: radio.edit_plan(pd.DataFrame([SETTINGS]), KNOWN)):
        with refused(DataError, none):
            ask()
    with refused(DataError, "Nothing is planned: adopt a plan first, or give a table of settings."):
        radio.route()


def test_a_first_variant_is_not_mistaken_for_the_planned_ones(tmp_path, radio):
    """With no unit yet, the first variant logged still begins unit A, whatever is planned."""
    import doe

    fresh = doe.create(tmp_path / "fresh.duckdb", radio.setup)
    fresh.adopt(fresh.plan(8, judged=KNOWN, starts=20))
    assert fresh.log(SETTINGS).variant.unit == "A"


def test_plans_are_compared_with_the_units_at_hand(radio):
    choice = radio.choose_plan(runs=8, judged=KNOWN)
    assert choice.plan.n_runs <= 8
    assert choice.table["hours"].iloc[0] > 0
