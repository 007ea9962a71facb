"""The usual cautions, in one place so that every page says the same."""

from __future__ import annotations

from doe.model.setup import Setup

BENCH = (
    "Cutting, drilling, solder, solvents and adhesives: wear eye protection, work in moving air, follow the data sheets "
    "and local codes, and leave mains wiring and other licensed work to those who are licensed for it."
)
LISTENING = (
    "Start playback quiet and never play a test sweep at level on the ears. Weekly sound dose: no more than 80 dB(A) for "
    "40 h (WHO-ITU H.870); at work 85 dB(A) for 8 h a day (NIOSH REL), or what local rules say."
)


def cautions(setup: Setup) -> tuple[str, ...]:
    """List the cautions that a project's work calls for: the bench always, listening where ears or sound are used."""
    by_ear = any(outcome.kind != "measured" or outcome.recipe for outcome in setup.outcomes)
    return (BENCH, LISTENING) if by_ear else (BENCH,)
