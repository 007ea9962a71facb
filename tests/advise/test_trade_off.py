import pandas as pd

from doe.advise.trade_off import build_sentence, front_sentence, kept_sentence, others_kept


def weights(kept, wool):
    """Two outcomes at five weights each: the variant kept, and the wool of the best build."""
    multiples = (0.25, 0.5, 1.0, 2.0, 4.0)
    rows = [
        {"outcome": outcome, "times as much": weight, "variant": kept[outcome][place], "variant worth": 0.5,
         "wool": wool[outcome][place], "feet": "cork", "design worth": 0.7}
        for outcome in kept
        for place, weight in enumerate(multiples)
    ]  # fmt: skip
    return pd.DataFrame(rows)


STILL = {"bass": [10.0] * 5, "echo": [10.0] * 5}


def test_a_choice_that_turns_is_told_at_the_nearest_weight():
    """Bass: 8 from twice on, 7 at a half and 6 at a quarter; echo: 8 at a half."""
    found = weights({"bass": ["6", "7", "3", "8", "8"], "echo": ["8", "8", "3", "3", "3"]}, STILL)
    assert kept_sentence(found) == (
        "Variant 3 is the one to keep; it would be variant 8 if bass counted 2 times or echo counted 0.5 times as much; "
        "variant 7 if bass counted 0.5 times as much; variant 6 if bass counted 0.25 times as much."
    )
    assert others_kept(found) == ["8", "7", "6"]


def test_the_nearest_turn_is_told_first_of_whichever_outcome():
    """Bass has to count four times as much for 8, echo half as much for 7."""
    found = weights({"bass": ["3", "3", "3", "3", "8"], "echo": ["7", "7", "3", "3", "3"]}, STILL)
    assert others_kept(found) == ["7", "8"]


def test_a_choice_that_stands_is_told_with_the_span_of_weights():
    found = weights({"bass": ["3"] * 5, "echo": ["3"] * 5}, STILL)
    assert kept_sentence(found) == (
        "Variant 3 stays the one to keep though any one outcome counted 0.25 to 4 times as much."
    )
    assert build_sentence(found) == (
        "What promises most to build stays the same though any one outcome counted 0.25 to 4 times as much."
    )
    assert others_kept(found) == []


def test_another_build_is_told_by_what_differs():
    found = weights({"bass": ["3"] * 5, "echo": ["3"] * 5}, {**STILL, "bass": [10.0, 10.0, 10.0, 10.0, 25.0]})
    assert build_sentence(found) == "What promises most to build would have wool 25 if bass counted 4 times as much."


def test_one_outcome_has_no_trade_off():
    assert (kept_sentence(pd.DataFrame()), build_sentence(pd.DataFrame()), others_kept(pd.DataFrame())) == ("", "", [])


def test_a_front_of_one_trades_nothing():
    front = pd.DataFrame({"variant": ["3", "8"], "worth": [0.6, 0.5]})
    assert front_sentence(front) == "No outcome improves without loss in another in these:"
    assert front_sentence(front.head(1)) == "Nothing has to be traded; one is best in every outcome:"
