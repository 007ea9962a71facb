"""Names in what results say: ``port_length`` is ``port length`` in a sentence, and stays as typed in the columns of tables."""

import numpy as np
import pandas as pd
import pytest

from doe.advise import recommend
from doe.advise.confirm import confirm
from doe.advise.confirm_size import Scatter, size_confirmation
from doe.advise.route import change_text
from doe.advise.settle import settle
from doe.advise.tolerance import tolerances
from doe.fit import analyse
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.limit import Derived
from doe.model.outcome import Outcome
from doe.model.records import Unit
from doe.plans import plan
from doe.plans.choose import in_short

FACTORS = (
    Factor("port_length", low=0, high=10, step=1, unit="cm", minutes=5),
    Factor("back_vents", kind="count", low=0, high=4, way="up", minutes=9),
    Factor("body_rings", kind="count", low=7, high=10, way="rebuild"),
)
OUTCOMES = (
    Outcome("bass_level", unit="dB", goal="raise", worst=0, best=20, matters=1.0),
    Outcome("echo_time", unit="ms", goal="lower", worst=60, best=10, matters=3.0),
)
AIR = Derived("inner_air", "body_rings * 40 - port_length * 2")
EFFORT = Effort(new_unit_minutes=60, session_minutes=10, reading_minutes=4)


@pytest.fixture(scope="module")
def log():
    """Ports lift the bass and rings the echo; fourteen builds, the last two alike."""
    rng = np.random.default_rng(8)
    rows = []
    for place in range(14):
        settings = {"port_length": int(rng.integers(0, 11)), "back_vents": int(rng.integers(0, 5)),
                    "body_rings": int(rng.integers(7, 11))}  # fmt: skip
        settings = {"port_length": 6, "back_vents": 2, "body_rings": 8} if place > 11 else settings
        for outcome, value in (("bass_level", settings["port_length"]), ("echo_time", 5 * settings["body_rings"])):
            rows += [
                {
                    "variant": str(place),
                    "outcome": outcome,
                    "value": value + rng.normal(0, 0.5),
                    "unit": "A",
                    **settings,
                }
                for _ in range(2)
            ]
    return pd.DataFrame(rows)


def advised(log):
    units = [Unit("A", {"port_length": 6, "back_vents": 2, "body_rings": 8}, variant="13")]
    advice = recommend(log, FACTORS, OUTCOMES, units=units, effort=EFFORT, count=2, widen={"echo_time": 1.4})
    return [advice.headline, *advice.table["reason"], advice.runner_up, *advice.notes, *advice.candidates["label"]]


def analysed(log):
    """Of ports and vents that changed together, in builds that got louder day by day, with a reading left empty."""
    louder = log[log["outcome"] == "bass_level"].drop_duplicates("variant").assign(body_rings=8, unit=None)
    louder["back_vents"] = np.arange(14) % 2 * 4
    louder["port_length"] = louder["back_vents"] * 2.5
    louder["value"] = np.arange(14) * 3.0 + louder["value"] / 5
    louder = pd.concat([louder, louder[:1].assign(value=np.nan)])
    bass, other = Outcome("bass_level"), louder.assign(port_length=[10.0] + [0.0] * 13 + [10.0])
    found = [
        analyse(louder, FACTORS, bass),
        analyse(louder.assign(value=1.0), FACTORS, Outcome("bass_level", relative_to="shop")),
        analyse(other, FACTORS, bass, ["port_length", "back_vents", "port_length:back_vents"]),
        analyse(other, FACTORS, bass, ["body_rings"]),
    ]
    return [sentence for one in found
            for sentence in (one.headline, *one.notes, *one.checks["finding"], *one.checks["advice"])]  # fmt: skip


def planned(_):
    made = plan(FACTORS, 6, seed=1)
    short = plan(FACTORS, 4, kind="fraction", seed=1)
    return [made.headline, *made.separation.sentences, *made.precision_sentences(), *made.notes,
            *short.separation.sentences, *short.precision_sentences(), *short.notes]  # fmt: skip


def held(log):
    draws = [(outcome, analyse(log, FACTORS, outcome).posterior(500, np.random.default_rng(1))) for outcome in OUTCOMES]
    found = tolerances(draws, FACTORS, {"port_length": 6, "back_vents": 2, "body_rings": 8}, probability=0.5)
    return [found.headline, *found.notes]


def confirmed(log):
    found = confirm(log, FACTORS, OUTCOMES, ["12", "13"])
    sized = size_confirmation({"echo_time": Scatter(9.0, 9.0, 0.0, 8)}, OUTCOMES, effort=EFFORT, build_minutes=9.0)
    return [found.headline, *found.table["finding"], *found.notes, sized.headline, *sized.notes]


def settled(log):
    found = settle(log, FACTORS, OUTCOMES, "13", without="port_length", effort=EFFORT, derived=[AIR])
    return [found.summary(), *found.must_give, *found.notes, *found.disagreements["finding"]]


def routed(_):
    start, end = ({"port_length": length, "back_vents": 2, "body_rings": 8} for length in (6, 7))
    return [change_text(FACTORS, start, end), change_text(FACTORS, None, end)]


@pytest.mark.parametrize("asked", [advised, analysed, planned, held, confirmed, settled, routed])
def test_sentences_hold_no_underscores(log, asked):
    told = [sentence for sentence in asked(log) if sentence]
    assert any(name in " ".join(told) for name in ("port length", "back vents", "body rings", "echo time"))
    assert [sentence for sentence in told if "_" in sentence] == []


def test_several_settings_in_a_sentence_are_listed_as_a_person_would(log):
    """By hand: 8 * 40 + 2 * 10 - 6 * 2 = 328 is wanted; without the port, 8 rings and 1 vent give 330, nothing comes nearer."""
    both = Derived("inner_air", "body_rings * 40 + back_vents * 10 - port_length * 2")
    found = settle(log, FACTORS, OUTCOMES, "13", without="port_length", effort=EFFORT, derived=[both])
    assert found.headline.endswith("variant 13 (328); the nearest are back vents 1 and body rings 8.")
    alone = Derived("inner_air", "body_rings * 40 - port_length * 2")
    found = settle(log, FACTORS, OUTCOMES, "13", without="port_length", effort=EFFORT, derived=[alone])
    assert found.headline.endswith("variant 13 (308); the nearest is body rings 8.")


def test_a_plan_that_judges_nothing_lists_what_it_does_not_judge():
    short = plan(FACTORS, 4, kind="fraction", seed=1)
    row = {"hours": 0.0, "apart": "", "power_of_judged": 0.0, "unjudged": "port_length, back_vents, body_rings"}
    assert in_short(short, row) == "no interval for port length, back vents and body rings"
