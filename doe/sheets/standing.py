"""From the advice to where things stand, and to the next change."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from doe.advise.trade_off import kept_sentence
from doe.charts import goal, text
from doe.charts.rows import Row, rows_of
from doe.charts.worth import best_sentence
from doe.model import wording
from doe.model.names import unit_text
from doe.model.setup import Setup
from doe.sheets.cautions import cautions
from doe.sheets.contexts import Expected, NextChange, Now, Picture, Standing, Suggestion
from doe.sheets.pictures import picture

if TYPE_CHECKING:
    import pandas as pd

    from doe.advise.advice import Advice
    from doe.advise.track import Track
    from doe.fit.effects import Effects


def standing(
    setup: Setup, advice: Advice | None, analyses: Sequence[Effects], readings: pd.DataFrame, order: Sequence[str]
) -> Standing:
    """Say which variant to keep, what it does, and show how all variants did.

    Parameters
    ----------
    setup : Setup
        The project's definitions.
    advice : Advice or None
        Result of `doe.recommend`; None where there is none.
    analyses : sequence of Effects
        One per outcome that could be analysed.
    readings : DataFrame
        Raw readings.
    order : sequence of str
        Variants in build order.
    """
    best = dict(advice.best) if advice is not None and advice.best else {}
    name = text.plain(best.get("variant"))
    sentence = best_sentence(advice) if advice is not None else "No variant can be said to be the best yet"
    pictures: list[Picture] = []
    if advice is not None and len(advice.worth):
        pictures.append(picture("chart-worth", advice, "worth", order=order))
    for number, effects in enumerate(analyses, start=1):
        if len(effects.variants):
            options = {"readings": readings, "order": order}
            pictures.append(picture(f"chart-timeline-{number}", effects, "timeline", **options))
    settings = settings_text(best.get("settings") or {}, setup)
    return Standing(sentence, settings, tuple(_now(effects, name) for effects in analyses if name), tuple(pictures))


def settings_text(settings: Row, setup: Setup) -> str:
    """Write settings as ``rings 9, wool 20 %``."""
    units = {factor.name: factor.unit for factor in setup.factors}
    return ", ".join(
        f"{text.name(name)} {wording.setting(value, units.get(name, ''))}" for name, value in settings.items()
    )


def _now(effects: Effects, variant: str) -> Now:
    row = next((row for row in rows_of(effects.variants) if str(row["variant"]) == variant), None)
    now = text.expected(row, effects.outcome) if row is not None else "not read yet"
    return Now(text.name(effects.outcome.name), now, goal.phrase(effects.outcome) or "no goal")


def next_change(setup: Setup, advice: Advice | None, refusal: str = "", track: Track | None = None) -> NextChange:
    """Say what to do next, why, and with what care.

    Parameters
    ----------
    setup : Setup
        The project's definitions.
    advice : Advice or None
        Result of `doe.recommend`.
    refusal : str
        Why there is no advice, if so.
    track : Track, optional
        How earlier predictions held.
    """
    if advice is None:
        return NextChange(refusal, "", None, (), cautions(setup))
    made = [_suggestion(advice, place, row, setup) for place, row in enumerate(rows_of(advice.table), start=1)]
    drawn = picture("chart-candidates", advice, "candidates") if len(advice.candidates) else None
    traded = picture("chart-front", advice, "front") if len(advice.front) else None
    met = track if track is not None and len(track.table) else None
    held = (f"Earlier predictions: {met.headline}",) if met is not None else ()
    beside = (advice.runner_up, kept_sentence(advice.weights), *held, *advice.notes)
    what, figures = advice.told_to_stop
    nothing = "" if made or what else "No change is within reach."
    return NextChange(
        nothing, what, made[0] if made else None, tuple(made[1:]), cautions(setup), drawn, traded,
        tuple(sentence for sentence in beside if sentence), picture("chart-track", met, "track") if met is not None else None,
        figures,
    )  # fmt: skip


def _suggestion(advice: Advice, place: int, row: Row, setup: Setup) -> Suggestion:
    what, why = first_sentence(str(row["reason"]))
    rounds = wording.counted(int(row["readings"]), "round") + " of readings"
    facts = [
        ("Where", unit_text(str(row["unit"]))),
        ("Takes", f"{wording.duration(row['minutes'])}, {rounds}" + _cost(row)),
        ("Settings", settings_text({f.name: row[f.name] for f in setup.factors if f.name in row}, setup)),
        ("Overall worth", _worth(row)),
        ("Would settle", text.tangle(row["settles"])),
    ]
    return Suggestion(
        str(row["kind"]), what, why, tuple(fact for fact in facts if fact[1]), _expected(advice, place, setup)
    )


def first_sentence(reason: str) -> tuple[str, str]:
    """Split a reason after its first sentence; a dot inside a number ends none."""
    parts = re.split(r"(?<=[.!?])\s+(?=[A-Z])", reason, maxsplit=1)
    return parts[0], parts[1] if len(parts) > 1 else ""


def _cost(row: Row) -> str:
    cost = row.get("cost")
    return f", {wording.number(cost)} in money" if cost is not None and cost == cost and cost > 0 else ""


def _worth(row: Row) -> str:
    now, expected = row.get("worth_now"), row.get("worth_expected")
    if expected is None or expected != expected:
        return ""
    change = f"{wording.fixed(now, 2)} now, " if now is not None and now == now else ""
    chance = row.get("chance_better")
    is_told = bool(change) and chance is not None and chance == chance
    beats = f"; beats the best with {wording.chance(chance)}" if is_told else ""
    return f"{change}{wording.fixed(expected, 2)} expected{beats}"


def _expected(advice: Advice, place: int, setup: Setup) -> tuple[Expected, ...]:
    outcomes = {outcome.name: outcome for outcome in setup.outcomes}
    rows = [row for row in rows_of(advice.predictions) if int(row["place"]) == place]
    return tuple(Expected(text.name(row["outcome"]), text.expected(row, outcomes[row["outcome"]])) for row in rows)
