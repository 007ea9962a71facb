"""What the templates of plan and route are given; see `doe.web.contexts`."""

from __future__ import annotations

from dataclasses import dataclass, field

from doe.sheets.contexts import Picture, said
from doe.web.contexts import Field


@dataclass(frozen=True, slots=True)
class Runs:
    """The runs of a plan as a table."""

    headings: tuple[str, ...] = field(metadata=said("column names"))
    rows: tuple[tuple[str, ...], ...] = field(metadata=said("cells"))
    hrefs: tuple[str, ...] = field(metadata=said("address of each run's variant; empty without one"))


@dataclass(frozen=True, slots=True)
class PlanPage:
    """A plan: adopted, recommended, or asked for."""

    kicker: str = field(metadata=said("where the plan stands"))
    heading: str = field(metadata=said("the plan in one sentence; empty without one"))
    sentences: tuple[str, ...] = field(metadata=said("what it tells apart, how sure it is, what it costs"))
    notes: tuple[str, ...] = field(metadata=said("what else to know"))
    runs: Runs | None = field(metadata=said("its runs"))
    next_build: str = field(metadata=said("what of it is built first; empty where that is not known"))
    others: tuple[tuple[str, str, str], ...] = field(
        metadata=said("other plans that fit: what, address where it is shown, and how they do")
    )
    pictures: tuple[Picture, ...] = field(metadata=said("its charts"))
    is_adopted: bool = field(metadata=said("whether it is being built"))
    hidden: tuple[tuple[str, str], ...] = field(metadata=said("what adopts this plan"))
    fields: tuple[Field, ...] = field(metadata=said("what may be spent"))
    finer: tuple[Field, ...] = field(metadata=said("which kind, for those who know"))
    is_finer: bool = field(metadata=said("whether that is what has to be put right"))
    step: str = field(metadata=said("what is being worked on; empty when it is done"))
    error: str = field(metadata=said("why there is no plan, or why it was not adopted"))
    settings: str = field(metadata=said("palette and chart options as JSON"))
    has_factors: bool = field(metadata=said("whether there is anything to vary"), default=True)


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a route."""

    place: int = field(metadata=said("from 1, over all units"))
    unit: str = field(metadata=said("where it is built"))
    variant: str = field(metadata=said("what is built"))
    href: str = field(metadata=said("address of the variant; empty if it is none yet"))
    what: str = field(metadata=said("what is done"))
    takes: str = field(metadata=said("how long"))
    fields: tuple[Field, ...] = field(metadata=said("what is told when it is built; empty until its turn"))
    is_open: bool = field(metadata=said("whether its form is on its way back"), default=False)
    error: str = field(metadata=said("why it was not logged, where no field is to blame"), default="")


@dataclass(frozen=True, slots=True)
class RoutePage:
    """The order to build in."""

    heading: str = field(metadata=said("the route in one sentence; empty without one"))
    notes: tuple[str, ...] = field(metadata=said("what is proven, and what the order cannot tell apart"))
    steps: tuple[Step, ...] = field(metadata=said("what is done, in the order in which it is done"))
    units: tuple[tuple[str, str], ...] = field(
        metadata=said("unit; whether it is made, how much is built on it, how long")
    )
    chance: tuple[tuple[str, str, str, str], ...] = field(
        metadata=said("factor, how its order came about, changes, correlation with the order")
    )
    picture: Picture | None = field(metadata=said("the time line"))
    fields: tuple[Field, ...] = field(metadata=said("what may be changed about it"))
    cautions: tuple[str, ...] = field(metadata=said("the usual cautions"))
    step: str = field(metadata=said("what is being worked on; empty when it is done"))
    error: str = field(metadata=said("why there is no route, or why a step was not taken"))
    settings: str = field(metadata=said("palette and chart options as JSON"))


@dataclass(frozen=True, slots=True)
class RehearsePage:
    """What came of simulated benches."""

    heading: str = field(metadata=said("the answer in one sentence; empty without one"))
    sentences: tuple[str, ...] = field(metadata=said("what is kept at the end, and what could be seen"))
    notes: tuple[str, ...] = field(metadata=said("what it begins with, and what was left out"))
    ways: tuple[tuple[str, ...], ...] = field(metadata=said("how other ways of working did; empty unless asked for"))
    headings: tuple[str, ...] = field(metadata=said("what stands above these"))
    pictures: tuple[Picture, ...] = field(metadata=said("how many had a good variant by when"))
    fields: tuple[Field, ...] = field(metadata=said("what is to be played"))
    step: str = field(metadata=said("what is being worked on; empty when it is done"))
    back: str = field(metadata=said("address of this question"))
    error: str = field(metadata=said("why nothing was played"))
    is_refused: bool = field(metadata=said("whether the set-up is to blame"))
    settings: str = field(metadata=said("palette and chart options as JSON"))
