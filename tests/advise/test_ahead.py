"""Looking one move further, on benches small enough to be worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest

from doe.advise.ahead import CLOSED_OFF, LEAST_SHARE, LOST, look_ahead
from doe.advise.choose import choose
from doe.advise.effort import passages
from doe.advise.moves import POWER, Moves
from doe.advise.question import ask
from doe.advise.reach import reach_from
from doe.advise.situation import look
from doe.advise.space import make_space
from doe.coding import Coding
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.records import Unit
from doe.rehearse.benches import bench
from doe.rehearse.run import play
from doe.rehearse.strategies import Advised
from doe.rehearse.world import start

EFFORT = Effort(new_unit_minutes=180, session_minutes=15, reading_minutes=5)
FACTORS = (
    Factor("plug", kind="count", low=0, high=1, minutes=0),
    Factor("bracing", kind="count", low=0, high=2, way="rebuild"),
    Factor("holes", kind="count", low=0, high=4, way="up", minutes=12),
)
AS_IT_STANDS = {"plug": 0, "bracing": 0, "holes": 0}
N_WORLDS = 400


def moves_on(reach, settings, worth, values):
    """Builds from the start that takes the fewest minutes, one round of readings each; of one outcome."""
    codes = np.array([reach.space.code(one) for one in settings])
    minutes, price, start = reach.cheapest(codes)
    count = len(settings)
    return Moves(
        codes, start, minutes, price, np.ones(count), np.full(count, -1), np.zeros(count, dtype=bool), (values,), worth
    )  # fmt: skip


@pytest.fixture
def reach():
    space = make_space(Coding(FACTORS), [AS_IT_STANDS])
    return reach_from(space, [Unit("A", AS_IT_STANDS)], EFFORT, {})


@pytest.fixture
def riddle(reach):
    """Two sorts of world, equally likely: a brace of one kind is better by 0.4 in one sort, of the other kind in the other.

    Taking the plug out is no better in either, but tells which sort it is. The best variant so far is worth 0.5.
    """
    sort = np.arange(N_WORLDS) % 2
    settings = [{**AS_IT_STANDS, "plug": 1}, {**AS_IT_STANDS, "bracing": 1}, {**AS_IT_STANDS, "bracing": 2}]
    worth = np.stack([np.full(N_WORLDS, 0.5), np.where(sort == 0, 0.9, 0.5), np.where(sort == 1, 0.9, 0.5)], axis=1)
    values = np.stack([2.0 * sort - 1, worth[:, 1], worth[:, 2]], axis=1)
    return moves_on(reach, settings, worth, values)


def rates(moves, reach, hours=24.0):
    minutes = moves.minutes(EFFORT)
    ahead = look_ahead(moves, minutes, reach, EFFORT, 60 * hours, POWER)
    noise = np.full((1, len(moves)), 1e-6)
    return ahead.worth_doing(np.full((N_WORLDS, 1), 0.5), noise, minutes, np.arange(len(moves)))


def test_what_tells_which_rebuild_to_make_goes_first(riddle, reach):
    """By hand: 20 minutes that bring nothing but the answer, then 200 for a sure 0.4; against 200 for an even chance."""
    asking, first, second = rates(riddle, reach)
    assert asking == pytest.approx(0.4 / 220**POWER, rel=1e-5)
    guessing = 0.5 * (0.4 / 200**POWER + 0.4 / 400**POWER)
    assert first == pytest.approx(guessing, rel=1e-5)
    assert second == pytest.approx(guessing, rel=1e-5)
    assert asking > first


def test_an_answer_is_worth_nothing_where_nothing_more_fits(riddle, reach):
    asking, first, _ = rates(riddle, reach, hours=3.5)
    assert asking == 0.0
    assert first == pytest.approx(0.2 / 200**POWER, rel=1e-5)


def test_a_reading_again_tells_as_well(reach, riddle):
    """The variant at hand, read once more, tells the sort of world too; then the unit stands as before."""
    again = riddle.take(np.array([0, 1, 2]))
    again.variant[0] = 0
    assert rates(again, reach)[0] == pytest.approx(0.4 / (riddle.minutes(EFFORT)[0] + 200) ** POWER, rel=1e-5)


def counted_minutes(reach, settings, hoped):
    """Minutes that builds are counted with where one variant is better in half of all worlds, and nothing is in the others."""
    worth = np.full((N_WORLDS, len(settings)), 0.5)
    moves = moves_on(reach, settings, worth, worth)
    promised = np.where(np.arange(N_WORLDS) % 2, 0.9, 0.1)[:, None]
    minutes = moves.minutes(EFFORT)
    ahead = look_ahead(moves, minutes, reach, EFFORT, np.inf, POWER)
    kept = np.full((N_WORLDS, 1), 0.5)
    return minutes, ahead.with_detours(kept, promised, reach.space.code(hoped)[None])


def test_a_one_way_change_is_counted_with_the_way_it_closes_off(reach):
    """One hole is hoped for, 12 minutes from here. With two drilled it takes a new unit: 180 and 12 minutes."""
    settings = [{**AS_IT_STANDS, "holes": 2}, {**AS_IT_STANDS, "plug": 1}, {**AS_IT_STANDS, "holes": 1}]
    minutes, counted = counted_minutes(reach, settings, {**AS_IT_STANDS, "holes": 1})
    assert minutes == pytest.approx([32, 20, 32])
    assert counted == pytest.approx([32 + CLOSED_OFF * 0.5 * 180, 20, 32 - CLOSED_OFF * 0.5 * 12])


def test_a_build_that_brings_much_near_still_counts(reach):
    """A brace of the right kind saves 192 of the minutes to the one with a hole too, but is counted with a share of its own."""
    minutes, counted = counted_minutes(reach, [{**AS_IT_STANDS, "bracing": 1}], {"plug": 0, "bracing": 1, "holes": 4})
    assert minutes == pytest.approx([200])
    assert counted == pytest.approx([200 - CLOSED_OFF * 0.5 * 180])
    assert counted[0] > LEAST_SHARE * minutes[0]


def test_what_nothing_reaches_any_more_is_a_day_lost():
    space = make_space(Coding(FACTORS), [AS_IT_STANDS])
    only = reach_from(space, [Unit("A", AS_IT_STANDS)], EFFORT, {}, only_unit="A")
    minutes, counted = counted_minutes(only, [{**AS_IT_STANDS, "holes": 2}], {**AS_IT_STANDS, "holes": 1})
    assert counted == pytest.approx(minutes + CLOSED_OFF * 0.5 * LOST)


def test_without_hope_minutes_are_counted_as_they_are(reach):
    worth = np.full((N_WORLDS, 1), 0.5)
    moves = moves_on(reach, [{**AS_IT_STANDS, "holes": 2}], worth, worth)
    ahead = look_ahead(moves, moves.minutes(EFFORT), reach, EFFORT, np.inf, POWER)
    nothing = ahead.with_detours(worth, np.empty((N_WORLDS, 0)), np.empty((0, 3), dtype=np.intp))
    assert (nothing == moves.minutes(EFFORT)).all()
    worse = ahead.with_detours(worth, worth - 0.1, reach.space.code({**AS_IT_STANDS, "holes": 1})[None])
    assert (worse == moves.minutes(EFFORT)).all()


SORTS = (
    {"kind": "count", "low": 0, "high": 6, "minutes": 12, "minutes_per_step": 3},
    {"kind": "continuous", "low": 20, "high": 60, "step": 5, "minutes": 15, "minutes_per_step": 0.5},
    {"kind": "continuous", "low": 0, "high": 1, "minutes": 4},
    {"kind": "ordered", "levels": ["soft", "middle", "hard"], "minutes": 10, "minutes_per_step": 2},
    {"kind": "categorical", "levels": ["paper", "poly", "bamboo"], "minutes": 25, "minutes_per_step": 2},
)
WAYS = [
    (sort, way)
    for sort in SORTS
    for way in ("either", "up", "down", "rebuild")
    if sort["kind"] != "categorical" or way in ("either", "rebuild")
]


@pytest.mark.parametrize(("sort", "way"), WAYS)
def test_passages_are_the_changes_of_each_factor(sort, way):
    """Every pair of settings against `Factor.change_minutes` and `Factor.can_go`."""
    known = Factor("f", way=way, **sort)
    values = known.grid(7)
    table = passages([known], [values])
    codes = np.arange(len(values))[:, None]
    found = table.between(codes, codes)
    for begin, row in zip(values, found, strict=True):
        for end, minutes in zip(values, row, strict=True):
            expected = known.change_minutes(begin, end) if known.can_go(begin, end) else np.inf
            assert minutes == pytest.approx(expected), (begin, end)


def test_advice_looks_ahead_only_if_asked_to():
    """The same moves compete; what differs is which of them leads. One side alone is judged by the move itself."""
    world = start(bench("together", 3))
    setup = world.bench.setup
    question, further = (
        ask(setup.factors, setup.outcomes, setup.effort, (), (), 3, 24.0, None, None, 1, (), None, None, ahead=ahead)
        for ahead in (False, True)
    )
    situation = look(question, world.frame(), world.units, np.random.default_rng(1))
    plain = choose(question, situation, np.random.default_rng(1))
    ahead = choose(further, situation, np.random.default_rng(1))
    assert (plain[0].moves.codes == ahead[0].moves.codes).all()
    assert (plain[0].rate != ahead[0].rate).any()
    for choice in ahead:
        assert np.isfinite(choice.rate).all()
        assert choice.rate[choice.place] == choice.rate.max() > 0
    improving = replace(further, only="improve")
    (first, *_) = choose(improving, situation, np.random.default_rng(1))
    assert (first.rate == first.judged.value / np.maximum(first.minutes, 1.0) ** POWER).all()


def test_whoever_looks_ahead_keeps_the_hours_and_all_ways():
    """A whole rehearsal of a bench with one-way and rebuild factors; the bench refuses what cannot be done."""
    played = play(bench("interaction", 2), Advised(ahead=True), hours=6.0)
    assert len(played.world.variants) >= 4
    assert played.world.minutes <= 360
