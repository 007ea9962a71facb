"""What is known of a variant when it is settled, as plain data that a version can freeze."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from doe.model.choices import Value
from doe.model.plain import plain

if TYPE_CHECKING:
    from doe.advise.confirm import Confirmation
    from doe.advise.tolerance import Tolerances
    from doe.fit.effects import Effects


def evidence(
    analyses: Sequence[Effects],
    settings: Mapping[str, Value],
    room: Tolerances | None,
    confirmation: Confirmation | None,
    through: str,
    n_readings: int,
) -> dict[str, Any]:
    """Gather predictions, tolerances and the confirmation."""
    expected = []
    for effects in analyses:
        row = effects.predict(dict(settings)).iloc[0]
        expected.append(
            {
                "outcome": effects.outcome.name,
                "unit": effects.outcome.unit,
                **{str(name): float(row[name]) for name in row.index},
                "told": effects.outcome.told(row["mean"], row["build_low"], row["build_high"]),
            }
        )
    known: dict[str, Any] = {"expected": expected, "through": through, "readings": n_readings}
    if room is not None:
        known["tolerances"] = {
            "rows": plain(room.table),
            "probability": room.probability,
            "chance": room.chance,
            "headline": room.headline,
            "notes": list(room.notes),
        }
    if confirmation is not None:
        known["confirmation"] = {
            "verdict": confirmation.verdict,
            "headline": confirmation.headline,
            "builds": list(confirmation.builds),
            "readings": confirmation.n_readings,
            "rows": plain(confirmation.table),
            "notes": list(confirmation.notes),
        }
    return known
