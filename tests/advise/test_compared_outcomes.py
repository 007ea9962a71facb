"""Advice and confirmation by comparisons: which of two is better, and nothing else."""

import numpy as np
import pandas as pd
import pytest

from doe.advise import recommend
from doe.advise.confirm import confirm
from doe.advise.confirm_size import scatter_of
from doe.advise.track import track
from doe.fit import analyse
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.wording import FELL_SHORT, KEPT

FACTORS = (Factor("slots", low=0, high=10, minutes=5), Factor("feet", low=0, high=10, minutes=5))
NICER = Outcome("nicer", kind="compared", goal="raise", best=5, worst=-3, matters=1.0)


def compared(seed, slots, n_pairs, off=0.0, n_off=0):
    """Random pairs; truth: 0.6 in log odds a slot, nothing by the feet, the last `n_off` variants worse by `off`."""
    rng = np.random.default_rng(seed)
    n_variants = len(slots)
    ability = 0.6 * np.array(slots) - off * (np.arange(n_variants) >= n_variants - n_off)
    feet = rng.integers(0, 11, n_variants) if not n_off else [*rng.integers(0, 11, n_variants - n_off), *[5] * n_off]
    settings = [{"slots": slots[place], "feet": feet[place]} for place in range(n_variants)]
    rows = []
    for _ in range(n_pairs):
        one, two = rng.choice(n_variants, 2, replace=False)
        value = float(rng.random() < 1 / (1 + np.exp(ability[two] - ability[one])))
        rows.append({"variant": f"v{one}", "versus": f"v{two}", "outcome": "nicer", "value": value, **settings[one]})
    return pd.DataFrame(rows)


@pytest.mark.parametrize("seed", range(5))
def test_what_comparisons_point_to_is_advised(seed):
    """Slots were tried up to 5 of 10; ten are 3 in log odds better than the best there is, some 0.37 of worth."""
    log = compared(seed, [0, 1, 2, 3, 4, 5, 2, 4], 60)
    advice = recommend(log, FACTORS, [NICER])
    assert advice.table.iloc[0]["slots"] == 10
    assert advice.table.iloc[0]["chance_better"] > 0.8
    assert 0.3 < advice.best["worth"] < 0.75
    assert advice.best["high"] - advice.best["low"] < 0.9


def test_the_best_variant_may_only_have_stood_second():
    """v5 is the best by the truth; as the first of no comparison it is found all the same, and can be confirmed."""
    log = compared(1, [0, 1, 2, 3, 4, 5, 2, 4], 120)
    known = log.drop_duplicates("variant").set_index("variant")[["slots", "feet"]]
    is_turned = log["variant"] == "v5"
    turned = log.assign(
        variant=log["variant"].where(~is_turned, log["versus"]),
        versus=log["versus"].where(~is_turned, log["variant"]),
        value=log["value"].where(~is_turned, 1 - log["value"]),
    )
    for name in known.columns:
        turned[name] = turned["variant"].map(known[name])
        turned[f"versus {name}"] = turned["versus"].map(known[name])
    assert "v5" not in set(turned["variant"])
    assert recommend(turned, FACTORS, [NICER]).best["variant"] == "v5"
    assert confirm(turned, FACTORS, [NICER], ["v5"]).settings["slots"] == 5


@pytest.mark.parametrize(("off", "verdict"), [(0.0, KEPT), (2.5, FELL_SHORT)])
def test_fresh_builds_are_held_against_the_promise_in_log_odds(off, verdict):
    """Two builds of 10 slots, true to what 0 to 7 slots promise, or 2.5 worse; 3,000 comparisons."""
    log = compared(3, [0, 1, 2, 3, 4, 5, 6, 7, 10, 10], 3000, off, n_off=2)
    found = confirm(log, FACTORS, [NICER], ["v8", "v9"])
    assert found.verdict == verdict
    row = found.table.iloc[0]
    assert row["observed"] - row["promised"] == pytest.approx(-off, abs=0.6)


def test_builds_scatter_in_what_a_confirmation_is_planned_by():
    scatter = scatter_of(analyse(compared(3, [0, 1, 2, 3, 4, 5, 6, 7], 400), FACTORS, NICER))
    assert scatter.build_sd > 0


def test_no_comparison_is_held_against_a_predicted_ability():
    log = compared(1, [0, 1, 2, 3], 20).assign(at=1)
    promised = {"outcome": "nicer", "mean": 1.0, "low": 0.0, "high": 2.0}
    asked = {"settings": log.iloc[0][["slots", "feet"]].to_dict(), "predictions": [promised], "at": 0}
    assert len(track([asked], log, FACTORS, [Outcome("nicer")]).table) == 1
    found = track([asked], log, FACTORS, [NICER])
    assert (len(found.table), found.waiting) == (0, 0)
