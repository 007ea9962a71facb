"""A simulated log whose truth is written down here, and what the engines make of it."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from doe.advise import recommend
from doe.advise.advice import Advice
from doe.advise.route import Route
from doe.advise.route import route as make_route
from doe.advise.track import Track
from doe.advise.track import track as hold
from doe.fit import Effects, analyse
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.records import Reading, Session, Unit, Variant
from doe.model.setup import Setup
from doe.plans import Plan
from doe.plans import plan as make_plan
from doe.project import Project
from doe.rehearse import Rehearsal

FACTORS = (
    Factor("vents", kind="count", low=0, high=6, way="up", minutes=12),
    Factor("rings", kind="count", low=7, high=12, way="rebuild"),
    Factor("wool", low=0, high=60, step=5, unit="%", minutes=8),
    Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"], minutes=25),
    Factor("feet", kind="categorical", levels=["felt", "cork"]),
)
BASS = Outcome("bass", unit="dB", goal="hit", target=0, worst=6, matters=1.0)
ECHO = Outcome("echo", kind="rated", scale=(1, 7), goal="lower", best=1, worst=6, matters=0.5)
RATERS = ("Ada", "Ben", "Cleo")

# The truth: swings over each range. Driver and rings move bass; wool moves echo, and vents turn that round; the rest does
# nothing.
DRIVER_ON_BASS = {"paper": 2.2, "poly": -1.4, "bamboo": -0.8}
WOOL_ON_ECHO = -2.6
RINGS_ON_BASS = -1.6
VENTS_BY_WOOL_ON_ECHO = 3.2
BUILD_SD, RATER_SD, NOISE_SD = 0.35, 0.3, 0.4


def log(seed: int = 5, n_variants: int = 20) -> pd.DataFrame:
    """Readings of both outcomes, one row each, with the factor columns."""
    rng = np.random.default_rng(seed)
    offsets = dict(zip(RATERS, rng.normal(0, RATER_SD, len(RATERS)), strict=True))
    rows = []
    for place in range(n_variants):
        settings = {factor.name: _pick(rng, factor) for factor in FACTORS}
        build = rng.normal(0, BUILD_SD, 2)
        session = f"s{1 + place // 4}"
        vents, wool = (settings["vents"] - 3) / 3, (settings["wool"] - 30) / 30
        bass = 2.5 + DRIVER_ON_BASS[settings["driver"]] + RINGS_ON_BASS / 2 * (settings["rings"] - 9.5) / 2.5 + build[0]
        echo = 3.8 + WOOL_ON_ECHO / 2 * wool + VENTS_BY_WOOL_ON_ECHO / 2 * vents * wool + build[1]
        common = {"variant": str(place + 1), "session": session, "unit": f"body {'ABC'[place % 3]}", **settings}
        rows += [{**common, "outcome": "bass", "value": bass + rng.normal(0, NOISE_SD), "rater": "meter"} for _ in "ab"]
        for rater, offset in offsets.items():
            grade = float(np.clip(np.round(echo + offset + rng.normal(0, NOISE_SD)), 1, 7))
            rows.append({**common, "outcome": "echo", "value": grade, "rater": rater})
    return pd.DataFrame(rows)


def _pick(rng: np.random.Generator, factor: Factor) -> Any:
    grid = factor.grid(7)
    return grid[int(rng.integers(len(grid)))]


SETUP = Setup(
    title="Tabletop radio",
    question="The bass is heavy and voices sound as if they came from a cupboard. What should we change?",
    factors=FACTORS,
    outcomes=(BASS, ECHO),
    effort=Effort(new_unit_minutes=150, session_minutes=15, reading_minutes=6),
)


@cache
def readings() -> pd.DataFrame:
    """The log of the default seed."""
    return log()


@cache
def effects(outcome: str = "bass") -> Effects:
    """What moves one outcome."""
    return analyse(readings(), FACTORS, {"bass": BASS, "echo": ECHO}[outcome])


@cache
def advice() -> Advice:
    """The next change."""
    units = readings().drop_duplicates("unit", keep="last")[["unit", *(factor.name for factor in FACTORS)]]
    return recommend(readings(), FACTORS, [BASS, ECHO], units=units, effort=SETUP.effort, count=3)


@cache
def track() -> Track:
    """Predictions of both outcomes, 12 in all: those of bass scatter twice as far as promised."""
    rng = np.random.default_rng(4)
    predictions = [
        {"outcome": name, "mean": mean, "low": mean - 1.96 * sd, "high": mean + 1.96 * sd}
        for name, mean, sd in (("bass", 1.0, 0.5), ("echo", 3.0, 0.4))
    ]
    built = readings().drop_duplicates("variant")[["variant", *(factor.name for factor in FACTORS)]].head(6)
    settings = built.drop(columns="variant").to_dict("records")
    asked = [{"id": place, "settings": one, "predictions": predictions} for place, one in enumerate(settings, start=1)]
    came = [
        built.assign(outcome=name, value=mean + rng.normal(0, sd, len(built)))
        for name, mean, sd in (("bass", 1.0, 1.0), ("echo", 3.0, 0.4))
    ]
    return hold(asked, pd.concat(came), FACTORS, [BASS, ECHO])


@cache
def plan() -> Plan:
    """A starting plan for the same factors."""
    return make_plan(FACTORS, runs=12, model="main", scatter=0.5, matters=1.0, seed=1)


@cache
def route() -> Route:
    """The order to build that plan in."""
    return make_route(plan().table, FACTORS)


@cache
def rehearsal() -> Rehearsal:
    """Five rehearsals of 12 hours, four of which had a good variant, after 2, 5, 5 and 11 of them."""
    minutes, reached = [300.0, 120.0, 720.0, 660.0, 300.0], [True, True, False, True, True]
    return Rehearsal(pd.DataFrame({"minutes": minutes, "reached": reached}), pd.DataFrame(), pd.DataFrame(), 12.0, 0.1)


FIRST_EVENING = datetime(2025, 9, 2, 19, 0)


def records(frame: pd.DataFrame) -> tuple[list[Variant], list[Session], list[Unit], list[Reading]]:
    """The same log as records of the store."""
    names = [factor.name for factor in FACTORS]
    built = frame.drop_duplicates("variant")
    parents: dict[str, str] = {}
    variants = []
    for row in built.to_dict("records"):
        variants.append(
            Variant(
                row["variant"], {name: row[name] for name in names}, unit=row["unit"], parent=parents.get(row["unit"])
            )
        )
        parents[row["unit"]] = row["variant"]
    readings = [
        Reading(row["variant"], row["outcome"], row["value"], session=row["session"], rater=row["rater"],
                when=FIRST_EVENING + timedelta(minutes=3 * place))
        for place, row in enumerate(frame.to_dict("records"))
    ]  # fmt: skip
    return variants, [Session(name) for name in frame["session"].unique()], [Unit(name) for name in parents], readings


def project(path: Path, frame: pd.DataFrame | None = None, setup: Setup = SETUP) -> Project:
    """A project file with a log in it."""
    made = Project.create(path, setup)
    made.file.import_rows(*records(readings() if frame is None else frame), source="simulation")
    return made
