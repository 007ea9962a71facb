"""Stand-ins and the lasting settings that replace them, against brute force."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from doe.advise.equivalents import _off
from doe.advise.lasting import solve
from doe.advise.must_give import what_must_give
from doe.advise.standin import choose_stand_in
from doe.model.errors import DataError, FettleError, UsageError
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit, broken_limits
from doe.model.wording import number
from tests.refusing import refused
from tests.strategies import examples

RINGS = Factor("rings", kind="count", low=7, high=12, way="rebuild")
WOOL = Factor("wool", low=0, high=60, step=5, unit="%", minutes=8)
VENTS = Factor("vents", kind="count", low=0, high=6, way="up")
AIR = Derived("air", "rings * 42 - wool * 2.1", unit="cm3")
FACTORS = (VENTS, RINGS, WOOL)
START = {"vents": 2, "rings": 11, "wool": 45.0}


@pytest.mark.parametrize("scale", [1.0, 1e-12])
def test_a_quantity_in_tiny_units_is_solved_as_one_in_large_ones(scale):
    """Farads for picofarads: the same settings, and the same shares off; nothing passes for the same because it is small."""
    quantity = Derived("total", f"(rings * 42 - wool * 2.1) * {scale!r}")
    stand_in = choose_stand_in(FACTORS, (quantity,), without="wool")
    found = solve(stand_in, FACTORS, START).nearest
    assert [one.settings["rings"] for one in found[:2]] == [9, 8]
    assert [one.mismatch / scale for one in found[:2]] == pytest.approx([10.5, -31.5])
    assert _off(found[0].mismatch) == f"{number(10.5 * scale)} too much"


def numeric_factor(name):
    """A count, or a number on steps that binary fractions hold exactly."""
    count = st.builds(
        lambda low, n: Factor(name, "count", low=low, high=low + n, way="rebuild"), st.integers(1, 9), st.integers(1, 9)
    )
    stepped = st.builds(
        lambda low, n, step: Factor(name, low=low, high=low + n * step, step=step, way="up"),
        st.integers(1, 9),
        st.integers(1, 9),
        st.sampled_from([0.25, 0.5, 2.0]),
    )
    return st.one_of(count, stepped)


@st.composite
def projects(draw, most_lasting=3):
    """A stand-in, up to three lasting factors, a quantity of several shapes, limits, and settings to start from."""
    names = ["a", "b", "c"][: draw(st.integers(1, most_lasting))]
    lasting = [draw(numeric_factor(name)) for name in names]
    stand_in = Factor("s", low=0, high=8, step=1)
    weights = [draw(st.sampled_from([-3, -1, 0.5, 2, 7])) for _ in names]
    shape = draw(st.sampled_from(["sum", "product", "ratio"]))
    parts = [f"{weight} * {name}" for weight, name in zip(weights, names, strict=True)]
    expression = {
        "sum": " + ".join([*parts, "1.5 * s"]),
        "product": " * ".join([*names, "(10 - s)"]),
        "ratio": f"({' + '.join(parts)} + s) / {names[0]}",
    }[shape]
    factors = (*lasting, stand_in)
    start = {factor.name: draw(st.sampled_from(factor.grid(200))) for factor in factors}
    limits = draw(
        st.lists(st.sampled_from([Limit(f"{names[0]} >= 4"), Limit("q <= 40"), Limit(f"{names[-1]} < 7")]), max_size=2)
    )
    return factors, Derived("q", expression), start, tuple(limits)


def brute_force(factors, quantity, start, limits):
    """Look at every combination, one after the other."""
    lasting = [factor for factor in factors if factor.name != "s"]
    wanted = quantity.parsed.evaluate(start)
    found = []
    for values in itertools.product(*(factor.grid(10_000) for factor in lasting)):
        tried = {**start, "s": 0.0, **{factor.name: value for factor, value in zip(lasting, values, strict=True)}}
        if not broken_limits(tried, limits, [quantity]):
            found.append(abs(quantity.parsed.evaluate(tried) - wanted))
    return sorted(found)


@pytest.mark.slow
@examples(150)
@given(projects())
def test_the_nearest_settings_are_those_of_brute_force(project):
    """On the steps, within the range and the limits, nothing is nearer, to the last digit of the arithmetic."""
    factors, quantity, start, limits = project
    known = choose_stand_in(factors, [quantity], without="s")
    solved = solve(known, factors, start, limits=limits, derived=[quantity], count=4)
    best = brute_force(factors, quantity, start, limits)
    assert solved.is_exact
    np.testing.assert_allclose([abs(one.mismatch) for one in solved.nearest], best[:4], rtol=0, atol=1e-7)
    for one in solved.nearest:
        assert one.settings["s"] == 0.0
        assert not broken_limits(one.settings, limits, [quantity])
        assert all(factor.read(one.settings[factor.name]) == one.settings[factor.name] for factor in factors)


@pytest.mark.slow
@examples(60)
@given(projects())
def test_a_space_too_large_to_look_at_whole_is_searched_as_well(project):
    """With room for few combinations at once the scans of pairs still find the nearest of three factors."""
    factors, quantity, start, limits = project
    known = choose_stand_in(factors, [quantity], without="s")
    solved = solve(known, factors, start, limits=limits, derived=[quantity], count=1, most=1)
    best = brute_force(factors, quantity, start, limits)
    assume(best)
    assert not solved.is_exact
    assert abs(solved.nearest[0].mismatch) == pytest.approx(best[0], abs=1e-7)


def test_a_space_of_ten_to_the_fifteenth_is_searched_in_a_moment():
    """Truth: five lengths of 1000 steps whose sum is to stay; there are exact answers, and one is found."""
    lasting = [Factor(name, low=0, high=999, step=1, way="rebuild") for name in "abcde"]
    factors = (*lasting, Factor("s", low=0, high=100, step=1))
    quantity = Derived("q", "a + 2 * b + 3 * c + 5 * d + 7 * e - 4 * s")
    start = {"a": 400.0, "b": 300.0, "c": 200.0, "d": 100.0, "e": 50.0, "s": 37.0}
    solved = solve(choose_stand_in(factors, [quantity], without="s"), factors, start, count=3)
    assert not solved.is_exact
    assert solved.nearest[0].mismatch == 0.0


def test_a_factor_without_steps_hits_the_value():
    depth = Factor("depth", low=20.0, high=90.0, unit="mm", way="rebuild")
    cavity = Derived("cavity", "depth ** 2 * 3 - wool * 20")
    start = {"depth": 80.0, "wool": 45.0}
    known = choose_stand_in((depth, WOOL), [cavity])
    nearest = solve(known, (depth, WOOL), start).nearest[0]
    assert nearest.settings["depth"] == pytest.approx(math.sqrt((3 * 80**2 - 900) / 3), rel=1e-9)


def test_near_copies_of_an_answer_are_left_out():
    """Of two lengths without steps whose product is kept, answers a twentieth of a range apart at least, the nearest first."""
    depth = Factor("depth", low=20.0, high=90.0, unit="mm", way="rebuild")
    width = Factor("width", low=20.0, high=90.0, unit="mm", way="rebuild")
    cavity = Derived("cavity", "depth * width - wool * 20")
    start = {"depth": 60.0, "width": 50.0, "wool": 45.0}
    found = solve(choose_stand_in((depth, width, WOOL), [cavity]), (depth, width, WOOL), start, count=4).nearest
    off = [abs(one.mismatch) for one in found]
    assert len(found) == 4
    assert off == sorted(off)
    assert off[0] < 1e-6
    for one, other in itertools.combinations(found, 2):
        assert max(abs(one.settings[name] - other.settings[name]) for name in ("depth", "width")) >= 0.05 * 70


def test_what_goes_without_saying_need_not_be_said():
    """Wool is the only part of the air that goes back and forth, and none of it is 0."""
    known = choose_stand_in(FACTORS, [AIR])
    assert (known.factor.name, known.to, [factor.name for factor in known.lasting]) == ("wool", 0.0, ["rings"])
    solved = solve(known, FACTORS, START)
    assert [one.settings["rings"] for one in solved.nearest[:2]] == [9, 8]
    assert solved.nearest[0].mismatch == pytest.approx(378 - 367.5)


def test_levels_can_stand_in_and_make_up():
    liner = Factor("liner", "categorical", levels=["none", "foam"], minutes=3)
    back = Factor("back", "ordered", levels=["thin", "thick"], way="rebuild")
    damping = Derived("damping", '(liner == "foam") * 3 + (back == "thick") * 2.5')
    known = choose_stand_in((liner, back), [damping])
    assert known.to == "none"
    nearest = solve(known, (liner, back), {"liner": "foam", "back": "thin"}).nearest[0]
    assert (nearest.settings, nearest.mismatch) == ({"liner": "none", "back": "thick"}, -0.5)


def test_what_must_give_is_named():
    """Truth: 7 rings and 25 % wool leave 241.5 cm3; without wool that asks for 5.75 rings, and 6 of them leave 252."""
    start = {**START, "rings": 7, "wool": 25.0}
    known = choose_stand_in(FACTORS, [AIR])
    solved = solve(known, FACTORS, start)
    assert solved.nearest[0].mismatch == pytest.approx(52.5)
    assert what_must_give(known, FACTORS, start, solved) == ("rings beyond 7 to 12: rings 6 would be 10.5 cm3 off",)


def test_a_limit_that_stands_in_the_way_is_named():
    limits = [Limit("rings >= 10")]
    known = choose_stand_in(FACTORS, [AIR])
    solved = solve(known, FACTORS, START, limits=limits)
    assert solved.nearest[0].settings["rings"] == 10
    assert what_must_give(known, FACTORS, START, solved, limits=limits) == (
        "without the limit rings >= 10: rings 9 would be 10.5 cm3 off",
    )


def test_no_setting_at_all_within_the_limits_is_an_answer():
    known = choose_stand_in(FACTORS, [AIR])
    limits = [Limit("wool >= 10")]
    solved = solve(known, FACTORS, START, limits=limits)
    assert solved.nearest == ()
    assert what_must_give(known, FACTORS, START, solved, limits=limits)[0].startswith("without the limit wool >= 10")


@pytest.mark.parametrize(
    ("options", "sentence", "command"),
    [
        (
            {"without": "wol"},
            "'wol' is no factor of this project; there are vents, rings and wool. Did you mean 'wool'?",
            "",
        ),
        (
            {"without": "vents"},
            "vents is part of no derived quantity, so there is nothing that a lasting change could keep equal; say what it "
            "acts through, in a derived quantity such as inner_air = rings * 42 - wool * 2.1.",
            "'fettle derived add NAME EXPRESSION' defines one",
        ),
        (
            {"through": "airs"},
            "'airs' is no derived quantity of this project; there is only air. Did you mean 'air'?",
            "",
        ),
        (
            {"without": "vents", "through": "air"},
            "vents is no part of air = rings * 42 - wool * 2.1; take one of its parts away, rings or wool, or keep another "
            "quantity equal.",
            "name a part with --without, or a quantity with --through",
        ),
        ({"to": 70}, "wool is 70; it must be a number from 0 to 60 % in steps of 5.", ""),
        (
            {"hold": ["rings"]},
            "Every other part of air is held, so nothing can make up for wool; leave at least one of them free.",
            "name fewer with --hold",
        ),
    ],
)
def test_what_does_not_fit_is_refused_with_what_to_do(options, sentence, command):
    """The sentence holds for a page too; what to type stands beside it, for the command line alone."""
    with refused(FettleError, sentence) as told:
        choose_stand_in(FACTORS, [AIR], **options)
    assert told.value.command == command


def test_a_stand_in_that_is_not_plain_is_asked_for():
    liner = Factor("liner", "categorical", levels=["felt", "foam"], minutes=3)
    damping = Derived("damping", '(liner == "foam") * 3 + wool * 0.1 + rings')
    with refused(UsageError, "Say which part of damping is the stand-in to take away: rings, wool or liner.") as told:
        choose_stand_in((*FACTORS, liner), [damping])
    assert told.value.command == "name it with --without"
    with refused(UsageError, "Say which level of liner is to last: felt or foam.") as told:
        choose_stand_in((*FACTORS, liner), [damping], without="liner")
    assert told.value.command == "name it with --to"
    with refused(
        DataError,
        "twice is written in one factor only, so nothing can stand in for another; choose or define a quantity that two "
        "factors are part of.",
    ):
        choose_stand_in(FACTORS, [AIR, Derived("twice", "wool * 2")], through="twice")
    with pytest.raises(DataError, match=r"\Awool is part of no derived quantity beside another factor, so "):
        choose_stand_in(FACTORS, [Derived("twice", "wool * 2")], without="wool")


@pytest.mark.parametrize(
    ("part", "nothing"),
    [
        (Factor("damp", low=-10, high=10), 0.0),
        (Factor("damp", low=5, high=20, step=5), 5.0),
        (Factor("damp", low=-3, high=7, step=5), -3.0),
        (Factor("damp", "ordered", levels=["light", "heavy"]), "light"),
        (Factor("damp", "ordered", levels=["light", "None", "heavy"]), "None"),
    ],
)
def test_what_means_none_of_it_need_not_be_said(part, nothing):
    """Nought where it can be set, else the low end; a level that is called so, else the first."""
    text = 'rings + (damp == "heavy")' if part.kind == "ordered" else "rings + damp"
    assert choose_stand_in((RINGS, part), [Derived("sum", text)], "damp").to == nothing


def test_without_a_derived_quantity_there_is_nothing_to_keep_equal():
    with pytest.raises(DataError, match="No derived quantity ties two factors together"):
        choose_stand_in(FACTORS, [])


def test_two_quantities_must_be_told_apart():
    sentence = "More than one quantity could be kept equal; say which: air or mass."
    with refused(FettleError, sentence) as told:
        choose_stand_in(FACTORS, [AIR, Derived("mass", "rings * 30 + wool * 0.5")])
    assert told.value.command == "name it with --through"


def test_settings_that_hardly_differ_are_told_as_one():
    """150 are wanted, at 15 mm without wool; the next differ by a twentieth of the range, that with less change first."""
    depth = Factor("depth", low=10, high=30, unit="mm")
    known = choose_stand_in((depth, WOOL), [Derived("air", "depth * 10 - wool * 2")], "wool")
    found = solve(known, (depth, WOOL), {"depth": 20.0, "wool": 25.0}, count=3).nearest
    assert [one.settings["depth"] for one in found] == pytest.approx([15, 16, 14])
    assert [one.mismatch for one in found] == pytest.approx([0, 10, -10])


def test_of_what_gives_the_same_the_smaller_share_of_a_range_is_changed_first():
    """10 % of wool are made up for by 10 of 100 mm, or by one ring of the five between 7 and 12."""
    gap = Factor("gap", low=0, high=100, step=10)
    factors = (RINGS, gap, WOOL)
    known = choose_stand_in(factors, [Derived("air", "rings * 10 + gap + wool")], "wool")
    found = solve(known, factors, {"rings": 8, "gap": 50.0, "wool": 10.0}).nearest
    assert [(one.settings["rings"], one.settings["gap"]) for one in found[:2]] == [(8, 60.0), (9, 50.0)]
