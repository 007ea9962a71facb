"""Response, decay and waterfall: what is drawn is what was measured, on octave ticks."""

import dataclasses

import numpy as np
import pytest

from doe.charts import theme
from doe.charts.decay import draw_decays
from doe.charts.frequency_axis import frequency_axis
from doe.charts.response import draw_response
from doe.charts.waterfall import draw_waterfall
from doe.model import wording
from doe.model.errors import UsageError
from doe.signals.bands import bands_between
from doe.signals.decay import measure_decays
from doe.signals.response import Response
from doe.signals.shape import deviation
from doe.signals.waterfall import Waterfall, measure_waterfall
from tests.charts.drawn import words
from tests.refusing import refused
from tests.signals import sounds

WIDTHS = pytest.mark.parametrize("width", ["wide", "narrow"])
GRID = np.geomspace(20, 20_000, 300)


def responses():
    return [Response("12", GRID, 3 * np.sin(np.log(GRID))), Response("<b>14</b>", GRID, 2 * np.cos(np.log(GRID)))]


def trace(fig, name):
    return next(item for item in fig.data if item.name == name)


@WIDTHS
def test_each_response_is_drawn_as_it_is(width):
    fig = draw_response(responses(), width=width)
    for curve in responses():
        assert np.array_equal(trace(fig, curve.name).x, curve.frequency)
        assert np.array_equal(trace(fig, curve.name).y, curve.level)
    assert fig.layout.meta["kind"] == "response"
    assert fig.layout.xaxis.type == "log"


@WIDTHS
def test_the_frequency_axis_has_a_tick_at_each_octave_and_always_calls_1k(width):
    axis = draw_response(responses(), width=width).layout.xaxis
    assert list(axis.tickvals) == [31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16_000]
    assert axis.ticktext[5] == "1k"
    assert axis.range == pytest.approx([np.log10(20), np.log10(20_000)])


def test_where_octaves_would_crowd_not_all_are_called():
    labels = [text for text in frequency_axis(20, 20_000, "narrow", 150)["ticktext"] if text]
    assert "1k" in labels and 3 <= len(labels) <= 5


def test_a_band_without_an_octave_is_told_at_its_ends():
    """Neither the axis nor the text alternative said anything of a resonance between two octaves."""
    grid = np.geomspace(300, 450, 50)
    fig = draw_response([Response("12", grid, 70 + 0 * grid)])
    assert (fig.layout.xaxis.ticktext, fig.layout.xaxis.tickvals) == (("300", "450"), pytest.approx((300, 450)))
    assert fig.layout.meta["alt"].endswith("12: 70 at 300, 70 at 450.")
    level = np.array([[0.0, 0, 0], [-10, -5, -8], [-20, -12, -15]])
    fig = draw_waterfall(Waterfall("body", np.array([300.0, 400, 450]), np.array([0, 0.05, 0.1]), level, 0.1))
    assert fig.layout.xaxis.ticktext == ("300", "450")
    assert fig.layout.meta["title"] == "Longest to stay is 400 Hz: -12 dB after 100 ms"
    told = "After 50 ms: -10 at 300, -8 at 450. After 100 ms: -20 at 300, -15 at 450."
    assert fig.layout.meta["alt"].endswith(f"re the start. {told}")


@WIDTHS
def test_a_reference_and_the_difference_from_it_are_drawn(width):
    curves, reference = responses(), Response("bought radio", GRID, 0 * GRID + 30)
    found = {curve.name: deviation(curve, reference, 50, 10_000) for curve in curves}
    fig = draw_response(curves, reference=reference, differences=found, width=width)
    assert trace(fig, "bought radio").line.dash == "8px,5px"
    for curve in curves:
        drawn = trace(fig, f"{curve.name} difference")
        assert np.array_equal(drawn.y, found[curve.name].level)
        assert drawn.yaxis == "y2" and drawn.line.color == trace(fig, curve.name).line.color
    assert fig.layout.meta["title"].startswith("Difference from bought radio, levels matched: 12 by ")
    alt = fig.layout.meta["alt"]
    assert "12 differs by" in alt
    nearest = found["12"].level[np.argmin(np.abs(found["12"].frequency - 1000))]
    assert f"{wording.signed(float(nearest))} at 1k" in alt[alt.index("12 differs by") :]
    low, high = fig.layout.yaxis.range
    assert low < min(curves[0].level) and high > 30
    assert fig.layout.yaxis2.range[0] == -fig.layout.yaxis2.range[1] < -max(item.largest_db for item in found.values())


def test_names_act_as_no_markup():
    fig = draw_response(responses())
    assert "<b>14</b>" not in words(fig)
    assert "&lt;b&gt;14&lt;/b&gt;" in words(fig)


def test_each_curve_has_its_own_mark_beside_its_colour():
    curves = [Response(str(place), GRID, 0 * GRID + place) for place in range(7)]
    fig = draw_response(curves)
    looks = {(trace(fig, curve.name).line.color, trace(fig, f"{curve.name} marks").marker.symbol) for curve in curves}
    assert len(looks) == 7


def test_a_deep_notch_does_not_flatten_the_rest():
    level = np.where(np.abs(np.log2(GRID / 1000)) < 0.02, -300.0, 0.0)
    low, high = draw_response([Response("12", GRID, level)]).layout.yaxis.range
    assert high - low <= 60


def test_a_curve_of_very_many_points_is_thinned_for_the_screen():
    grid = np.geomspace(20, 20_000, 100_000)
    fig = draw_response([Response("12", grid, np.sin(np.log(grid)))])
    assert len(trace(fig, "12").x) < 1500
    assert trace(fig, "12").y == pytest.approx(np.sin(np.log(trace(fig, "12").x)), abs=1e-6)


@WIDTHS
def test_decay_curves_are_drawn_by_band(width):
    found = measure_decays(sounds.impulse(sounds.decay(0.5, -60, carrier="noise")), bands_between(500, 4000, 1))
    fig = draw_decays(found, width=width)
    for decay in found:
        assert np.array_equal(trace(fig, decay.label).x, decay.time_s)
        assert np.array_equal(trace(fig, decay.label).y, decay.level_db)
    assert fig.layout.meta["title"].startswith("Decay time T20 runs from ")
    assert "500 Hz: EDT" in fig.layout.meta["alt"]
    assert {shape.y0 for shape in fig.layout.shapes} == {-5, -25, -35}


def test_the_title_of_a_single_decay_is_its_decay_time():
    found = measure_decays(sounds.impulse(sounds.decay(0.5, -60, carrier="noise")), bands_between(990, 1010, 1))
    told = wording.number(found[0].t20_s)
    assert draw_decays(found).layout.meta["title"] == f"Decay time T20 is {told} s (1000 Hz)"
    twice = [*found, dataclasses.replace(found[0], name="take2.wav")]
    assert draw_decays(twice).layout.meta["title"] == f"Decay time T20 is {told} s (body, take2.wav)"


def test_a_decay_that_cannot_be_read_is_told_by_when_it_passes_the_lines():
    """A straight one by hand: 60 dB in 0.5 s, drawn until it leaves the chart at -65 dB."""
    (found,) = measure_decays(sounds.impulse(sounds.decay(0.5, -60)), bands_between(990, 1010, 1))
    time = np.arange(601) / 1000
    plain = dataclasses.replace(found, edt_s=None, t20_s=None, t30_s=None, time_s=time, level_db=-120 * time)
    fig = draw_decays([plain, dataclasses.replace(plain, name="two.wav")])
    assert fig.layout.meta["title"] == "No decay time can be read: too little stands out of the noise"
    told = "no decay time can be read; -5 dB after 0.042 s, -25 dB after 0.209 s, -35 dB after 0.292 s"
    assert fig.layout.meta["alt"].endswith(f"body: {told}. two.wav: {told}.")
    assert fig.layout.xaxis.range == pytest.approx((0, 0.542))
    assert fig.layout.yaxis.range == (-65, 2)
    other = dataclasses.replace(plain, name="two.wav", nominal_hz=2000.0)
    assert [item.name for item in draw_decays([plain, other]).data[::2]] == ["body, 1000 Hz", "two.wav, 2000 Hz"]


@WIDTHS
def test_a_waterfall_is_drawn_as_it_is(width):
    found = measure_waterfall(sounds.impulse(sounds.decay(0.3, -60)), 100, 8000, slices=10, span_s=0.1)
    fig = draw_waterfall(found, width=width)
    assert np.array_equal(fig.data[0].z, found.level)
    assert np.array_equal(fig.data[0].y, 1000 * found.time_s)
    assert fig.layout.yaxis.range == (100.0, 0.0)
    assert fig.layout.meta["title"].startswith("Longest to stay is ")
    assert "After 100 ms: " in fig.layout.meta["alt"]


def test_the_shades_follow_the_ground():
    """Every colour is of the palette, so that `recolour` exchanges it."""
    found = measure_waterfall(sounds.impulse(sounds.decay(0.3, -60)), 100, 8000, slices=10)
    dark = theme.recolour(draw_waterfall(found))
    assert dark.data[0].colorscale[0][1] == theme.COLOURS["dark"]["sheet"]


def test_nothing_to_draw_is_refused():
    with refused(UsageError, "There is no response to draw; measure a variant first."):
        draw_response([])
    with refused(UsageError, "There is no decay to draw; measure a variant first."):
        draw_decays([])
