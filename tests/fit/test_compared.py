from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import linalg, optimize, stats
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_linear_model import GLM
from statsmodels.regression.linear_model import OLS

from doe.coding import Coding
from doe.fit import analyse
from doe.fit.compared import compared_builds, gather_comparisons
from doe.fit.origins import NO_BUILD_LEFT
from doe.fit.paired import HELD_SD, Pairs, abilities, fit_pairs, linked_parts
from doe.model.errors import DataError, FitError
from doe.model.factor import Factor
from doe.model.names import versus_column
from doe.model.outcome import Outcome
from doe.model.wording import MOVES
from tests.fit.logs import DRIVER, FACTORS, random_settings
from tests.refusing import refused

CLARITY = Outcome("clarity", kind="compared")


def comparisons(seed: int, n_variants: int = 12, rounds: int = 6) -> pd.DataFrame:
    """Truth: ability is minus half the driver's bass offset; everything else does nothing. Every pair, `rounds` times."""
    rng = np.random.default_rng(seed)
    settings = random_settings(n_variants, rng)
    ability = np.array([-0.5 * DRIVER[driver] for driver in settings["driver"]])
    rows = []
    for first in range(n_variants):
        for second in range(first + 1, n_variants):
            for _ in range(rounds):
                gap = ability[first] - ability[second]
                chances = np.array([np.exp(gap / 2), np.exp(-gap / 2), 0.5])
                value = rng.choice([1.0, 0.0, 0.5], p=chances / chances.sum())
                record = settings.iloc[first].to_dict()
                rows.append(
                    {"variant": f"v{first}", "versus": f"v{second}", "outcome": "clarity", "value": value, **record}
                )
    last = settings.iloc[n_variants - 1].to_dict()
    rows.append({"variant": f"v{n_variants - 1}", "versus": "v0", "outcome": "clarity", "value": 0.5, **last})
    return pd.DataFrame(rows)


def test_a_variant_that_only_stands_second_counts_as_any_other():
    """As where each build is compared with the one before: turning every comparison round changes nothing."""
    log = comparisons(1).iloc[:-1]  # the last row alone has the last variant first
    settings = random_settings(12, np.random.default_rng(1))
    second = settings.iloc[log["versus"].str[1:].astype(int)].reset_index(drop=True)
    whole = log.join(second.rename(columns=versus_column))
    names = list(settings.columns)
    turned = pd.DataFrame({"variant": whole["versus"], "versus": whole["variant"], "outcome": "clarity"})
    turned = turned.assign(value=1 - whole["value"], **{name: whole[versus_column(name)] for name in names})
    turned = turned.join(whole[names].rename(columns=versus_column))
    one, two = (analyse(frame, FACTORS, CLARITY) for frame in (whole, turned))
    assert one.n_variants == two.n_variants == 12
    assert set(one.variants["variant"]) == set(two.variants["variant"])
    first, other = (effects.variants.set_index("variant")["mean"].sort_index() for effects in (one, two))
    np.testing.assert_allclose(first, other, atol=1e-6)


def test_variants_that_are_numbers_stay_the_same_beside_readings_that_have_no_second():
    """Pandas makes floats of a column of numbers with blanks; 2.0 was taken for a reference object beside variant 2."""
    log = comparisons(1, 6).iloc[:-1]  # the last variant stands second only
    second = random_settings(6, np.random.default_rng(1)).iloc[log["versus"].str[1:].astype(int)].reset_index(drop=True)
    log = log.join(second.rename(columns=versus_column))
    numbers = log.assign(**{name: log[name].str[1:].astype(int) for name in ("variant", "versus")})
    both = pd.concat([numbers, numbers[:3].assign(outcome="bass", versus=np.nan)])
    assert both["versus"].dtype == float
    found, plain = (gather_comparisons(frame, FACTORS, CLARITY).evidence for frame in (both, log))
    assert found.n_built == len(found.variants) == 6
    assert found.variants == tuple(name[1:] for name in plain.variants)
    np.testing.assert_array_equal(found.means, plain.means)


@pytest.mark.parametrize("seed", [1, 2])
def test_comparisons_find_the_driver(seed: int):
    """The driver's largest gap is 2 in log odds (poly over paper)."""
    effects = analyse(comparisons(seed), FACTORS, CLARITY)
    assert effects.basis_text == "397 comparisons of 12 variants"  # six of each pair, and one
    row = effects.table.set_index("term").loc["driver"]
    assert row["verdict"] == MOVES
    assert (row["from"], row["to"]) == ("paper", "poly")
    assert row["low"] < 2.0 < row["high"]
    assert effects.table["term"][effects.table["verdict"] == MOVES].tolist() == ["driver"]


def test_ties_follow_davidson():
    """Two items, closed form: the odds of winning are the ratio of wins, nu the ties over their geometric mean."""
    pairs = Pairs(np.array([0]), np.array([1]), np.array([30.0]), np.array([10.0]), np.array([20.0]), 2)
    fit = fit_pairs(pairs, np.array([[1.0], [0.0]]))
    assert fit.coefficients[0] == pytest.approx(np.log(3.0), abs=1e-8)
    assert fit.tie == pytest.approx(np.log(20 / np.sqrt(300)), abs=1e-8)


def test_an_item_that_always_wins_is_held():
    pairs = Pairs(np.array([0, 1]), np.array([1, 2]), np.array([5.0, 3.0]), np.array([0.0, 2.0]), np.zeros(2), 3)
    values, _, fit = abilities(pairs)
    assert fit.is_held
    assert np.all(np.isfinite(values))
    assert values[0] > values[1]


def test_a_held_fit_does_not_depend_on_which_item_comes_first():
    """Four items in a chain, each always better than the next: turned round, the abilities are the same ones turned round."""
    chain = (np.array([0, 1, 2]), np.array([1, 2, 3]))
    wins, none = np.array([3.0, 2.0, 4.0]), np.zeros(3)
    values, covariance, fit = abilities(Pairs(*chain, wins, none, none, 4))
    assert fit.is_held
    turned, other, _ = abilities(Pairs(3 - chain[0], 3 - chain[1], wins, none, none, 4))
    np.testing.assert_allclose(turned[::-1], values, atol=1e-6)
    np.testing.assert_allclose(other[::-1, ::-1], covariance, atol=1e-6)


def test_abilities_are_counted_from_the_mean_of_the_variants():
    """A variant as the mean is foretold to be is foretold to be about 0, as surely as the comparisons allow."""
    effects = analyse(comparisons(1), FACTORS, CLARITY)
    assert effects.variants["mean"].mean() == pytest.approx(0.0, abs=0.15)
    assert (effects.variants["high"] - effects.variants["low"]).max() < 3
    log = comparisons(1)
    settings = log.drop_duplicates("variant")[[factor.name for factor in FACTORS]]
    foretold = effects.predict(settings)
    assert foretold["mean"].mean() == pytest.approx(0.0, abs=0.3)
    assert (foretold["high"] - foretold["low"]).max() < 4


def test_abilities_are_counted_from_the_reference_where_there_is_one():
    """The last variant is made a reference object: what the others are ahead of it is their ability less its own."""
    log = comparisons(1)
    free = gather_comparisons(log, FACTORS, CLARITY).evidence
    names = [factor.name for factor in FACTORS]
    log.loc[log["variant"] == "v11", names] = None
    found = gather_comparisons(log, FACTORS, Outcome("clarity", kind="compared", relative_to="v11"))
    evidence = found.evidence
    assert evidence.variants[-1] == "v11"
    assert evidence.means[-1] == pytest.approx(0.0, abs=1e-9)
    ahead = dict(zip(free.variants, free.means - free.means[free.variants.index("v11")], strict=True))
    np.testing.assert_allclose(evidence.means, [ahead[name] for name in evidence.variants], atol=1e-6)
    assert found.covariance[-1, -1] < 0.01 * found.covariance[0, 0]
    assert found.evidence.notes == ()
    other = gather_comparisons(log, FACTORS, Outcome("clarity", kind="compared", relative_to="v1")).evidence
    assert other.notes == (
        "clarity is wanted relative to 'v1', which has settings and so is no reference object; taken as it is.",
    )


def test_unlinked_parts_are_found_and_said():
    pairs = Pairs(np.array([0, 2, 3]), np.array([1, 3, 4]), np.ones(3), np.ones(3), np.zeros(3), 5)
    assert linked_parts(pairs) == [[2, 3, 4], [0, 1]]
    log = comparisons(3, n_variants=6)
    halves = log[[(int(a[1:]) < 3) == (int(b[1:]) < 3) for a, b in zip(log["variant"], log["versus"], strict=True)]]
    effects = analyse(halves, FACTORS, CLARITY)
    assert effects.notes[0] == (
        "The comparisons of clarity fall into parts that nothing links, (v0, v1, v2) and (v3, v4, v5); "
        "compare v0 with v3 to link them."
    )
    apart = gather_comparisons(halves, FACTORS, CLARITY).covariance
    across = apart[0, 0] + apart[3, 3] - 2 * apart[0, 3]
    assert across > 2 * HELD_SD**2, "nothing says how far the parts lie apart but what is expected of abilities"
    assert apart[0, 0] + apart[1, 1] - 2 * apart[0, 1] < 20


def test_a_comparison_without_one_of_its_variants_is_refused():
    second = "A comparison of clarity has no second variant; give it as 'versus'."
    log = comparisons(1)
    with refused(DataError, second):
        analyse(log.drop(columns="versus"), FACTORS, CLARITY)
    with refused(DataError, second):
        analyse(log.assign(versus=[None, *log["versus"][1:]]), FACTORS, CLARITY)
    with refused(DataError, "A comparison of clarity has no first variant; give it as 'variant'."):
        analyse(log.assign(variant=[None, *log["variant"][1:]]), FACTORS, CLARITY)  # was a variant of the name nan


@pytest.mark.parametrize(("written", "foreign"), [({1.0: 1, 0.5: 0, 0.0: -1}, -1), ({1.0: 2, 0.5: 1, 0.0: 0}, 2)])
def test_comparisons_written_in_other_numbers_are_refused(written, foreign):
    """They used to count as nothing at all: of those written as 1, 0 and -1, only the wins and some ties were left."""
    log = comparisons(1)
    with refused(DataError, f"clarity is '{foreign}'; it must be first, second or tie (or 1, 0, 0.5)."):
        analyse(log.assign(value=log["value"].map(written)), FACTORS, CLARITY)


def test_comparisons_may_be_words():
    log = comparisons(1)
    words = log.assign(value=log["value"].map({1.0: "first", 0.5: "tie", 0.0: "second"}))
    pd.testing.assert_frame_equal(analyse(words, FACTORS, CLARITY).table, analyse(log, FACTORS, CLARITY).table)


def test_a_comparison_with_itself_is_refused():
    log = comparisons(1)
    log.loc[0, "versus"] = "v0"
    with pytest.raises(DataError, match="holds variant v0 against itself"):
        analyse(log, FACTORS, CLARITY)


def test_comparisons_of_reference_objects_only_are_no_evidence():
    empty = dict.fromkeys((factor.name for factor in FACTORS), None)
    log = pd.DataFrame([{"variant": "a", "versus": "b", "outcome": "clarity", "value": 1.0, **empty}])
    with refused(FitError, "There is no comparison of clarity between variants with settings yet."):
        analyse(log, FACTORS, CLARITY)


SLOTS = (Factor("slots", low=0, high=10, step=1), Factor("wool", low=0, high=4, step=1))


def often_compared(slots, wool, seed=2, scatter=0.3, times=1000):
    """Every pair compared so often that abilities are all but known, and alike enough to be known alike."""
    ability = 0.05 * np.array(slots) + np.random.default_rng(seed).normal(0, scatter, len(slots))
    rows = []
    for first in range(len(slots)):
        for second in range(len(slots)):
            wins = round(times / (1 + np.exp(ability[second] - ability[first])))
            row = {"variant": f"v{first}", "versus": f"v{second}", "slots": slots[first], "wool": wool[first]}
            rows += [] if first == second else [{**row, "value": float(place < wins)} for place in range(times)]
    return pd.DataFrame(rows).assign(outcome="clarity")


def test_a_classical_table_of_comparisons_knows_that_builds_scatter():
    """Where abilities are known, nothing but builds is unsure: then the table is statsmodels' least squares on abilities.

    What the comparisons still leave open (0.02 in an ability, beside 0.3) is within the tolerance of 3 %.
    """
    slots, wool = [0, 1, 3, 4, 6, 7, 9, 10], [0, 3, 1, 4, 0, 2, 4, 1]
    effects = analyse(often_compared(slots, wool), SLOTS, CLARITY, ["slots", "wool"])
    values = effects.variants.set_index("variant")["mean"][[f"v{k}" for k in range(8)]].to_numpy()
    X = np.column_stack([np.ones(8), np.array(slots) / 10, np.array(wool) / 4])
    theirs = OLS(values, X).fit()
    ours = effects.classical.set_index("term").loc[["slots", "wool"]]
    np.testing.assert_allclose(ours["se"], theirs.bse[1:], rtol=0.03)
    assert ours["df"].tolist() == [5, 5]
    np.testing.assert_allclose((ours["high"] - ours["low"]) / 2, theirs.bse[1:] * stats.t.ppf(0.975, 5), rtol=0.03)


def test_a_table_without_a_build_left_over_says_so():
    """And is that of the likelihood alone: statsmodels' binomial regression on differences of the settings."""
    log = often_compared([0, 5, 10], [0, 4, 1], times=30)
    effects = analyse(log, SLOTS, CLARITY, ["slots", "wool"])
    assert NO_BUILD_LEFT in effects.notes
    first, second = (log[name].str[1:].astype(int).to_numpy() for name in ("variant", "versus"))
    shares = np.column_stack([[0.0, 0.5, 1.0], [0.0, 1.0, 0.25]])  # of the range
    theirs = GLM(log["value"].to_numpy(), shares[first] - shares[second], family=Binomial()).fit()
    ours = effects.classical.set_index("term").loc[["slots", "wool"]]
    np.testing.assert_allclose(ours["swing"], theirs.params, rtol=1e-6)
    np.testing.assert_allclose(ours["se"], theirs.bse, rtol=1e-6)
    assert NO_BUILD_LEFT not in analyse(log, SLOTS, CLARITY, ["slots"]).notes


@pytest.mark.parametrize("seed", [1, 2])
def test_builds_scatter_about_a_model_as_reml_has_it(seed):
    """By error contrasts, which have no mean: the top of their density and of a weak penalty off zero, by a search."""
    compared = gather_comparisons(comparisons(seed), FACTORS, CLARITY)
    matrix = Coding(FACTORS).matrix(compared.evidence.settings, Coding(FACTORS).terms(["driver"]))
    contrasts = linalg.null_space(np.column_stack([np.ones(12), matrix.values]).T)
    known, away = contrasts.T @ compared.covariance @ contrasts, contrasts.T @ compared.evidence.means

    def penalised(log_variance):  # Chung et al. (2013): minus log theta on the scale of the likelihood
        covariance = known + np.exp(log_variance) * np.eye(len(away))
        return -2 * stats.multivariate_normal.logpdf(away, cov=covariance) - log_variance

    found = optimize.minimize_scalar(penalised, bounds=(-8, 4), method="bounded")
    builds = compared_builds(compared, matrix)
    np.testing.assert_allclose(builds.between, np.exp(found.x) * np.eye(12), rtol=1e-3)
    np.testing.assert_array_equal(builds.means, compared.evidence.means)


def test_a_variant_that_always_won_is_said_to_be_ahead_by_nobody_knows_how_much():
    log = comparisons(1, n_variants=5, rounds=2)
    won = np.where(log["variant"] == "v0", 1.0, np.where(log["versus"] == "v0", 0.0, log["value"]))
    (note,) = gather_comparisons(log.assign(value=won), FACTORS, CLARITY).evidence.notes
    assert note.startswith(
        "Some variant, or some group of them, won or lost every comparison of clarity with the others"
    )
    assert gather_comparisons(comparisons(1), FACTORS, CLARITY).evidence.notes == ()


def test_a_variant_compared_with_two_settings_is_refused():
    """The first of them was taken, and nothing said; readings with two settings are refused alike."""
    log = pd.DataFrame(
        {"variant": ["1", "2", "1"], "versus": ["2", "3", "3"], "outcome": "clarity", "value": [1.0, 0.0, 1.0]}
    ).assign(**{"wool": [0, 30, 5], versus_column("wool"): [30, 60, 60]})
    with refused(DataError, "Variant 1 appears with two settings of wool; a changed build is a new variant."):
        analyse(log, FACTORS[2:3], CLARITY)
