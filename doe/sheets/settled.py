"""What was ruled out, what stays open, and what is settled, in words for the report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from doe.charts import text
from doe.charts.rows import rows_of
from doe.model import wording
from doe.model.errors import listed
from doe.model.settled import SettledVersion, promise
from doe.model.setup import Setup
from doe.sheets.contexts import Expected, Ruled, Settled
from doe.sheets.standing import settings_text

if TYPE_CHECKING:
    from doe.fit.effects import Effects


def ruled(analyses: Sequence[Effects]) -> Ruled:
    """Say of every factor in which outcomes it was ruled out, and in which it is still open."""
    out: dict[tuple[str, str], list[str]] = {}
    still: dict[tuple[str, str], list[str]] = {}
    for effects in analyses:
        for row in rows_of(effects.table):
            name = str(row["term"])
            if ":" in name or "^" in name or row["verdict"] == wording.MOVES:
                continue
            verdict = wording.verdict_text(str(row["verdict"]), text.tangle(row["tangled_with"]))
            place = out if row["verdict"] == wording.TOO_SMALL else still
            place.setdefault((name, verdict), []).append(text.name(effects.outcome.name))
    return Ruled(_sentences(out), _sentences(still))


def _sentences(found: dict[tuple[str, str], list[str]]) -> tuple[str, ...]:
    return tuple(
        f"{wording.capital(text.name(name))}: {verdict} in {listed(outcomes, 'and')}."
        for (name, verdict), outcomes in found.items()
    )


def settled(setup: Setup, versions: Sequence[SettledVersion]) -> tuple[Settled, ...]:
    """Tell each settled version, the newest first."""
    return tuple(_told(setup, version) for version in reversed(versions))


def _told(setup: Setup, version: SettledVersion) -> Settled:
    confirmation = version.evidence.get("confirmation") or {}
    expected = tuple(Expected(text.name(row["outcome"]), promise(row)) for row in version.evidence.get("expected", []))
    came = f", changed from version {version.came_from}" if version.came_from else ""
    about = f"Variant {version.variant or 'taken out of the log since'}{came}. {version.note}".strip()
    room = (version.evidence.get("tolerances") or {}).get("headline", "")
    confirmed = [*([confirmation["headline"]] if confirmation else ["It was not confirmed by fresh builds yet."])]
    confirmed += [str(row["finding"]) for row in confirmation.get("rows", [])] + list(confirmation.get("notes", []))
    return Settled(
        wording.capital(version.title), about, settings_text(version.settings, setup), room, expected, tuple(confirmed)
    )
