"""Linear algebra held to one thread: inside only, in every library that is loaded, and in what should be."""

import sys

import pandas as pd
import pytest
import scipy.linalg  # noqa: F401 - brings a library of its own
from threadpoolctl import threadpool_info, threadpool_limits

from doe import Factor, Outcome, analyse, recommend
from doe.model.threads import one_thread
from doe.plans import plan


def threads():
    return [library["num_threads"] for library in threadpool_info() if library["user_api"] == "blas"]


@pytest.fixture(autouse=True)
def two_threads():
    """Start from two threads, however the tests are run."""
    with threadpool_limits(2, "blas"):
        yield


def test_every_library_is_held_inside_and_let_go_again():
    assert set(threads()) == {2}
    with one_thread():
        assert set(threads()) == {1}
    assert set(threads()) == {2}


def test_a_failure_lets_go_too_and_a_decorated_function_keeps_its_name():
    @one_thread()
    def fails():
        """Fail."""
        assert set(threads()) == {1}
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fails()
    assert set(threads()) == {2}
    assert (fails.__name__, fails.__doc__) == ("fails", "Fail.")


@pytest.mark.parametrize("module, name, call", [
    ("doe.fit.analyse", "fit", lambda readings, factor, outcome: analyse(readings, [factor], outcome)),
    ("doe.advise.recommend", "look", lambda readings, factor, outcome: recommend(readings, [factor], [outcome])),
])  # fmt: skip
def test_analysis_and_advice_use_one_thread(monkeypatch, module, name, call):
    place = sys.modules[module]
    seen, real = [], getattr(place, name)

    def watched(*arguments, **named):
        seen.append(set(threads()))
        return real(*arguments, **named)

    monkeypatch.setattr(place, name, watched)
    factor = Factor("vents", kind="count", low=0, high=3, minutes=5)
    readings = pd.DataFrame(
        {"variant": list("abcd"), "outcome": "bass", "value": [1.0, 2.0, 3.1, 3.9], "vents": range(4)}
    )
    call(readings, factor, Outcome("bass", kind="measured", goal="raise", best=9, worst=0, matters=1))
    assert seen == [{1}]


def test_a_search_for_a_plan_uses_one_thread():
    seen = []
    plan([Factor(name, kind="count", low=0, high=3) for name in "abc"], model="two-factor", runs=9,
         tell=lambda share, words: seen.append(set(threads())))  # fmt: skip
    assert seen
    assert all(found == {1} for found in seen)
