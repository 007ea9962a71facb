from __future__ import annotations

from typing import get_args

import pytest

from doe.model.choices import AdviceKind, Direction, FactorKind, Goal, OutcomeKind, Way, choose, meant
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


@pytest.mark.parametrize(
    ("word", "ours"),
    [
        *(
            (word, "lowers")
            for word in ("decreases", "Decrease", "reduces", "less", "down", "drops", "lower", "shrinks", "-")
        ),
        *(
            (word, "raises")
            for word in ("increases", "more", "up", "raise", "rises", "Raises", "rasies", "boosts", "+")
        ),
        *((word, "nothing") for word in ("none", "no", "nothin", "0")),
        *((word, None) for word in ("releases", "sideways", "", "lasers")),
    ],
)
def test_a_direction_is_suggested_by_what_it_says_never_the_opposite(word: str, ours: str | None) -> None:
    """By spelling alone, decreases is nearest to raises."""
    hint = f" Did you mean '{ours}'?" if ours else ""
    assert meant(word, get_args(Direction)) == hint
    with refused(UsageError, f"What is expected is '{word}'; it must be raises, lowers or nothing.{hint}"):
        choose("What is expected", word, Direction)


@pytest.mark.parametrize(
    ("word", "ours"), [("decrease", "lower"), ("increase", "raise"), ("down", "lower"), ("withn", "within")]
)
def test_a_goal_is_suggested_by_what_it_says(word: str, ours: str) -> None:
    assert meant(word, get_args(Goal)) == f" Did you mean '{ours}'?"
