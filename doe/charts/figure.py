"""Draw any result: one function in front of all charts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from inspect import signature
from typing import Any

import plotly.graph_objects as go

from doe.charts.candidates import draw_candidates
from doe.charts.effects import draw_effects
from doe.charts.front import draw_front
from doe.charts.interaction import draw_interaction
from doe.charts.levels import draw_levels
from doe.charts.normal import draw_normal
from doe.charts.plan import draw_correlations, draw_prediction
from doe.charts.precision import draw_precision
from doe.charts.rehearsal import draw_rehearsal
from doe.charts.route import draw_route
from doe.charts.theme import recolour
from doe.charts.timeline import draw_timeline
from doe.charts.track import draw_track
from doe.charts.worth import draw_worth
from doe.model.errors import UsageError, did_you_mean, listed
from doe.model.given import described

Draw = Callable[..., go.Figure]

CHARTS: Mapping[str, Mapping[str, Draw]] = {
    "Effects": {
        "effects": draw_effects,
        "levels": draw_levels,
        "interaction": draw_interaction,
        "timeline": draw_timeline,
        "normal": draw_normal,
    },
    "Advice": {"candidates": draw_candidates, "worth": draw_worth, "front": draw_front},
    "Plan": {"precision": draw_precision, "correlations": draw_correlations, "prediction": draw_prediction},
    "Route": {"route": draw_route},
    "Track": {"track": draw_track},
    "Rehearsal": {"rehearsal": draw_rehearsal},
}
"""Result class -> chart name -> function; the first chart is the one drawn when none is named.

Classes are known by name, so that drawing imports no engine.
"""

_OF_SOUND: Mapping[str, tuple[str, str, str]] = {
    "Response": ("response", "doe.charts.response", "draw_response"),
    "Decay": ("decay", "doe.charts.decay", "draw_decays"),
    "Waterfall": ("waterfall", "doe.charts.waterfall", "draw_waterfall"),
}
"""The same for what comes from recordings: chart name, module, function. They need more libraries, so they come late."""


def figure(result: object, what: str | None = None, *, dark: bool = False, **options: Any) -> go.Figure:
    """Draw a result.

    Parameters
    ----------
    result : Effects, Advice, Plan, Route, Track, Rehearsal, Response, Decay or Waterfall
        What `doe.analyse`, `doe.recommend`, `doe.plan`, `doe.route`, `Project.track`, `doe.rehearse.rehearse` or a measurement
        returned; responses and decays may be several.
    what : str, optional
        Which chart. Effects: ``effects`` (the default), ``levels``, ``interaction``, ``timeline``, ``normal``.
        Advice: ``candidates`` (the default), ``worth``, ``front``. Plan: ``precision`` (the default), ``correlations``,
        ``prediction``. A route, a track, a rehearsal, and what comes from recordings have one chart each.
    dark : bool
        Whether to draw for a dark ground.
    **options
        Passed to the chart, such as ``width="narrow"`` or ``term="vents:wool"``.

    Returns
    -------
    Figure
        Its title is the sentence it supports; ``layout.meta["alt"]`` holds the same facts as text.

    Raises
    ------
    UsageError
        If the result is of no kind that can be drawn, has no such chart, or the chart has no such option.
    """
    charts = _charts_of(result)
    name = what if what is not None else next(iter(charts))
    if not isinstance(name, str) or name not in charts:
        raise UsageError(f"what is '{name}'; it must be {listed(charts)}.{did_you_mean(str(name), charts)}")
    draw = charts[name]
    known = list(signature(draw).parameters)[1:]
    for option in options:
        if option not in known:
            hint = did_you_mean(option, known)
            raise UsageError(f"Chart {name} has no option '{option}'; it may have {listed(known, 'and')}.{hint}")
    fig = draw(result, **options)
    return recolour(fig) if dark else fig


def _charts_of(result: object) -> Mapping[str, Draw]:
    first = result[0] if isinstance(result, list | tuple) and result else result
    for kind in type(first).__mro__:
        if kind.__name__ in CHARTS and first is result:
            return CHARTS[kind.__name__]
        if kind.__name__ in _OF_SOUND:
            name, module, function = _OF_SOUND[kind.__name__]
            return {name: getattr(import_module(module), function)}
    raise UsageError(f"result is {described(result)}; it must be {listed([*CHARTS, *_OF_SOUND])}.")
