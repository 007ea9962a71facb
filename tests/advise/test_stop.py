import numpy as np
import pytest

from doe.advise.question import ask
from doe.advise.stop import MODEL_DOUBT, STOP_BELOW, chance_left, stop_sentence
from doe.model.factor import Factor
from doe.model.outcome import Outcome

WOOL, BASS = Factor("wool", low=0, high=60), Outcome("bass", goal="raise", best=2, worst=-8)


def test_the_chance_is_the_share_of_worlds_and_the_doubt_about_the_model():
    """Three of four worlds hold something better by 0.1; the doubt is added for the rest."""
    best = np.full(4, 0.5)
    promised = np.array([[0.4, 0.7], [0.55, 0.3], [0.62, 0.1], [0.65, 0.5]])
    assert chance_left(best, promised, 0.1) == pytest.approx(MODEL_DOUBT + (1 - MODEL_DOUBT) * 0.75)


def test_nothing_is_better_than_a_worth_of_one():
    """In two of four worlds the best lacks less than what matters, so that no doubt about the model remains there."""
    best = np.array([1.0, 0.95, 0.5, 0.5])
    promised = np.array([[1.0], [1.0], [0.7], [0.5]])
    assert chance_left(best, promised, 0.1) == pytest.approx((1 + MODEL_DOUBT) / 4)
    told = stop_sentence(0.0, "7", "1.00 (0.98 to 1.00)", matters=0.05, hours=None, cheapest_minutes=21.0)
    assert told.endswith("As far as is known it meets every goal in full, so nothing can be better by 0.05 of worth.")


def test_where_nothing_can_be_built_no_chance_is_stated():
    assert chance_left(np.full(4, 0.5), np.empty((4, 0)), 0.1) is None


def test_it_stops_below_the_stated_level_and_names_what_to_keep():
    told = {"matters": 0.05, "hours": None, "cheapest_minutes": 21.0}
    assert stop_sentence(STOP_BELOW + 0.01, "7", "0.8 (0.7 to 0.9)", **told) is None
    assert stop_sentence(STOP_BELOW - 0.005, "7", "0.8 (0.7 to 0.9)", **told) == (
        "nothing within reach is likely to be worth building: keep variant 7, worth 0.8 (0.7 to 0.9). "
        "The chance that anything within reach is better by 0.05 of worth is 10 %."
    )


def test_hours_that_do_not_do_and_no_reach_at_all_are_said():
    assert stop_sentence(0.9, "7", "0.8", matters=0.05, hours=2.0, cheapest_minutes=121.0) == (
        "2 h left, and the cheapest move takes 2 h 1 min; keep variant 7, worth 0.8."
    )
    for unit, said in (("B", "unit B"), ("new", "a new unit")):
        assert stop_sentence(1.0, None, "", matters=0.0, hours=None, cheapest_minutes=None, unit=unit) == (
            f"no variant that keeps the limits is within reach of {said}; allow other units, or loosen a limit; "
            "no variant has been read yet."
        )
    assert stop_sentence(1.0, None, "", matters=0.0, hours=None, cheapest_minutes=None) == (
        "no variant that keeps the limits is within reach of a unit or a new one; loosen a limit; no variant has been read yet."
    )


def test_a_move_that_takes_the_hours_left_to_the_minute_still_fits():
    assert stop_sentence(0.9, "7", "0.8", matters=0.05, hours=2.0, cheapest_minutes=120.0) is None
    assert stop_sentence(0.9, "7", "0.8", matters=0.05, hours=None, cheapest_minutes=120.0) is None
    assert stop_sentence(0.9, "7", "0.8", matters=0.05, hours=2.05, cheapest_minutes=123.0) is None
    assert ask([WOOL], [BASS], hours=2.05).most_minutes == 123.0  # 60 * 2.05 falls a little short of it
