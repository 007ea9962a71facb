"""Level means, interactions, timeline, worth, candidates and the normal plot: what is drawn is what the result holds."""

import re
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest
from scipy import stats

from doe.advise import recommend
from doe.advise.advice import Advice
from doe.charts import figure, front, key, text, theme, variants
from doe.charts.normal import normal_places
from doe.fit.lenth import lenth
from doe.model import wording
from doe.model.errors import UsageError
from tests.charts import radio
from tests.charts.drawn import marks, whiskers, words

WIDTHS = pytest.mark.parametrize("width", ["wide", "narrow"])


@WIDTHS
def test_levels_draws_every_mean_with_its_interval(width):
    effects = radio.effects()
    fig = figure(effects, "levels", width=width)
    for factor, rows in effects.levels.groupby("factor", sort=False):
        drawn = whiskers(fig, f"{factor} ", upright=True)
        assert [ends[1:] for ends in drawn] == list(zip(rows["low"], rows["high"], strict=True))
        assert [value for _, value in marks(fig, factor, upright=True)] == list(rows["mean"])


def test_levels_stand_at_their_numbers_and_named_ones_side_by_side():
    fig = figure(radio.effects(), "levels")
    assert [place for place, _ in marks(fig, "wool", upright=True)] == [0.0, 30.0, 60.0]
    assert [place for place, _ in marks(fig, "driver", upright=True)] == [0.0, 1.0, 2.0]


def test_levels_joins_only_what_has_an_order():
    modes = {trace.name: trace.mode for trace in figure(radio.effects(), "levels").data}
    assert (modes["wool"], modes["driver"]) == ("lines+markers", "markers")


def test_levels_share_one_scale_and_lead_with_the_largest_mover():
    fig = figure(radio.effects(), "levels")
    assert len({axis.range for axis in fig.select_yaxes()}) == 1
    assert fig.data[0].name == "driver interval"
    assert fig.layout.meta["title"].startswith("driver moves bass by -")


def test_levels_without_a_mover_claims_none():
    effects = radio.effects()
    calm = replace(effects, table=effects.table.assign(verdict=wording.CANT_TELL))
    assert figure(calm, "levels").layout.meta["title"] == "No factor on its own is shown to move bass yet"


def test_levels_can_be_limited_to_some_factors():
    fig = figure(radio.effects(), "levels", factors=["wool"])
    assert {trace.name for trace in fig.data} == {"wool", "wool interval"}
    assert "driver" not in fig.layout.meta["alt"]


@WIDTHS
def test_interaction_draws_every_cell_with_its_interval(width):
    effects = radio.effects("echo")
    fig = figure(effects, "interaction", term="vents:wool", width=width)
    cells = effects.cells[effects.cells["term"] == "vents:wool"]
    drawn = sorted((low, high) for _, low, high in whiskers(fig, upright=True))
    assert drawn == sorted(zip(cells["low"], cells["high"], strict=True))
    assert (
        len({trace.line.color for trace in fig.data if trace.name.endswith(" interval")}) == cells["second"].nunique()
    )


def test_interaction_tells_settings_with_their_units():
    """The first factor along the axis, the second in the key and with each mean; lines stand side by side about the setting."""
    effects = radio.effects("echo")
    turned = effects.cells.rename(columns={"first": "second", "second": "first"}).assign(term="wool:vents")
    fig = figure(replace(effects, cells=turned), "interaction")
    assert fig.layout.xaxis.title.text == "wool, %"
    assert re.findall(r"&nbsp;(\d)\b", words(fig)) == ["0", "3", "6"]
    drawn = [trace for trace in fig.data if trace.name in ("0", "3", "6")]
    assert all(trace.mode == "lines+markers" for trace in drawn)
    assert drawn[1].hovertext[1] == "wool 30 %<br>vents 3<br>3.5 (2.9 to 4.1)"
    assert drawn[1].x == (0.0, 30.0, 60.0)
    asides = np.array([trace.x for trace in drawn]) - drawn[1].x
    assert asides[0] == pytest.approx(-asides[2]) and (asides[2] > 0).all() and (asides[2] < 5).all()
    assert "With vents 3, wool 0 %: 4.4 (3.6 to 5.1), wool 30 %: 3.5 (2.9 to 4.1), wool" in fig.layout.meta["alt"]


def test_interaction_may_be_named_either_way_round():
    effects = radio.effects("echo")
    assert figure(effects, "interaction", term="wool:vents") == figure(effects, "interaction", term="vents:wool")


@pytest.mark.parametrize(
    ("verdict", "title"),
    [
        (wording.MOVES, "What vents does to echo depends on wool"),
        (wording.TOO_SMALL, "What vents does to echo hardly depends on wool"),
        (wording.CANT_TELL, "Whether what vents does to echo depends on wool can't be told yet"),
        (wording.TANGLED, "vents with wool on echo is tangled with driver"),
    ],
)
def test_interaction_claims_what_the_verdict_allows(verdict, title):
    effects = radio.effects("echo")
    table = effects.table.assign(verdict=verdict, tangled_with="driver")
    assert figure(replace(effects, table=table), "interaction", term="vents:wool").layout.meta["title"] == title


def test_interaction_that_is_not_worth_seeing_is_refused():
    with pytest.raises(UsageError, match=r"^No interaction on bass is worth a chart yet\.$"):
        figure(replace(radio.effects(), cells=radio.effects().cells.iloc[:0]), "interaction")
    with pytest.raises(UsageError, match=r"^term is 'vents:wol'; .* Did you mean 'vents:wool'\?$"):
        figure(radio.effects("echo"), "interaction", term="vents:wol")


@WIDTHS
def test_timeline_draws_adjusted_means_in_build_order(width):
    effects = radio.effects("echo")
    order = list(effects.variants["variant"])[::-1]
    fig = figure(effects, "timeline", order=order, width=width)
    rows = effects.variants.iloc[::-1]
    drawn = whiskers(fig, "adjusted mean", upright=width == "wide")
    assert drawn == [
        (place, low, high) for place, (low, high) in enumerate(zip(rows["low"], rows["high"], strict=True))
    ]


def test_timeline_shows_every_reading_by_rater():
    readings = radio.readings()
    fig = figure(radio.effects("echo"), "timeline", readings=readings)
    for rater, own in readings[readings["outcome"] == "echo"].groupby("rater"):
        assert sorted(value for _, value in marks(fig, rater, upright=True)) == sorted(own["value"])


@WIDTHS
@pytest.mark.parametrize("count", range(1, 13))
def test_timeline_tells_any_number_of_raters_apart(width, count):
    """Each has a mark of its own, which the key can show; readings without a rater are one more."""
    readings = radio.readings()
    own = readings[readings["outcome"] == "echo"].reset_index(drop=True)
    names = [f"rater {place}" for place in range(count)]
    own["rater"] = [(*names, None)[place % (count + 1)] for place in range(len(own))]
    fig = figure(radio.effects("echo"), "timeline", readings=own, width=width)
    drawn = [trace.marker for trace in fig.data if trace.name in (*names, "reading")]
    assert len({(mark.symbol, mark.color) for mark in drawn}) == count + 1
    assert all(key.glyph(mark.symbol) in words(fig) for mark in drawn[:2])


def test_every_mark_of_a_series_has_its_glyph():
    """Filled and open, and no two alike."""
    marks_of_series = {name: key.glyph(name) for name in theme.SYMBOLS}
    marks_of_series |= {
        f"{name}-open": key.glyph(f"{name}-open") for name in theme.SYMBOLS if name not in ("x", "cross")
    }
    assert len(set(marks_of_series.values())) == len(marks_of_series)


def test_timeline_draws_the_goal_that_lies_on_the_axis():
    fig = figure(radio.effects(), "timeline")
    assert {shape.y0 for shape in fig.layout.shapes} <= {0.0, 6.0, -6.0}
    assert 0.0 in {shape.y0 for shape in fig.layout.shapes}
    assert "target" in words(fig)


def test_timeline_names_the_variant_nearest_to_the_goal():
    effects = radio.effects()
    nearest = effects.variants.loc[effects.variants["mean"].abs().idxmin(), "variant"]
    assert f"variant {nearest}," in figure(effects, "timeline").layout.meta["title"]
    span = {"goal": "within", "target": None, "low": -90, "high": 90, "worst": (-99, 99)}  # that all are in
    effects = replace(effects, outcome=replace(effects.outcome, **span))
    assert f"variant {effects.variants['variant'].iloc[0]}," in figure(effects, "timeline").layout.meta["title"]


def test_narrow_timeline_runs_down_the_page():
    """Redrawn, not shrunk: a row of its own for each variant."""
    fig = figure(radio.effects(), "timeline", width="narrow")
    assert list(fig.layout.yaxis.ticktext) == list(radio.effects().variants["variant"])
    assert fig.layout.yaxis.range[0] > fig.layout.yaxis.range[1]


@WIDTHS
def test_worth_draws_every_variant_and_fills_the_one_to_keep(width):
    advice = radio.advice()
    fig = figure(advice, "worth", width=width)
    drawn = sorted((low, high) for _, low, high in whiskers(fig, upright=width == "wide"))
    assert drawn == sorted(zip(advice.worth["low"], advice.worth["high"], strict=True))
    kept = marks(fig, "to keep", upright=width == "wide")
    assert [value for _, value in kept] == list(
        advice.worth.loc[advice.worth["variant"] == advice.best["variant"], "worth"]
    )
    assert fig.layout.meta["title"].startswith(f"Keep variant {advice.best['variant']} for now: overall worth 0.")


def test_worth_may_be_drawn_in_build_order():
    """What is not among those named comes last; without an order the best is first."""
    advice = radio.advice()
    first, *others = reversed(advice.worth["variant"].tolist())
    fig = figure(advice, "worth", order=[first])
    assert fig.layout.xaxis.ticktext == (first, *reversed(others))
    assert fig.layout.xaxis.title.text == "variant, in build order"
    assert figure(advice, "worth").layout.xaxis.title.text == "variant, best first"


@pytest.mark.parametrize(("count", "width", "angle"), [(9, "wide", 0), (99, "wide", 0), (999, "wide", 0), (1000, "wide", -45),
                                                       (40, "narrow", 0), (41, "narrow", 0)])  # fmt: skip
def test_names_of_variants_do_not_run_into_each_other(count, width, angle):
    """Down the page each has a line, from the top; across it as many are named as there is room for, from the first on."""
    rows = [{"variant": f"{number}a"} for number in range(1, count + 1)]
    fig, layout = go.Figure(), variants.lay_out(rows, width, 280)
    variants.set_axes(fig, layout, {}, "variant")
    axis = fig.layout.yaxis if layout.down else fig.layout.xaxis
    named = [int(label.removesuffix("a")) - 1 for label in axis.ticktext]
    assert (layout.down, axis.tickangle, named) == (width == "narrow" and count <= 40, angle, list(axis.tickvals))
    if layout.down:
        assert named == list(range(count)) and axis.range == (count - 0.5, -0.5)
        return
    px = layout.across / count * (named[1] - named[0])
    label = text.room([axis.ticktext[-1]], 13) if angle == 0 else 13
    assert axis.range[0] < 0 <= named[0] and axis.range[1] > count - 1
    assert label < px and (named[1] == 1 or px < 2 * (label + 12))


def test_worth_without_a_best_says_so():
    fig = figure(replace(radio.advice(), best={}, worth=radio.advice().worth.iloc[:0]), "worth")
    assert fig.layout.meta["title"] == "No variant can be said to be the best yet"


@WIDTHS
def test_candidates_draws_all_and_rings_the_first_choice(width):
    advice = radio.advice()
    fig = figure(advice, width=width)
    kinds = set(advice.candidates["kind"])
    points = sum(len(trace.x) for trace in fig.data if trace.name in kinds)
    assert points == len(advice.candidates)
    assert figure(advice, "candidates", width=width).layout.yaxis.exponentformat == "none"  # no 100 micro of worth
    ring = next(trace for trace in fig.data if trace.name == "first choice")
    assert ring.x[0] == pytest.approx(advice.table["minutes"].iloc[0])
    assert ring.marker.color == theme.colour("mark")


def test_candidates_keeps_names_of_variants_and_levels_as_they_are():
    """Names of factors come with blanks; what is left of underscores belongs to labels."""
    advice = radio.advice()
    rows = advice.candidates.assign(label="read variant box_2 again", unit="the unit at hand")
    told = replace(advice, stop=None, _candidates=lambda: rows)
    fig = figure(told, "candidates")
    assert "read variant box_2 again, " in fig.layout.meta["title"]
    assert fig.data[0].hovertext[0].endswith("<br>the unit at hand")
    assert "First choice: read variant box_2 again on the unit at hand: to" in fig.layout.meta["alt"]
    assert "<b>read variant box_2 again</b>" in {one.text for one in fig.layout.annotations}


def test_candidates_gives_the_reason_to_stop_as_title():
    fig = figure(replace(radio.advice(), stop="nothing is worth it"), "candidates")
    assert fig.layout.meta["title"] == "Nothing is worth it"
    told = replace(radio.advice(), headline="Keep variant 2.", stop="keep variant 2. The chance is 10 %.")
    assert figure(told, "candidates").layout.meta["title"] == "Keep variant 2."


def test_candidates_before_any_reading_are_exploration():
    """The title names the first suggestion, which the table holds too; nothing is called an improvement."""
    advice = recommend(None, radio.FACTORS, [radio.BASS, radio.ECHO], effort=radio.SETUP.effort)
    fig = figure(advice)
    assert fig.layout.meta["title"].startswith("To explore with first: vents ")
    assert {trace.name for trace in fig.data} == {"learn", "first choice"}
    ring = next(trace for trace in fig.data if trace.name == "first choice")
    assert ring.x[0] == advice.table["minutes"].iloc[0]


@WIDTHS
def test_front_draws_every_outcome_of_every_variant_with_its_interval(width):
    advice = radio.advice()
    fig = figure(advice, "front", width=width)
    rows = advice.front.head(12)
    for place, name in enumerate(("bass", "echo")):
        axis = "x" if place == 0 else "x2"
        drawn = [
            (trace.x[start], trace.x[start + 1])
            for trace in fig.data
            if trace.name.endswith(" interval") and trace.xaxis == axis
            for start in range(0, len(trace.x), 3)
        ]
        scale = (1, 7) if name == "echo" else (None, None)
        ends = (rows[f"{name} {end}"].clip(*scale) for end in ("low", "high"))
        assert sorted(drawn) == sorted(zip(*ends, strict=True))
    assert all(str(value) in fig.layout.meta["alt"] for value in rows["variant"] if value)


def test_front_names_what_could_be_built_by_what_differs():
    """Five that differ in vents and wool only; beside the chart they are told apart though their settings are cut short."""
    advice = radio.advice()
    one = advice.front.iloc[[0]].assign(variant="", **{"more alike": 0})
    front_of_five = pd.concat(
        [one.assign(vents=place, wool=60.0 - 10 * place) for place in range(5)], ignore_index=True
    )
    advice = replace(advice, _front=lambda: front_of_five)
    labels = [front.label(advice, row) for row in advice.front.to_dict("records")]
    assert len(set(labels)) == len(labels)
    same = [factor.name for factor in radio.FACTORS if factor.name not in ("vents", "wool")]
    assert not any(name in label for label in labels for name in same)
    drawn = figure(advice, "front", width="narrow")
    assert all(name in drawn.layout.meta["alt"] for name in same)
    beside = drawn.layout.yaxis.ticktext
    assert len(set(beside)) == len(beside)
    assert all(f"{rank}. new: " in drawn.layout.meta["alt"] for rank in range(1, 6))


def a_front(*rows, best=("2", {"vents": 2, "wool": 20})):
    """Advice with a front by hand: variant, wool, worth, bass, echo, how many more alike and in what."""
    names = ["variant", "wool", "mean worth", "bass", "echo", "more alike", "differs in"]
    table = pd.DataFrame(rows, columns=names).assign(vents=2, **{"chance on front": 0.9})
    for name, half in (("bass", 1.0), ("echo", 0.5)):
        table = table.assign(**{f"{name} low": table[name] - half, f"{name} high": table[name] + half})
    order = ["variant", "vents", *[name for name in table.columns if name not in ("variant", "vents")]]
    kept = dict(zip(("variant", "settings"), best, strict=True)) if best else {}
    none = pd.DataFrame()
    return Advice(none, kept, None, none, none, outcomes=(radio.BASS, radio.ECHO), _front=lambda: table[order])


def test_front_is_told_row_by_row():
    """By hand: numbers where two are yet to build, what is alike, what is kept, and what each outcome should be."""
    advice = a_front(
        ("2", 20, 0.812, 1.0, 3.0, 0, ""), ("", 40, 0.7, 2.0, 2.5, 2, "wool, vents"), ("", 60, 0.6, 3.0, 2.0, 0, "")
    )
    assert front.describe_front(advice) == (
        "In 3 variants no outcome improves without loss in another; most worth now, 0.81, is variant 2. bass: target 0, worst "
        "-6 and 6. echo: less is better, best 1, worst 6. 1. variant 2 (to keep): bass 1.0 dB (0.0 to 2.0), echo 3.0 (2.5 to "
        "3.5), on the front with a chance of 90 %. 2. new: vents 2, wool 40 (and 2 alike to build, in wool and vents): bass "
        "2.0 dB (1.0 to 3.0), echo 2.5 (2.0 to 3.0), it or one alike on the front with a chance of 90 %. 3. new: vents 2, wool "
        "60: bass 3.0 dB (2.0 to 4.0), echo 2.0 (1.5 to 2.5), on the front with a chance of 90 %."
    )
    labels = [front.label(advice, row) for row in advice.front.to_dict("records")]
    assert labels == ["variant 2", "new: wool 40 (and 2 alike)", "new: wool 60"]
    drawn = figure(advice, "front")
    assert [note.text.count("built") for note in drawn.layout.annotations][-1] == 2  # built, and could be built
    many = a_front(*[(str(place), 20, 0.9 - 0.01 * place, 1, 3, 0, "") for place in range(13)])
    assert ". The 12 with the most worth. " in front.describe_front(many)
    assert ". The " not in front.describe_front(a_front(*[(str(place), 20, 0.9, 1, 3, 0, "") for place in range(12)]))


@pytest.mark.parametrize(
    ("best", "label"), [(("2", {"vents": 2, "wool": 20}), "new: wool 40"), (None, "new: vents 2, wool 40")]
)
def test_a_front_of_one_that_is_yet_to_build_says_so(best, label):
    """It is called by what tells it from the best so far, or by all of its settings where none is the best."""
    advice = a_front(("", 40, 0.7, 2.0, 2.5, 0, ""), best=best)
    told = front.describe_front(advice)
    assert told.startswith("Nothing has to be traded: one yet to build is best in every outcome. ")
    assert ". new: vents 2, wool 40: bass 2.0 dB (1.0 to 3.0), echo " in told
    assert front.label(advice, advice.front.to_dict("records")[0]) == label


def test_front_of_one_outcome_is_refused():
    with pytest.raises(UsageError, match=r"^There is nothing to trade off: that takes two outcomes with goals, and"):
        figure(replace(radio.advice(), _front=None), "front")


def test_front_and_track_end_where_a_scale_ends():
    """Echo is graded from 1 to 7: an interval from 0.2 to 8 says no more than 1 to 7."""
    advice, track = radio.advice(), radio.track()
    wide = {"echo low": 0.2, "echo high": 8.0}
    front = figure(replace(advice, _front=lambda: advice.front.assign(**wide)), "front")
    assert {ends[1:] for ends in whiskers(front)} >= {(1.0, 7.0)}
    assert "(1.0 to 7.0)" in front.layout.meta["alt"]
    table = track.table.assign(low=0.2, high=8.0).loc[lambda rows: rows["outcome"] == "echo"]
    drawn = figure(replace(track, table=table))
    assert {ends[1:] for ends in whiskers(drawn, "predicted", upright=True)} == {(1.0, 7.0)}
    assert "(1.0 to 7.0)" in drawn.layout.meta["alt"]


@WIDTHS
def test_track_draws_what_was_predicted_and_what_came(width):
    """Each prediction with its interval; readings inside and outside apart; share held and widening in words."""
    track = radio.track()
    fig = figure(track, width=width)
    drawn = [ends[1:] for ends in whiskers(fig, "predicted", upright=True)]
    assert sorted(drawn) == sorted(zip(track.table["low"], track.table["high"], strict=True))
    for name, is_held in (("read", True), ("read, outside", False)):
        values = [value for trace in fig.data if trace.name == name for value in trace.y]
        assert sorted(values) == sorted(track.table.loc[track.table["held"] == is_held, "read"])
    held = track.table[track.table["outcome"] == "bass"]["held"].sum()
    assert f"{held} of 6 held; future ones {track.widen['bass']:.1f} times as wide" in words(fig)
    assert fig.layout.meta["title"] == track.headline.rstrip(".")


def test_track_without_readings_is_refused():
    with pytest.raises(
        UsageError, match=r"^No prediction has been met by a reading yet, so there is nothing to draw\.$"
    ):
        figure(replace(radio.track(), table=radio.track().table.iloc[:0]))


def classical(swings):
    """A result whose classical table holds these effects."""
    table = pd.DataFrame({"term": [f"f{place}" for place in range(len(swings))], "swing": swings})
    return replace(radio.effects(), classical=table)


def test_normal_places_are_daniels_quantiles():
    """Daniel 1959: the i-th of n ordered effects stands at the (i - 1/2)/n quantile; scipy as independent source."""
    assert normal_places(15) == pytest.approx(list(stats.norm.ppf((np.arange(15) + 0.5) / 15)), abs=1e-12)
    assert normal_places(1) == [NormalDist().inv_cdf(0.5)]


def test_normal_plot_orders_effects_and_names_those_beyond_the_margin():
    fig = figure(classical([8.0, 0.1, -0.2, 0.3, -7.0, 0.0]), "normal", margin=2.0)
    inside, beyond = fig.data
    assert list(inside.x) == [-0.2, 0.0, 0.1, 0.3]
    assert list(beyond.x) == [-7.0, 8.0]
    assert [name.strip() for name in beyond.text] == ["f4", "f0"]
    assert fig.layout.meta["title"] == "Beyond what chance alone would give: f0, f4"


def test_normal_plot_takes_the_margin_of_the_result():
    swings = [8.0, 0.1, -0.2, 0.3, -7.0, 0.0]
    margins = lenth(np.array(swings))
    band = next(
        shape
        for shape in figure(replace(classical(swings), margins=margins), "normal").layout.shapes
        if shape.type == "rect"
    )
    assert (band.x0, band.x1) == (-margins.margin, margins.margin)
    assert not [shape for shape in figure(classical(swings), "normal").layout.shapes if shape.type == "rect"]


def test_normal_plot_of_too_few_effects_is_refused():
    with pytest.raises(UsageError, match=r"^A normal plot needs 5 effects or more; bass has 2\.$"):
        figure(classical([1.0, 2.0]), "normal")


@WIDTHS
def test_precision_draws_the_half_width_to_expect_of_every_term(width):
    plan = radio.plan()
    drawn = whiskers(figure(plan, width=width), "expected")
    half = list(plan.precision["half_width"])
    assert [(low, high) for _, low, high in drawn] == [(-value, value) for value in half]
    fig = figure(plan, width=width)
    bands = [shape for shape in fig.layout.shapes if shape.fillcolor == theme.colour("band")]
    assert {(band.x0, band.x1) for band in bands} == {(-1.0, 1.0)}
    assert fig.layout.meta["title"] == f"Expect every interval to be ±{wording.number(max(half), 2)} or less"


def test_precision_says_of_what_no_interval_can_be_promised():
    """Where no run is left over, a term can be estimated but not judged: that is said, not that it is lost."""
    plan = radio.plan()
    half = [*plan.precision["half_width"][:-1], np.inf]
    some = replace(plan, precision=plan.precision.assign(half_width=half, df=[*plan.precision["df"][:-1], 0.0]))
    last = plan.precision["term"].iloc[-1]
    fig = figure(some)
    assert fig.layout.meta["title"].endswith(f"or less; none can be promised for {last}")
    assert words(fig).count("no interval can be promised") == 1
    none = replace(plan, precision=plan.precision.assign(half_width=np.inf, df=0.0))
    assert figure(none).layout.meta["title"].startswith("No interval can be promised")


def test_precision_of_a_term_that_cannot_be_estimated_says_so():
    plan = radio.plan()
    broken = replace(plan, precision=plan.precision.assign(half_width=np.nan, detectable=np.nan))
    fig = figure(broken)
    assert whiskers(fig, "expected") == []
    assert words(fig).count("cannot be estimated") == len(plan.precision)


ALL = [
    ("bass", "effects"),
    ("bass", "levels"),
    ("echo", "interaction"),
    ("bass", "timeline"),
    ("", "worth"),
    ("", "candidates"),
    ("", "front"),
    ("plan", "precision"),
    ("track", "track"),
]


def result_of(name: str):
    """The plan, the track record, the advice, or the analysis of an outcome."""
    if name in ("plan", "track"):
        return {"plan": radio.plan, "track": radio.track}[name]()
    return radio.effects(name) if name else radio.advice()


@WIDTHS
@pytest.mark.parametrize(("outcome", "what"), ALL)
def test_every_chart_has_a_sentence_a_text_and_the_template(outcome, what, width):
    """Title, text alternative and look are part of every chart, on both grounds."""
    result = result_of(outcome)
    for is_dark in (False, True):
        fig = figure(result, what, width=width, dark=is_dark)
        assert fig.layout.meta["kind"] == what
        assert len(fig.layout.meta["title"]) > 10
        assert len(fig.layout.meta["alt"]) > 40
        assert fig.layout.template.layout == theme.template(is_dark).layout
        own = {colour for name, colour in theme.COLOURS["light" if is_dark else "dark"].items()}
        assert not own & set(str(fig.to_json()).split('"'))


@pytest.mark.parametrize(("outcome", "what"), ALL)
def test_untitled_chart_loses_the_title_and_its_room_only(outcome, what):
    result = result_of(outcome)
    fig = figure(result, what)
    bare = theme.untitled(fig)
    assert bare.layout.title.text is None
    assert bare.layout.height - bare.layout.margin.t == fig.layout.height - fig.layout.margin.t
    assert bare.data == fig.data
