"""What results become in words: answers, standing, the next change, the log."""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from doe.charts.effects import describe_effects
from doe.charts.levels import describe_levels
from doe.charts.rows import rows_of
from doe.charts.timeline import describe_timeline
from doe.fit import analyse
from doe.fit.verdicts import CLAIM
from doe.model.outcome import Outcome
from doe.model.settled import SettledVersion, promise
from doe.model.setup import Setup
from doe.settling.evidence import evidence
from doe.sheets.answers import about, answer, effect_row, no_answer, split_interval
from doe.sheets.cautions import BENCH, LISTENING, cautions
from doe.sheets.contexts import Expected, Settled
from doe.sheets.log import log_table
from doe.sheets.methods import methods
from doe.sheets.settled import ruled, settled
from doe.sheets.standing import first_sentence, next_change, standing
from tests.charts import radio


@pytest.mark.parametrize(
    ("written", "value", "interval"),
    [
        ("+3.1 N (1.2 to 5.0)", "+3.1 N", "1.2 to 5.0"),
        ("-3 dB (A) (-4 to -2)", "-3 dB (A)", "-4 to -2"),
        ("no estimate", "no estimate", ""),
        ("2.0 (no interval)", "2.0", "no interval"),
    ],
)
def test_value_and_interval_are_parted_at_the_last_bracket(written, value, interval):
    assert split_interval(written) == (value, interval)


def test_effect_row_has_every_column_as_text():
    row = {"term": "wool", "swing": -2.13, "low": -2.94, "high": -1.31, "per_step": -2.13 / 12, "activity": 0.997,
           "verdict": "moves it", "tangled_with": "", "from": "0", "to": "60"}  # fmt: skip
    made = effect_row(row, radio.effects())
    assert (made.term, made.span, made.swing, made.interval) == ("wool", "0 → 60", "-2.1 dB", "-2.9 to -1.3")
    assert (made.per_step, made.sure, made.verdict, made.kind) == ("-0.18 dB per 5 %", ">99 %", "moves it", "moves")


def test_change_per_step_has_no_more_digits_than_its_interval_bears():
    """0.00631 with an interval of +-0.1 is 0.01."""
    row = {"term": "vents", "swing": 0.0379, "low": -0.7, "high": 0.8, "per_step": 0.0379 / 6, "activity": 0.05,
           "verdict": "can't tell yet", "tangled_with": "", "from": "0", "to": "6"}  # fmt: skip
    assert effect_row(row, radio.effects()).per_step == "0.01 dB"


def test_one_column_of_changes_or_means_is_counted_in_one_way():
    """Driver moves bass by over a million, the others by less; a mean lies below a million, the best above."""
    readings = radio.readings().copy()
    readings.loc[readings["outcome"] == "bass", "value"] *= 300_000
    effects = analyse(readings, radio.FACTORS, Outcome("bass", unit="Pa", matters=300_000.0))
    rows = [effect_row(row, effects) for row in rows_of(effects.table)]
    assert {row.swing.partition(" ")[2] for row in rows} == {"million Pa"}
    assert {row.per_step.split()[1] for row in rows if row.per_step} == {"million"}
    table = effects.summary().split("\n\n")[1].splitlines()[2:]
    assert len(table) == 5
    assert all(" million Pa (" in line for line in table)
    for said in (describe_effects(effects), describe_levels(effects), describe_timeline(effects)):
        assert said.count(" million Pa (") == said.count(" million). ") + said.count(" million), ") + said.endswith(
            " million)."
        )
        assert not re.search(r"\d Pa \(", said)


def test_answer_numbers_its_parts_by_place():
    made = answer(3, radio.effects())
    assert made.id == "outcome-3"
    assert [item.id for item in made.pictures] == ["chart-3-effects", "chart-3-levels"]


def test_answer_shows_checks_worst_first():
    checks = pd.DataFrame(
        [("a", "x", "fine", ""), ("b", "y", "wrong", "do"), ("c", "z", "look", np.nan)],
        columns=["check", "finding", "level", "advice"],
    )
    made = answer(1, replace(radio.effects(), checks=checks)).checks
    assert [(row.check, row.word, row.advice) for row in made] == [
        ("b", "wrong", "do"),
        ("c", "have a look", ""),
        ("a", "fine", ""),
    ]


def test_answer_counts_the_terms_it_leaves_out():
    made = answer(1, radio.effects())
    left = len(radio.effects().table) - len(made.effects)
    assert made.more.startswith(f"{left} more terms, interactions and bends, act with less than 10 % and are left out")


def test_refusal_keeps_the_reason():
    made = no_answer(2, radio.BASS, "Only one variant has a reading of bass.")
    assert (made.headline, made.refusal) == ("No answer about bass yet.", "Only one variant has a reading of bass.")


def test_what_was_ruled_out_and_what_is_open_is_said_of_each_factor():
    """Not of what moves an outcome, nor of interactions and bends; outcomes of one verdict go into one sentence."""
    rows = [("tip_gap", "too small to matter", ""), ("vents", "can't tell yet", ""), ("driver", "moves it", ""),
            ("tip_gap:driver", "too small to matter", ""), ("vents^2", "can't tell yet", ""),
            ("rings", "tangled with", "wool, tip_gap:feet")]  # fmt: skip
    bass, echo = (
        replace(radio.effects(name), table=pd.DataFrame(rows[first:], columns=["term", "verdict", "tangled_with"]))
        for name, first in (("bass", 0), ("echo", 1))
    )
    made = ruled([bass, echo])
    assert made.out == ("Tip gap: too small to matter in bass.",)
    assert made.still == (
        "Vents: can't tell yet in bass and echo.",
        "Rings: tangled with wool, tip gap with feet in bass and echo.",
    )


def test_a_settled_version_is_told_with_where_it_came_from_and_how_it_was_confirmed():
    promised = {"outcome": "tip_noise", "unit": "dB", "mean": 30.0, "build_low": 28.0, "build_high": 32.0}
    finding = {"headline": "It kept its promise.", "rows": [{"finding": "Noise: kept."}], "notes": ["One build."]}
    first = SettledVersion(1, "quiet", "4", {"wool": 20}, note="Blue.", evidence={"expected": [promised]})
    room = {"headline": "Hold wool."}
    second = SettledVersion(2, "new", "", {}, came_from=1, evidence={"confirmation": finding, "tolerances": room})
    assert settled(radio.SETUP, [first, second]) == (
        Settled("Version 2, new", "Variant taken out of the log since, changed from version 1.", "", "Hold wool.", (),
                ("It kept its promise.", "Noise: kept.", "One build.")),
        Settled("Version 1, quiet", "Variant 4. Blue.", "wool 20 %", "", (Expected("tip noise", "30.0 dB (28.0 to 32.0)"),),
                ("It was not confirmed by fresh builds yet.",)),
    )  # fmt: skip


def test_a_version_promises_no_more_than_the_scale_holds():
    """Grades from 1 to 7: what is kept of a mean of 7.4 is told as 7."""
    effects = radio.effects("echo")
    row = pd.DataFrame([{"mean": 7.4, "low": 7.0, "high": 7.8, "build_low": 6.0, "build_high": 8.8}])
    best = SimpleNamespace(outcome=effects.outcome, predict=lambda _: row)
    (known,) = evidence([best], {}, None, None, "", 9)["expected"]
    assert (known["mean"], promise(known)) == (7.4, "7.0 (6.0 to 7.0)")


@pytest.mark.parametrize(
    ("outcome", "said"),
    [
        (radio.BASS, "measured in dB, goal: hit (target 0, worst -6 and 6), 1 dB or more matters"),
        (radio.ECHO, "rated, on a scale from 1 to 7, goal: lower (best 1, worst 6), 0.5 or more matters"),
        (Outcome("mass", unit="g"), "measured in g, no goal"),
        (Outcome("pitch", goal="within", low=2, high=3, worst=(0, 9)),
         "measured, goal: within (wanted 2 to 3, worst 0 and 9)"),
    ],
)  # fmt: skip
def test_outcome_is_described_with_its_goal(outcome, said):
    assert about(outcome) == said


def test_reason_is_parted_after_its_first_sentence_only():
    what, why = first_sentence("Change wool from 0.5 to 1.5 %: 8 min. Expect 0.8 (0.7 to 0.9). Then stop.")
    assert what == "Change wool from 0.5 to 1.5 %: 8 min."
    assert why == "Expect 0.8 (0.7 to 0.9). Then stop."
    assert first_sentence("Do it") == ("Do it", "")


def test_next_change_gives_effort_settings_worth_and_expectation():
    advice = radio.advice()
    made = next_change(radio.SETUP, advice)
    assert made.first is not None
    facts = dict(made.first.facts)
    assert {"Where", "Takes", "Settings", "Overall worth"} <= set(facts)
    assert "round" in facts["Takes"]
    assert [row.outcome for row in made.first.expected] == ["bass", "echo"]
    assert len(made.others) == len(advice.table) - 1
    assert f"{made.first.what} {made.first.why}".strip() == advice.table["reason"].iloc[0]


def test_a_suggestion_tells_where_it_is_made_what_it_costs_and_its_chance():
    advice = radio.advice()
    table = advice.table.iloc[[0, 0, 0]].assign(
        unit=["the unit at hand", "A", "new"], cost=[12.5, 0.0, np.nan], minutes=30.0, readings=[1, 2, 2],
        worth_now=[0.5, 0.5, np.nan], worth_expected=[0.6, 0.6, 0.6], chance_better=[0.7, np.nan, 0.7],
    )  # fmt: skip
    predictions = advice.predictions.iloc[[0, 0]].assign(place=[1, 3], mean=[1.0, 2.0], low=0.0, high=3.0)
    none, bare = advice.candidates.iloc[:0], advice.front.iloc[:0]
    advice = replace(advice, table=table, predictions=predictions, _front=lambda: bare, _candidates=lambda: none)
    made = next_change(radio.SETUP, advice)
    told = [(item, dict(item.facts)) for item in (made.first, *made.others)]
    assert [facts["Where"] for _, facts in told] == ["the unit at hand", "unit A", "a new unit"]
    assert [facts["Takes"] for _, facts in told] == [
        "30 min, 1 round of readings, 12.5 in money", "30 min, 2 rounds of readings", "30 min, 2 rounds of readings",
    ]  # fmt: skip
    assert [facts["Overall worth"] for _, facts in told] == [
        "0.50 now, 0.60 expected; beats the best with 70 %", "0.50 now, 0.60 expected", "0.60 expected",
    ]  # fmt: skip
    assert [[row.expected for row in item.expected] for item, _ in told] == [
        ["1.0 dB (0.0 to 3.0)"], [], ["2.0 dB (0.0 to 3.0)"],
    ]  # fmt: skip


def test_next_change_without_advice_says_why_and_still_warns():
    made = next_change(radio.SETUP, None, "There are no outcomes with a goal.")
    assert (made.first, made.refusal) == (None, "There are no outcomes with a goal.")
    assert made.cautions == (BENCH, LISTENING)


def test_stop_comes_first_and_starts_with_a_capital():
    made = next_change(radio.SETUP, replace(radio.advice(), stop="the chance left is small."))
    assert (made.stop, made.figures) == ("The chance left is small.", "")


def test_what_to_keep_stands_apart_from_the_figures_behind_it():
    stopping = replace(radio.advice(), headline="Keep variant 2.", stop="keep variant 2. The chance left is small.")
    made = next_change(radio.SETUP, stopping)
    assert (made.stop, made.figures) == ("Keep variant 2.", "The chance left is small.")


def test_listening_caution_stands_where_ears_or_sound_are_used():
    quiet = replace(radio.SETUP, outcomes=(Outcome("mass", unit="g"),))
    assert cautions(quiet) == (BENCH,)
    recorded = replace(quiet, outcomes=(Outcome("level", unit="dB", recipe={"from": "level"}),))
    assert cautions(recorded) == (BENCH, LISTENING)
    judged = [Outcome(name, kind="rated", scale=(1, 7)) for name in ("crust", "echo")]
    assert [len(cautions(Setup(title="Oven", outcomes=[one]))) for one in judged] == [1, 2]


def test_standing_gives_the_best_variant_as_it_is_believed_to_be():
    advice = radio.advice()
    made = standing(radio.SETUP, advice, [radio.effects(), radio.effects("echo")], radio.readings(), [])
    assert made.best.startswith(f"Keep variant {advice.best['variant']} for now")
    assert "wool" in made.settings
    assert [(row.outcome, row.wanted) for row in made.outcomes] == [
        ("bass", "target 0, worst -6 and 6"), ("echo", "best 1, worst 6"),
    ]  # fmt: skip


def test_log_gives_plain_means_with_their_number():
    settings = {"vents": 4, "rings": 8, "wool": 60.0, "driver": "paper", "feet": "felt"}
    none = dict.fromkeys(settings)
    variants = pd.DataFrame(
        [
            {"variant": "1", "unit": "A", "parent": None, **settings},
            {"variant": "ref", "unit": None, "parent": None, **none},
        ]
    )
    readings = pd.DataFrame({"variant": ["1", "1", "1", "ref"], "outcome": ["bass", "bass", "echo", "echo"],
                             "value": [1.0, 2.0, 3.0, 5.0], "versus": [None] * 4})  # fmt: skip
    table = log_table(radio.SETUP, variants, readings)
    assert table.headings == (
        "Variant",
        "Unit",
        "From",
        "vents",
        "rings",
        "wool, %",
        "driver",
        "feet",
        "bass, dB",
        "echo",
    )
    assert table.rows[0] == ("1", "A", "-", "4", "8", "60", "paper", "felt", "1.5 (2)", "3")
    assert table.rows[1] == ("ref", "-", "-", "-", "-", "-", "-", "-", "-", "5")
    assert table.numeric == (False, False, False, True, True, True, False, False, True, True)


def test_comparisons_are_counted_for_both_variants():
    setup = replace(radio.SETUP, factors=(), outcomes=(Outcome("better", kind="compared"),))
    variants = pd.DataFrame({"variant": ["1", "2"], "unit": [None] * 2, "parent": [None] * 2})
    readings = pd.DataFrame(
        {"variant": ["1", "1"], "outcome": ["better"] * 2, "value": [1.0, 0.5], "versus": ["2", "2"]}
    )
    assert [row[-1] for row in log_table(setup, variants, readings).rows] == ["2 comparisons", "2 comparisons"]


def test_method_note_states_the_claim_that_verdicts_use():
    assert any(f"{CLAIM:.0%}".replace("%", " %") in said for said in methods(radio.SETUP))
    assert not any("Derringer" in said for said in methods(replace(radio.SETUP, outcomes=())))


@pytest.mark.parametrize(
    ("kind", "source"),
    [("rated", "McCullagh 1980, Journal of the Royal Statistical Society B 42"), ("compared", "Davidson (1970)")],
)
def test_method_note_names_a_source_where_a_kind_of_outcome_needs_it(kind, source):
    scale = {"scale": (1, 7)} if kind == "rated" else {}
    of_kind = replace(radio.SETUP, outcomes=(Outcome("echo", kind=kind, **scale),))
    measured = replace(radio.SETUP, outcomes=(Outcome("bass"),))
    assert any(source in said for said in methods(of_kind))
    assert not any(source in said for said in methods(measured))
