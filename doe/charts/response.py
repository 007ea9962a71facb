"""Response chart: levels over frequency, variants overlaid, with a reference and the difference from it below."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import plotly.graph_objects as go

from doe.charts import canvas, key, text, theme
from doe.charts.frequency_axis import frequency_axis, label, octaves, span_of
from doe.model import wording
from doe.model.errors import UsageError
from doe.signals.bands import log_grid
from doe.signals.response import Response

if TYPE_CHECKING:
    from doe.signals.shape import Difference

_TALL, _BELOW = {"wide": 320, "narrow": 260}, {"wide": 150, "narrow": 130}
_APART = 46
_DASHES = ("solid", "dash", "dot", "dashdot", "longdash")
_LEAST_SPAN_DB, _DEEPEST_DB, _STEP_DB = 20.0, 60.0, 5.0
_MOST_POINTS = 1500


def draw_response(
    responses: Response | Sequence[Response],
    *,
    reference: Response | None = None,
    differences: Mapping[str, Difference] | None = None,
    title: str = "",
    band: tuple[float, float] | None = None,
    width: canvas.Width = "wide",
) -> go.Figure:
    """Draw frequency responses on a logarithmic axis with a tick at each octave.

    Parameters
    ----------
    responses : Response or sequence of Response
        What is compared; smooth them first as wanted.
    reference : Response, optional
        Drawn dashed in ink.
    differences : mapping of str to Difference, optional
        By name of the response; drawn in a panel below, around zero.
    title : str
        The sentence that the chart supports; by default it tells the differences, or whose responses are shown.
    band : pair of float, optional
        Frequencies to show, in Hz; by default what is audible of the curves.
    width : {"wide", "narrow"}
        Which drawing is made.

    Raises
    ------
    UsageError
        If there is no response to draw.
    """
    responses = [responses] if isinstance(responses, Response) else responses
    if not responses:
        raise UsageError("There is no response to draw; measure a variant first.")
    shown = [*responses, *([reference] if reference is not None else [])]
    low, high = span_of([curve.frequency for curve in shown], band)
    below = _BELOW[width] if differences else 0
    height = _TALL[width] + (below + _APART if below else 0)
    margins = canvas.Margins(left=62 if width == "wide" else 52, top=48, bottom=54)
    alt = describe_response(responses, reference=reference, differences=differences)
    fig = canvas.empty("response", title or _title(responses, reference, differences), alt, width, height, margins)
    if below:
        fig.set_subplots(2, 1, shared_xaxes=True, row_heights=[_TALL[width], below], vertical_spacing=_APART / height)
    cell: dict[str, Any] = {"row": 1, "col": 1} if below else {}
    entries = [_curve(fig, curve, place, (low, high), cell) for place, curve in enumerate(responses)]
    if reference is not None:
        entries.append(_reference(fig, reference, (low, high), cell))
    axis = frequency_axis(low, high, width, canvas.PIXELS[width] - margins.left - margins.right)
    fig.update_xaxes(axis | ({"title": None} if below else {}), **cell)
    fig.update_yaxes(range=_levels(shown, low, high), title_text="Level, dB", **cell)
    if differences:
        _differences(fig, differences, [curve.name for curve in responses], axis)
    key.draw(fig, entries, width)
    return fig


def describe_response(
    responses: Sequence[Response],
    *,
    reference: Response | None = None,
    differences: Mapping[str, Difference] | None = None,
) -> str:
    """Say in words what the chart shows: each curve's level at the octaves, and its difference from the reference."""
    parts = ["Frequency response: level in dB over frequency"]
    for curve in [*responses, *([reference] if reference is not None else [])]:
        ticks = octaves(float(curve.frequency[0]), float(curve.frequency[-1]))
        levels = ", ".join(f"{wording.number(float(curve.at(hz)))} at {label(hz)}" for hz in ticks)
        parts.append(f"{text.plain(curve.name)}: {levels}")
    for name, found in (differences or {}).items():
        differs = f"{text.plain(name)} differs by {wording.number(found.rms_db)} dB (root mean square)"
        parts.append(f"{differs}: {_at_octaves(found)}")
    return text.sentences(parts)


def _at_octaves(found: Difference) -> str:
    """Read the drawn difference at the point nearest to each octave."""
    told = []
    for hz in octaves(float(found.frequency[0]), float(found.frequency[-1])):
        nearest = int(abs(found.frequency - hz).argmin())
        told.append(f"{wording.signed(float(found.level[nearest]))} at {label(hz)}")
    return ", ".join(told)


def _title(
    responses: Sequence[Response], reference: Response | None, differences: Mapping[str, Difference] | None
) -> str:
    if differences:
        other = reference.name if reference is not None else "the reference"
        told = [f"{name} by {wording.number(found.rms_db)} dB" for name, found in differences.items()]
        return f"Difference from {other}, levels matched: {', '.join(told)} (RMS)"
    names = [curve.name for curve in responses]
    return f"Frequency response of {', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else (
        f"Frequency response of {names[0]}")  # fmt: skip


def _points(curve: Response, span: tuple[float, float]) -> tuple[list[float], list[float]]:
    """Return what is drawn of a curve: its own points within the span, or as many as a screen can show."""
    low, high = max(span[0], float(curve.frequency[0])), min(span[1], float(curve.frequency[-1]))
    inside = (curve.frequency >= low) & (curve.frequency <= high)
    if inside.sum() <= _MOST_POINTS or low >= high:
        return curve.frequency[inside].tolist(), curve.level[inside].tolist()
    grid = log_grid(low, high, 96)
    return grid.tolist(), curve.at(grid).tolist()


def _curve(fig: go.Figure, curve: Response, place: int, span: tuple[float, float], cell: dict[str, Any]) -> key.Entry:
    colour, symbol = theme.series(place)
    x, y = _points(curve, span)
    hover = "%{x:.4~s}Hz, %{y:.1f} dB<extra>" + text.safe(curve.name) + "</extra>"
    fig.add_trace(go.Scatter(x=x, y=y, name=curve.name, mode="lines", hovertemplate=hover,
                             line={"color": colour, "width": 2, "dash": _DASHES[place // 5 % 5]}), **cell)  # fmt: skip
    # Colour alone would not do: each curve carries its own mark at the octaves.
    ticks = octaves(x[0], x[-1]) if x else []
    fig.add_trace(go.Scatter(x=ticks, y=[float(curve.at(hz)) for hz in ticks], name=f"{curve.name} marks", mode="markers",
                             hoverinfo="skip", marker={"color": colour, "symbol": symbol, "size": 8}), **cell)  # fmt: skip
    return key.Entry(curve.name, colour, symbol)


def _reference(fig: go.Figure, curve: Response, span: tuple[float, float], cell: dict[str, Any]) -> key.Entry:
    x, y = _points(curve, span)
    ink = theme.colour("soft")
    fig.add_trace(go.Scatter(x=x, y=y, name=curve.name, mode="lines", hoverinfo="skip",
                             line={"color": ink, "width": 2, "dash": "8px,5px"}), **cell)  # fmt: skip
    return key.Entry(f"{curve.name} (reference, dashed)", ink, "circle-open")


def _levels(curves: Sequence[Response], low: float, high: float) -> list[float]:
    seen = [value for curve in curves for value in _points(curve, (low, high))[1]]
    if not seen:
        return [-_LEAST_SPAN_DB, 0.0]
    top = _STEP_DB * (max(seen) // _STEP_DB + 1)
    bottom = max(_STEP_DB * (min(seen) // _STEP_DB), top - _DEEPEST_DB)
    return [min(bottom, top - _LEAST_SPAN_DB), top]


def _differences(
    fig: go.Figure, differences: Mapping[str, Difference], names: Sequence[str], axis: dict[str, Any]
) -> None:
    cell = {"row": 2, "col": 1}
    reach = max(_STEP_DB, *(found.largest_db * 1.08 for found in differences.values()))
    fig.add_hline(y=0, line={"color": theme.colour("line"), "width": 1.5}, **cell)
    for place, (name, found) in enumerate(differences.items()):
        which = names.index(name) if name in names else place
        hover = "%{x:.4~s}Hz, %{y:+.1f} dB<extra>" + text.safe(name) + "</extra>"
        fig.add_trace(go.Scatter(x=found.frequency.tolist(), y=found.level.tolist(), name=f"{name} difference",
                                 mode="lines", hovertemplate=hover, line={"color": theme.series(which)[0], "width": 2,
                                 "dash": _DASHES[which // 5 % 5]}), **cell)  # fmt: skip
    fig.update_xaxes(axis, **cell)
    fig.update_yaxes(range=[-reach, reach], title_text="Difference, dB", nticks=5, **cell)
