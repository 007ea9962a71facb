"""The usual cautions, in one place so that every page says the same."""

from __future__ import annotations

import re
from typing import Any

from doe.model.setup import Setup
from doe.store.attachments import TAKE

BENCH = (
    "Cutting, drilling, solder, solvents and adhesives: wear eye protection, work in moving air, follow the data sheets "
    "and local codes, and leave mains wiring and other licensed work to those who are licensed for it."
)
LISTENING = (
    "Start playback quiet and never play a test sweep at level on the ears. Weekly sound dose: no more than 80 dB(A) for "
    "40 h (WHO-ITU H.870); at work 85 dB(A) for 8 h a day (NIOSH REL), or what local rules say."
)
_SOUND_UNIT = re.compile(r"dB|k?Hz\b|phon|sone", re.IGNORECASE)
_SOUND = re.compile(
    r"\b(?:sound|listen|hear|ear|ears|loud|nois|tone|tonal|music|speech|voice|vocal|audio|radio|speaker|echo|reverb|bass|treble|"
    r"hum|whin|boom|hiss|buzz|rattl|ring|sustain|clarity|warmth|playback)",
    re.IGNORECASE,
)
"""How words begin that tell of something judged by ear."""


def cautions(setup: Setup) -> tuple[str, ...]:
    """List the cautions that a project's work calls for: the bench always, listening where its definitions tell of sound."""
    return (BENCH, LISTENING) if _tells_of_sound(setup) else (BENCH,)


def cautions_of(project: Any, setup: Setup) -> tuple[str, ...]:
    """List the cautions for the one project that a sheet is about: listening also where sound was recorded or played."""
    has_takes = any(row["note"] == TAKE for row in project.file.attachments())
    is_played = has_takes or any(kept.session.plays for kept in project.file.prepared_sessions())
    return (BENCH, LISTENING) if is_played or _tells_of_sound(setup) else (BENCH,)


def _tells_of_sound(setup: Setup) -> bool:
    """Tell whether sound may be played for a project: one caution too many is better than one that is missing."""
    outcomes = setup.outcomes
    if any(outcome.recipe or _SOUND_UNIT.match(outcome.unit) for outcome in outcomes):
        return True
    words = [setup.title, setup.question, *(f"{outcome.name} {outcome.note}" for outcome in outcomes)]
    is_judged = any(outcome.kind != "measured" for outcome in outcomes)
    return is_judged and any(_SOUND.search(word.replace("_", " ")) for word in words)
