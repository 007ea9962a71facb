"""Projects that are hard to show: empty, tiny, constant, huge, with long names, markup, and writing from right to left."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.records import Reading, Unit, Variant
from doe.model.setup import Setup
from doe.project import Project

MARKUP = "<script>window.hacked=1</script><b>&amp;%{x}"
LONG = "a_very_long_name_for_a_factor_that_somebody_did_not_shorten"
HEBREW = "אוויר"
ARABIC = "صوت"


def make(
    path: Path, setup: Setup, variants: list[Variant], readings: list[Reading], units: tuple[str, ...] = ()
) -> Project:
    """Store a project."""
    project = Project.create(path, setup)
    project.file.import_rows(variants, [], [Unit(name) for name in units], readings, source="test")
    return project


def empty(path: Path) -> Project:
    """Nothing but a title."""
    return Project.create(path, Setup(title="Nothing yet"))


def unread(path: Path) -> Project:
    """Definitions, no variant."""
    return Project.create(path, simple_setup())


def simple_setup() -> Setup:
    """One factor, one outcome."""
    return Setup("Fan", factors=(Factor("tip_gap", low=0, high=4, unit="mm", step=1),), outcomes=(_noise(),))


def _noise() -> Outcome:
    return Outcome("noise", unit="dB", goal="lower", best=30, worst=60, matters=1)


def single(path: Path) -> Project:
    """One variant, one reading."""
    return make(path, simple_setup(), [Variant("1", {"tip_gap": 2.0})], [Reading("1", "noise", 44.0)])


def constant(path: Path) -> Project:
    """Eight variants that all read the same."""
    variants = [Variant(str(place), {"tip_gap": float(place % 5)}) for place in range(8)]
    return make(path, simple_setup(), variants, [Reading(variant.name, "noise", 44.0) for variant in variants])


def many(path: Path, count: int = 300) -> Project:
    """Hundreds of variants; noise falls by 6 dB over the gap."""
    rng = np.random.default_rng(8)
    variants = [Variant(f"V{place}", {"tip_gap": float(rng.integers(5))}) for place in range(count)]
    readings = [
        Reading(variant.name, "noise", 46 - 1.5 * float(variant.settings["tip_gap"]) + rng.normal(0, 1.0))
        for variant in variants
        for _ in "ab"
    ]
    return make(path, simple_setup(), variants, readings)


def named(path: Path) -> Project:
    """Markup, long names and two scripts from right to left wherever a person may type."""
    factors = (
        Factor(LONG, low=0, high=6, unit="<i>mm</i>"),
        Factor(HEBREW, kind="categorical", levels=[MARKUP, "עץ אורן", "x" * 180]),
        Factor("wool", kind="ordered", levels=["none", "some", "much"]),
    )
    outcomes = (
        Outcome(ARABIC, unit="</script>", goal="raise", best=90, worst=0, matters=2),
        Outcome("an_outcome_" + "o" * 45, kind="rated", scale=(1, 7), goal="lower", matters=0.5),
    )
    setup = Setup(MARKUP, "למה זה רועש? </title><script>window.hacked=2</script>", factors, outcomes)
    rng = np.random.default_rng(2)
    variants, readings = [], []
    for place in range(16):
        settings = {
            LONG: float(rng.integers(7)),
            HEBREW: factors[1].levels[place % 3],
            "wool": factors[2].levels[place % 2],
        }
        name = f"{MARKUP} {place}" if place % 2 else f"גרסה {place} {'n' * 40}"
        variants.append(Variant(name, settings, unit=MARKUP))
        for rater in ("דנה", MARKUP):
            value = 40 + 5 * settings[LONG] + rng.normal(0, 2)
            readings.append(Reading(name, ARABIC, value, rater=rater))
            readings.append(Reading(name, outcomes[1].name, float(rng.integers(2, 6)), rater=rater))
    return make(path, setup, variants, readings, units=(MARKUP,))


def compared(path: Path) -> Project:
    """A reference object without settings, and an outcome judged in pairs."""
    setup = Setup("Fan", factors=simple_setup().factors, outcomes=(_noise(), Outcome("nicer", kind="compared")))
    variants = [Variant(str(place), {"tip_gap": float(place % 5)}) for place in range(8)]
    readings = [Reading(variant.name, "noise", 40.0 + place) for place, variant in enumerate(variants)]
    readings += [
        Reading("bought", "noise", 41.0),
        Reading("1", "nicer", 1.0, versus="2"),
        Reading("3", "nicer", 0.5, versus="4"),
    ]
    return make(path, setup, [*variants, Variant("bought")], readings)


CASES = {"empty": empty, "unread": unread, "single": single, "constant": constant, "many": many, "named": named,
         "compared": compared}  # fmt: skip
