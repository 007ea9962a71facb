"""Hypothesis strategies for setups, records and whole projects."""

from __future__ import annotations

from datetime import datetime

from hypothesis import strategies as st

from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.outcome import MOST_READ, Outcome
from doe.model.records import Computation, Reading, Session, Unit, Variant
from doe.model.setup import Setup

readable = st.floats(-MOST_READ, MOST_READ)
small = st.floats(min_value=-1e6, max_value=1e6, allow_nan=False)
labels = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\x7f"), min_size=1, max_size=12
).filter(lambda text: bool(text.strip())).map(str.strip)  # fmt: skip
notes = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=20)
times = st.none() | st.datetimes(min_value=datetime(1970, 1, 2), max_value=datetime(2200, 1, 1))
effort = st.floats(min_value=0, max_value=1e6)


@st.composite
def factors(draw: st.DrawFn, name: str) -> Factor:
    """One factor of any kind."""
    kind = draw(st.sampled_from(["continuous", "count", "ordered", "categorical"]))
    more = {"unit": draw(notes), "note": draw(notes), "minutes": draw(effort)}
    if kind == "count":
        low = draw(st.integers(-50, 50))
        return Factor(
            name, "count", low, low + draw(st.integers(1, 20)), way=draw(st.sampled_from(["up", "rebuild"])), **more
        )
    if kind == "continuous":
        low = draw(small)
        step = draw(st.none() | st.sampled_from([0.5, 2.5]))
        return Factor(name, "continuous", low, low + 10.0, step=step, **more)
    levels = draw(st.lists(labels, min_size=2, max_size=4, unique_by=str.casefold))
    return Factor(name, kind, levels=levels, prices={levels[0]: draw(effort)}, **more)


@st.composite
def setups(draw: st.DrawFn) -> Setup:
    """A setup with up to three factors and one outcome of each kind."""
    made = [draw(factors(name)) for name in ["vents", "Wool_2", "größe"][: draw(st.integers(0, 3))]]
    numeric = [factor.name for factor in made if factor.is_numeric]
    outcomes = [
        Outcome(
            "bass",
            unit="dB",
            note=draw(notes),
            recipe=draw(st.just({}) | st.just({"from": "x", "low": 1, "at": [1, "a"]})),
        ),
        Outcome("echo", kind="rated", scale=(1, 7), goal="lower", matters=draw(st.none() | st.just(0.5))),
        Outcome("nicer", kind="compared"),
    ]
    return Setup(
        title=draw(notes),
        question=draw(notes),
        factors=made,
        outcomes=outcomes,
        effort=Effort(new_unit_minutes=draw(effort)),
        limits=[Limit(f"{name} > -1e9", note=draw(notes)) for name in numeric[:1]],
    )


def settings(factor: Factor) -> st.SearchStrategy:
    """Settings that a factor allows."""
    if factor.step is not None or not factor.is_numeric:
        return st.sampled_from(factor.grid(11))
    low, high = factor.span
    return st.floats(low, high)


@st.composite
def variants(draw: st.DrawFn, setup: Setup, names: list[str], units: list[str]) -> list[Variant]:
    """Variants of those names; some are reference objects, some planned, each may come from one before it."""
    made: list[Variant] = []
    for name in names:
        is_reference = bool(setup.factors) and draw(st.booleans()) and draw(st.booleans())
        made.append(
            Variant(
                name,
                {} if is_reference else {factor.name: draw(settings(factor)) for factor in setup.factors},
                unit=draw(st.none() | st.sampled_from(units)) if units else None,
                parent=draw(st.none() | st.sampled_from([item.name for item in made])) if made else None,
                minutes=draw(st.none() | effort),
                price=draw(st.none() | effort),
                when=draw(times),
                status=draw(st.sampled_from(["built", "built", "planned"])),
                note=draw(notes),
            )
        )
    return made


@st.composite
def readings(draw: st.DrawFn, made: list[Variant], units: list[str], sessions: list[str]) -> Reading:
    """One reading of one of these variants, which are built."""
    names = [item.name for item in made]
    outcome = draw(st.sampled_from(["bass", "echo", "nicer"] if len(names) > 1 else ["bass", "echo"]))
    variant = draw(st.sampled_from(names))
    value = {"bass": readable, "echo": st.floats(1, 7), "nicer": st.sampled_from([0.0, 0.5, 1.0])}[outcome]
    return Reading(
        variant,
        outcome,
        draw(value),
        versus=draw(st.sampled_from([name for name in names if name != variant])) if outcome == "nicer" else None,
        session=draw(st.none() | st.sampled_from(sessions)) if sessions else None,
        rater=draw(st.none() | labels),
        unit=draw(st.none() | st.sampled_from(units)) if units else None,
        order=draw(st.none() | st.integers(1, 10**9)),
        when=draw(times),
        note=draw(notes),
    )


@st.composite
def projects(draw: st.DrawFn) -> tuple[Setup, list[Unit], list[Session], list[Variant], list[Reading]]:
    """A setup with records that fit it."""
    setup = draw(setups())
    some = st.lists(labels, max_size=3, unique_by=str.casefold)
    units = [Unit(name, note=draw(notes), retired=draw(st.booleans())) for name in draw(some)]
    sessions = [Session(name, draw(times), draw(notes)) for name in draw(some)]
    unit_names, session_names = [unit.name for unit in units], [session.name for session in sessions]
    made = draw(variants(setup, draw(st.lists(labels, min_size=1, max_size=5, unique_by=str.casefold)), unit_names))
    built = [item for item in made if item.status == "built"]
    taken = draw(st.lists(readings(built, unit_names, session_names), max_size=6)) if built else []
    return setup, units, sessions, made, taken


@st.composite
def computations(draw: st.DrawFn, sha256: str) -> Computation:
    """How a reading came out of a file: any settings that JSON can hold."""
    value = st.none() | small | st.integers(-(10**9), 10**9) | notes | st.lists(small, max_size=2)
    return Computation(
        recipe=draw(labels),
        version=draw(st.integers(1, 99)),
        settings=draw(st.dictionaries(labels, value, max_size=4)),
        sha256=sha256,
        uses=draw(st.dictionaries(labels, st.just("0" * 64), max_size=2)),
    )
