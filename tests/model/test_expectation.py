import pytest

from doe.model.errors import UsageError
from doe.model.expectation import Expectation, check_expectations
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from tests.refusing import refused

FACTORS = [Factor("wool", low=0, high=60), Factor("driver", "categorical", levels=["paper", "poly"])]
OUTCOMES = [Outcome("echo"), Outcome("bass")]


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        (("wool", "echo", "lowers"), "more wool lowers echo"),
        (("wool", "echo", "raises", 1.5), "more wool raises echo by about 1.5"),
        (("wool", "echo", "nothing"), "wool does nothing to echo"),
    ],
)
def test_it_says_itself_as_the_maker_would(fields, sentence):
    assert Expectation(*fields).sentence() == sentence


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        (
            ("wool", "echo", "up"),
            "What is expected of wool is 'up'; it must be raises, lowers or nothing. Did you mean 'raises'?",
        ),
        (("wool", "echo", "so"), "What is expected of wool is 'so'; it must be raises, lowers or nothing."),
        (("wool", "echo", "lowers", 0), "The size expected of wool is 0; it must be above 0."),
        (("wool", "echo", "lowers", -1.5), "The size expected of wool is -1.5; it must be above 0."),
        (("wool", "echo", "lowers", "big"), "The size expected of wool is 'big'; it must be a finite number."),
        (("wool", "echo", "nothing", 2.0), "wool is expected to do nothing to echo, so leave the size out."),
    ],
)
def test_what_contradicts_itself_is_refused(fields, message):
    with refused(UsageError, message):
        Expectation(*fields)


@pytest.mark.parametrize(
    ("items", "message"),
    [
        ([("wol", "echo", "raises")], "Something is expected of 'wol', which is no factor. Did you mean 'wool'?"),
        (
            [("wool", "ecko", "raises")],
            "wool is expected to act on 'ecko', which is no outcome. Did you mean 'echo'?",
        ),
        (
            [("driver", "echo", "raises")],
            "driver has no order, so there is no more of it; only 'nothing' can be expected of it.",
        ),
        (
            [("wool", "echo", "raises"), ("wool", "bass", "raises"), ("wool", "echo", "nothing")],
            "What wool does to echo is expected twice; keep one.",
        ),
    ],
)
def test_names_order_and_repeats_are_checked(items, message):
    with refused(UsageError, message):
        check_expectations([Expectation(*item) for item in items], FACTORS, OUTCOMES)


def test_nothing_may_be_expected_of_what_has_no_order():
    check_expectations([Expectation("driver", "echo", "nothing")], FACTORS, OUTCOMES)
