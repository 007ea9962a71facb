"""A plan as it is asked for in words."""

from types import SimpleNamespace

import pytest

from doe.model.errors import UsageError
from doe.model.model_words import read_model
from doe.planning.asked import asked_for

NOTHING = dict.fromkeys(
    ("runs", "hours", "model", "kind", "blocks", "session_runs", "replicates", "centre", "units", "fold", "starts")
)


def asked(**said):
    return asked_for(SimpleNamespace(**{**NOTHING, "seed": 1, "beside_log": False, **said}))


def test_what_is_said_of_the_plan_itself_is_named_with_the_model_last():
    request = asked(runs=8, model="quadratic", kind="d-optimal", centre=0, fold="wool, vents,")
    assert request.named == ("kind", "centre", "fold", "model")
    assert request.shape == {"kind": "d-optimal", "centre": 0, "fold": ("wool", "vents")}


@pytest.mark.parametrize(
    ("said", "is_open", "is_comparison"),
    [
        ({}, True, False),
        ({"seed": 3}, True, False),
        ({"beside_log": True}, False, False),
        ({"runs": 8}, False, True),
        ({"hours": 0.0}, False, True),
        ({"runs": 8, "model": "main"}, False, False),
        ({"runs": 8, "centre": 0}, False, False),
    ],
)
def test_an_amount_alone_asks_for_a_comparison_and_nothing_for_the_plan_at_hand(said, is_open, is_comparison):
    request = asked(**said)
    assert (request.is_open, request.is_comparison) == (is_open, is_comparison)


def test_a_model_without_a_term_is_refused_by_the_name_it_was_given_under():
    for name in ("model", "--terms"):
        with pytest.raises(UsageError, match=f"^{name} is ' , '; give main, two-factor, quadratic, or terms"):
            read_model(" , ", name)
