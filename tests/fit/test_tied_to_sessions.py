"""A factor that changed only together with the session is not claimed because few sessions happened to agree with it."""

import numpy as np
import pandas as pd
import pytest

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
