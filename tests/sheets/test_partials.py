"""Partials that pages share, kept as snapshots; a changed one is looked at and then written anew with UPDATE_SNAPSHOTS=1."""

import os
from dataclasses import replace
from pathlib import Path

import pytest

from doe.sheets.contexts import (
    Answer,
    CheckRow,
    EffectRow,
    Expected,
    LogTable,
    NextChange,
    Now,
    Picture,
    Share,
    Standing,
    Suggestion,
)
from doe.sheets.render import environment

SNAPSHOTS = Path(__file__).parents[1] / "snapshots" / "sheets"

CHART = Picture("chart-1-effects", "Bass follows the driver.", "driver -4.1 dB, moves it.", '{"data":[]}', "{}", 240)
ANSWER = Answer(
    "outcome-1", "bass", "measured in dB, no goal", "from 2 readings of 2 variants", "Bass follows the driver.", "",
    effects=(
        EffectRow("driver", "paper → poly", "-4.1 dB", "-5.6 to -2.6", "", ">99 %", "moves it", "", "moves"),
        EffectRow("<b>rings</b>", "7 → 12", "-2.0 dB", "-4.4 to 0.4", "-0.4 dB", "60 %", "tangled with", "driver", "tangled"),
    ),
    more="3 more terms are left out.", pictures=(CHART,),
    checks=(CheckRow("Odd ones out", "Variant 7 lies far off.", "Read it again.", "wrong", "wrong"),),
    scatter=(Share("build", "0.4 dB", "60 %"),), notes=("No claim depends on it.",),
)  # fmt: skip
FIRST = Suggestion(
    "improve", "Fit poly.", "It may help.", (("Takes", "25 min"),), (Expected("bass", "1.1 dB (-0.6 to 2.8)"),)
)
NEXT = NextChange("", "", FIRST, (Suggestion("learn", "Add wool.", "", ()),), ("Start quiet.",), CHART)
BESIDE = replace(NEXT, others=(), picture=None, front=CHART, beside=("Cheaper: <b>wool</b>.", "Expected by the maker."))
CASES = {
    "answer": ("_answer.html", {"item": ANSWER}),
    "answer_refused": (
        "_answer.html",
        {"item": Answer("outcome-2", "echo", "rated", "", "No answer yet.", "One variant only.")},
    ),
    "next": ("_next.html", {"next_change": NEXT}),
    "next_beside": ("_next.html", {"next_change": BESIDE}),
    "next_stop": ("_next.html", {"next_change": replace(NEXT, stop="Stop here.", others=(), picture=None)}),
    "next_refused": ("_next.html", {"next_change": NextChange("No goal.", "", None, (), ("Start quiet.",))}),
    "standing": (
        "_standing.html",
        {"standing": Standing("Keep 9.", "wool 0 %", (Now("bass", "4.3 dB", "0"),), (CHART,))},
    ),
    "log": ("_log.html", {"log": LogTable(("Variant", "wool, %"), (False, True), (("1", "20"), ("<i>", "-")))}),
    "log_empty": ("_log.html", {"log": LogTable((), (), ())}),
}


@pytest.mark.parametrize("case", list(CASES))
def test_partial_is_as_it_was(case):
    """The words and their order, escaping included."""
    template, context = CASES[case]
    made = environment().get_template(template).render(context)
    path = SNAPSHOTS / f"{case}.html"
    if os.environ.get("UPDATE_SNAPSHOTS"):
        path.write_text(made, encoding="utf-8")
    assert made == path.read_text(encoding="utf-8")


def test_no_snapshot_is_left_without_a_case():
    assert {path.stem for path in SNAPSHOTS.glob("*.html")} == set(CASES)


def test_snapshots_hold_no_obeyed_markup():
    for path in SNAPSHOTS.glob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert "<b>rings" not in text and "<bdi><i>" not in text
