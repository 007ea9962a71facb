"""Every chart: what is drawn is what the result holds, and its text alternative states the same facts."""

from __future__ import annotations

import inspect
import pkgutil
from importlib import import_module

import numpy as np
import pytest

import doe.charts
from doe.charts import theme
from tests.charts.facts import CASES, is_interval, is_upright, values

EVERY = pytest.mark.parametrize("name", CASES)
WIDTHS = pytest.mark.parametrize("width", ["wide", "narrow"])


def drawn_ends(fig, upright):
    """Interval ends by the axis that they stand on, and the range of that axis."""
    found, ranges = {}, {}
    for trace in filter(is_interval, fig.data):
        axis = (trace.yaxis or "y") if upright else (trace.xaxis or "x")
        seen = trace.y if upright else trace.x
        found.setdefault(axis, []).extend((seen[start], seen[start + 1]) for start in range(0, len(seen), 3))
        ranges[axis] = fig.layout[axis[0] + "axis" + axis[1:]].range
    return found, ranges


def drawn_lines(fig, upright):
    """Every value at which a line or band of the ground lies on the axis of values."""
    sides = ("y0", "y1") if upright else ("x0", "x1")
    axis = "yref" if upright else "xref"
    return {
        float(shape[side])
        for shape in fig.layout.shapes
        for side in sides
        if not str(shape[axis]).endswith(("domain", "paper"))
    }


def close(drawn, held):
    assert len(drawn) == len(held)
    assert np.array(sorted(drawn), dtype=float) == pytest.approx(np.array(sorted(held), dtype=float), abs=1e-12)


def test_every_chart_has_a_case():
    """A new chart joins the table above, or this fails."""
    found = set()
    for module in pkgutil.iter_modules(doe.charts.__path__, "doe.charts."):
        made = inspect.getmembers(import_module(module.name), inspect.isfunction)
        found |= {name for name, function in made if name.startswith("draw_") and function.__module__ == module.name}
    assert found == set(CASES)


@WIDTHS
@EVERY
def test_every_number_drawn_is_the_result_s(name, width):
    """Ends, cut at the axis where they run on, marks, and lines: all of them, and nothing else is drawn."""
    case = CASES[name]()
    fig = case.draw(width=width)
    if case.ends:
        upright = is_upright(fig)
        found, ranges = drawn_ends(fig, upright)
        pooled = found if "*" not in case.ends else {"*": [pair for ends in found.values() for pair in ends]}
        limits = ranges if "*" not in case.ends else {"*": next(iter(ranges.values()))}
        assert set(pooled) == set(case.ends)
        for axis, held in case.ends.items():
            low, high = limits[axis]
            close(pooled[axis], [(max(a, low), min(b, high)) for a, b in held])
        marked = values(fig, upright)
    else:
        upright = name != "draw_normal"
        marked = case.marked(fig, width)
    close(marked, list(case.marks))
    assert drawn_lines(fig, upright) <= set(case.lines)


@pytest.mark.slow
@WIDTHS
@EVERY
def test_the_text_states_what_is_drawn(name, width):
    """Each thing by its name, with its value and the ends of its interval as `wording` writes them."""
    case = CASES[name]()
    fig = case.draw(width=width)
    alt = fig.layout.meta["alt"]
    missing = [phrase for phrase in case.told if phrase not in alt]
    assert list(case.told) and not missing, (missing, alt)
    upright = is_upright(fig) if case.ends else name != "draw_normal"
    unsaid = [case.lines[value] for value in drawn_lines(fig, upright) if case.lines[value] not in alt]
    assert not unsaid, (unsaid, alt)


@EVERY
def test_the_dark_drawing_shows_the_same_numbers(name):
    """Only colours are exchanged."""
    light = CASES[name]().draw()
    dark = theme.recolour(CASES[name]().draw())
    for one, other in zip(light.data, dark.data, strict=True):
        assert np.array_equal(one.x, other.x) and np.array_equal(one.y, other.y)
    assert dark.layout.meta["alt"] == light.layout.meta["alt"]
