"""What is believed of several outcomes at once, by worlds that are written down."""

from dataclasses import replace

import numpy as np
import pytest

from doe.advise.belief import make_belief, quick
from doe.advise.hope import HOPED_FOR, LEAST, SPREAD, hope
from doe.advise.prior import FullDraws
from doe.advise.space import make_space
from doe.coding import Coding
from doe.model.factor import Factor
from doe.model.outcome import Outcome

SPACE = make_space(Coding((Factor("wool", low=0, high=60, step=20),)))
OUTCOMES = (Outcome("bass", goal="raise", worst=0, best=10), Outcome("echo", goal="lower", worst=10, best=0))
VARIANTS = {str(place + 1): {"wool": 20.0 * place} for place in range(4)}


def drawn(own, *, level=0.0, build_sd=0.0, reading_sd=1.0):
    """Draws in which no setting acts: own values by variant, each one value for all worlds or one per world."""
    values = np.stack(np.broadcast_arrays(*(np.atleast_1d(value) for value in own.values())), axis=1).astype(float)
    count = max(len(values), np.size(reading_sd), 2)
    level, ones = np.full((count, 1), float(level)), np.ones(count)
    values = np.broadcast_to(values, (count, len(own)))
    return FullDraws(
        (), level, np.zeros((count, 0), bool), build_sd * ones, reading_sd * ones, values, tuple(own), (), level
    )


def believed(*draws, homes=None):
    return make_belief(OUTCOMES[: len(draws)], draws, SPACE, VARIANTS, homes or {}, np.random.default_rng(1))


@pytest.mark.parametrize(
    ("own", "offsets"),
    [
        ((6, 8, 0, -2), (3.75, -3.75)),  # within (1 + 1 + 1 + 1) / (4 - 2) = 2, between 16 - 2 / 2: a share of 15 / 16
        ((4, 2, 2, 4), (0, 0)),  # units that do not differ
        ((4, 2, 3, 3.5), (0, 0)),  # nor by more than their variants do
    ],
)
def test_what_a_unit_has_in_common_is_its_mean_drawn_to_the_level_as_far_as_variants_differ(own, offsets):
    """By hand, as Searle, Casella & McCulloch (1992) draw means of groups together; a new unit, or one unknown, has none."""
    belief = believed(drawn(dict(zip("1234", own, strict=True)), level=3), homes=dict(zip("1234", "AABB", strict=True)))
    codes = np.zeros((4, 1), dtype=np.intp)
    (values,) = belief.values_on(codes, ("B", None, "A", "C"), np.arange(4))
    assert values == pytest.approx(3 + np.tile([offsets[1], 0, offsets[0], 0], (2, 1)))


def test_the_variant_to_keep_is_known_in_every_outcome_if_any_is():
    worth = np.array([0.9, 0.2, 0.8, 0.5])
    all_read, two_read, none_read = (drawn(dict.fromkeys(names, 1.0)) for names in ("1234", "24", "3"))
    assert believed(all_read, two_read).best_place(worth) == 3
    assert believed(two_read, none_read).best_place(worth) == 0


def test_what_was_not_read_of_a_variant_is_believed_to_be_that_of_any_build():
    """Level 3, builds scatter by 0.5: variant 2 was not read, 1 to the number."""
    belief = believed(drawn({"1": np.full(4000, 7.0)}, level=3, build_sd=0.5))
    read, unread = belief.variant_values[0].T[:2]
    assert (read == 7).all()
    assert unread.mean() == pytest.approx(3, abs=4 * 0.5 / np.sqrt(4000))
    assert unread.std() == pytest.approx(0.5, rel=4 / np.sqrt(2 * 4000))


def test_noise_falls_with_rounds_and_raters():
    """Scatter of 1 and 3 in two worlds, a mean square of 5; two raters and two rounds halve it each."""
    one = drawn({"1": 1.0}, reading_sd=np.array([1.0, 3.0]))
    noise = believed(one, one).noise(np.array([1.0, 2.0]), {"echo": 2})
    assert noise == pytest.approx(np.array([[5, 2.5], [2.5, 1.25]]))


def test_small_effects_on_a_high_level_are_not_rounded_away():
    """Single precision holds 7 digits: effects of 0.5 at a level of 1e6 would keep one or two of theirs."""
    scatter = np.random.default_rng(1).standard_normal((50, 2))
    assert quick(scatter).dtype == np.float32
    assert quick(scatter * 0.5 + [1e6, 0]).dtype == np.float64


@pytest.mark.parametrize(
    ("levels", "own", "reached"),
    [
        ((9.5, 0.0), None, 0.95**0.5),  # bass is worth 0.95 and echo 1
        ((6.0, 4.0), None, 0.6),
        ((1.0, 10.0), None, 0.0),
        ((1.0, 10.0), {"1": (9.5, 0.5)}, 0.95),  # a variant that was read shows what can be had
        ((1.0, 10.0), {"1": (9.5, None)}, 0.0),  # in every outcome
    ],
)
def test_a_world_is_as_likely_as_the_best_of_it_is_good(levels, own, reached):
    """Nothing settings do: half a normal curve below the worth hoped for, and no less than is kept of a hopeless world."""
    draws = []
    for place, level in enumerate(levels):
        read = {name: values[place] for name, values in (own or {}).items() if values[place] is not None}
        draws.append(drawn(read, level=level) if read else replace(drawn({"1": 0.0}, level=level), variants=()))
    found = hope(OUTCOMES, draws, SPACE, np.random.default_rng(1))
    below = max(0.0, HOPED_FOR - reached) / SPREAD
    assert found == pytest.approx(np.full(len(found), np.log(max(np.exp(-0.5 * below**2), LEAST))), abs=1e-6)
