"""From chosen moves to the result: frames, sentences and the stop rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from doe.advise.advice import Advice, worth_text
from doe.advise.choose import Choice, Session
from doe.advise.front import front_frame, weights_frame
from doe.advise.moves import with_worth
from doe.advise.outlook import chance_better, move_kind
from doe.advise.predicted import Predicted, predicted, predictions_frame, worth_expected, would_change
from doe.advise.question import Question
from doe.advise.reasons import Facts, changes_text, reason, runner_up, settings_text
from doe.advise.remarks import remarks
from doe.advise.settles import settled_terms
from doe.advise.situation import Situation
from doe.advise.standing import best_variant, worth_frame
from doe.advise.stop import chance_left, is_too_short, nothing_worth_building, stop_sentence
from doe.model import wording
from doe.model.choices import Settings, Value

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.floating[Any]]

MOST_CANDIDATES = 300
CHEAPER = 0.6
"""Share of the first choice's minutes up to which another move counts as the cheap one."""


def make_advice(question: Question, situation: Situation, session: Session) -> Advice:
    """Put everything together."""
    import pandas as pd

    session = replace(session, choices=[as_believed(situation, choice) for choice in session.choices])
    choices = session.choices
    worth = worth_frame(situation)
    best = best_variant(situation, worth)
    matters = situation.matters
    chance = _chance_left(situation, matters)
    predictions = [predicted(question, situation, choice) for choice in choices]
    rows = [_row(question, situation, *pair) for pair in zip(choices, predictions, strict=True)]
    columns = [factor.name for factor in question.factors]
    columns += ["unit", "readings", "minutes", "cost", "kind", "worth_now", "worth_expected", "chance_better"]
    columns += ["worth_per_hour", "settles", "reason"]
    table = pd.DataFrame(rows, columns=columns)
    traded = _has_trade_offs(situation)
    cheapest = float(choices[0].minutes.min()) if choices else _cheapest(question, situation)
    stop = stop_sentence(
        chance,
        best.get("variant"),
        worth_text(best) if best else "",
        matters=matters,
        hours=question.hours,
        cheapest_minutes=cheapest,
        unit=question.unit,
    )
    return Advice(
        table=table,
        best=best,
        stop=stop,
        worth=worth,
        predictions=predictions_frame(predictions),
        notes=remarks(question, situation, session),
        chance_left=chance,
        headline=_headline(best, stop, rows, is_too_short(question.hours, cheapest)),
        runner_up=_runner_up(question, situation, choices),
        _candidates=lambda: _candidates(question, situation, choices),
        _front=lambda: front_frame(situation.belief, situation.promising) if traded else pd.DataFrame(),
        _weights=lambda: weights_frame(situation.belief, situation.promising) if traded else pd.DataFrame(),
        outcomes=question.outcomes,
    )


def as_believed(situation: Situation, choice: Choice) -> Choice:
    """Return a choice with what is believed of it now.

    A later choice of a batch was made with the readings of the ones before in mind, which narrows its scatter. Those readings
    are not in yet, so what is told, and put on record as a prediction, must do without.
    """
    belief, moves, place = situation.belief, choice.moves, choice.place
    variant = int(moves.variant[place])
    if variant >= 0:
        values = tuple(value[:, [variant]] for value in belief.variant_values)
        worth = belief.worth(values)
    else:
        designs = belief.values_on(moves.codes[[place]], choice.reach.unit_names, moves.start[[place]])
        values, worth = belief.as_built(designs), belief.design_worth(designs)
    told = [
        _exchanged(old, place, new) for old, new in zip((*moves.values, moves.worth), (*values, worth), strict=True)
    ]
    return replace(choice, moves=with_worth(moves, told[:-1], told[-1]))


def _exchanged(draws: Floats, place: int, column: Floats) -> Floats:
    result = draws.copy()
    result[:, place] = column[:, 0]
    return result


def _chance_left(situation: Situation, matters: float) -> float | None:
    if situation.best is None:
        return 1.0
    return chance_left(situation.belief.variant_worth()[:, situation.best], situation.promised, matters)


def _cheapest(question: Question, situation: Situation) -> float | None:
    """Return the minutes of the cheapest move with one round of readings, or None where there is none."""
    least = question.effort.session_minutes + question.effort.reading_minutes
    build = [situation.cheapest_minutes + least] if np.isfinite(situation.cheapest_minutes) else []
    return min([*build, *([least] if situation.carried else [])], default=None)


def _row(question: Question, situation: Situation, choice: Choice, predictions: Sequence[Predicted]) -> dict[str, Any]:
    facts = _facts(question, situation, choice, predictions)
    place = choice.place
    minutes = float(choice.minutes[place])
    return {
        **facts.settings,
        "unit": facts.unit,
        "readings": facts.rounds,
        "minutes": minutes,
        "cost": float(choice.moves.price[place]),
        "kind": facts.kind,
        "worth_now": float(situation.belief.variant_worth()[:, situation.best].mean())
        if situation.best is not None
        else None,
        "worth_expected": facts.expected,
        "chance_better": facts.chance,
        "worth_per_hour": float(choice.judged.value[place]) / max(minutes, 1.0) * 60,
        "settles": ", ".join(facts.settles),
        "reason": reason(facts, question.factors),
    }


def _facts(question: Question, situation: Situation, choice: Choice, predictions: Sequence[Predicted]) -> Facts:
    moves, place, belief = choice.moves, choice.place, situation.belief
    settings = belief.space.settings(moves.codes[place])
    unit = choice.reach.starts[int(moves.start[place])]
    told, low, high = worth_expected(situation, choice)
    values = [value[:, place] for value in moves.values]
    noise = belief.noise(moves.rounds[[place]], situation.log.raters)[:, 0]
    variant = _same_variant(situation, settings, int(moves.variant[place]))
    start = int(moves.start[place])
    changes = {} if unit is None else _changes(unit.settings, settings)
    follows = unit is not None and unit is not situation.reach.starts[start]
    return Facts(
        kind=move_kind(situation, choice),
        unit=choice.reach.name(start),
        changes=changes,
        settings=settings,
        minutes=float(choice.minutes[place]),
        rounds=int(moves.rounds[place]),
        best=None if situation.best is None else belief.variants[situation.best],
        is_best=int(moves.variant[place]) == situation.best,
        variant=variant,
        expected=told,
        low=low,
        high=high,
        chance=chance_better(situation, choice),
        settles=[name for name, _ in settled_terms(belief, values, noise)] if situation.has_readings else [],
        would_change=would_change(predictions),
        is_exploration=not situation.has_readings,
        one_way=_one_way(question, changes),
        loses_best=bool(changes) and not follows and situation.carried.get(start, -1) == situation.best,
        follows=follows,
    )


def _same_variant(situation: Situation, settings: Settings, place: int) -> str | None:
    if place >= 0:
        return situation.belief.variants[place]
    return next((name for name, other in situation.log.variants.items() if other == settings), None)


def _changes(start: Any, end: Settings) -> dict[str, tuple[Value, Value]]:
    return {name: (start[name], value) for name, value in end.items() if start[name] != value}


def _one_way(question: Question, changes: Mapping[str, tuple[Value, Value]]) -> list[str]:
    return [
        factor.name
        for factor in question.factors
        if factor.name in changes and not factor.can_go(changes[factor.name][1], changes[factor.name][0])
    ]


def _runner_up(question: Question, situation: Situation, choices: list[Choice]) -> str:
    """Describe the best move among those that take much less time than the first choice."""
    if not choices:
        return ""
    first = choices[0]
    value, minutes = first.judged.value, first.minutes
    least = minutes[first.place]
    cheap = np.flatnonzero((minutes <= CHEAPER * least) & (minutes < least) & (value > 0))
    if not len(cheap):
        return ""
    place = int(cheap[first.rate[cheap].argmax()])
    other = Choice(first.moves, first.judged, minutes, place, first.rate, first.reach)
    unit = first.reach.name(int(first.moves.start[place]))
    share = float(value[place] / max(value[first.place], 1e-12))
    return runner_up(_label(question, situation, other), float(minutes[place]), unit, share)


def _candidates(question: Question, situation: Situation, choices: list[Choice]) -> pd.DataFrame:
    import pandas as pd

    if not choices:
        return pd.DataFrame(columns=["minutes", "gain", "kind", "unit", "label", "chosen"])
    choice = choices[0]
    order = np.argsort(-choice.rate, kind="stable")[:MOST_CANDIDATES]
    order = order if choice.place in order else np.append(order[:-1], choice.place)
    rows = []
    for place in order:
        one = Choice(choice.moves, choice.judged, choice.minutes, int(place), choice.rate, choice.reach)
        rows.append(
            {
                "minutes": float(choice.minutes[place]),
                "gain": float(choice.judged.value[place]),
                "kind": move_kind(situation, one),
                "unit": choice.reach.name(int(choice.moves.start[place])),
                "label": _label(question, situation, one),
                "chosen": place == choice.place,
            }
        )
    return pd.DataFrame(rows)


def _label(question: Question, situation: Situation, choice: Choice) -> str:
    place = choice.place
    settings = situation.belief.space.settings(choice.moves.codes[place])
    unit = choice.reach.starts[int(choice.moves.start[place])]
    if choice.moves.variant[place] >= 0:
        return f"read variant {situation.belief.variants[int(choice.moves.variant[place])]} again"
    if unit is None:
        return settings_text(settings, question.factors)
    return changes_text(_changes(unit.settings, settings), question.factors) or "read it as it stands"


def _has_trade_offs(situation: Situation) -> bool:
    return len(situation.belief.outcomes) > 1 and situation.has_readings and len(situation.promising) > 0


def _headline(best: dict[str, Any], stop: str | None, rows: list[dict[str, Any]], is_short: bool) -> str:
    if is_short:
        return "No move fits the hours left."
    if stop and not rows:
        return "Nothing is within reach."
    if stop:
        return wording.capital(nothing_worth_building(best["variant"], worth_text(best)))
    if not rows:
        return "There is nothing to suggest."
    if not best:
        return f"To explore with first: {wording.duration(rows[0]['minutes'])}."
    return f"Next: {rows[0]['kind']}, {wording.duration(rows[0]['minutes'])}; best so far is variant {best['variant']}."
