"""Two or three sessions and raters who judged nothing in common: beliefs stay near what was read."""

import numpy as np
import pandas as pd
import pytest

from doe.advise.question import ask
from doe.advise.situation import look
from doe.fit.analyse import analyse
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.wording import MOVES

FACTORS = (
    Factor("blades", kind="count", low=3, high=9, way="rebuild"),
    Factor("pitch", kind="continuous", low=15, high=45, step=5, minutes=20),
    Factor("gap", kind="continuous", low=1, high=6, step=0.5, minutes=10, way="up"),
    Factor("liner", kind="categorical", levels=["none", "felt", "foam"], minutes=5),
    Factor("speed", kind="ordered", levels=["low", "medium", "high"], minutes=1),
)
AIRFLOW = Outcome("airflow", goal="raise", best=200, worst=80, matters=8)
NOISE = Outcome("noise", goal="lower", best=35, worst=55, matters=1)
SETTINGS = [
    ("A", "Mon", 5, 30, 2.0, "none", "medium"),
    ("A", "Mon", 5, 30, 3.0, "none", "medium"),
    ("A", "Mon", 5, 40, 3.0, "none", "medium"),
    ("A", "Mon", 5, 40, 3.0, "felt", "medium"),
    ("A", "Tue", 5, 40, 3.0, "felt", "low"),
    ("B", "Tue", 7, 40, 3.0, "felt", "medium"),
    ("B", "Tue", 7, 25, 3.0, "felt", "medium"),
    ("B", "Tue", 7, 25, 3.0, "felt", "high"),
    ("A", "Wed", 5, 40, 4.0, "foam", "low"),
    ("B", "Wed", 7, 25, 3.0, "foam", "high"),
]
"""A log as people keep one: each variant read once, and each session with settings of its own."""


def log(n_variants, third_rater, seed):
    """Truth: 100 m3/h and 40 dB at pitch 15 and low speed; 2 and 0.2 a degree, 15 and 3 a step of speed."""
    rng = np.random.default_rng(seed)
    rows = []
    for place, (unit, session, blades, pitch, gap, liner, speed) in enumerate(SETTINGS[:n_variants]):
        chosen = {"blades": blades, "pitch": pitch, "gap": gap, "liner": liner, "speed": speed}
        steps = ["low", "medium", "high"].index(speed)
        true = {"airflow": 70 + 2 * pitch + 15 * steps, "noise": 37 + 0.2 * pitch + 3 * steps}
        for outcome, sd in (("airflow", 3.0), ("noise", 0.7)):
            read = true[outcome] + sd * rng.standard_normal()
            rater = third_rater if session == "Wed" else "Me"
            rows.append({"variant": str(place + 1), "outcome": outcome, "value": read, "unit": unit, "session": session,
                         "rater": rater, **chosen})  # fmt: skip
    return pd.DataFrame(rows)


@pytest.mark.parametrize(("n_variants", "third_rater"), [(8, "Me"), (10, "Me"), (10, "Sam")])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_was_read_is_believed_near_its_reading(n_variants, third_rater, seed):
    """Within the range of all readings of its own, with an interval no wider than twice that range."""
    frame = log(n_variants, third_rater, seed)
    question = ask(FACTORS, (AIRFLOW, NOISE))
    belief = look(question, frame, None, np.random.default_rng(1)).belief
    for outcome, values in zip(belief.outcomes, belief.variant_values, strict=True):
        read = frame[frame["outcome"] == outcome.name].set_index("variant")["value"]
        spread = read.max() - read.min()
        own = read[list(belief.variants)].to_numpy()
        low, high = np.quantile(values, [0.025, 0.975], axis=0)
        assert np.abs(values.mean(axis=0) - own).max() < spread
        assert (high - low).max() < 2 * spread


@pytest.mark.parametrize(("n_variants", "third_rater"), [(8, "Me"), (10, "Me"), (10, "Sam")])
@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("outcome", [AIRFLOW, NOISE], ids=lambda outcome: outcome.name)
def test_what_a_report_says_of_a_variant_stays_near_its_reading(n_variants, third_rater, seed, outcome):
    """Each read once, so its value is its reading. Nothing is repeated and two sessions may differ by six times the scatter of
    readings, so the interval is wide; without that bound it was up to 150 times the range of all readings.
    """
    frame = log(n_variants, third_rater, seed)
    read = frame[frame["outcome"] == outcome.name].set_index("variant")["value"]
    told = analyse(frame, FACTORS, outcome).variants.set_index("variant")
    spread = read.max() - read.min()
    assert (told["mean"] - read[told.index]).abs().max() < 1e-6 * spread
    assert (told["high"] - told["low"]).max() < 6 * spread


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_speed_is_not_taken_for_blades_because_sessions_might_differ_by_anything(seed):
    """True movers are named or nothing is: blades do nothing, and only sessions without bound made the two look alike."""
    table = analyse(log(10, "Me", seed), FACTORS, AIRFLOW).table
    assert set(table["term"][table["verdict"] == MOVES]) <= {"pitch", "speed"}
