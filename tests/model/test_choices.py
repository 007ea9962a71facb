from __future__ import annotations

from typing import get_args

import pytest

from doe.model.choices import AdviceKind, FactorKind, Goal, OutcomeKind, Way, choose
from doe.model.errors import UsageError
from tests.refusing import refused


@pytest.mark.parametrize("choices", [FactorKind, Way, OutcomeKind, Goal, AdviceKind])
def test_every_listed_word_is_taken_and_nothing_else(choices: object) -> None:
    for word in get_args(choices):
        assert choose("field", word, choices) == word
        with pytest.raises(UsageError):
            choose("field", word.upper(), choices)


def test_the_message_lists_what_is_allowed_and_suggests() -> None:
    with refused(
        UsageError,
        "kind is 'continous'; it must be continuous, count, ordered or categorical. Did you mean 'continuous'?",
    ):
        choose("kind", "continous", FactorKind)


@pytest.mark.parametrize("value", [None, 3, ["count"], {"count"}, b"count"])
def test_what_is_no_text_is_refused_in_words(value: object) -> None:
    with pytest.raises(UsageError):
        choose("kind", value, FactorKind)
