import numpy as np
import pandas as pd
import pytest

from doe.advise.route import route
from doe.charts.plan import draw_correlations, draw_prediction
from doe.charts.route import draw_route
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.plans import plan

FACTORS = [Factor(name, low=-1, high=1, minutes=5) for name in "ABCDE"]


@pytest.fixture(scope="module")
def made():
    return plan(FACTORS, 8, kind="fraction", centre=2, scatter=1.0, matters=1.5)


@pytest.mark.parametrize("width", ["wide", "narrow"])
def test_the_map_shows_every_correlation(made, width):
    fig = draw_correlations(made, width=width)
    shown = np.array(fig.data[0].z, dtype=float)
    square = made.correlations()
    assert not square.isna().any(axis=None)  # every term is varied, so none is left out
    assert np.allclose(shown, square.abs())
    assert fig.layout.meta["kind"] == "correlations"
    assert fig.layout.meta["title"] == " ".join(made.separation.sentences[:2])
    assert "A and B with E" in fig.layout.meta["alt"]


def test_the_map_of_main_effects_has_a_row_for_each(made):
    fig = draw_correlations(made, mains_only=True)
    assert list(fig.data[0].y) == list("ABCDE")
    assert len(fig.data[0].x) == len(made.correlations())


def test_long_names_that_begin_alike_keep_cells_of_their_own():
    """Cut short they would be one category, and one cell would cover the other."""
    factors = [Factor(f"a_rather_long_name_{end}", low=-1, high=1) for end in "XYZ"]
    fig = draw_correlations(plan(factors, 8, kind="full"), width="narrow")
    assert len(set(fig.data[0].x)) == len(fig.data[0].x) == 6


@pytest.mark.parametrize("width", ["wide", "narrow"])
def test_the_error_of_prediction_is_drawn_over_the_region(made, width):
    fig = draw_prediction(made, width=width)
    spread = made.prediction_spread()
    assert np.allclose(fig.data[0].y, spread["error"])
    assert np.allclose(fig.data[0].x, 100 * spread["share"])
    assert fig.layout.meta["title"].startswith("Half of the region is predicted with an error of")


@pytest.mark.parametrize("width", ["wide", "narrow"])
def test_the_route_is_a_time_line_for_each_unit(made, width):
    found = route(made.table, FACTORS, effort=Effort(new_unit_minutes=60))
    fig = draw_route(found, width=width)
    bars = [(base, base + length) for trace in fig.data for base, length in zip(trace.base, trace.x, strict=True)]
    ends = found.table["minutes so far"]
    assert sorted(bars) == sorted(zip(ends - found.table["minutes"], ends, strict=True))
    assert fig.layout.meta["title"] == found.headline
    assert list(fig.layout.yaxis.ticktext) == found.units["unit"].tolist()


def test_names_in_a_route_are_never_markup(made):
    table = made.table.assign(variant=[f"<b>{n}" for n in range(len(made.table))])
    fig = draw_route(route(table, FACTORS))
    assert "<b>0" not in "".join(note.text for note in fig.layout.annotations)


def test_a_change_of_a_factor_that_is_called_as_a_new_unit_makes_none():
    factor = Factor("new_unit", low=0, high=1, minutes=5)
    fig = draw_route(route(pd.DataFrame({"new_unit": [0, 1]}), [factor], effort=Effort(new_unit_minutes=60)))
    assert {trace.name: tuple(trace.x) for trace in fig.data} == {"new unit": (60.0,), "change": (5.0,)}
