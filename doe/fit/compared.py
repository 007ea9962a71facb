"""Compared outcomes on the way to effects: abilities stand in for adjusted values, the rest of the engine is shared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import optimize

from doe.coding import Coding, Matrix
from doe.fit.builds import Builds
from doe.fit.classical import Classical, large_sample_table
from doe.fit.evidence import Evidence, readings_of, relative_notes, settings_of, two_settings
from doe.fit.paired import HELD_SD, Pairs, abilities, fit_pairs, linked_parts
from doe.model.errors import DataError, FitError, listed
from doe.model.factor import Factor
from doe.model.numbers import is_missing
from doe.model.outcome import Outcome
from doe.model.stated import label_text, stated_settings
from doe.model.wording import spaced

Array = npt.NDArray[Any]

_ADRIFT = HELD_SD**2
"""Variance of what no comparison says, how far parts that nothing links lie from each other: as of abilities that are held."""

_LEVEL = 1e-3
"""Variance of the level, over that of an ability: it is known by definition, and covariances must not be singular."""


@dataclass(frozen=True, slots=True)
class Compared:
    """Comparisons of one outcome.

    Attributes
    ----------
    evidence : Evidence
        One cell per item: how often it was compared, and its ability in log odds.
    pairs : Pairs
        The comparisons.
    covariance : ndarray of shape (n_items, n_items)
        Of the abilities.
    typical : float
        Variance of an ability by the comparisons that were made.
    """

    evidence: Evidence
    pairs: Pairs
    covariance: Array
    typical: float


def gather_comparisons(readings: pd.DataFrame, factors: Sequence[Factor], outcome: Outcome) -> Compared:
    """Collect the comparisons of one outcome and fit free abilities.

    Comparisons tell differences only. Abilities are counted from the mean of the variants with settings, or from the reference
    object that the outcome is relative to, where that was compared.

    Parameters
    ----------
    readings : DataFrame
        Columns `variant, versus, value` (1 first better, 0.5 tie, 0 second better) and one column per factor. The settings
        of a variant that stands second are taken from any row in which it stands first, or from columns such as
        ``versus wool``.
    factors : sequence of Factor
    outcome : Outcome

    Raises
    ------
    DataError
        If a comparison lacks one of its variants, holds a variant against itself, or says something else than which is better.
    FitError
        If there is no comparison of variants with settings.
    """
    rows, notes = readings_of(readings, factors, outcome)
    _check_versus(rows, outcome)
    firsts, seconds = (rows[name].map(label_text) for name in ("variant", "versus"))
    labels = list(dict.fromkeys([*firsts, *seconds]))
    known = known_settings(readings, factors)
    built = [label for label in labels if label in known]
    names = [*built, *(label for label in labels if label not in known)]
    if len(built) < 1:
        raise FitError(f"There is no comparison of {outcome.name} between variants with settings yet.")
    places = {name: place for place, name in enumerate(names)}
    first, second = (items.map(places).to_numpy() for items in (firsts, seconds))
    pairs = _pairs(first, second, [outcome.read(value) for value in rows["value"].tolist()], len(names))
    values, covariance, fit = abilities(pairs)
    values, covariance = _levelled(values, covariance, _origin(outcome, names, len(built)))
    parts = linked_parts(pairs)
    notes += relative_notes(outcome, built, names[len(built) :])
    notes += _notes(outcome, [[names[place] for place in part] for part in parts], is_held=fit.is_held)
    nowhere = np.full(len(names), -1, dtype=np.intp)
    evidence = Evidence(
        outcome=outcome,
        variants=tuple(names),
        n_built=len(built),
        settings=settings_of(pd.DataFrame([known[name] for name in built]), factors),
        units=np.full(len(built), -1, dtype=np.intp),
        variant=np.arange(len(names), dtype=np.intp),
        session=nowhere,
        rater=nowhere,
        place=np.zeros(len(names)),
        counts=_involved(pairs),
        means=values,
        squares=np.zeros(len(names)),
        raters=(),
        location=0.0,
        spread=float(np.ptp(values)),
        notes=tuple(notes),
    )
    typical = float(np.median(np.diag(covariance)))
    level = _LEVEL * typical * np.ones_like(covariance)
    return Compared(evidence, pairs, covariance + level + _ADRIFT * _unlinked(parts, len(names)), typical)


def compared_builds(compared: Compared, matrix: Matrix) -> Builds:
    """Abilities as adjusted values, with build-to-build scatter about a model by REML (one component, held off zero)."""
    n_built = compared.evidence.n_built
    reading = compared.covariance[:n_built, :n_built]
    means = compared.evidence.means[:n_built]
    X = np.column_stack([np.ones(n_built), matrix.values])
    scatter = _between(X, means, reading, compared.typical)
    return Builds(means, reading, np.eye(n_built) * scatter)


def classical_comparisons(compared: Compared, coding: Coding, matrix: Matrix) -> Classical:
    """Regress abilities on exactly the terms of a matrix, in one likelihood, whose builds scatter about what settings give.

    The likelihood itself takes builds for exact. Their scatter moves its top by the pull of each ability, as in least squares
    with the abilities' information for weights, so its variance adds to that of the comparisons; it is as well known as the
    builds left over tell. Where none is left over, nothing is added.
    """
    n_items, n_columns = compared.pairs.n_items, matrix.values.shape[1]
    n_built = compared.evidence.n_built
    design = np.zeros((n_items, n_columns + n_items - n_built))
    design[:n_built, :n_columns] = matrix.values
    design[n_built:, n_columns:] = np.eye(n_items - n_built)
    fit = fit_pairs(compared.pairs, design)
    covariance, spare = fit.covariance[:n_columns, :n_columns], spare_builds(compared, matrix)
    if spare < 1 or n_columns < 1:
        return large_sample_table(coding, matrix, fit.coefficients[:n_columns], covariance)
    reading = compared.covariance[:n_built, :n_built]
    X = np.column_stack([np.ones(n_built), matrix.values])
    between = _between(X, compared.evidence.means[:n_built], reading, compared.typical, off_zero=False)
    pull = X.T @ np.linalg.inv(reading)
    take = (np.linalg.pinv(pull @ X) @ pull)[1:]
    covariance = covariance + between * take @ take.T
    return large_sample_table(coding, matrix, fit.coefficients[:n_columns], covariance, spare)


def spare_builds(compared: Compared, matrix: Matrix) -> int:
    """Count the builds left over by the terms of a matrix, which show how much a rebuild changes by itself."""
    n_built = compared.evidence.n_built
    return n_built - int(np.linalg.matrix_rank(np.column_stack([np.ones(n_built), matrix.values])))


def _check_versus(rows: pd.DataFrame, outcome: Outcome) -> None:
    if rows["variant"].isna().any():
        raise DataError(f"A comparison of {outcome.name} has no first variant; give it as 'variant'.")
    if "versus" not in rows.columns or rows["versus"].isna().any():
        raise DataError(f"A comparison of {outcome.name} has no second variant; give it as 'versus'.")
    same = rows["variant"].map(label_text) == rows["versus"].map(label_text)
    if same.any():
        name = label_text(rows.loc[same, "variant"].iloc[0])
        raise DataError(f"A comparison of {outcome.name} holds variant {name} against itself.")


def known_settings(readings: pd.DataFrame, factors: Sequence[Factor]) -> dict[str, dict[str, Any]]:
    """Return the settings of each variant that stands first or second anywhere; reference objects have none.

    Raises
    ------
    DataError
        If a variant has two settings of a factor, or one that is not allowed.
    """
    known: dict[str, dict[str, Any]] = {}
    for label, *values in stated_settings(readings, [factor.name for factor in factors]):
        if any(map(is_missing, (label, *values))):
            continue
        name, settings = label_text(label), {}
        for factor, value in zip(factors, values, strict=True):
            settings[factor.name] = factor.read(value)
            if known.get(name, settings)[factor.name] != settings[factor.name]:
                raise two_settings(name, factor)
        known.setdefault(name, settings)
    return known


def _pairs(first: Array, second: Array, values: Sequence[float], n_items: int) -> Pairs:
    table = pd.DataFrame({"first": first, "second": second, "value": values})
    for name, value in (("wins", 1.0), ("losses", 0.0), ("ties", 0.5)):
        table[name] = (table["value"] == value).astype(float)
    summed = table.groupby(["first", "second"], sort=True)[["wins", "losses", "ties"]].sum().reset_index()
    wins, losses, ties = (summed[name].to_numpy(dtype=float) for name in ("wins", "losses", "ties"))
    first, second = (summed[name].to_numpy(dtype=np.intp) for name in ("first", "second"))
    return Pairs(first, second, wins, losses, ties, n_items)


def _involved(pairs: Pairs) -> Array:
    """Count the comparisons that each item was part of."""
    made = pairs.wins + pairs.losses + pairs.ties
    return np.bincount(pairs.first, made, pairs.n_items) + np.bincount(pairs.second, made, pairs.n_items)


def _notes(outcome: Outcome, parts: Sequence[Sequence[str]], *, is_held: bool) -> list[str]:
    """Say what these comparisons leave open; `parts` are the names that comparisons link."""
    notes, name = [], spaced(outcome.name)
    if len(parts) > 1:
        texts = [f"({', '.join(part)})" for part in parts]
        notes.append(
            f"The comparisons of {name} fall into parts that nothing links, {listed(texts, 'and')}; "
            f"compare {parts[0][0]} with {parts[1][0]} to link them."
        )
    if is_held:
        notes.append(
            f"Some variant, or some group of them, won or lost every comparison of {name} with the others, so how far "
            f"ahead it is cannot be said; abilities are held within about {HELD_SD:g} of their mean."
        )
    return notes


def _origin(outcome: Outcome, names: Sequence[str], n_built: int) -> Array:
    """Weights of the items whose mean is zero, shape (n_items,)."""
    weights = np.zeros(len(names))
    if outcome.relative_to in names[n_built:]:
        weights[names.index(outcome.relative_to)] = 1.0
    else:
        weights[:n_built] = 1.0 / n_built
    return weights


def _levelled(values: Array, covariance: Array, origin: Array) -> tuple[Array, Array]:
    """Count abilities from a weighted mean of some of them."""
    take = np.eye(len(values)) - origin
    return take @ values, take @ covariance @ take.T


def _unlinked(parts: list[list[int]], n_items: int) -> Array:
    """Covariance of parts whose levels are adrift against each other, but not together; zero for a single one."""
    member = np.zeros((n_items, len(parts)))
    for place, part in enumerate(parts):
        member[part, place] = 1.0
    return member @ (np.eye(len(parts)) - 1.0 / len(parts)) @ member.T


def _between(X: Array, y: Array, reading: Array, typical: float, *, off_zero: bool = True) -> float:
    """REML estimate of one added variance, by default kept off zero by a penalty; `typical` where nothing is left over."""

    def criterion(log_variance: float) -> float:
        covariance = reading + np.exp(log_variance) * np.eye(len(y))
        inverse = np.linalg.inv(covariance)
        information = X.T @ inverse @ X
        residual = y - X @ np.linalg.lstsq(information, X.T @ inverse @ y, rcond=None)[0]
        logs = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(information + 1e-12 * np.eye(X.shape[1]))[1]
        return float(logs + residual @ inverse @ residual - off_zero * log_variance)

    if len(y) <= X.shape[1]:
        return typical
    return float(np.exp(optimize.minimize_scalar(criterion, bounds=(-12.0, 6.0), method="bounded").x))
