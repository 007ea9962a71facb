"""What the chart of a known result must draw and say, written down apart from the code that draws it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
import pandas as pd
from statsmodels.stats.proportion import proportion_confint

from doe.charts.candidates import draw_candidates
from doe.charts.decay import draw_decays
from doe.charts.effects import draw_effects, rows_worth_seeing
from doe.charts.front import draw_front
from doe.charts.interaction import draw_interaction
from doe.charts.levels import draw_levels
from doe.charts.normal import draw_normal, normal_places
from doe.charts.plan import draw_correlations, draw_prediction
from doe.charts.precision import draw_precision
from doe.charts.rehearsal import draw_rehearsal
from doe.charts.response import draw_response
from doe.charts.route import draw_route
from doe.charts.timeline import draw_timeline
from doe.charts.track import draw_track
from doe.charts.waterfall import draw_waterfall
from doe.charts.worth import draw_worth
from doe.model import wording
from doe.model.names import MEAN
from doe.signals.bands import bands_between
from doe.signals.decay import measure_decays
from doe.signals.response import Response
from doe.signals.shape import deviation
from doe.signals.waterfall import measure_waterfall
from tests.charts import radio
from tests.signals import sounds

Numbers = Sequence[tuple[float, ...]]
AXES = {"vents": "", "rings": "", "wool": " %", "driver": "", "feet": ""}
GOAL_OF_BASS = {0.0: "target 0", -6.0: "worst -6 and 6", 6.0: "worst -6 and 6"}
GOAL_OF_ECHO = {1.0: "best 1", 6.0: "worst 6"}


@dataclass(frozen=True)
class Case:
    """What a chart of a known result must draw and say.

    Attributes
    ----------
    draw : callable
        Draws it at a width.
    ends : mapping of str to list
        By axis of the panel (``y2``, or ``*`` where there is but one scale): low and high of each interval.
    marks : list of tuple
        What every other trace draws, each as its numbers.
    lines : mapping of float to str
        Every value at which a line or a band may lie, with the words for it.
    told : list of str
        Phrases of the text alternative, one or more for each thing drawn.
    """

    draw: Callable[..., object]
    ends: dict[str, Numbers] = field(default_factory=dict)
    marks: Numbers = ()
    lines: dict[float, str] = field(default_factory=dict)
    told: Iterable[str] = ()
    marked: Callable[..., Numbers] | None = None


def spoken(term):
    return term.replace(":", " with ")


def is_interval(trace):
    return trace.name.endswith(" interval")


def is_upright(fig):
    """Whether values stand on the vertical axis: an interval's two ends share their place on the other."""
    first = next(trace for trace in fig.data if is_interval(trace))
    return first.x[0] == first.x[1]


def values(fig, upright):
    """The values of every mark of a chart of intervals; heads of intervals that run on say no number."""
    return [(float(value),) for trace in fig.data if not is_interval(trace) and " runs on " not in trace.name
            for value in (trace.y if upright else trace.x)]  # fmt: skip


def xy(fig, how):
    return [point for trace in fig.data for point in zip(trace.x, trace.y, strict=True)]


def interval(row, unit="", value="mean", is_change=False):
    return wording.with_interval(row[value], row["low"], row["high"], unit, is_change=is_change)


def records(frame):
    return frame.to_dict("records")


def pairs(frame, low="low", high="high", scale=(None, None)):
    """Ends of intervals, as far as the scale of a rated outcome goes."""
    return list(zip(frame[low].clip(*scale), frame[high].clip(*scale), strict=True))


def singles(values):
    return [(float(value),) for value in values]


def of_effects():
    effects = radio.effects()
    rows = rows_worth_seeing(effects)
    told = [f"{row['term']} from {row['from']} to {row['to']}: {interval(row, 'dB', 'swing', True)}, {row['verdict']}"
            for row in rows]  # fmt: skip
    band = "A change of less than 1 dB is too small to matter"
    return Case(lambda **how: draw_effects(effects, **how), {"*": [(row["low"], row["high"]) for row in rows]},
                singles(row["swing"] for row in rows), {0.0: "Change in bass", -1.0: band, 1.0: band}, told)  # fmt: skip


def of_levels():
    effects = radio.effects()
    told = [f"{row['level']}{AXES[row['factor']]}: {interval(row, 'dB')}" for row in records(effects.levels)]  # fmt: skip
    told += [f"{name} " for name in AXES]
    return Case(lambda **how: draw_levels(effects, **how), {"*": pairs(effects.levels)}, singles(effects.levels["mean"]),
                GOAL_OF_BASS, told)  # fmt: skip


def of_interaction():
    effects = radio.effects("echo")
    cells = effects.cells[effects.cells["term"] == "vents:wool"]
    told = [f"vents {row['first']}: {interval(row)}" for row in records(cells)]
    told += [f"With wool {value} %, " for value in cells["second"].unique()]
    return Case(lambda **how: draw_interaction(effects, "vents:wool", **how), {"*": pairs(cells)}, singles(cells["mean"]),
                GOAL_OF_ECHO, told)  # fmt: skip


def of_timeline():
    effects, readings = radio.effects("echo"), radio.readings()
    own = readings[readings["outcome"] == "echo"]
    told = []
    for row in records(effects.variants):
        grades = own[own["variant"] == row["variant"]]
        read = ", ".join(
            f"{rater} {wording.exact(value)}" for rater, value in zip(grades["rater"], grades["value"], strict=True)
        )
        told.append(f"{row['variant']}: {interval(row)}, read {read}.")
    return Case(lambda **how: draw_timeline(effects, readings, **how), {"*": pairs(effects.variants)},
                singles([*own["value"], *effects.variants["mean"]]), GOAL_OF_ECHO, told)  # fmt: skip


def of_normal():
    swings = [8.0, 0.1, -0.25, 0.3, -7.0, 0.0]
    table = pd.DataFrame({"term": [f"f{place}" for place in range(6)], "swing": swings})
    effects = replace(radio.effects(), classical=table)
    told = [
        f"f{place} {wording.signed(swing)} dB{' (beyond it)' if abs(swing) > 2 else ''}"
        for place, swing in enumerate(swings)
    ]
    band = "Lenth's margin of error is 2 dB"
    return Case(lambda **how: draw_normal(effects, margin=2.0, **how), {},
                list(zip(sorted(swings), normal_places(6), strict=True)),
                {-2.0: band, 2.0: band, 0.0: "Effects on bass"}, told, xy)  # fmt: skip


def of_candidates():
    advice = radio.advice()
    rows = sorted(records(advice.candidates), key=lambda row: -row["gain"])
    said = []
    for row in rows:
        where = "a new unit" if row["unit"] == "new" else f"unit {row['unit']}"
        gain = f"gain {wording.number(row['gain'], 2)} for {wording.duration(row['minutes'])}"
        said.append(f"{row['label']} on {where}: to {row['kind']}, {gain}")
    first = next(place for place, row in enumerate(rows) if row["chosen"])
    others = [place for place in range(len(rows)) if place != first]
    rest = pd.DataFrame([rows[place] for place in others[10:]])
    gains = [wording.number(float(value), 2) for value in (rest["gain"].min(), rest["gain"].max())]
    times = [wording.duration(value) for value in (rest["minutes"].min(), rest["minutes"].max())]
    told = [f"for {len(rows)} changes within reach", f"First choice: {said[first]}", *(said[place] for place in others[:10]),
            f"{len(rest)} others: gain {' to '.join(gains)} for {' to '.join(times)}"]  # fmt: skip
    told += [
        f"{sum(advice.candidates['kind'] == kind)} to {kind}" for kind in ("improve", "learn", "repeat", "confirm")
    ]
    drawn = [(row["minutes"], row["gain"]) for row in [*rows, rows[first]]]  # the first choice is ringed too
    return Case(lambda **how: draw_candidates(advice, **how), {}, drawn, {}, told, xy)


def of_worth():
    advice = radio.advice()
    told = [f"{row['variant']}: {interval(row, value='worth')}" for row in records(advice.worth)]
    told.append(f"Keep variant {advice.best['variant']} for now: overall worth {interval(advice.best, value='worth')}")
    return Case(
        lambda **how: draw_worth(advice, **how), {"*": pairs(advice.worth)}, singles(advice.worth["worth"]), {}, told
    )


def of_front():
    advice = radio.advice()
    told, ends = ["bass: target 0, worst -6 and 6", "echo: less is better, best 1, worst 6"], {}
    for axis, outcome in (("x", radio.BASS), ("x2", radio.ECHO)):
        name = outcome.name
        ends[axis] = pairs(advice.front, f"{name} low", f"{name} high", outcome.scale or (None, None))
    for row in records(advice.front):
        named = ", ".join(
            f"{name} {wording.exact(row[name]) if not isinstance(row[name], str) else row[name]}" for name in AXES
        )
        kept = " (to keep)" if row["variant"] and row["variant"] == advice.best["variant"] else ""
        means = []
        for item in (radio.BASS, radio.ECHO):
            reach = (row[f"{item.name} low"], row[f"{item.name} high"])
            means.append(f"{item.name} {item.told(row[item.name], *reach)}")
        alike = f" (and {row['more alike']} alike to build, in {row['differs in']})" if row["more alike"] else ""
        who = f"{'variant ' + row['variant'] if row['variant'] else 'new: ' + named}{alike}"
        told.append(f"{who}{kept}: {', '.join(means)}")
    lines = {**GOAL_OF_BASS, 1.0: "best 1"}
    marks = singles([*advice.front["bass"], *map(radio.ECHO.on_scale, advice.front["echo"])])
    return Case(lambda **how: draw_front(advice, **how), ends, marks, lines, told)


def of_precision():
    plan = radio.plan()
    half = plan.precision["half_width"]
    told = [
        f"{row['term']}: ±{wording.number(row['half_width'], 2)}, a t test sees {wording.number(row['detectable'], 2)} "
        "with 80 %"
        for row in records(plan.precision)
    ]
    band = "A change of less than 1 is too small to matter"
    return Case(lambda **how: draw_precision(plan, **how), {"*": list(zip(-half, half, strict=True))},
                singles(0 * half), {0.0: "", -1.0: band, 1.0: band}, told)  # fmt: skip


def of_correlations():
    plan = radio.plan()
    square = plan.correlations().dropna(how="all").dropna(how="all", axis="columns")
    rows = [row for row in records(plan.confounded) if row["with"] != MEAN]
    told = [
        f"{spoken(row['term'])} and {spoken(row['with'])} {wording.number(row['correlation'], 2)}" for row in rows[:8]
    ]
    told.append(f"{len(rows) - 8} more pairs, none above {wording.number(abs(rows[8]['correlation']), 2)}")
    return Case(lambda **how: draw_correlations(plan, **how), {}, singles(square.abs().to_numpy().ravel()), {}, told,
                lambda fig, how: singles(np.ravel(fig.data[0].z)))  # fmt: skip


def of_prediction():
    plan = radio.plan()
    spread = plan.prediction_spread()
    told = []
    for share, words in ((0.1, "10 %"), (0.5, "50 %"), (0.9, "90 %"), (1.0, "100 %")):
        error = spread["error"].iloc[(spread["share"] - share).abs().argmin()]
        words = ">99 %" if share == 1.0 else words
        told.append(f"{words} of the region: {wording.number(error)} or less")
    return Case(lambda **how: draw_prediction(plan, **how), {}, list(zip(100 * spread["share"], spread["error"], strict=True)),
                {}, told, xy)  # fmt: skip


def of_route():
    route = radio.route()
    rows = records(route.table)
    told = [f"{row['order']}. {row['unit']}, variant {row['variant']}, {row['what to do']}, "
            f"{wording.duration(row['minutes'])}, done at {wording.duration(row['minutes so far'])}"
            for row in rows]  # fmt: skip
    bars = [(row["minutes so far"] - row["minutes"], row["minutes so far"]) for row in rows]
    return Case(lambda **how: draw_route(route, **how), {}, bars, {},
                told, lambda fig, how: [(base, base + long) for bar in fig.data
                                        for base, long in zip(bar.base, bar.x, strict=True)])  # fmt: skip


def of_track():
    track = radio.track()
    told, ends = [], {}
    for axis, (outcome, rows) in zip(("y", "y2"), track.table.groupby("outcome", sort=False), strict=True):
        unit = " dB" if outcome == "bass" else ""
        ends[axis] = pairs(rows)
        told.append(f"{outcome}: {rows['held'].sum()} of {len(rows)} held")
        for row in records(rows):
            read, came = f"{wording.number(row['read'])}{unit}", "held" if row["held"] else "did not hold"
            which = f"Suggestion {row['suggestion']}, variant {row['variant']}"
            told.append(f"{which}: predicted {interval(row, unit.strip())}, read {read}, {came}")
    marks = singles([*track.table["mean"], *track.table["read"]])
    return Case(lambda **how: draw_track(track, **how), ends, marks, {}, told)


def of_rehearsal():
    """Good variants after 2, 5, 5 and 11 of 12 hours in four of five rehearsals; intervals by statsmodels."""
    rehearsal = radio.rehearsal()
    counts = {0: 0, 2: 1, 5: 3, 11: 4, 12: 4}
    wilson = {count: proportion_confint(count, 5, method="wilson") for count in (0, 1, 3, 4)}
    corners = []
    for end in (0, 1):
        before = None
        for hours, count in counts.items():
            corners += [(hours, 100 * wilson[before][end])] if before is not None else []
            corners.append((hours, 100 * wilson[count][end]))
            before = count
    told = ["60 % of rehearsals had a good variant after 6 h, 80 % after 12 h"]
    for hours, count in ((3, 1), (6, 3), (9, 3), (12, 4)):
        low, high = (wording.percent(end) for end in wilson[count])
        told.append(f"After {hours} h {20 * count} % ({low} to {high})")
    drawn = [*corners, *((hours, 20 * count) for hours, count in counts.items())]
    return Case(lambda **how: draw_rehearsal(rehearsal, **how), {}, drawn, {}, told, xy)


def of_response():
    grid = np.geomspace(20, 20_000, 300)
    curve, other = Response("12", grid, 3 * np.sin(np.log(grid))), Response("bought radio", grid, 0.2 * np.log(grid))
    found = deviation(curve, other, 50, 10_000)
    octaves = {
        31.5: "31.5",
        63: "63",
        125: "125",
        250: "250",
        500: "500",
        1000: "1k",
        2000: "2k",
        4000: "4k",
        8000: "8k",
        16_000: "16k",
    }
    marked = [(hz, float(curve.at(hz))) for hz in octaves]
    told = [f"{wording.number(level)} at {octaves[hz]}" for hz, level in marked]
    told += [f"{wording.number(float(other.at(hz)))} at {word}" for hz, word in octaves.items()]
    told += [f"12 differs by {wording.number(found.rms_db)} dB", "bought radio: "]
    for hz in (63, 1000, 8000):
        level = float(found.level[np.argmin(abs(found.frequency - hz))])
        told.append(f"{wording.signed(level)} at {octaves[hz]}")
    drawn = [*zip(grid, curve.level, strict=True), *marked, *zip(grid, other.level, strict=True),
             *zip(found.frequency, found.level, strict=True)]  # fmt: skip
    return Case(lambda **how: draw_response(curve, reference=other, differences={"12": found}, **how), {}, drawn,
                {0.0: "differs by"}, told, xy)  # fmt: skip


def curves(fig, how):
    return [point for trace in fig.data if trace.mode == "lines" for point in zip(trace.x, trace.y, strict=True)]


def of_decays():
    found = measure_decays(sounds.impulse(sounds.decay(0.5, -60, carrier="noise")), bands_between(500, 4000, 1))
    told, drawn = [], []
    for item in found:
        times = {"EDT": item.edt_s, "T20": item.t20_s, "T30": item.t30_s}
        told.append(f"{item.label}: {', '.join(f'{what} {wording.number(time)} s' for what, time in times.items())}")
        drawn += list(zip(item.time_s, item.level_db, strict=True))
        told += [
            f"{line} dB after {wording.number(float(item.time_s[item.level_db <= line][0]))} s"
            for line in (-5, -25, -35)
        ]
    lines = {float(line): f"{line} dB after" for line in (-5, -25, -35)}
    return Case(lambda **how: draw_decays(found, **how), {}, drawn, lines, told, curves)


def of_waterfall():
    found = measure_waterfall(sounds.impulse(sounds.decay(0.3, -60)), 100, 8000, slices=10, span_s=0.1)
    told = []
    for place in (5, 9):
        told.append(f"After {wording.number(1000 * float(found.time_s[place]))} ms: ")
        for hz, word in ((125, "125"), (1000, "1k"), (4000, "4k")):
            level = float(found.level[place, np.argmin(abs(found.frequency - hz))])
            told.append(f"{wording.number(level)} at {word}")
    return Case(lambda **how: draw_waterfall(found, **how), {}, singles(found.level.ravel()), {}, told,
                lambda fig, how: singles(np.ravel(fig.data[0].z)))  # fmt: skip


CASES: dict[str, Callable[[], Case]] = {
    "draw_candidates": cache(of_candidates), "draw_correlations": cache(of_correlations), "draw_decays": cache(of_decays),
    "draw_effects": cache(of_effects), "draw_front": cache(of_front), "draw_interaction": cache(of_interaction),
    "draw_levels": cache(of_levels), "draw_normal": cache(of_normal), "draw_precision": cache(of_precision),
    "draw_prediction": cache(of_prediction), "draw_rehearsal": cache(of_rehearsal), "draw_response": cache(of_response),
    "draw_route": cache(of_route),
    "draw_timeline": cache(of_timeline), "draw_track": cache(of_track), "draw_waterfall": cache(of_waterfall),
    "draw_worth": cache(of_worth),
}  # fmt: skip
