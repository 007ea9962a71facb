"""From an analysis to the answer that a page shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from doe.charts import goal, text
from doe.charts.effects import MAY_ACT, rows_worth_seeing
from doe.charts.normal import can_draw_normal
from doe.charts.rows import Row, rows_of
from doe.model import wording
from doe.model.outcome import Outcome
from doe.sheets.contexts import Answer, CheckRow, EffectRow, Picture, Share
from doe.sheets.pictures import picture

if TYPE_CHECKING:
    from doe.fit.effects import Effects

MOST_INTERACTIONS = 3

_KINDS = {
    wording.MOVES: "moves",
    wording.TOO_SMALL: "small",
    wording.CANT_TELL: "open",
    wording.TANGLED: "tangled",
}
_LEVELS = {"wrong": "wrong", "look": "have a look", "fine": "fine"}


def answer(place: int, effects: Effects) -> Answer:
    """Put an analysis into words and pictures.

    Parameters
    ----------
    place : int
        Number of the outcome in the document, from 1; part of every id.
    effects : Effects
        Result of `doe.analyse`.
    """
    outcome = effects.outcome
    shown = rows_worth_seeing(effects)
    return Answer(
        id=f"outcome-{place}",
        name=text.name(outcome.name),
        about=about(outcome),
        basis=f"from {effects.basis_text}",
        headline=effects.headline,
        refusal=" ".join(effects.notes) if effects.basis is None else "",
        effects=tuple(effect_row(row, effects) for row in shown),
        more=_left_out(len(effects.table) - len(shown)),
        pictures=_pictures(place, effects),
        checks=check_rows(effects),
        scatter=scatter_rows(effects),
        notes=tuple(note for note in (*effects.through["finding"], effects.sensitivity) if note),
    )


def _left_out(count: int) -> str:
    if count <= 0:
        return ""
    what = "more term, an interaction or a bend, acts" if count == 1 else "more terms, interactions and bends, act"
    return f"{count} {what} with less than {wording.percent(MAY_ACT)} and {'is' if count == 1 else 'are'} left out."


def no_answer(place: int, outcome: Outcome, why: str) -> Answer:
    """Say why an outcome could not be analysed."""
    name = text.name(outcome.name)
    headline = f"No answer about {name} yet."
    return Answer(f"outcome-{place}", name, about(outcome), "", headline, why)


def about(outcome: Outcome) -> str:
    """Describe an outcome in a phrase: kind, unit or scale, goal, what matters."""
    parts = [outcome.kind + (f" in {outcome.unit}" if outcome.unit else "")]
    if outcome.scale is not None:
        parts.append(f"on a scale from {wording.exact(outcome.scale[0])} to {wording.exact(outcome.scale[1])}")
    if outcome.relative_to:
        parts.append(f"as the difference from {text.cut(outcome.relative_to, 40)}")
    wanted = goal.phrase(outcome)
    parts.append(f"goal: {outcome.goal} ({wanted})" if wanted else "no goal")
    if outcome.matters is not None:
        parts.append(f"{wording.setting(outcome.matters, outcome.unit)} or more matters")
    return ", ".join(parts)


def effect_row(row: Row, effects: Effects) -> EffectRow:
    """Put one row of an effect table into words."""
    swing, interval = split_interval(text.change(row, effects.changes))
    return EffectRow(
        term=text.term(row["term"]),
        span=text.span(row),
        swing=swing,
        interval=interval,
        per_step=_per_step(row, effects),
        sure=wording.percent(row["activity"]),
        verdict=str(row["verdict"]),
        tangled_with=text.tangle(row["tangled_with"]),
        kind=_KINDS[row["verdict"]],
    )


def split_interval(written: str) -> tuple[str, str]:
    """Split ``+3.1 N (1.2 to 5.0)`` into value and interval."""
    value, mark, interval = written.rpartition(" (")  # the last one: a unit may have brackets of its own
    return (value, interval.removesuffix(")")) if mark else (written, "")


def _per_step(row: Row, effects: Effects) -> str:
    """Write the change per step, to the digits that its share of the interval can bear."""
    change = row["per_step"]
    if change != change:
        return ""
    share = abs(change / row["swing"]) if row["swing"] else 1.0
    column = effects.changes
    written = f"{column.digits(change, (row['high'] - row['low']) * share)}{column.behind}"
    factor = next((factor for factor in effects.coding.factors if factor.name == row["term"]), None)
    if factor is None or factor.step is None or (factor.step == 1 and not factor.unit):
        return written
    return f"{written} per {wording.setting(factor.step, factor.unit)}"


def check_rows(effects: Effects) -> tuple[CheckRow, ...]:
    """Put the checks into words, worst first."""
    order = list(_LEVELS)
    rows = sorted(rows_of(effects.checks), key=lambda row: order.index(row["level"]))
    return tuple(
        CheckRow(row["check"], row["finding"], text.plain(row["advice"]), _LEVELS[row["level"]], row["level"])
        for row in rows
    )


def scatter_rows(effects: Effects) -> tuple[Share, ...]:
    """Put the sources of scatter into words."""
    unit = effects.outcome.unit
    return tuple(
        Share(
            str(row["source"]),
            f"{wording.number(row['sd'], 2)}{wording.unit_behind(unit)}",
            wording.percent(row["share"]),
        )
        for row in rows_of(effects.variance)
    )


def _pictures(place: int, effects: Effects) -> tuple[Picture, ...]:
    made: list[Picture] = []
    if effects.table["swing"].notna().any():
        made.append(picture(f"chart-{place}-effects", effects, "effects"))
    if len(effects.levels):
        made.append(picture(f"chart-{place}-levels", effects, "levels"))
    shown = list(dict.fromkeys(effects.cells["term"]))[:MOST_INTERACTIONS] if len(effects.cells) else []
    for number, term in enumerate(shown, start=1):
        made.append(picture(f"chart-{place}-interaction-{number}", effects, "interaction", term=term))
    if can_draw_normal(effects):
        made.append(picture(f"chart-{place}-normal", effects, "normal"))
    return tuple(made)
