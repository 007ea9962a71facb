import json
import re
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.advise import recommend, track
from doe.advise.record import suggestions_of
from doe.advise.track import _replaced_at
from doe.model.errors import DataError
from doe.model.outcome import Outcome
from tests.advise.test_recommend import BASE, readings_of


def suggestion(number, mean, half, at=None, **settings):
    prediction = {"outcome": "bass", "mean": mean, "low": mean - half, "high": mean + half}
    return {"id": number, "at": at, "settings": {**BASE, **settings}, "predictions": [prediction]}


def readings(values, at=None, **settings):
    rows = [{"variant": "9", "outcome": "bass", "value": value, **BASE, **settings} for value in values]
    frame = pd.DataFrame(rows)
    return frame if at is None else frame.assign(at=at)


def test_the_mean_of_the_readings_is_held_against_the_interval(factors):
    found = track([suggestion(4, 1.0, 0.5)], readings([1.2, 1.6]), factors)
    (row,) = found.table.to_dict("records")
    assert (row["suggestion"], row["variant"], row["readings"], row["held"]) == (4, "9", 2, True)
    assert row["read"] == pytest.approx(1.4)
    assert row["away"] == pytest.approx(0.4 / (0.5 / 1.959964))
    assert found.headline == "1 of 1 prediction held (100 %; 95 % were promised)."


@pytest.mark.parametrize("count", [1, 2, 4, 40])
@pytest.mark.parametrize("widened", [1.0, 1.5])
def test_an_interval_is_taken_for_as_many_readings_as_came(factors, count, widened):
    """Closed form: a variant known to 0.3, readings that scatter by 0.8; predicted for two of them, widened as a whole."""
    half = 1.959964 * widened * np.sqrt(0.3**2 + 0.8**2 / 2)
    asked = suggestion(1, 1.0, half)
    asked["predictions"][0] |= {"widened": widened, "readings": 2, "reading_sd": 0.8}
    (row,) = track([asked], readings([1.2] * count), factors).table.to_dict("records")
    assert row["high"] - row["mean"] == pytest.approx(1.959964 * widened * np.sqrt(0.3**2 + 0.8**2 / count))
    assert row["mean"] - row["low"] == pytest.approx(row["high"] - row["mean"])
    assert row["away"] == pytest.approx(0.2 / (widened * np.sqrt(0.3**2 + 0.8**2 / count)), rel=1e-5)


def test_a_difference_from_a_reference_is_held_as_one(factors):
    """By hand: read 4 and 6 on a day when the shop's was read 3 and 5, 9 when it was 7: differences 0, 2 and 2 from its means.

    The third day knows no reference and tells nothing. The grades themselves had been held against predicted differences, so
    that all were missed and later intervals widened for nothing.
    """
    bass = Outcome("bass", goal="lower", best=-3, worst=3, relative_to="shop")
    mine = readings([4.0, 6.0, 9.0, 8.0]).assign(session=["a", "a", "b", "c"])
    shop = pd.DataFrame({"variant": "shop", "outcome": "bass", "value": [3.0, 5.0, 7.0], "session": ["a", "a", "b"]})
    log = pd.concat([mine, shop], ignore_index=True)
    asked = suggestion(1, 1.0, 1.959964 * np.sqrt(0.3**2 + 0.8**2 / 3))
    asked["predictions"][0] |= {"readings": 3, "reading_sd": 0.8}
    (row,) = track([asked], log, factors, [bass]).table.to_dict("records")
    assert (row["read"], row["readings"], row["held"]) == (pytest.approx(4 / 3), 3, True)
    beside = (2 / 3) ** 2 / 2 + (1 / 3) ** 2  # two thirds of them beside the mean of two, a third beside one
    assert row["high"] - row["mean"] == pytest.approx(1.959964 * np.sqrt(0.3**2 + 0.8**2 * (1 / 3 + beside)))
    assert track([asked], mine, factors, [bass]).table["read"].tolist() == [
        pytest.approx(6.75)
    ]  # no reference: as it is
    own = Outcome(
        "bass", goal="lower", best=-3, worst=3, relative_to="9"
    )  # has settings: the analysis takes it as it is too
    assert track([asked], log, factors, [own]).table["read"].tolist() == [pytest.approx(6.75)]
    assert track([asked], log[3:], factors, [bass]).waiting == 1
    asked["predictions"][0]["outcome"] = "echo"  # which is wanted as it is
    (row,) = track([asked], pd.concat([log, mine.assign(outcome="echo")]), factors, [bass]).table.to_dict("records")
    assert (row["read"], row["readings"]) == (pytest.approx(6.75), 4)
    assert row["high"] - row["mean"] == pytest.approx(1.959964 * np.sqrt(0.3**2 + 0.8**2 / 4))


def test_advice_says_for_how_many_readings_it_predicts(factors, outcomes, effort):
    """Three raters judge echo, one reads bass: a round gives three readings of echo."""
    rng, rows = np.random.default_rng(4), []
    for wool in (0, 10, 20, 30, 40, 50):
        own = {"bass": -4 + wool / 15, "echo": 3.0}
        for rater in "ABC":
            for name in ("bass", "echo")[rater != "A" :]:
                value = own[name] + 0.5 * rng.standard_normal()
                rows.append(
                    {"variant": str(wool), "outcome": name, "rater": rater, "value": value, **BASE, "wool": float(wool)}
                )
    advice = recommend(pd.DataFrame(rows), factors, outcomes, effort=effort)
    rounds = int(advice.table["readings"].iloc[0])
    found = advice.predictions.set_index("outcome")
    assert found["readings"].to_dict() == {"bass": rounds, "echo": 3 * rounds}
    assert 0.25 < found.loc["echo", "reading_sd"] < 0.75
    (kept,) = suggestions_of(advice, [factor.name for factor in factors])
    assert [line["readings"] for line in kept["predictions"]] == [rounds, 3 * rounds]


def test_each_suggestion_keeps_what_it_predicts_itself(factors):
    """Two suggestions as a table and predictions, numbers of array libraries and a missing one; kept as plain Python."""
    shared = {"unit": "A", "readings": np.int64(2), "minutes": 5.0, "cost": 0.0, "kind": "learn", "worth_expected": 0.5,
              "chance_better": 0.5, "reason": "", **BASE}  # fmt: skip
    table = pd.DataFrame([{**shared, "worth_now": np.nan}, {**shared, "worth_now": 0.25}])
    columns = ["place", "outcome", "mean", "low", "high", "widened", "readings", "reading_sd"]
    rows = [(place, name, 10.0 * place, 0.0, 99.0, 1.0, 2, 0.5) for place in (1, 2) for name in ("bass", "echo")]
    advice = SimpleNamespace(table=table, predictions=pd.DataFrame(rows, columns=columns))
    first, second = suggestions_of(advice, [factor.name for factor in factors])
    assert [line["mean"] for line in (*first["predictions"], *second["predictions"])] == [10.0, 10.0, 20.0, 20.0]
    assert (first["worth_now"], second["worth_now"]) == (None, 0.25)
    assert json.loads(json.dumps(first)) == first


def test_only_the_same_settings_and_later_readings_count(factors):
    early = readings([5.0], at=pd.Timestamp("2024-05-01"))
    late = readings([1.1], at=pd.Timestamp("2024-05-03"))
    frame = pd.concat([early, late, readings([9.0], at=pd.Timestamp("2024-05-03"), wool=40.0)])
    found = track(
        [suggestion(1, 1.0, 0.5, at=pd.Timestamp("2024-05-02")), suggestion(2, 1.0, 0.5, wool=5.0)], frame, factors
    )
    assert found.table["read"].tolist() == [1.1]
    assert found.waiting == 1
    some_day = track([suggestion(1, 1.0, 0.5)], frame, factors)  # one that does not say when it was made
    assert some_day.table["read"].tolist() == pytest.approx([(5.0 + 1.1) / 2])


def test_every_variant_that_met_a_prediction_is_named(factors):
    again = readings([1.2]).assign(variant="12")
    found = track([suggestion(4, 1.0, 0.5)], pd.concat([readings([1.0]), again, readings([1.1])]), factors)
    assert (found.table["variant"].tolist(), found.table["readings"].tolist()) == (["9, 12"], [3])


def test_good_intervals_are_left_alone_and_bad_ones_widened_by_what_they_lack(factors):
    """200 predictions with the right sd: factor near 1; with half the sd that readings show: near 2.

    Bounds: the root of (10 + s) / 210, with s within 2.5 standard deviations, 20 each for unit scatter, of its mean 200.
    """
    rng = np.random.default_rng(1)
    for shown, low, high in ((1.0, 1.0, 1.12), (2.0, 1.70, 2.19)):
        asked = [suggestion(k, 0.0, 1.96, wool=float(5 * (k % 13)), vents=k % 7, rings=7 + k % 6) for k in range(200)]
        frames = [
            readings([shown * rng.standard_normal()], wool=one["settings"]["wool"], vents=one["settings"]["vents"],
                     rings=one["settings"]["rings"])
            for one in asked
        ]  # fmt: skip
        found = track(asked, pd.concat(frames), factors)
        assert low <= found.widen["bass"] <= high


def test_one_wild_reading_widens_little(factors):
    asked = [suggestion(k, 0.0, 1.96, wool=float(5 * k)) for k in range(12)]
    frames = [readings([1e6 if k == 0 else 0.5], wool=float(5 * k)) for k in range(12)]
    assert track(asked, pd.concat(frames), factors).widen["bass"] < 2.0


def test_without_readings_all_is_waiting(factors):
    found = track([suggestion(1, 0.0, 1.0)], readings([1.0], wool=60.0), factors)
    assert found.headline == "No prediction has been met by a reading yet."
    assert found.summary().endswith("1 prediction not met by a reading yet.\n")


def test_a_prediction_without_any_doubt_holds_to_the_letter_or_not_at_all(factors):
    found = track([suggestion(1, 1.0, 0.0)], readings([1.0]), factors)
    assert (found.table["held"].tolist(), found.table["away"].tolist(), found.waiting) == ([True], [0.0], 0)
    assert "not met" not in found.summary()
    missed = track([suggestion(1, 1.0, 0.0)], readings([1.5]), factors)
    both = track([suggestion(1, 1.0, 0.0), suggestion(2, 1.0, 0.0, wool=5.0)],
                 pd.concat([readings([1.0]), readings([1.5], wool=5.0)]), factors)  # fmt: skip
    assert both.headline == "1 of 2 predictions held (50 %; 95 % were promised)."
    assert (missed.table["held"].tolist(), missed.table["away"].tolist()) == ([False], [np.inf])
    assert missed.widen["bass"] < 3  # the root of (10 + 8^2) / 11 at most: one prediction is no verdict


def test_a_missing_column_is_named(factors):
    with pytest.raises(DataError, match=re.escape("The readings have no column 'wool'.")):
        track([], readings([1.0]).drop(columns="wool"), factors)


def test_advice_widens_its_predictions_as_asked(factors, outcomes, effort):
    variants = [{**BASE, "wool": float(wool)} for wool in (0, 10, 20, 30, 40, 50)]
    frame = readings_of(variants, lambda s: (-4 + s["wool"] / 15, 3.0), outcomes, np.random.default_rng(3))
    plain = recommend(frame, factors, outcomes, effort=effort).predictions.set_index("outcome")
    wide = recommend(frame, factors, outcomes, effort=effort, widen={"bass": 2.0}).predictions.set_index("outcome")
    ratio = (wide["high"] - wide["low"]) / (plain["high"] - plain["low"])
    assert ratio["bass"] == pytest.approx(2.0)
    assert ratio["echo"] == pytest.approx(1.0)


def test_a_reading_meets_the_last_prediction_before_it(factors):
    """Of three predictions of the same settings, the reading is held against the second; the third waits; the first is
    neither.
    """
    days = [pd.Timestamp(f"2024-05-0{day}") for day in (1, 2, 4)]
    asked = [suggestion(place, float(place), 0.5, at=day) for place, day in enumerate(days, start=1)]
    found = track(asked, readings([2.2], at=pd.Timestamp("2024-05-03")), factors)
    assert found.table["suggestion"].tolist() == [2]
    assert found.waiting == 1


def test_what_was_widened_already_is_judged_as_it_was_before(factors):
    """Readings twice as far off as predicted ask for the same factor, whether or not their intervals were widened."""
    rng = np.random.default_rng(2)
    truth = 2.0 * rng.standard_normal(60)
    factor = {}
    for widened in (1.0, 2.0):
        asked = [suggestion(k, 0.0, 1.96 * widened, wool=float(5 * (k % 13)), vents=k % 7) for k in range(60)]
        for one in asked:
            one["predictions"][0]["widened"] = widened
        frames = [
            readings([value], wool=one["settings"]["wool"], vents=one["settings"]["vents"])
            for one, value in zip(asked, truth, strict=True)
        ]
        factor[widened] = track(asked, pd.concat(frames), factors).widen["bass"]
    assert factor[1.0] == pytest.approx(factor[2.0])
    assert factor[1.0] > 1.5


def test_suggestions_of_other_factors_and_those_set_aside_are_left_out(factors):
    old = suggestion(1, 1.0, 0.5)
    del old["settings"]["wool"]
    gone = suggestion(2, 1.0, 0.5, driver="cardboard")
    aside = {key: value for key, value in suggestion(3, 1.0, 0.5).items() if key != "predictions"}
    found = track([old, gone, aside], readings([1.0]), factors)
    assert (len(found.table), found.waiting) == (0, 0)


def test_the_advice_says_that_it_widens(factors, outcomes, effort):
    frame = readings_of([BASE, {**BASE, "wool": 20.0}], lambda s: (1.0, 3.0), outcomes, np.random.default_rng(3))
    notes = recommend(frame, factors, outcomes, effort=effort, widen={"bass": 1.42, "echo": 1.01}).notes
    assert [note for note in notes if "drawn" in note] == [
        "Predictions of bass are drawn 1.4 times as wide as the model has them, since earlier ones held too seldom."
    ]


@given(st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from(["bass", "echo"]), st.integers(0, 99)), max_size=30))
def test_a_prediction_is_replaced_by_the_next_one_for_its_settings(made):
    asked = [(number, (key,), at, {"outcome": outcome}) for number, (key, outcome, at) in enumerate(made)]
    expected = [
        next((at for other, name, at in made[place + 1 :] if (other, name) == (key, outcome)), None)
        for place, (key, outcome, _) in enumerate(made)
    ]
    assert _replaced_at(asked) == expected
