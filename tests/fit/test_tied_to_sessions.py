"""A factor that changed only together with the session is not claimed because few sessions happened to agree with it."""

import numpy as np
import pandas as pd
import pytest

from doe.coding import Coding
from doe.fit import analyse
from doe.fit.evidence import gather
from doe.fit.tangled import session_ties
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from tests.fit.logs import table_alone

FACTORS = (
    Factor("idle", low=0, high=10, step=1),
    Factor("gap", low=0, high=10, step=1),
    Factor("felt", low=0, high=10, step=1),
    Factor("cone", kind="categorical", levels=["paper", "poly"]),
)
HUM = Outcome("hum", goal="raise", best=20, worst=0, matters=1.0)


def log(seed, session_sd):
    """Truth: 10, and 0.6 for each 1 of gap; 1 a reading, 0.5 a build; idle at 2 in two sessions and at 8 in the third."""
    rng = np.random.default_rng(seed)
    offsets = session_sd * rng.standard_normal(3)
    rows = []
    for place in range(12):
        session = place // 4
        gap, felt, cone = int(rng.integers(0, 11)), int(rng.integers(0, 11)), ["paper", "poly"][rng.integers(2)]
        value = 10 + 0.6 * gap + offsets[session] + 0.5 * rng.standard_normal() + rng.standard_normal()
        rows.append({"variant": str(place + 1), "outcome": "hum", "value": value, "session": f"day {session}", "unit": "A",
                     "idle": 8 if session == 2 else 2, "gap": gap, "felt": felt, "cone": cone})  # fmt: skip
    return pd.DataFrame(rows)


@pytest.mark.slow
@pytest.mark.parametrize("session_sd", [0.5, 5.0])
def test_three_sessions_claim_no_factor_that_was_never_changed_within_one(session_sd):
    """Of 100 logs, as many as of histories with nothing going on: five at most; and its interval holds nothing in 90."""
    tables = [table_alone(log(seed, session_sd), FACTORS, HUM).table for seed in range(100)]
    rows = [table.set_index("term").loc["idle"] for table in tables]
    assert sum(row["verdict"] == "moves it" for row in rows) <= 5
    assert sum(row["low"] <= 0 <= row["high"] for row in rows) >= 90


def tied(*read, last=None):
    """Factors tied to the session where variants with these settings of gap were read in these sessions, one each."""
    rows = [(str(place), float(place), *one) for place, one in enumerate(read)]
    rows += [] if last is None else [(*one, None) for one in last]
    log = pd.DataFrame(rows, columns=["variant", "value", "session", "gap"]).assign(outcome="hum")
    coding = Coding((FACTORS[1],))
    return [(tie.first, tie.second) for tie in session_ties(gather(log, coding.factors, HUM), coding)]


@pytest.mark.parametrize(
    ("read", "is_tied"),
    [
        ([("a", 1), ("a", 1), ("b", 5)], True),
        ([("a", 1), ("b", 5), ("c", 9)], True),
        ([("a", 1), ("a", 1), ("a", 5)], False),  # one session
        ([("a", 1), ("a", 5), ("b", 5)], False),  # it changed within one
        ([("a", 1), ("b", 1), ("c", 5)], False),  # two sessions alike show how sessions differ
        ([("a", 1), ("b", 1)], False),  # it never changed
        ([(None, 1), (None, 5), (None, 5)], False),  # nothing tells sessions apart
    ],
)
def test_a_factor_is_tied_to_sessions_that_each_have_a_setting_of_their_own(read, is_tied):
    assert tied(*read) == ([("gap", "session")] if is_tied else [])


def test_whatever_was_read_in_two_sessions_shows_how_they_differ():
    """A variant, or a reference object, which used to be passed over; one that was read in a session only shows nothing."""
    two = [("a", 1), ("b", 5)]
    assert tied(*two, last=[("shop radio", 3.0, "a"), ("kitchen radio", 3.0, "b")]) == [("gap", "session")]
    assert tied(*two, last=[("shop radio", 3.0, "a"), ("shop radio", 4.0, "b")]) == []
    again = pd.DataFrame(
        [("1", 1.0, "a", 1), ("2", 2.0, "b", 5), ("2", 3.0, "a", 5)], columns=["variant", "value", "session", "gap"]
    )
    assert session_ties(gather(again, FACTORS[1:2], HUM), Coding(FACTORS[1:2])) == []


def carried(seed):
    """Truth: idle 0.6 for each 1, at 2 in one session and at 8 in the other, which differ by 2.5; a reference in both."""
    rows = log(seed, 2.5).drop(columns="unit").query("session != 'day 0'")
    rows["value"] += 0.6 * rows["idle"]
    rng = np.random.default_rng([seed, 1])
    offsets = 2.5 * np.random.default_rng(seed).standard_normal(3)  # those of the log
    shop = [{"variant": "shop", "session": f"day {day}", "outcome": "hum", "value": offsets[day] + rng.standard_normal()}
            for day in (1, 2) for _ in range(6)]  # fmt: skip
    return pd.concat([rows, pd.DataFrame(shop)])


def test_nobody_is_asked_to_repeat_a_setting_in_another_session_where_a_reference_was_read_in_both():
    found = analyse(carried(1), FACTORS, HUM)
    assert not [note for note in found.notes if "together with the session" in note]
    assert "session" not in set(found.table["tangled_with"])
