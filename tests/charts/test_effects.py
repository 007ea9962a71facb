from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from doe.charts import theme
from doe.charts.effects import draw_effects, rows_worth_seeing
from doe.model import wording
from tests.charts import radio
from tests.charts.drawn import marks, whiskers, words

VERDICTS = [wording.MOVES, wording.TANGLED, wording.CANT_TELL, wording.TOO_SMALL]


def invented(**columns):
    """One row per verdict, with everything else of a real result."""
    table = pd.DataFrame(
        {"term": ["driver", "rings", "wool:feet", "vents"], "swing": [-4.1, -2.0, 0.9, 0.2], "low": [-5.6, -4.4, -0.5, -0.6],
         "high": [-2.6, 0.4, 2.3, 0.9], "per_step": np.nan, "activity": [0.99, 0.6, 0.4, 0.1], "verdict": VERDICTS,
         "tangled_with": ["", "driver", "", ""], "from": ["paper", "7", "", "0"], "to": ["poly", "12", "", "6"]}
    )  # fmt: skip
    return replace(radio.effects(), table=table.assign(**columns), headline="Bass follows the driver.")


@pytest.mark.parametrize("width", ["wide", "narrow"])
@pytest.mark.parametrize("outcome", ["bass", "echo"])
def test_every_term_is_drawn_with_its_interval(width, outcome):
    """Drawn ends are the table's, in full precision, one interval per term, largest first from the top."""
    effects = radio.effects(outcome)
    table = effects.table
    drawn = sorted(whiskers(draw_effects(effects, width=width, every=True)))
    assert [(low, high) for _, low, high in drawn] == list(zip(table["low"], table["high"], strict=True))


def test_title_is_the_headline():
    fig = draw_effects(radio.effects())
    assert fig.layout.title.text == radio.effects().headline
    assert fig.layout.meta["title"] == radio.effects().headline


def test_terms_that_hardly_act_are_left_out_but_main_effects_never():
    rows = rows_worth_seeing(radio.effects("echo"))
    names = [row["term"] for row in rows]
    assert {factor.name for factor in radio.FACTORS} < set(names)
    assert all(row["activity"] >= 0.1 for row in rows if ":" in row["term"] or "^" in row["term"])
    assert len(rows) < len(radio.effects("echo").table)


def test_marks_are_filled_only_where_the_verdict_is_settled():
    fig = draw_effects(invented())
    fills = {trace.name: trace.marker.color for trace in fig.data if trace.name in VERDICTS}
    sheet = theme.colour("sheet")
    assert {name: colour != sheet for name, colour in fills.items()} == {
        wording.MOVES: True, wording.TANGLED: False, wording.CANT_TELL: False, wording.TOO_SMALL: False,
    }  # fmt: skip


def test_interval_of_a_tangled_term_is_dashed():
    fig = draw_effects(invented())
    dashes = {trace.name: trace.line.dash for trace in fig.data if trace.name.endswith(" interval")}
    assert dashes[f"{wording.TANGLED} interval"] == "5px,4px"
    assert dashes[f"{wording.MOVES} interval"] == "solid"


@pytest.mark.parametrize("width", ["wide", "narrow"])
def test_verdict_and_numbers_stand_beside_each_term(width):
    shown = words(draw_effects(invented(), width=width))
    for part in ("moves it", "tangled with driver", "can't tell yet", "too small to matter", "wool with feet",
                 "-4.1 dB (-5.6 to -2.6)", "paper → poly"):  # fmt: skip
        assert part in shown


def test_band_spans_what_matters():
    fig = draw_effects(invented())
    bands = [shape for shape in fig.layout.shapes if shape.fillcolor == theme.colour("band")]
    assert [(band.x0, band.x1) for band in bands] == [(-1.0, 1.0)]


def test_no_band_without_a_smallest_difference():
    effects = invented()
    fig = draw_effects(replace(effects, outcome=replace(effects.outcome, matters=None)))
    assert not [shape for shape in fig.layout.shapes if shape.fillcolor == theme.colour("band")]


def test_narrow_drawing_puts_names_above_instead_of_beside():
    """It is redrawn, not shrunk: the plot takes the width, the text its own lines, so it grows taller."""
    wide, narrow = draw_effects(invented()), draw_effects(invented(), width="narrow")
    assert wide.layout.margin.l > 80 > narrow.layout.margin.l
    assert narrow.layout.height > wide.layout.height
    assert len(narrow.layout.annotations) == 4
    assert len(wide.layout.annotations) == 8


def test_alternative_text_says_what_the_chart_shows():
    alt = draw_effects(invented()).layout.meta["alt"]
    assert alt == (
        "Change in bass by term, with 95 % intervals. A change of less than 1 dB is too small to matter. driver from paper "
        "to poly: -4.1 dB (-5.6 to -2.6), moves it. rings from 7 to 12: -2.0 dB (-4.4 to 0.4), tangled with driver. wool "
        "with feet: +0.9 dB (-0.5 to 2.3), can't tell yet. vents from 0 to 6: +0.2 dB (-0.6 to 0.9), too "
        "small to matter."
    )


def test_term_without_estimate_keeps_its_row_and_draws_nothing():
    nothing = [np.nan] * 4
    fig = draw_effects(invented(swing=nothing, low=nothing, high=nothing, verdict=wording.CANT_TELL))
    assert whiskers(fig) == []
    assert [value for _, value in marks(fig, wording.CANT_TELL)] == [None] * 4
    assert words(fig).count("no estimate") == 4


def test_infinite_interval_runs_on_at_both_ends():
    fig = draw_effects(invented(low=[-5.6, -np.inf, -0.5, -0.6], high=[-2.6, np.inf, 2.3, 0.9]))
    assert {trace.name for trace in fig.data if "runs on" in trace.name} == {
        f"{wording.TANGLED} runs on low", f"{wording.TANGLED} runs on high",
    }  # fmt: skip


@pytest.mark.parametrize("width", ["wide", "narrow"])
def test_table_without_rows_is_an_empty_chart_that_says_so(width):
    effects = radio.effects()
    fig = draw_effects(replace(effects, table=effects.table.iloc[:0]), width=width)
    assert whiskers(fig) == []
    assert fig.layout.meta["alt"].endswith("No term could be estimated.")


def test_markup_in_names_is_shown_and_not_obeyed():
    fig = draw_effects(invented(**{"from": "<b>x</b>", "to": "%{x}"}))
    assert "&lt;b&gt;x&lt;/b&gt;" in words(fig)
    assert "%{" not in words(fig)


@pytest.mark.parametrize("width", ["wide", "narrow"])
def test_the_name_of_a_long_outcome_takes_one_line_below_the_axis(width):
    """The margin has room for three lines; the whole name is in the text alternative."""
    made = radio.effects("echo")
    long = replace(
        made, outcome=replace(made.outcome, name="echo_of_the_long_named_thing_that_nobody_reads_in_one_go_xyz")
    )
    fig = draw_effects(long, width=width)
    title = fig.layout.xaxis.title.text
    assert title.count("<br>") <= (1 if width == "wide" else 2)
    assert "…, if the term acts," in title
    assert "echo of the long named thing that nobody reads in one go xyz" in fig.layout.meta["alt"]
