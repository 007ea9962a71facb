"""What advice does not rest on, leaves out or takes for granted, each in a sentence."""

from __future__ import annotations

from doe.advise.choose import Choice, Session, Unread
from doe.advise.outlook import is_any_better, move_kind
from doe.advise.question import Question
from doe.advise.situation import Situation
from doe.advise.track import is_widening
from doe.model import wording
from doe.model.errors import listed
from doe.model.names import unit_text

_LEAST = 0.001
"""A worth below this is told as less than it; our choice, no source."""


def remarks(question: Question, situation: Situation, session: Session) -> tuple[str, ...]:
    """Return the notes that stand below advice, what was expected by the maker last."""
    return (
        *_on_readings(question, situation, session.choices),
        *_on_effort(question, situation, session.choices),
        *_on_prospects(question, situation, session.choices),
        *_on_session(question, situation, session),
        *_on_predictions(question, situation),
        *situation.expected,
    )


def _on_readings(question: Question, situation: Situation, choices: list[Choice]) -> list[str]:
    """Say what is missing in the readings."""
    notes = []
    if choices and not situation.has_readings:
        notes.append(
            "There are no readings to go by yet: these are first builds to explore with, not expected improvements."
        )
    read = {outcome.name for outcome in situation.belief.outcomes}
    missing = [wording.spaced(outcome.name) for outcome in question.outcomes if outcome.name not in read]
    if missing:
        has, others = "has" if len(missing) == 1 else "have", listed(map(wording.spaced, sorted(read)), "and")
        notes.append(
            f"{listed(missing, 'and')} {has} no reading of a variant yet, so this advice goes by {others} alone."
        )
    if len(situation.log.variants) == 1:
        notes.append(
            "Only one variant has been read, so nothing is known yet about any factor; a second one begins to tell."
        )
    if question.without_goal:
        one = len(question.without_goal) == 1
        has, it, part = ("has", "it takes", "sets one") if one else ("have", "they take", "set one")
        names = listed(map(wording.spaced, question.without_goal), "and")
        notes.append(
            f"{names} {has} no goal, so {it} no part in this advice; a goal of raise, lower, hit or within {part}."
        )
    return notes


def _on_effort(question: Question, situation: Situation, choices: list[Choice]) -> list[str]:
    """Say what counts as no time because nothing says what it takes; advice by the minute is blind to it."""
    notes = _on_free_effort(question) if choices else []
    if not situation.log.units:
        notes.append("There is no unit on record, so everything is built new; record the units that exist.")
    return notes


def _on_free_effort(question: Question) -> list[str]:
    effort = question.effort
    free = ["a new unit"] if not effort.new_unit_minutes else []
    free += ["a round of readings"] if not effort.reading_minutes and not effort.session_minutes else []
    if len(free) == 2 and not any(factor.minutes for factor in question.factors):
        return [
            "Nothing says how long anything takes, so all moves count as equally long; say what a change, a new unit and a "
            "round of readings take, and the advice goes by it."
        ]
    if not free:
        return []
    does, they = ("counts", "it takes") if len(free) == 1 else ("count", "they take")
    return [f"{wording.capital(listed(free, 'and'))} {does} as no time, since nothing says what {they}."]


def _on_prospects(question: Question, situation: Situation, choices: list[Choice]) -> list[str]:
    """Say so where improvements were asked for and are not expected: moves are chosen by what may be hoped for them."""
    if question.only != "improve" or not situation.has_readings:
        return []
    kinds = [move_kind(situation, choice) for choice in choices]
    others = [place for place, kind in enumerate(kinds) if kind != "improve"]
    if not others:
        return []
    told = dict.fromkeys(f"'{kinds[place]}'" for place in others)
    hence = f"hence {listed(told, 'and')}"
    is_one = len(others) == 1
    if len(others) < len(choices):
        named = listed([place + 1 for place in others], "and")
        which = f"Suggestion {named} is" if is_one else f"Suggestions {named} are"
        return [
            f"{which} not expected to be better than the best so far, {hence}; {'it' if is_one else 'they'} may turn out so."
        ]
    if is_any_better(situation, choices[0]):
        this = "This is" if is_one else "These are"
        return [
            f"{this} not expected to be better than the best so far, {hence}. Other builds are, but for its minutes more may "
            "be hoped for here."
        ]
    it_has = "it has" if is_one else "they have"
    return [
        f"Nothing within reach is expected to be better than the best so far, {hence}; {it_has} the best prospects of it."
    ]


def _on_session(question: Question, situation: Situation, session: Session) -> list[str]:
    """Say what the session would leave unread, and why it is shorter than asked for."""
    choices = session.choices
    notes = [_unread_note(choices[-1], session.unread)] if session.unread is not None else []
    if session.left_out is not None:
        bring = wording.number(session.left_out, 2) if session.left_out >= _LEAST else f"less than {_LEAST:g}"
        notes.append(
            "More than this is not worth doing before its readings are in: the next best move would bring "
            f"{bring} of worth, and {wording.number(situation.matters, 2)} is what matters."
        )
    elif choices and len(choices) < question.count:
        only, fit = (
            f"Only {wording.counted(len(choices), 'suggestion')} of {question.count}",
            "fits" if len(choices) == 1 else "fit",
        )
        notes.append(
            f"{only} {fit} the hours left." if session.is_short_of_time else f"{only}: nothing else is within reach."
        )
    return notes


def _unread_note(choice: Choice, unread: Unread) -> str:
    unit = unit_text(choice.reach.name(int(choice.moves.start[choice.place])))
    return (
        f"{wording.capital(unit)} has not been read as it stands. Doing so before it is changed takes "
        f"{wording.duration(unread.minutes)} more, and is expected to bring {wording.percent(unread.share)} of what the change "
        "is."
    )


def _on_predictions(question: Question, situation: Situation) -> list[str]:
    """Say which predictions are drawn wider because earlier ones held too seldom."""
    read = {outcome.name for outcome in situation.belief.outcomes}
    return [
        f"Predictions of {wording.spaced(name)} are drawn {wording.number(factor, 2)} times as wide as the model has them, "
        "since earlier ones held too seldom."
        for name, factor in question.widen.items()
        if name in read and is_widening(factor)
    ]
