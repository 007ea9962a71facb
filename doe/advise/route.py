"""Build order: which unit carries which variant, in which order, in the fewest bench minutes."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from doe.model import markup
from doe.model.choices import Settings
from doe.model.effort import Effort
from doe.model.errors import UsageError, listed
from doe.model.factor import Factor
from doe.model.given import check_each, check_number, check_whole
from doe.model.records import Unit
from doe.model.stated import label_text
from doe.model.wording import cell_text, counted, duration, number, percent, spaced
from doe.plans.bench import Steps
from doe.plans.frame import BLOCK, ORDER, UNIT
from doe.plans.paths import Solved, Tell
from doe.plans.routing import Errand, costs_of, errand, find_route, minutes_of
from doe.plans.tours import NEW, Paths, improve_paths

STRONG = 0.5
"""Correlation with the order above which a factor's effect is said not to be told from drift; our choice, no source."""

_SHUFFLES_PER_VARIANT = 300


@dataclass(frozen=True, slots=True, eq=False)
class Route:
    """An order to build variants in.

    Attributes
    ----------
    table : DataFrame
        One row per step, in order: `order`, `unit`, `variant`, `block` where there are several, one column per factor, `what
        to do`, `minutes` and `minutes so far`.
    units : DataFrame
        One row per unit used: `unit`, `is_new`, `variants` (how many), `minutes`.
    randomised : DataFrame
        One row per factor: `factor`; `how` its order came about; `changes`, how often it is changed; `correlation` with the
        order, and `correlation_least`, that of the route with the fewest minutes.
    minutes : float
        Bench minutes of this route, readings left out.
    least_minutes : float
        Minutes of the shortest route found, without shuffling.
    bound : float
        No route can take fewer minutes than this.
    is_proven : bool
        Whether `least_minutes` is proved to be the fewest.
    new_units : int
        Units to be made.
    reading_minutes : float
        Minutes of the readings and sessions that go with it.
    shuffle : float
        Share of extra minutes allowed for a random order.
    headline : str
        The route in one sentence.
    notes : tuple of str
        What the order cannot tell apart, and what else the reader must know.
    """

    table: pd.DataFrame
    units: pd.DataFrame
    randomised: pd.DataFrame
    minutes: float
    least_minutes: float
    bound: float
    is_proven: bool
    new_units: int
    reading_minutes: float
    shuffle: float
    headline: str
    notes: tuple[str, ...]

    def to_frame(self) -> pd.DataFrame:
        """Return the steps, in order."""
        return self.table.copy()

    def summary(self) -> str:
        """Return the route as text for a terminal."""
        lines = [self.headline, ""]
        for row in self.table.to_dict("records"):
            took = duration(row["minutes"])
            lines.append(f"{row['order']:>3}. {row['unit']}: variant {row['variant']} - {row['what to do']} ({took})")
        return "\n".join([*lines, "", *(f"Note: {note}" for note in self.notes)]).rstrip() + "\n"

    def __str__(self) -> str:
        return self.summary()

    def __repr__(self) -> str:
        return f"<Route: {self.headline}>"

    def _repr_html_(self) -> str:
        table = self.table.map(cell_text)
        return markup.shown(
            markup.headline(self.headline),
            markup.table(list(table.columns), table.itertuples(index=False)),
            markup.paragraphs(self.notes, is_small=True),
        )


def route(
    table: pd.DataFrame,
    factors: Sequence[Factor],
    *,
    units: pd.DataFrame | Sequence[Unit] | None = None,
    effort: Effort | None = None,
    shuffle: float = 0.0,
    seed: int = 1,
    new_units: int | None = None,
    seconds: float = 20.0,
    tell: Tell | None = None,
) -> Route:
    """Order variants and share them out over units, in the fewest bench minutes.

    A unit that exists only changes the way its factors allow; a rebuild factor stays as it is on a unit. Runs that name the
    same unit, or the same block, keep together.

    Parameters
    ----------
    table : DataFrame
        One row per variant to be built, one column per factor, such as ``plan.table``; `variant`, `unit` and `block` are used
        where they stand. A `unit` that does not exist yet is made.
    factors : sequence of Factor
        All factors.
    units : DataFrame or sequence of Unit, optional
        Units at hand with their present state; a row per unit with `unit` and one column per factor.
    effort : Effort, optional
        Minutes of a new unit and of readings. While a new unit's minutes are not known, one is made only where there is no
        other way.
    shuffle : float
        Share of extra minutes, 0 or more, that a random order may take: 0.25 allows a quarter more than the fewest.
    seed : int
        Seed of the order.
    new_units : int, optional
        Most new units.
    seconds : float
        Time that each round of the exact solution may take.
    tell : callable, optional
        Called with the share done (0..1) and a few words. A KeyboardInterrupt ends the search with the best route so far.

    Returns
    -------
    Route
        Proved to be the shortest where `is_proven`; that is so for up to 80 variants unless time runs out.

    Raises
    ------
    UsageError
        If a factor has no column, `shuffle` is negative, or the variants cannot be built with the new units allowed.
    DataError
        If a setting of a variant or a unit is not allowed, or some runs have a block and others none.
    """
    check_each("factors", factors, Factor)
    check_number("shuffle", shuffle)
    check_number("seconds", seconds)
    seed = check_whole("seed", seed)
    if not (np.isfinite(shuffle) and shuffle >= 0):
        raise UsageError(f"shuffle is {shuffle}; it must be 0 or more, such as 0.25 for a quarter more minutes.")
    job = errand(table, factors, units, effort, new_units)
    if not job.variants:
        raise UsageError("There is nothing to build: the table has no rows.")
    solved, steps, bound = find_route(job, seconds=seconds, seed=seed, tell=tell)
    rng = np.random.default_rng([seed, 2])
    least = _sequence(job, solved.paths, rng)
    paths, order = solved.paths, least
    if shuffle > 0:
        paths = _shuffled(job, steps, solved, shuffle, rng)
        order = _sequence(job, paths, rng)
    return _result(job, table, steps, (solved, bound), paths, orders=(order, least), shuffle=shuffle)


def _shuffled(job: Errand, steps: Steps, solved: Solved, shuffle: float, rng: np.random.Generator) -> Paths:
    """Wander at random among the routes that stay within the minutes allowed; new units only as many as the shortest needs."""
    n_new = sum(start == NEW for start, _ in solved.paths)
    costs = replace(costs_of(job, steps), most_new=n_new)
    budget = solved.cost + shuffle * sum(map(sum, minutes_of(steps, solved.paths))) + 1e-3
    return improve_paths(costs, solved.paths, rng, budget, _SHUFFLES_PER_VARIANT * len(job.variants))


def _sequence(job: Errand, paths: Paths, rng: np.random.Generator) -> list[tuple[int, int]]:
    """Mix the paths at random into one order of (path, place in it); each path keeps its own, and blocks follow one another."""
    order: list[tuple[int, int]] = []
    for block in sorted(set(job.block)):
        waiting = [
            path for path, (_, variants) in enumerate(paths) for variant in variants if job.block[variant] == block
        ]
        order += [(int(path), 0) for path in rng.permutation(waiting)]
    done = [0] * len(paths)
    for place, (path, _) in enumerate(order):
        order[place] = (path, done[path])
        done[path] += 1
    return order


def _result(
    job: Errand,
    table: pd.DataFrame,
    steps: Steps,
    proof: tuple[Solved, float],
    paths: Paths,
    *,
    orders: tuple[list[tuple[int, int]], list[tuple[int, int]]],
    shuffle: float,
) -> Route:
    solved, bound = proof
    order, least_order = orders
    least = sum(map(sum, minutes_of(steps, solved.paths)))
    each = minutes_of(steps, paths)
    minutes = sum(map(sum, each))
    names = _unit_names(job, paths)
    is_proven = solved.cost - solved.bound <= 1e-6
    rows = _rows(job, table, paths, order, each, names)
    randomised = _randomised(
        job, [paths[p][1][k] for p, k in order], [solved.paths[p][1][k] for p, k in least_order], paths
    )
    frame = pd.DataFrame(rows)
    frame["minutes so far"] = frame["minutes"].cumsum()
    n_new = sum(start == NEW for start, _ in paths)
    readings = job.effort.reading_minutes * len(job.variants) + job.effort.session_minutes * len(set(job.block))
    return Route(
        table=frame,
        units=_units_frame(paths, names, each),
        randomised=randomised,
        minutes=minutes,
        least_minutes=least,
        bound=least if is_proven else bound,
        is_proven=is_proven,
        new_units=n_new,
        reading_minutes=readings,
        shuffle=shuffle,
        headline=_headline(job, minutes, n_new, len(paths), readings),
        notes=tuple(
            _notes(
                job,
                randomised,
                (minutes, least, bound),
                paths,
                is_proven=is_proven,
                was_stopped=solved.was_stopped,
                shuffle=shuffle,
            )
        ),
    )


def _unit_names(job: Errand, paths: Paths) -> list[str]:
    """Name each path's unit: its own name, the label its runs ask for, or the next free ``new`` number."""
    taken = {*job.retired, *(unit.name for unit in job.units)}
    names = []
    for start, variants in paths:
        label = job.labels[variants[0]]
        name = job.units[start].name if start != NEW else label
        if name is None or (start == NEW and name in taken):
            name = next(
                f"new {count}"
                for count in range(1, len(paths) + len(taken) + 2)
                if f"new {count}" not in taken | set(job.labels)
            )
        taken.add(name)
        names.append(name)
    return names


def _rows(
    job: Errand,
    table: pd.DataFrame,
    paths: Paths,
    order: list[tuple[int, int]],
    each: list[list[float]],
    names: list[str],
) -> list[dict[str, object]]:
    labels = _variant_names(table)
    has_blocks = len(set(job.block)) > 1
    rows: list[dict[str, object]] = []
    for number_, (path, place) in enumerate(order, start=1):
        start, variants = paths[path]
        variant = variants[place]
        before = (
            job.variants[variants[place - 1]] if place else (None if start == NEW else dict(job.units[start].settings))
        )
        front: dict[str, object] = {ORDER: number_, UNIT: names[path], "variant": labels[variant]}
        if has_blocks:
            front[BLOCK] = table[BLOCK].iloc[variant]
        text = change_text(job.factors, before, job.variants[variant])
        rows.append({**front, **job.variants[variant], "what to do": text, "minutes": each[path][place]})
    return rows


def _variant_names(table: pd.DataFrame) -> list[str]:
    for column in ("variant", ORDER):
        if column in table.columns:
            return [label_text(cell) for cell in table[column]]
    return [str(place + 1) for place in range(len(table))]


def change_text(factors: Sequence[Factor], before: Settings | None, after: Settings) -> str:
    """Say what is done: ``vents 2 to 3, driver paper to poly``; ``new unit: ...``; ``as it is``."""
    if before is None:
        return "new unit: " + ", ".join(f"{spaced(factor.name)} {cell_text(after[factor.name])}" for factor in factors)
    parts = [
        f"{spaced(factor.name)} {cell_text(before[factor.name])} to {cell_text(after[factor.name])}"
        if factor.name in before
        else f"{spaced(factor.name)} {cell_text(after[factor.name])}"
        for factor in factors
        if before.get(factor.name) != after[factor.name]
    ]
    return ", ".join(parts) or "as it is"


def _units_frame(paths: Paths, names: list[str], each: list[list[float]]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "unit": names,
            "is_new": [start == NEW for start, _ in paths],
            "variants": [len(variants) for _, variants in paths],
            "minutes": [sum(minutes) for minutes in each],
        }
    )


def _randomised(job: Errand, order: list[int], least: list[int], paths: Paths) -> pd.DataFrame:
    """Say for each factor how its order came about, and how far it runs with the order."""
    rows = []
    for factor in job.factors:
        settings = [variant[factor.name] for variant in job.variants]
        changes = sum(settings[a] != settings[b] for _, variants in paths for a, b in itertools.pairwise(variants))
        rows.append(
            {
                "factor": factor.name,
                "how": _how(factor),
                "changes": changes,
                "correlation": _with_order(factor, [settings[place] for place in order]),
                "correlation_least": _with_order(factor, [settings[place] for place in least]),
            }
        )
    return pd.DataFrame(rows, columns=["factor", "how", "changes", "correlation", "correlation_least"])


def _how(factor: Factor) -> str:
    if factor.way == "rebuild":
        return "fixed on each unit; units are taken in random order"
    if factor.way in ("up", "down"):
        return f"only {factor.way} on each unit; units are taken in random order"
    return "in the order that saves minutes; units are taken in random order"


def _with_order(factor: Factor, settings: Sequence[object]) -> float:
    """Correlate a factor with the order: with its sign for numbers and ordered levels, the correlation ratio for others."""
    place = np.arange(len(settings), dtype=float) - (len(settings) - 1) / 2
    total = float(place @ place)
    if total == 0 or len(set(settings)) < 2:
        return 0.0
    if factor.kind == "categorical":
        groups = [place[[setting == level for setting in settings]] for level in set(settings)]
        return float(np.sqrt(sum(len(group) * group.mean() ** 2 for group in groups) / total))
    value = np.array([factor.position(setting) for setting in settings])  # type: ignore[arg-type]
    value = value - value.mean()
    return float(value @ place / np.sqrt(float(value @ value) * total))


def _headline(job: Errand, minutes: float, n_new: int, n_paths: int, readings: float) -> str:
    made = f", {n_new} of them new" if 0 < n_new < n_paths else ""
    kind = "new unit" if n_new == n_paths else "unit"
    reading = f", and {duration(readings)} of readings, one round each" if readings else ""
    what = f"{counted(len(job.variants), 'variant')} on {counted(n_paths, kind)}{made}"
    return f"{what}: {duration(minutes)} at the bench{reading}."


def _notes(
    job: Errand,
    randomised: pd.DataFrame,
    minutes: tuple[float, float, float],
    paths: Paths,
    *,
    is_proven: bool,
    was_stopped: bool,
    shuffle: float,
) -> list[str]:
    this, least, bound = minutes
    notes = []
    if was_stopped:
        notes.append("The search was stopped; this is the best route reached so far.")
    if is_proven:
        notes.append(f"No route takes fewer than {duration(least)}.")
    else:
        notes.append(f"The shortest route found takes {duration(least)}; none can take fewer than {duration(bound)}.")
    if shuffle > 0:
        extra = percent(this / least - 1) if least else "0 %"
        notes.append(f"Shuffled: {duration(this)} instead of {duration(least)}, {extra} more.")
    strong = [row for row in randomised.to_dict("records") if abs(row["correlation"]) > STRONG]
    if strong:
        names = listed([f"{spaced(row['factor'])} ({number(row['correlation'], 2)})" for row in strong], "and")
        runs = "runs" if len(strong) == 1 else "run"
        notes.append(
            f"Drift over the order cannot be told from the effect of {names}, which {runs} with it; shuffle more, or repeat a "
            "variant at the end."
        )
    if job.new_is_last_resort and any(start == NEW for start, _ in paths):
        notes.append("The minutes of a new unit are not known, so new ones are made only where there is no other way.")
    gone = sorted(job.retired.intersection(label for label in job.labels if label is not None))
    if gone:
        are = "is" if len(gone) == 1 else "are"
        notes.append(f"{listed(gone, 'and')} {are} retired, so the runs planned there are built on another unit.")
    return notes + _split_notes(job, paths)


def _split_notes(job: Errand, paths: Paths) -> list[str]:
    """Say where runs that were to share a unit cannot."""
    labels = [job.labels[variants[0]] for _, variants in paths]
    split = sorted({label for label in labels if label is not None and labels.count(label) > 1})
    return (
        [f"The runs planned on {listed(split, 'and')} need more than one unit, because some steps only go one way."]
        if split
        else []
    )
