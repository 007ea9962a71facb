"""Drift over a session is looked for only where readings can tell it from their own scatter."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.coding import Coding
from doe.fit.evidence import gather, groupings
from doe.fit.origins import origin_of
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from tests.strategies import examples

FACTOR = Factor("a", kind="count", low=0, high=50)
ECHO = Outcome("echo", goal="lower", best=0, worst=20)


def log(readings):
    """Make a frame of (session, variant, rater, value), in the order in which they were taken."""
    frame = pd.DataFrame(readings, columns=["session", "variant", "rater", "value"])
    place = frame.groupby("session").cumcount() + 1
    return frame.assign(outcome="echo", order=place, a=frame["variant"].astype(int))


def sources(frame):
    return {source.name: source for source in groupings(gather(frame, [FACTOR], ECHO))[0]}


def each_variant_in_its_session(n_readings, seed=3):
    rng = np.random.default_rng(seed)
    return log([(f"s{v}", str(v), "", 3.0 * v + rng.standard_normal()) for v in range(6) for _ in range(n_readings)])


def test_two_readings_of_one_variant_a_session_tell_scatter_and_no_drift():
    """The scatter of readings is the pooled one of the pairs (closed form); a slope a session would leave none of it."""
    frame, coding = each_variant_in_its_session(2), Coding((FACTOR,))
    assert "drift" not in sources(frame)
    origin = origin_of(frame, coding, ECHO)
    matrix = coding.matrix(origin.evidence.settings, [])
    pooled = np.sqrt(frame.groupby("variant")["value"].var(ddof=1).mean())
    assert origin.classical(coding, matrix)[0].model.sigma == pytest.approx(pooled, rel=1e-5)
    found = origin.scatter(coding, matrix)  # with build-to-build scatter held off zero, which takes a little of it
    assert 0.85 * pooled < found.reading_sd < 1.05 * pooled
    assert np.sqrt(np.diag(found.builds.reading)) == pytest.approx(found.reading_sd / np.sqrt(2), rel=1e-6)


def test_three_readings_of_one_variant_a_session_tell_both():
    assert "drift" in sources(each_variant_in_its_session(3))


def test_sessions_of_several_variants_read_once_tell_drift():
    rng = np.random.default_rng(1)
    frame = log([(f"s{v // 5}", str(v), "", rng.standard_normal()) for v in range(15)])
    assert "drift" in sources(frame)


def dense(frame, found):
    """All sources side by side, each with an offset of its own a group."""
    blocks = [np.ones((len(frame), 1)), pd.get_dummies(frame["session"]).to_numpy(float)]
    blocks.append(pd.get_dummies(frame["rater"]).to_numpy(float))
    if "variant" in found:
        blocks.append(pd.get_dummies(frame["variant"]).to_numpy(float))
    order = frame.groupby("session")["order"]
    slope = (frame["order"] - order.transform("mean")).to_numpy(float)
    blocks.append(pd.get_dummies(frame["session"]).to_numpy(float) * slope[:, None])
    return np.hstack(blocks)


@pytest.mark.slow
@examples(150)
@given(
    st.lists(st.tuples(st.integers(0, 4), st.integers(0, 5), st.sampled_from("AB")), min_size=4, max_size=30),
    st.integers(0, 99),
)
def test_with_drift_among_the_sources_readings_are_left_over(taken, seed):
    """Three or more beyond the rank of all sources together, by numpy's singular values."""
    rng = np.random.default_rng(seed)
    frame = log([(f"s{s}", str(v), r, rng.standard_normal()) for s, v, r in sorted(taken, key=lambda one: one[0])])
    found = sources(frame)
    if "drift" in found:
        assert len(frame) - np.linalg.matrix_rank(dense(frame, found)) >= 3
