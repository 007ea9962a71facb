"""Frames of an answer for charts and reports, by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from doe.fit import analyse
from doe.fit.pictures import variance_of
from doe.fit.reml import Reml
from doe.model.factor import Factor
from doe.model.outcome import Outcome

NONE = np.zeros((0, 0))
APART, TOGETHER = SimpleNamespace(reading_share=0.4), SimpleNamespace(reading_share=1.0)


def model(**ratios):
    """Sources with these standard deviations over that of readings, which is 0.5."""
    theta = tuple(np.array([[ratio]]) for ratio in ratios.values())
    return Reml(tuple(ratios), theta, 0.5, np.zeros(0), NONE, 0.0, NONE, np.zeros((0, 0, 0)))


@pytest.mark.parametrize(
    ("fitted", "problem", "expected"),
    [
        (model(variant=2.0, session=3.0), APART, [("session", 1.5, 9 / 14), ("build", 1.0, 4 / 14), ("reading", 0.5, 1 / 14)]),
        (model(session=0.5), APART, [("build and reading together", 0.5, 0.8), ("session", 0.25, 0.2)]),
        (None, APART, [("reading", 0.7, 1.0)]),
        (None, TOGETHER, [("build and reading together", 0.7, 1.0)]),
    ],
)  # fmt: skip
def test_sources_of_scatter_share_its_squares(fitted, problem, expected):
    """The largest first. Where no variant was read twice, builds and readings are one."""
    found = variance_of(fitted, 0.7, problem)
    assert found["source"].tolist() == [source for source, _, _ in expected]
    np.testing.assert_allclose(found[["sd", "share"]], [numbers for _, *numbers in expected])


def test_cells_of_two_factors_that_act_together_are_told_and_of_others_not():
    """Truth: 10, and 4 more or less where heat is at an end and the lid shut or open; gap does nothing. Scatter is 0.1."""
    rng = np.random.default_rng(3)
    factors = (
        Factor("gap", low=0, high=2, step=1),
        Factor("heat", low=20, high=60),
        Factor("lid", kind="categorical", levels=["shut", "open"]),
    )
    log = pd.DataFrame({"gap": rng.integers(0, 3, 24), "heat": rng.choice([20.0, 40.0, 60.0], 24)})
    log["lid"] = rng.choice(["shut", "open"], 24)
    turned = (log["heat"] - 40) / 20 * np.where(log["lid"] == "open", 1, -1)
    log = log.assign(variant=log.index.astype(str), value=10 + 4 * turned + rng.normal(0, 0.1, 24))
    cells = analyse(log, factors, Outcome("y")).cells
    told = {(row["first"], row["second"]): row for row in cells.to_dict("records")}
    assert set(cells["term"]) == {"heat:lid"}
    assert set(told) == {(heat, lid) for heat in ("20", "40", "60") for lid in ("shut", "open")}
    for (heat, lid), row in told.items():
        truth = 10 + 4 * (float(heat) - 40) / 20 * (1 if lid == "open" else -1)
        assert row["low"] < truth < row["high"]
        assert row["mean"] == pytest.approx(truth, abs=0.15)
