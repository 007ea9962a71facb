"""Random tuning histories whose truth is written down, for judging what the inference engine promises.

A history has 5 to 8 factors, of which 0 to 3 are active; with two or more active ones every second history has an
interaction. Build scatter and reading scatter are each between 0.3 and 1 times a noise that is 5 to 15 % of the outcome's
range over all settings; sessions and raters have offsets of up to the same size. A *free* history changes one to three
factors at a time without looking at the outcome; a *steered* one follows Fettle's own advice. A *modest* one is free, with
four active factors that are hard to tell: each coefficient is 0.4 to 1.2 times the noise. A *rebuilt* one has two factors that
only a rebuild changes, of which any may be active, and a new unit every three to six variants; units differ by 0.3 to 2 times
the scatter of a reading.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from doe.coding import Coding, Term
from doe.model.choices import Settings, Value
from doe.model.factor import Factor
from doe.model.outcome import Outcome

Array = npt.NDArray[Any]

OUTCOME = Outcome("y", goal="raise", best=1e6, worst=-1e6)
SESSION_SIZE = 5


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of one history.

    Attributes
    ----------
    coding : Coding
        Of its factors.
    coefficients : mapping of Term to ndarray
        Active terms, on their coded columns.
    spread : float
        Range of the outcome over random settings; 2 where nothing is active.
    build_sd, reading_sd, session_sd, rater_sd : float
        Scatter, in outcome units.
    n_raters, n_variants : int
    unit_sd : float
        Scatter of units, where there is more than one.
    """

    coding: Coding
    coefficients: Mapping[Term, Array]
    spread: float
    build_sd: float
    reading_sd: float
    session_sd: float
    rater_sd: float
    n_raters: int
    n_variants: int
    unit_sd: float = 0.0

    @property
    def rebuild_factors(self) -> list[str]:
        """Names of the factors that only a rebuild changes."""
        return [factor.name for factor in self.coding.factors if factor.way == "rebuild"]

    def mean(self, settings: pd.DataFrame) -> Array:
        """Return the true mean outcome at settings, shape (n_rows,)."""
        total = np.zeros(len(settings))
        for term, b in self.coefficients.items():
            total += self.coding.matrix(settings, [term]).values @ b
        return total

    def is_active(self, name: str) -> bool:
        """Whether a term, as spelled in tables, is active."""
        return any(term.name == name for term in self.coefficients)


def draw_truth(rng: np.random.Generator, *, nothing: bool = False) -> Truth:
    """Draw a truth; `nothing` makes all factors inactive."""
    factors = tuple(_factor(place, rng) for place in range(int(rng.integers(5, 9))))
    coding = Coding(factors)
    count = 0 if nothing else int(rng.integers(0, 4))
    chosen = [factors[place].name for place in rng.choice(len(factors), count, replace=False)]
    terms = [coding.term(name) for name in chosen]
    if count >= 2 and rng.random() < 0.5:
        terms.append(coding.term(f"{chosen[0]}:{chosen[1]}"))
    coefficients = {term: _coefficient(coding, term, rng, np.array([0.4, 1.0])) for term in terms}
    return _with_scatter(coding, coefficients, rng)


def draw_modest_truth(rng: np.random.Generator) -> Truth:
    """Draw a truth in which four factors act and none stands out."""
    factors = tuple(_factor(place, rng) for place in range(int(rng.integers(5, 9))))
    coding, noise = Coding(factors), 0.5
    terms = [coding.term(factors[place].name) for place in rng.choice(len(factors), 4, replace=False)]
    coefficients = {term: _coefficient(coding, term, rng, noise * np.array([0.4, 1.2])) for term in terms}
    return _with_scatter(coding, coefficients, rng, noise)


def draw_rebuilt_truth(rng: np.random.Generator) -> Truth:
    """Draw a truth in which the first two factors only change by a rebuild, and units differ."""
    truth = draw_truth(rng)
    first, second, *rest = truth.coding.factors
    coding = Coding((replace(first, way="rebuild"), replace(second, way="rebuild"), *rest))
    return replace(truth, coding=coding, unit_sd=truth.reading_sd * rng.uniform(0.3, 2.0))


def _with_scatter(
    coding: Coding, coefficients: Mapping[Term, Array], rng: np.random.Generator, noise: float | None = None
) -> Truth:
    bare = Truth(coding, coefficients, 2.0, 0.0, 0.0, 0.0, 0.0, int(rng.integers(1, 4)), int(rng.integers(10, 31)))
    spread = float(np.ptp(bare.mean(random_settings(coding.factors, 400, rng)))) or 2.0
    size = spread * rng.uniform(0.05, 0.15) if noise is None else noise
    build, reading, session, rater = size * rng.uniform([0.3, 0.3, 0.0, 0.0], [1.0, 1.0, 1.0, 1.0])
    return replace(bare, spread=spread, build_sd=build, reading_sd=reading, session_sd=session, rater_sd=rater)


def random_settings(factors: tuple[Factor, ...], count: int, rng: np.random.Generator) -> pd.DataFrame:
    """Draw settings evenly from each factor's grid."""
    grids = _grids(factors)
    return pd.DataFrame([_random(grids, rng) for _ in range(count)])


class Bench:
    """A simulated bench: builds variants and reads them, in sessions of five, by all raters.

    Parameters
    ----------
    truth : Truth
    rng : numpy.random.Generator

    Attributes
    ----------
    rows : list of dict
        One for each reading.
    own : list of float
        True value of each variant as built, its own offset and its unit's included; those of sessions and raters are not.
    """

    def __init__(self, truth: Truth, rng: np.random.Generator) -> None:
        self.truth, self.rng = truth, rng
        self.rows: list[dict[str, Any]] = []
        self.own: list[float] = []
        self.count = 0
        self.raters = rng.normal(0, truth.rater_sd, truth.n_raters)
        self.session = 0.0
        self.unit, self.unit_offset, self.n_units = "bench", 0.0, 0

    @property
    def panel(self) -> float:
        """Mean offset of the raters, which is part of what this panel calls the outcome."""
        return float(self.raters.mean())

    def begin_unit(self) -> None:
        """Go on with a new unit, which differs from the others by itself."""
        self.n_units += 1
        self.unit, self.unit_offset = f"u{self.n_units}", float(self.rng.normal(0, self.truth.unit_sd))

    def build(self, settings: Settings) -> None:
        """Build one variant and read it once by each rater."""
        if self.count % SESSION_SIZE == 0:
            self.session = float(self.rng.normal(0, self.truth.session_sd))
        value = float(self.truth.mean(pd.DataFrame([settings]))[0]) + self.rng.normal(0, self.truth.build_sd)
        value += self.unit_offset
        self.own.append(value)
        for rater, offset in enumerate(self.raters):
            reading = value + self.session + offset + self.rng.normal(0, self.truth.reading_sd)
            labels = {"variant": f"v{self.count}", "outcome": "y", "session": f"s{self.count // SESSION_SIZE}"}
            self.rows.append({**labels, "rater": f"r{rater}", "unit": self.unit, "value": reading, **settings})
        self.count += 1

    @property
    def log(self) -> pd.DataFrame:
        """All readings so far."""
        return pd.DataFrame(self.rows)


def free_history(truth: Truth, rng: np.random.Generator) -> Bench:
    """Change one to three factors at a time, from the last variant or an earlier one, without looking at the outcome."""
    bench = Bench(truth, rng)
    _change_freely(bench, truth.n_variants, rng)
    return bench


def rebuilt_history(truth: Truth, rng: np.random.Generator) -> Bench:
    """Build units one after another; on each, change freely what can be changed without a rebuild."""
    bench = Bench(truth, rng)
    while bench.count < truth.n_variants:
        bench.begin_unit()
        _change_freely(bench, min(truth.n_variants, bench.count + int(rng.integers(3, 7))), rng)
    return bench


def _change_freely(bench: Bench, most: int, rng: np.random.Generator) -> None:
    """Start anywhere, then change one to three factors at a time, those of a rebuild apart."""
    grids = _grids(bench.truth.coding.factors)
    names = [name for name in grids if name not in bench.truth.rebuild_factors]
    tried = [_random(grids, rng)]
    bench.build(tried[0])
    while bench.count < most:
        start = tried[-1] if rng.random() < 0.6 else tried[int(rng.integers(len(tried)))]
        settings = dict(start)
        for place in rng.choice(len(names), int(rng.integers(1, 4)), replace=False):
            settings[names[place]] = _pick(grids[names[place]], rng)
        tried.append(settings)
        bench.build(settings)


def steered_history(truth: Truth, rng: np.random.Generator, *, first: int = 4, most: int = 14) -> Bench:
    """Start with random variants, then build what `doe.recommend` says."""
    from doe.advise import recommend  # loaded only where a history is steered

    bench, factors = Bench(truth, rng), truth.coding.factors
    grids = _grids(factors)
    settings = _random(grids, rng)
    outcome = Outcome("y", goal="raise", best=2 * truth.spread, worst=-2 * truth.spread)
    while bench.count < min(most, truth.n_variants):
        bench.build(settings)
        if bench.count < first:
            settings = _random(grids, rng)
            continue
        present = pd.DataFrame([{"unit": "bench", **settings}])
        advice = recommend(bench.log, factors, [outcome], units=present, seed=int(rng.integers(1, 10**6)))
        settings = {factor.name: advice.table.iloc[0][factor.name] for factor in factors}
    return bench


def _factor(place: int, rng: np.random.Generator) -> Factor:
    name, luck = f"f{place}", rng.random()
    if luck < 0.5:
        return Factor(name, low=0, high=8, step=1, minutes=10)
    levels = ["a", "b"] if luck < 0.75 else ["a", "b", "c"]
    return Factor(name, kind="categorical", levels=levels, minutes=10)


def _coefficient(coding: Coding, term: Term, rng: np.random.Generator, sizes: Array) -> Array:
    width = coding.matrix({factor.name: [factor.grid()[0]] for factor in coding.factors}, [term]).values.shape[1]
    b = rng.normal(0, 1, width)
    return np.asarray(b / np.abs(b).max() * rng.uniform(*sizes))


def _grids(factors: tuple[Factor, ...]) -> dict[str, tuple[Value, ...]]:
    """Return what each factor may be set to."""
    return {factor.name: factor.grid() for factor in factors}


def _random(grids: Mapping[str, tuple[Value, ...]], rng: np.random.Generator) -> Settings:
    return {name: _pick(grid, rng) for name, grid in grids.items()}


def _pick(grid: tuple[Value, ...], rng: np.random.Generator) -> Value:
    return grid[int(rng.integers(len(grid)))]
