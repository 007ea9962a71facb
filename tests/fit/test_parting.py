"""What is said to part two tangled terms does part them."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from doe.coding import Coding, Term
from doe.fit import analyse
from doe.fit.builds import Builds
from doe.fit.tangled import NEAR, Rules, breaking_variant, changed_together, correlations
from doe.fit.whiten import whiten
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.outcome import Outcome

DIFFUSER = Factor("diffuser", kind="categorical", levels=["opal", "frosted", "prismatic"], minutes=6)
LOUVRE = Factor("louvre", kind="ordered", levels=["small", "medium", "large"], minutes=10)
CODING = Coding((DIFFUSER, LOUVRE))
TIE = (Term(("diffuser",)), Term(("louvre",)))
TIED = pd.DataFrame(
    [("frosted", "small"), ("prismatic", "large")] * 2, columns=["diffuser", "louvre"], index=["1", "2", "3", "4"]
)


def obeyed(settings, told):
    factor, level = told.removeprefix("change ").split(" alone to ")
    return pd.concat([settings, settings.iloc[[-1]].assign(**{factor: level})])


def largest(settings):
    """Largest canonical correlation of the two factors' indicator columns, by numpy alone."""
    bases = []
    for name in settings:
        columns = pd.get_dummies(settings[name]).to_numpy(dtype=float)
        left, sizes, _ = np.linalg.svd(columns - columns.mean(axis=0), full_matrices=False)
        bases.append(left[:, sizes > 1e-9])
    return np.linalg.norm(bases[0].T @ bases[1], 2)


def test_a_third_level_that_leaves_the_rest_tied_is_not_advised():
    """Opal with large is cheap and new, but leaves small to frosted alone; frosted with large parts them."""
    assert largest(obeyed(TIED, "change diffuser alone to opal")) == pytest.approx(1.0)
    told = breaking_variant(TIE, TIED, CODING)
    assert told == "change diffuser alone to frosted"
    assert largest(obeyed(TIED, told)) < NEAR


@pytest.mark.parametrize("seed", [2, 3, 4])
def test_the_cheapest_change_that_parts_them_is_told(seed):
    """Tried out one by one: of the single changes that part the two none takes less time than the one that is told."""
    rng = np.random.default_rng(seed)
    rows = list(zip(DIFFUSER.levels, LOUVRE.levels, strict=True))
    frame = pd.DataFrame([rows[place] for place in [0, 1, 2, *rng.integers(0, 3, 9)]], columns=["diffuser", "louvre"])
    frame.loc[rng.integers(0, 12), "louvre"] = "small"
    last = frame.iloc[-1]
    minutes = {
        f"change {factor.name} alone to {level}": factor.minutes
        for factor in CODING.factors for level in factor.levels if level != last[factor.name]
    }  # fmt: skip
    parting = {told: cost for told, cost in minutes.items() if largest(obeyed(frame, told)) < NEAR}
    assert parting
    assert parting[breaking_variant(TIE, frame, CODING)] == min(parting.values())


@pytest.mark.parametrize(
    ("last", "told"),
    [
        ((60.0, 12), "change wool alone to 0"),
        ((55.0, 12), "change wool alone to 0"),
        ((0.0, 7), "change wool alone to 60"),
    ],
)
def test_numbers_are_parted_at_an_end_of_their_range(last, told):
    """The last variant stands at the far ends of both, or nearly; wool is changed faster, and hardly from 55 to 60."""
    wool, rings = (
        Factor("wool", low=0, high=60, step=5, minutes=8),
        Factor("rings", kind="count", low=7, high=12, minutes=9),
    )
    settings = pd.DataFrame([(0.0, 7), (60.0, 12), (0.0, 7), last], columns=["wool", "rings"])
    assert breaking_variant((Term(("wool",)), Term(("rings",))), settings, Coding((wool, rings))) == told


SHARES = tuple(Factor(name, low=0, high=100, minutes=5) for name in ("resin", "chalk", "fibre"))
ADD_UP = Limit("resin + chalk + fibre == 100")
WENT_TOGETHER = pd.DataFrame(
    [(20.0, 20.0, 60.0), (50.0, 50.0, 0.0), (40.0, 40.0, 20.0)], columns=["resin", "chalk", "fibre"]
)
SAME = (Term(("resin",)), Term(("chalk",)))


@pytest.mark.parametrize(
    ("limits", "told"),
    [
        ([], "change resin alone to 0"),
        ([Limit("resin >= 20"), Limit("chalk >= 25")], "change resin alone to 100"),
        ([Limit("resin == chalk")], ""),
        ([ADD_UP, Limit("abs(resin - chalk) <= 2")], ""),  # which hardly parts them
    ],
)
def test_what_parts_two_terms_keeps_the_limits(limits, told):
    assert breaking_variant(SAME, WENT_TOGETHER, Coding(SHARES), Rules(tuple(limits))) == told


@pytest.mark.parametrize("way", ["either", "rebuild"])
def test_what_parts_two_terms_of_a_sum_is_made_up_for(way):
    shares = tuple(replace(share, way=way) for share in SHARES)
    told = breaking_variant(SAME, WENT_TOGETHER, Coding(shares), Rules((ADD_UP,)))
    assert told.startswith("change" if way == "either" else "build one new unit with")
    moved = {name: float(number) for name, number in re.findall(r"(resin|chalk|fibre) (?:to )?(\d+)", told)}
    after = {"resin": 40.0, "chalk": 40.0, "fibre": 20.0, **moved}
    assert len(moved) == 2
    assert sum(after.values()) == 100
    rows = pd.concat([WENT_TOGETHER, pd.DataFrame([after])])
    assert abs(np.corrcoef(rows["resin"], rows["chalk"])[0, 1]) < NEAR


def test_terms_that_no_limit_lets_part_are_said_to_be_so():
    log = pd.DataFrame({"variant": list("123"), "outcome": "bend", "fibre": 9.0})
    log = log.assign(**{name: [20.0, 50.0, 80.0] for name in ("value", "resin", "chalk")})
    bend = Outcome("bend", goal="lower", best=0, worst=99)
    found = analyse(log, SHARES, bend, limits=[Limit("resin == chalk")])
    assert "Resin and chalk always changed together; no single change within the limits parts them." in found.notes


def test_correlations_between_terms_are_the_canonical_ones():
    """Against numpy: of builds that scatter alike, the largest canonical correlation of the two factors' columns."""
    rng = np.random.default_rng(2)
    rows = rng.integers(0, 3, (9, 2))
    frame = pd.DataFrame(
        {"diffuser": np.array(DIFFUSER.levels)[rows[:, 0]], "louvre": np.array(LOUVRE.levels)[rows[:, 1]]}
    )
    wool = Factor("wool", kind="categorical", levels=["no", "yes"])
    frame["wool"] = np.where(rows.sum(axis=1) + rng.integers(0, 2, 9) > 2, "yes", "no")
    coding = Coding((DIFFUSER, LOUVRE, wool))
    terms = coding.terms("main")
    builds = Builds(rng.normal(size=9), 0.2 * np.eye(9), 0.3 * np.eye(9))
    found = correlations(whiten(builds, coding.matrix(frame, terms), coding, replicated=True))
    expected = [[largest(frame[[one, other]]) if one != other else 1.0 for other in frame] for one in frame]
    np.testing.assert_allclose(found, expected, atol=1e-9)


def test_three_levels_that_always_went_together_are_parted_step_by_step():
    """No single change parts them (tried out one by one); each that is advised leaves less in common, until they are parted."""
    rows = pd.DataFrame(list(zip(DIFFUSER.levels, LOUVRE.levels, strict=True)) * 2, columns=["diffuser", "louvre"])
    others = [("diffuser", "opal"), ("diffuser", "frosted"), ("louvre", "small"), ("louvre", "medium")]
    assert all(largest(obeyed(rows, f"change {name} alone to {level}")) == pytest.approx(1.0) for name, level in others)
    told = breaking_variant(TIE, rows, CODING)
    assert told.endswith(", as a beginning: levels are parted one at a time")
    after = obeyed(rows, told.partition(",")[0])
    assert largest(after) == pytest.approx(1.0)
    for _ in range(3):
        after = obeyed(after, breaking_variant(TIE, after, CODING).partition(",")[0])
        if largest(after) < NEAR:
            break
    assert largest(after) < NEAR


def test_it_still_parts_them_after_another_level_was_tried():
    after = obeyed(TIED, "change diffuser alone to opal")
    assert largest(obeyed(after, breaking_variant(TIE, after, CODING))) < NEAR


def test_what_changed_alone_once_is_not_said_to_have_changed_together_always():
    assert changed_together("diffuser", "louvre", TIED)
    assert not changed_together("diffuser", "louvre", obeyed(TIED, "change diffuser alone to opal"))


def test_a_quantity_that_moved_with_one_of_its_parts_is_parted_by_the_other():
    """Only felt was changed, so that the air moved with it alone: a new unit with other rings tells the two apart."""
    factors = (Factor("rings", kind="count", low=7, high=12, way="rebuild"), Factor("felt", low=0, high=60, step=5))
    air = Derived("air", "rings * 42 - felt * 2.1")
    rng = np.random.default_rng(4)
    rows = [
        {
            "variant": str(place),
            "outcome": "echo",
            "value": 0.05 * felt + 0.1 * rng.standard_normal(),
            "rings": 9,
            "felt": felt,
        }
        for place, felt in enumerate((0.0, 60.0, 30.0, 15.0, 45.0))
    ]
    found = analyse(
        pd.DataFrame(rows), factors, Outcome("echo", goal="lower", best=0, worst=9), ["air", "felt"], derived=[air]
    )
    (note,) = (note for note in found.notes if "to part them" in note)
    assert note == (
        "Air and felt cannot be told apart by these variants; to part them, build one new unit with rings changed and the "
        "rest as it was."
    )
