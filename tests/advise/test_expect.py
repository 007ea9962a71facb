import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from doe.advise import Expectation, recommend
from doe.advise.expect import agrees, notes_on, weigh
from doe.advise.hope import hope, picked
from doe.advise.prior import prior_draws
from doe.advise.space import make_space
from doe.coding import Coding
from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from tests.advise.test_recommend import BASE, readings_of


@pytest.fixture
def worlds(factors, outcomes):
    rng = np.random.default_rng(1)
    return tuple(prior_draws(outcome, Coding(factors), 4000, rng) for outcome in outcomes)


def believed(item, outcomes, worlds, place):
    left = picked(worlds, weigh([item], outcomes, worlds).log_weight, 4000, np.random.default_rng(2))
    return agrees(item, worlds[place]).mean(), agrees(item, left[place]).mean()


@pytest.mark.parametrize("effect", ["raises", "lowers", "nothing"])
def test_an_expectation_counts_three_to_one(effect, outcomes, worlds):
    """Odds after over odds before are 3, whatever they were."""
    before, after = believed(Expectation("wool", "echo", effect), outcomes, worlds, 1)
    assert (after / (1 - after)) / (before / (1 - before)) == pytest.approx(3.0, rel=0.06)


def test_an_expected_size_pulls_effects_towards_it(outcomes, worlds):
    item = Expectation("wool", "bass", "raises", size=3.0)
    left = picked(worlds, weigh([item], outcomes, worlds).log_weight, 4000, np.random.default_rng(2))
    place = 1 + next(k for k, term in enumerate(worlds[0].terms) if term.name == "wool")

    def near(draws):
        return np.mean(np.abs(2 * draws.coefficients[:, place] - 3.0) < 1.5)

    assert near(left[0]) > 1.5 * near(worlds[0])


def slopes(*changes):
    """Worlds in which wool changes bass by so much from end to end."""
    as_read = np.column_stack([np.zeros(len(changes)), np.array(changes) / 2])
    terms, ones = Coding([Factor("wool", low=0, high=60)]).terms(["wool"]), np.ones(len(changes))
    return SimpleNamespace(terms=terms, widths=(1,), as_read=as_read, build_sd=ones, variants=("1",))


def test_a_world_counts_by_its_side_and_by_how_near_the_size_is(outcomes):
    """Three times with the side; a size off by itself takes exp(-1/2), and one far off a third, as much as the side gave."""
    item = Expectation("wool", "bass", "raises", size=3.0)
    found = weigh([item, Expectation("wool", "mass", "raises")], outcomes, [slopes(3, 6, -3, 60, -60)]).log_weight
    np.testing.assert_allclose(found, np.log(3) * np.array([1, 1, 0, 0, -1]) - np.array([0, 0.5, 0, 0, 0]))


@pytest.mark.parametrize(("others", "weight", "is_overruled"), [(99, 1.0, False), (200, 1.0, True), (200, 2.0, False)])
def test_it_is_overruled_where_readings_leave_it_less_than_2_percent(outcomes, others, weight, is_overruled):
    """One world in so many, three times as likely as an opinion: 3 in 102, 3 in 203, and 6 in 206 where it weighs twice."""
    worlds = slopes(1, *[-1] * others)
    item = Expectation("wool", "bass", "raises")
    before = np.append(np.log(weight), np.zeros(others))
    found = weigh([item], outcomes, [worlds], before)
    assert (item in found.overruled) == is_overruled
    np.testing.assert_allclose(
        found.log_weight - before, np.append(0.0 if is_overruled else np.log(3), np.zeros(others))
    )


def test_readings_overrule_it(factors, outcomes, effort):
    """Ten readings show that wool raises bass; the opposite opinion is noted, and changes nothing in the advice."""
    variants = [{**BASE, "wool": float(wool)} for wool in (0, 10, 20, 30, 40, 50, 60, 5, 25, 45)]
    frame = readings_of(variants, lambda s: (-4 + s["wool"] / 15, 3.0), outcomes, np.random.default_rng(3))
    advice = recommend(frame, factors, outcomes, effort=effort, expectations=[Expectation("wool", "bass", "lowers")])
    pd.testing.assert_frame_equal(advice.table, recommend(frame, factors, outcomes, effort=effort).table)
    (note,) = [note for note in advice.notes if note.startswith("Expected by the maker")]
    assert re.fullmatch(
        r"Expected by the maker, as a mild prior: more wool lowers bass; with the readings the chance of it is (<1|1) %; "
        r"they overrule it, and it counts no more \(more of it raises bass\)\.",
        note,
    )


@pytest.mark.slow
def test_what_is_right_of_a_small_effect_is_seldom_overruled_and_what_is_wrong_is():
    """Truth: slots raise bass by what matters from end to end; 60 logs of eight variants, each read twice."""
    slots, wool = Factor("slots", low=0, high=10, step=1), Factor("wool", low=0, high=4, step=1)
    outcome = Outcome("bass", goal="hit", target=0, worst=6, matters=1.0)
    right, wrong = Expectation("slots", "bass", "raises"), Expectation("slots", "bass", "lowers")
    overruled = {right: 0, wrong: 0}
    for seed in range(60):
        rng, rows = np.random.default_rng([seed, 17]), []
        for variant in range(8):
            settings = {"slots": int(rng.integers(11)), "wool": int(rng.integers(5))}
            value = (settings["slots"] - 5) / 10 + 0.3 * rng.standard_normal()
            rows += [{"variant": str(variant), "outcome": "bass", "value": value + 0.4 * rng.standard_normal(), **settings}
                     for _ in range(2)]  # fmt: skip
        for item in overruled:
            notes = recommend(pd.DataFrame(rows), [slots, wool], [outcome], expectations=[item]).notes
            overruled[item] += any("overrule" in note for note in notes)
    assert overruled[right] <= 0.25 * 60
    assert overruled[wrong] >= 0.9 * 60


def test_of_two_expectations_only_the_wrong_one_is_overruled(factors, outcomes, effort):
    """Bass falls clearly with vents, and nothing acts on echo."""
    variants = [{**BASE, "vents": vents, "wool": float(wool)} for vents, wool in
                [(0, 0), (1, 60), (2, 20), (3, 40), (4, 10), (5, 50), (6, 30), (0, 30), (6, 0), (3, 20)]]  # fmt: skip
    frame = readings_of(variants, lambda s: (3 - s["vents"], 3.0), outcomes, np.random.default_rng(4))
    expected = [Expectation("vents", "bass", "raises"), Expectation("vents", "echo", "nothing")]
    notes = recommend(frame, factors, outcomes, effort=effort, expectations=expected).notes
    first, second = (note for note in notes if note.startswith("Expected by the maker"))
    assert first.endswith("they overrule it, and it counts no more (more of it lowers bass).")
    assert "overrule" not in second


def test_what_is_believed_instead_is_told_as_surely_as_it_is_believed(outcomes, worlds):
    """In worlds where wool is idle it is said to be likely idle, as the analysis may still not tell; that it raises is sure."""
    item = Expectation("wool", "bass", "lowers")
    read = replace(worlds[0], variants=("1",))
    told = {"nothing": "(most likely it does nothing to bass)", "raises": "(more of it raises bass)"}
    for effect, words in told.items():
        agreed = agrees(Expectation("wool", "bass", effect), worlds[0])
        (draws,) = picked((read,), np.where(agreed, 0.0, -np.inf), 400, np.random.default_rng(2))
        (note,) = notes_on([item], outcomes, (draws, worlds[1]), {item}, {})
        assert note.endswith(f"they overrule it, and it counts no more {words}.")


def test_before_any_reading_it_steers_the_first_builds(factors, outcomes, effort):
    """Of two opposite opinions about vents and echo, the one that promises more asks for more vents."""
    asked = {}
    for effect in ("lowers", "raises"):
        expect = [Expectation("vents", "echo", effect, size=4.0), Expectation("vents", "bass", "nothing")]
        table = recommend(None, factors, outcomes, effort=effort, expectations=expect, only="improve", seed=3).table
        asked[effect] = table["vents"].iloc[0]
    assert asked["lowers"] > asked["raises"]


@pytest.mark.parametrize(
    ("item", "message"),
    [
        (("wol", "echo", "raises"), "Something is expected of 'wol', which is no factor. Did you mean 'wool'?"),
        (
            ("wool", "ecko", "raises"),
            "wool is expected to act on 'ecko', which is no outcome. Did you mean 'echo'?",
        ),
        (
            ("driver", "echo", "raises"),
            "driver has no order, so there is no more of it; only 'nothing' can be expected of it.",
        ),
    ],
)
def test_names_and_order_are_checked(factors, outcomes, item, message):
    with pytest.raises(UsageError, match=re.escape(message)):
        recommend(None, factors, outcomes, expectations=[Expectation(*item)])


@pytest.mark.slow
def test_hopeless_worlds_lose_weight_and_keep_some(factors, outcomes, worlds):
    """A world whose best variant is worth 0.9 or more keeps its full weight; one with nothing good keeps a fiftieth."""
    space = make_space(Coding(factors))
    weight = np.exp(hope(outcomes, worlds, space, np.random.default_rng(1)))
    codes = space.everything()
    values = [item.coefficients @ space.matrix(codes, item.terms).T for item in worlds]
    from doe.advise.worth import worth

    best = worth(outcomes, values).max(axis=1)
    np.testing.assert_allclose(weight[best > 0.91], 1.0, atol=0.01)
    assert weight.min() == pytest.approx(0.02)
    assert np.corrcoef(best, weight)[0, 1] > 0.7
