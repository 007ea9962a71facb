import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.advise.effort import change_cost, new_unit_cost
from doe.advise.route import _with_order, change_text, route
from doe.model.effort import Effort
from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.records import Unit
from doe.model.wording import duration, percent
from doe.plans import plan
from doe.plans.bench import steps
from tests.refusing import refused
from tests.strategies import factor_sets, settings_for

RADIO = [
    Factor("vents", kind="count", low=0, high=6, way="up", minutes=12, minutes_per_step=1),
    Factor("rings", kind="count", low=7, high=9, way="rebuild"),
    Factor("wool", low=0, high=60, step=20, unit="%", minutes=8),
    Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"], minutes=25),
    Factor("lid", kind="ordered", levels=["open", "half", "shut"], way="down", minutes=5),
]
EFFORT = Effort(new_unit_minutes=150, reading_minutes=6, session_minutes=15)
PARTS, EACH = 8, 25


def drawn(rng, count):
    return [{f.name: f.grid()[rng.integers(len(f.grid()))] for f in RADIO} for _ in range(count)]


def brute_force(variants, units, effort):
    """Minutes of the cheapest build order: every order cut into paths, every unit tried, steps from `advise.effort`.

    A new unit is at hand at any time, so an order is walked once: each variant follows the one before it on the same unit, or
    begins on another unit; the cheapest is found by trying all.
    """
    between = [[minutes_from(state, wanted) for wanted in variants] for state in variants]
    first = [[minutes_from(state, wanted) for wanted in variants] for state in units]
    new = [new_unit_cost(RADIO, wanted, effort).minutes for wanted in variants]
    best = np.inf
    for order in itertools.permutations(range(len(variants))):
        best = min(best, walk(order, between, first, new, 0, frozenset(), 0.0, best))
    return best


def minutes_from(state, wanted):
    """Minutes of a change on one unit, without end where it cannot be made."""
    can = all(f.can_go(state[f.name], wanted[f.name]) for f in RADIO)
    return change_cost(RADIO, state, wanted).minutes if can else np.inf


def walk(order, between, first, new, place, used, spent, best):
    if spent >= best:
        return best
    if place == len(order):
        return spent
    wanted = order[place]
    ways = [(new[wanted], used)]
    if place:
        ways.append((between[order[place - 1]][wanted], used))
    for number, unit in enumerate(first):
        if number not in used:
            ways.append((unit[wanted], used | {number}))
    for minutes, now in ways:
        best = min(best, walk(order, between, first, new, place + 1, now, spent + minutes, best))
    return best


def unit_frame(states):
    return pd.DataFrame([{"unit": f"body {number + 1}", **state} for number, state in enumerate(states)])


def follow(found, states):
    """Walk a route step by step; returns its minutes, and fails on a step that a unit cannot take."""
    now = {f"body {number + 1}": state for number, state in enumerate(states)}
    minutes = 0.0
    for row in found.table.to_dict("records"):
        wanted = {f.name: f.read(row[f.name]) for f in RADIO}
        before = now.get(row["unit"])
        if before is None:
            minutes += new_unit_cost(RADIO, wanted, EFFORT).minutes
        else:
            for factor in RADIO:
                assert factor.can_go(before[factor.name], wanted[factor.name]), (row, factor.name)
            minutes += change_cost(RADIO, before, wanted).minutes
        now[row["unit"]] = wanted
    return minutes


def instances(part):
    """Yield random instances as (route, states of the units, fewest minutes of any order); the first has 7 variants."""
    rng = np.random.default_rng([13, part])
    for number in range(EACH):
        states = drawn(rng, int(rng.integers(0, 4)))
        variants = drawn(rng, 7 if number == 0 else int(rng.integers(1, 7)))
        units = unit_frame(states) if states else None
        found = route(pd.DataFrame(variants), RADIO, units=units, effort=EFFORT, seed=number)
        yield found, states, brute_force(variants, states, EFFORT)


@pytest.mark.slow
@pytest.mark.parametrize("part", range(PARTS))
def test_the_route_takes_the_minutes_that_brute_force_finds(part):
    """200 random instances in all, of up to 7 variants and 3 units: as trying every order, proved, each step possible."""
    for found, states, fewest in instances(part):
        assert found.minutes == pytest.approx(fewest, abs=0.01)
        assert found.is_proven
        assert found.bound == pytest.approx(found.minutes)
        assert follow(found, states) == pytest.approx(found.minutes, abs=0.01)


@pytest.mark.slow
@given(st.integers(0, 10**6), st.integers(1, 9), st.integers(0, 4), st.sampled_from([0.0, 0.2, 1.0]))
def test_no_step_is_impossible_and_the_minutes_are_those_of_the_steps(seed, n_variants, n_units, shuffle):
    """Law: every variant is built once, one-way and rebuild factors are respected, minutes add up, shuffling stays within its
    allowance.
    """
    rng = np.random.default_rng(seed)
    states, variants = drawn(rng, n_units), drawn(rng, n_variants)
    units = unit_frame(states) if states else None
    found = route(pd.DataFrame(variants), RADIO, units=units, effort=EFFORT, shuffle=shuffle, seed=seed)
    assert sorted(found.table["variant"].astype(int)) == list(range(1, n_variants + 1))
    assert follow(found, states) == pytest.approx(found.minutes)
    assert found.table["minutes so far"].iloc[-1] == pytest.approx(found.minutes)
    assert found.units["minutes"].sum() == pytest.approx(found.minutes)
    assert found.bound - 0.01 <= found.least_minutes <= found.minutes + 0.01
    assert found.minutes <= found.least_minutes * (1 + shuffle) + 0.02
    assert found.new_units == sum(name not in {f"body {k + 1}" for k in range(n_units)} for name in found.units["unit"])


@given(st.data(), factor_sets(1, 3))
def test_the_tables_of_steps_are_those_of_advise_effort(data, factors):
    """Law: planning and advice count the same minutes for the same change."""
    start, end = data.draw(settings_for(factors)), data.draw(settings_for(factors))
    table = steps(factors, [start, end], [start], EFFORT)
    can = all(factor.can_go(start[factor.name], end[factor.name]) for factor in factors)
    assert np.isfinite(table.between[0, 1]) == can
    if can:
        assert table.between[0, 1] == pytest.approx(change_cost(factors, start, end).minutes)
        assert table.first[0, 1] == pytest.approx(table.between[0, 1])
    assert table.new[1] == pytest.approx(new_unit_cost(factors, end, EFFORT).minutes)


def test_blocks_are_built_one_after_another():
    table = plan([*RADIO[2:4]], 12, blocks=3, seed=2).table
    found = route(table, RADIO[2:4], effort=EFFORT)
    assert found.table["block"].tolist() == sorted(found.table["block"])
    assert found.reading_minutes == 12 * 6 + 3 * 15


@pytest.mark.parametrize("blocks", [["10", "9"], [10, 9], ["b", "a"]])
def test_blocks_are_built_in_the_order_of_their_numbers(blocks):
    table = pd.DataFrame([HERE, {**HERE, "wool": 20}]).assign(block=blocks)
    assert route(table, RADIO, units=[Unit("body", HERE)]).table["block"].tolist() == blocks[::-1]


def test_runs_that_name_a_unit_stay_on_it():
    table = pd.DataFrame(drawn(np.random.default_rng(2), 6)).assign(rings=8, vents=[0, 1, 2, 3, 4, 5], lid="half")
    table["unit"] = ["body 1", "body 1", "new 1", "new 1", "new 2", "new 2"]
    states = [{"vents": 0, "rings": 8, "wool": 0, "driver": "paper", "lid": "shut"}]
    found = route(table, RADIO, units=unit_frame(states), effort=EFFORT)
    by_variant = found.table.set_index("variant")["unit"]
    assert by_variant["1"] == by_variant["2"] == "body 1"
    assert by_variant["3"] == by_variant["4"]
    assert len(set(by_variant)) == 3
    assert not any("more than one unit" in note for note in found.notes)


@pytest.mark.parametrize("blank", [np.nan, pd.NA, "new"])
def test_runs_stay_on_a_unit_called_by_a_number_though_others_name_none(blank):
    """Unit 7 stands as the first run has it; blanks in the column make 8.0 of the 8 that the first run asks for."""
    table = pd.DataFrame([HERE, HERE]).assign(unit=[8.0, blank], variant=[1.0, 2.0])
    units = pd.DataFrame([HERE, {**HERE, "wool": 20}]).assign(unit=[7, 8])
    found = route(table, RADIO, units=units, effort=EFFORT).table
    assert found.set_index("variant")["unit"].to_dict() == {"1": "8", "2": "7"}


def test_runs_of_one_unit_are_not_parted_to_save_minutes():
    """Two bodies stand at the two runs; on one of them wool takes 8 minutes. Runs that name no unit are built on either."""
    table = pd.DataFrame([HERE, {**HERE, "wool": 60}])
    units = [Unit("A", HERE), Unit("B", {**HERE, "wool": 60})]
    found = route(table.assign(unit="new 1"), RADIO, units=units, effort=EFFORT)
    assert (found.minutes, found.table["unit"].nunique()) == (8, 1)
    assert not any("more than one unit" in note for note in found.notes)
    assert route(table, RADIO, units=units, effort=EFFORT).minutes == 0


def test_runs_of_one_unit_are_parted_where_steps_only_go_one_way():
    table = pd.DataFrame(
        [
            {"vents": 3, "rings": 8, "wool": 0, "driver": "paper", "lid": "open"},
            {"vents": 0, "rings": 8, "wool": 0, "driver": "paper", "lid": "shut"},
            {"vents": 0, "rings": 8, "wool": 0, "driver": "paper", "lid": "open"},
            {"vents": 3, "rings": 8, "wool": 0, "driver": "paper", "lid": "shut"},
        ]
    ).assign(unit="new 1")
    found = route(table, RADIO, effort=EFFORT)
    assert found.new_units == 2
    assert "The runs planned on new 1 need more than one unit, because some steps only go one way." in found.notes


def test_a_unit_with_nothing_fitted_is_used_before_a_new_one():
    table = pd.DataFrame(drawn(np.random.default_rng(1), 1))
    bare = [Unit("blank")]
    found = route(table, RADIO, units=bare, effort=EFFORT)
    assert found.table["unit"].tolist() == ["blank"]
    assert found.minutes == pytest.approx(route(table, RADIO, effort=EFFORT).minutes - 150)


def test_retired_units_are_left_alone():
    state = {"vents": 0, "rings": 8, "wool": 0, "driver": "paper", "lid": "shut"}
    table = pd.DataFrame([state])
    assert route(table, RADIO, units=[Unit("old", state, retired=True)], effort=EFFORT).new_units == 1
    assert route(table, RADIO, units=[Unit("old", state)], effort=EFFORT).minutes == 0


def test_a_new_unit_is_not_called_as_one_that_is_retired():
    table = pd.DataFrame([HERE, {**HERE, "wool": 20}]).assign(unit=["old", "old"])
    found = route(table, RADIO, units=[Unit("old", HERE, retired=True)], effort=EFFORT)
    assert found.table["unit"].tolist() == ["new 1", "new 1"]
    assert "old is retired, so the runs planned there are built on another unit." in found.notes


def test_without_minutes_a_new_unit_is_the_last_resort():
    state = {"vents": 2, "rings": 8, "wool": 0, "driver": "paper", "lid": "shut"}
    table = pd.DataFrame([{**state, "driver": "poly"}, {**state, "vents": 0}])
    found = route(table, RADIO, units=[Unit("body", state)])
    assert found.new_units == 1
    assert (
        "The minutes of a new unit are not known, so new ones are made only where there is no other way." in found.notes
    )


def test_shuffling_shows_both_minutes_and_runs_less_with_the_order():
    """A slow factor sorted by the shortest route runs with the order; half as much again lets it move."""
    factors = [
        Factor("slow", kind="categorical", levels=["a", "b"], minutes=60),
        Factor("quick", low=0, high=5, step=1, minutes=1),
    ]
    table = pd.DataFrame([{"slow": level, "quick": float(step)} for level in "ab" for step in range(6)])
    units = [Unit("body", {"slow": "a", "quick": 0.0})]
    least, shuffled = (
        route(table, factors, units=units, effort=EFFORT, shuffle=share, new_units=0) for share in (0.0, 3.0)
    )
    assert shuffled.least_minutes == least.minutes < shuffled.minutes
    drift = shuffled.randomised.set_index("factor")
    assert abs(drift.loc["slow", "correlation"]) < drift.loc["slow", "correlation_least"]
    took, fewest = duration(shuffled.minutes), duration(least.minutes)
    more = percent((shuffled.minutes - least.minutes) / least.minutes)
    assert f"Shuffled: {took} instead of {fewest}, {more} more." in shuffled.notes
    assert any("Drift over the order cannot be told from the effect of slow" in note for note in least.notes)


def test_correlation_with_the_order_is_that_of_pearson():
    factors = [Factor("x", low=0, high=9, step=1, way="up")]
    table = pd.DataFrame({"x": [0.0, 3.0, 9.0]})
    found = route(table, factors, units=[Unit("body", {"x": 0.0})], effort=EFFORT)
    assert found.randomised["correlation"].item() == pytest.approx(np.corrcoef([1, 2, 3], [0, 3, 9])[0, 1])
    assert found.randomised["how"].item().startswith("only up on each unit")


def test_the_change_is_said_in_words():
    before = {"vents": 2, "rings": 8, "wool": 0.0, "driver": "paper", "lid": "shut"}
    assert change_text(RADIO, before, {**before, "vents": 3, "driver": "poly"}) == "vents 2 to 3, driver paper to poly"
    assert change_text(RADIO, before, before) == "as it is"
    assert change_text(RADIO[:2], None, before) == "new unit: vents 2, rings 8"


def test_readings_are_counted_beside_the_building():
    table = pd.DataFrame(drawn(np.random.default_rng(4), 3))
    assert route(table, RADIO, effort=EFFORT).reading_minutes == 3 * 6 + 15


def test_what_cannot_be_built_is_refused():
    table = pd.DataFrame(drawn(np.random.default_rng(5), 4)).assign(rings=[7, 8, 9, 7])
    with refused(
        UsageError,
        "3 variants can only be built on a new unit, but new_units allows 1; allow 3 or leave new_units out.",
    ):
        route(
            table.iloc[:4].assign(vents=[3, 2, 1, 0], lid=["open", "half", "shut", "shut"], rings=[7, 8, 9, 8]),
            RADIO,
            new_units=1,
        )
    with refused(
        UsageError,
        "1 variant can only be built on a new unit, but new_units allows 0; allow 1 or leave new_units out.",
    ):
        route(table.iloc[:1], RADIO, new_units=0)
    with refused(
        UsageError,
        "The variants cannot all be built with 0 units and 1 new unit: one-way steps, or the units that runs name, stand in "
        "the way; allow more new units.",
    ):
        route(pd.DataFrame([HERE] * 4).assign(unit=["a", "a", "b", "b"]), RADIO, new_units=1)
    with refused(UsageError, "shuffle is -0.1; it must be 0 or more, such as 0.25 for a quarter more minutes."):
        route(table, RADIO, shuffle=-0.1)
    with refused(UsageError, "The table has no column for lid."):
        route(table.drop(columns="lid"), RADIO)
    with refused(DataError, "Variant 1: vents is 9; it must be a whole number from 0 to 6."):
        route(table.assign(vents=9), RADIO)
    with refused(DataError, "Variant 12: lid is ''; it must be open, half or shut."):
        route(table.assign(variant=[12.0, 13, 14, 15], lid=[None, "open", "open", "open"]), RADIO)
    with refused(DataError, "Run 3 has no block, and others have one; give it one, or leave the column out."):
        route(table.assign(block=["1", "1", "", None]), RADIO)
    with refused(DataError, "Unit body 1: wool is 15; it must be a number from 0 to 60 % in steps of 20."):
        route(table, RADIO, units=unit_frame([{"wool": 15}]))
    with refused(DataError, "Unit 'a' is listed twice."):
        route(table, RADIO, units=[Unit("a"), Unit("a")])
    with refused(UsageError, "new_units is 1.5; it must be a whole number from 0."):
        route(table, RADIO, new_units=1.5)
    with refused(UsageError, "There is nothing to build: the table has no rows."):
        route(table.iloc[:0], RADIO)


HERE = {"vents": 0, "rings": 8, "wool": 0, "driver": "paper", "lid": "shut"}


@pytest.mark.parametrize(
    ("rings", "at_hand", "said"),
    [
        ([8, 7], True, "2 variants on 2 units, 1 of them new: 2 h 55 min at the bench, and 27 min of readings"),
        ([8, 7], False, "2 variants on 2 new units: 5 h 50 min at the bench, and 27 min of readings"),
        ([8], True, "1 variant on 1 unit: 0 min at the bench, and 21 min of readings"),
    ],
)
def test_the_headline_counts_units_minutes_and_readings(rings, at_hand, said):
    """By hand: a new body takes 150 minutes and its driver 25; a reading 6, a session 15."""
    table = pd.DataFrame([{**HERE, "rings": count} for count in rings])
    found = route(table, RADIO, units=[Unit("body", HERE)] if at_hand else [], effort=EFFORT)
    assert found.headline == f"{said}, one round each."


def test_every_step_says_what_changes_on_its_unit_and_every_factor_how_its_order_came_about():
    """Vents only go up, 12 minutes and 1 a vent, wool takes 8."""
    table = pd.DataFrame([{**HERE, "vents": 3}, {**HERE, "vents": 2, "wool": 20}])
    found = route(table, RADIO, units=[Unit("body", HERE)], effort=EFFORT)
    steps = found.table[["variant", "what to do", "minutes", "minutes so far"]].to_numpy().tolist()
    assert steps == [["2", "vents 0 to 2, wool 0 to 20", 22, 22], ["1", "vents 2 to 3, wool 20 to 0", 21, 43]]
    how = found.randomised.set_index("factor")["how"].str.partition(";")[0].to_dict()
    assert how == {
        "vents": "only up on each unit", "rings": "fixed on each unit", "wool": "in the order that saves minutes",
        "driver": "in the order that saves minutes", "lid": "only down on each unit",
    }  # fmt: skip


def test_a_route_that_is_not_proved_the_shortest_says_what_it_cannot_take_less_than():
    table = pd.DataFrame(drawn(np.random.default_rng(4), 14))
    found, proved = (route(table, RADIO, effort=EFFORT, seconds=seconds) for seconds in (0.0, 20.0))
    assert (found.is_proven, proved.is_proven) == (False, True)
    assert found.bound <= proved.least_minutes == proved.bound < found.least_minutes
    assert found.notes[0] == (
        f"The shortest route found takes {duration(found.least_minutes)}; none can take fewer than {duration(found.bound)}."
    )


def test_a_new_unit_is_not_called_as_one_that_runs_ask_for():
    table = pd.DataFrame([HERE, {**HERE, "rings": 7}, {**HERE, "rings": 9}]).assign(unit=["new 1", None, "new 3"])
    found = route(table, RADIO, units=[Unit("new 2", {**HERE, "lid": "open"})], effort=EFFORT)
    assert found.table.set_index("variant")["unit"].to_dict() == {"1": "new 1", "2": "new 4", "3": "new 3"}


@pytest.mark.parametrize(
    ("factor", "settings", "correlation"),
    [
        (RADIO[0], [6, 3, 0], -1.0),
        (RADIO[4], ["shut", "half", "open"], -1.0),
        (RADIO[3], ["paper", "paper", "poly", "poly"], np.sqrt(4 / 5)),  # places -1.5 to 1.5: 4 of their 5 squares
        (RADIO[3], ["poly", "paper", "paper", "poly"], 0.0),
        (RADIO[1], [7, 7, 7], 0.0),
        (RADIO[3], ["poly"], 0.0),
    ],
)
def test_what_runs_with_the_order_is_told_with_its_sign_and_of_levels_by_their_means(factor, settings, correlation):
    assert _with_order(factor, settings) == pytest.approx(correlation)


def test_what_falls_with_the_order_is_told_of_as_what_rises():
    factors = [Factor("length", low=0, high=9, step=1, way="down")]
    found = route(pd.DataFrame({"length": [9.0, 4.0, 0.0]}), factors, units=[Unit("rod", {"length": 9.0})])
    assert any("cannot be told from the effect of length (-1), which runs with it" in note for note in found.notes)


def test_a_route_shows_itself():
    table = pd.DataFrame(drawn(np.random.default_rng(6), 3))
    found = route(table, RADIO, effort=EFFORT)
    assert found.headline in found.summary()
    assert "No route takes fewer than" in found.summary()
    assert found.to_frame().equals(found.table)
    assert "<table" in found._repr_html_()


def test_a_factor_may_be_called_as_figures_of_a_route_were():
    factors = [Factor("change", low=0, high=3), Factor("total", low=0, high=9)]
    wanted = pd.DataFrame({"change": [1.0, 2.0], "total": [4.0, 5.0]})
    found = route(wanted, factors, effort=EFFORT)
    assert sorted(found.table[["change", "total"]].itertuples(index=False, name=None)) == [(1.0, 4.0), (2.0, 5.0)]
    assert found.table["minutes so far"].is_monotonic_increasing
