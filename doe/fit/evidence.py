"""Readings to arrays: who read what, when, on which build. The one place where `fit` meets data frames of readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from doe.fit.reml import Grouping
from doe.model.errors import DataError, FitError, did_you_mean
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.stated import label_text
from doe.model.wording import counted, exact, spaced

Array = npt.NDArray[Any]
Index = npt.NDArray[np.intp]

_LEAST_DRIFTS = 3
_LEAST_LEFT_OVER = 3

_ROUNDING = 4
"""Last places of a float by which readings that are equal may differ."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """The readings of one outcome, gathered into cells of equal conditions.

    Attributes
    ----------
    outcome : Outcome
        What was read.
    variants : tuple of str
        Variants with settings, then reference objects, each in order of first appearance.
    n_built : int
        How many of them have settings.
    settings : DataFrame of shape (n_built, n_factors)
        Settings of the variants.
    units : ndarray of int, shape (n_built,)
        Unit of each variant, from 0; -1 where unknown.
    variant, session, rater : ndarray of int, shape (n_cells,)
        Conditions of each cell; -1 where unknown.
    place : ndarray of shape (n_cells,)
        Place in the session's order, coded to -1..1 within it; 0 where unknown.
    raters : tuple of str
        Names of the raters.
    counts, means : ndarray of shape (n_cells,)
        Readings in the cell, and their mean less `location`.
    squares : ndarray of shape (n_cells,)
        Sum of squares of the readings about their cell's mean.
    location : float
        What was taken off every reading, for the arithmetic's sake.
    spread : float
        Highest reading minus lowest.
    notes : tuple of str
        What was left out, and why.
    step : float
        Smallest difference between two readings that are not equal; 0 where all are. Readings are no finer than that.
    at_ends : tuple of int
        Readings at the lowest and at the highest grade of a scale; none without one.
    """

    outcome: Outcome
    variants: tuple[str, ...]
    n_built: int
    settings: pd.DataFrame
    units: Index
    variant: Index
    session: Index
    rater: Index
    place: Array
    raters: tuple[str, ...]
    counts: Array
    means: Array
    squares: Array
    location: float
    spread: float
    notes: tuple[str, ...]
    step: float = 0.0
    at_ends: tuple[int, ...] = ()

    @property
    def varied(self) -> list[str]:
        """Names of the factors that stood at more than one setting."""
        return [str(name) for name in self.settings.columns if self.settings[name].nunique() > 1]

    @property
    def n_readings(self) -> int:
        """Number of readings."""
        return int(self.counts.sum())

    @property
    def within(self) -> float:
        """Sum of squares of all readings about their cells' means."""
        return float(self.squares.sum())

    @property
    def origin(self) -> int | None:
        """Place among `variants` of the reference object that values are counted from; None where there is none."""
        name = self.outcome.relative_to
        references = self.variants[self.n_built :]
        return self.n_built + references.index(name) if name is not None and name in references else None

    @property
    def rounding(self) -> float:
        """Variance that the step of the readings hides, which those that agree may have: that of an even spread over a step."""
        return self.step**2 / 12.0

    @property
    def replicated(self) -> bool:
        """Whether some variant was read more than once."""
        return bool(np.any(np.bincount(self.variant, self.counts, len(self.variants)) > 1))

    @property
    def n_replicates(self) -> int:
        """Number of readings beyond one for each variant and for each further rater: those that show how far they scatter."""
        return max(self.n_readings - len(self.variants) - max(len(self.raters) - 1, 0), 0)

    @property
    def units_of_cells(self) -> Index:
        """Unit of each cell; -1 where none is named, and for reference objects."""
        units = np.append(self.units, np.full(len(self.variants) - self.n_built, -1))
        return np.asarray(units[self.variant], dtype=np.intp)

    def total(self, by: Index, size: int) -> Array:
        """Count readings per group, shape (size,)."""
        return np.bincount(by[by >= 0], self.counts[by >= 0], size)


def gather(readings: pd.DataFrame, factors: Sequence[Factor], outcome: Outcome) -> Evidence:
    """Collect the readings of one outcome.

    Parameters
    ----------
    readings : DataFrame
        Tidy, one row per reading: `variant`, `outcome`, `value`, optionally `session`, `rater`, `order`, `unit`, and one
        column per factor. A variant whose factor cells are all empty is a reference object.
    factors : sequence of Factor
        The factors to read settings of.
    outcome : Outcome
        The outcome wanted.

    Raises
    ------
    DataError
        If a column is missing, a value is no finite number or off the scale of grades, or one variant appears with two sets
        of settings.
    FitError
        If there is no reading of this outcome of any variant with settings.
    """
    rows, notes = readings_of(readings, factors, outcome)
    values, location = _centred(rows["value"], outcome)
    codes, names = _ordered_variants(rows, factors)
    n_built = sum(is_built for _, is_built in names)
    if n_built == 0:
        raise FitError(
            f"There is no reading of {outcome.name} of any variant with settings; log a variant and read it."
        )
    session, rater, order = label_codes(rows, "session"), label_codes(rows, "rater"), _order(rows)
    number = numbered(codes, session, rater, _factorized(order))
    cells = np.unique(number, return_index=True)[1]
    counts, means, squares = _summed(number, values)
    firsts = np.unique(codes, return_index=True)[1][:n_built]
    variants = tuple(name for name, _ in names)
    return Evidence(
        outcome=outcome,
        variants=variants,
        n_built=n_built,
        settings=settings_of(rows.iloc[firsts], factors),
        units=label_codes(rows, "unit")[firsts],
        variant=codes[cells],
        session=session[cells],
        rater=rater[cells],
        place=_places(order[cells], session[cells]),
        raters=_names(rows, "rater"),
        counts=counts,
        means=means,
        squares=squares,
        location=location,
        spread=float(np.ptp(values)),
        notes=(*notes, *relative_notes(outcome, variants[:n_built], variants[n_built:])),
        step=_step(values),
        at_ends=tuple(int(np.sum(np.abs(values - (end - location)) < 1e-9)) for end in outcome.scale or ()),
    )


def _step(values: Array) -> float:
    gaps = np.diff(np.sort(values))
    apart = gaps[gaps > 1e-9 * np.ptp(values)]  # less is rounding of the arithmetic
    return float(apart.min()) if len(apart) else 0.0


def groupings(evidence: Evidence) -> tuple[list[Grouping], list[str]]:
    """List the sources of scatter that these readings can tell apart, beside the effects of the factors.

    Returns
    -------
    list of Grouping
        Among variant, unit, session, rater and drift (a slope over the order, one per session).
    list of str
        Sentences about sources that cannot be told apart.
    """
    found: list[Grouping] = []
    notes: list[str] = []
    if evidence.replicated:
        found.append(Grouping("variant", evidence.variant, len(evidence.variants)))
    for name, codes in (("session", evidence.session), ("rater", evidence.rater), ("unit", evidence.units_of_cells)):
        grouping = _grouping(name, codes, shared=name != "unit")
        if grouping is None:
            continue
        twin = _twin(grouping, evidence, found)
        if twin:
            notes.append(_twin_note(name, twin))
        else:
            found.append(grouping)
    drift = _drift(evidence, has_variants=bool(found) and found[0].name == "variant")
    return found + ([drift] if drift else []), notes


def readings_of(readings: pd.DataFrame, factors: Sequence[Factor], outcome: Outcome) -> tuple[pd.DataFrame, list[str]]:
    """Pick the rows of one outcome that hold a value, and say what was left out.

    Raises
    ------
    DataError
        If a column is missing.
    FitError
        If nothing is left.
    """
    wanted = ["variant", "value", *(factor.name for factor in factors)]
    missing = [name for name in wanted if name not in readings.columns]
    if missing:
        hint = did_you_mean(missing[0], [str(column) for column in readings.columns])
        if missing[0] in readings.index.names:
            hint = " It is the index of the table; reset_index() makes a column of it."
        raise DataError(f"The readings have no column '{missing[0]}'.{hint}")
    rows = readings
    if "outcome" in readings.columns:
        rows = readings[(readings["outcome"] == outcome.name).to_numpy(dtype=bool, na_value=False)]
    notes = []
    is_empty = np.asarray(rows["value"].isna())
    if is_empty.any():
        notes.append(f"{counted(int(is_empty.sum()), 'reading')} of {spaced(outcome.name)} without a value left out.")
        rows = rows[~is_empty]
    if rows.empty:
        raise FitError(f"There is no reading of {outcome.name} yet.", command="take one with 'fettle read'")
    return rows, notes


def _centred(column: pd.Series[Any], outcome: Outcome) -> tuple[Array, float]:
    """Take the middle reading off all; of decimal numbers the first, exactly, since they carry more digits than a float."""
    values = _as_numbers(column, f"The readings of {outcome.name} hold")
    if not np.all(np.isfinite(values)):
        bad = values[~np.isfinite(values)][0]
        raise DataError(f"A reading of {outcome.name} is {bad}; it must be a finite number.")
    if outcome.scale is not None:
        least, most = outcome.scale
        off = values[(values < least) | (values > most)]
        if len(off):
            raise DataError(f"A reading of {outcome.name} is {exact(off[0])}; it {outcome.allowed()}.")
    if column.dtype == object and all(isinstance(value, Decimal) for value in column):
        first = column.iloc[0]
        return np.array([float(value - first) for value in column]), float(first)
    location = float(np.median(values))
    if np.ptp(values) <= _ROUNDING * np.spacing(np.abs(values).max()):  # as of 123 and 60 * 2.05
        values = np.full_like(values, location)
    return values - location, location


def _as_numbers(column: pd.Series[Any], what: str) -> Array:
    """Return a column as numbers; numbers written as text will do, but no yes or no, no times and nothing complex."""
    kinds = pd.api.types
    is_other = kinds.is_bool_dtype(column) or kinds.is_complex_dtype(column) or kinds.is_timedelta64_dtype(column)
    try:
        if is_other or kinds.is_datetime64_any_dtype(column):
            raise TypeError
        if column.dtype == object and any(isinstance(cell, bool | np.bool_) for cell in column):
            raise TypeError
        return np.asarray(column.to_numpy(dtype=float, na_value=np.nan))
    except (TypeError, ValueError):
        raise DataError(f"{what} something that is no number.") from None


def _ordered_variants(rows: pd.DataFrame, factors: Sequence[Factor]) -> tuple[Index, list[tuple[str, bool]]]:
    """Code the variants in order of appearance, reference objects last."""
    codes, labels = _labelled(rows["variant"])
    if (codes < 0).any():
        raise DataError("A reading has no variant; each reading must name the variant it was taken of.")
    firsts = np.unique(codes, return_index=True)[1].astype(np.intp)
    names = [factor.name for factor in factors]
    settings = [_labelled(rows[name])[0] for name in names]
    for factor, column in zip(factors, settings, strict=True):
        _check_settled(factor, rows[factor.name], column, firsts[codes], labels[codes])
    empty = np.array([column[firsts] < 0 for column in settings]).T
    is_reference: npt.NDArray[np.bool_] = np.asarray(empty.all(axis=1))
    partly = np.asarray(empty.any(axis=1) & ~is_reference)
    if partly.any():
        place = int(np.flatnonzero(partly)[0])
        name, lacking = label_text(labels[place]), names[int(np.flatnonzero(empty[place])[0])]
        raise DataError(f"Variant {name} has no {lacking}; give it, or leave all factors of a reference empty.")
    order = np.argsort(is_reference, kind="stable")
    rank = np.empty(len(order), dtype=np.intp)
    rank[order] = np.arange(len(order))
    return rank[codes], [(label_text(labels[place]), not bool(is_reference[place])) for place in order]


def _check_settled(factor: Factor, given: pd.Series[Any], column: Index, firsts: Index, variants: Any) -> None:
    """Check that every row has the setting of its variant's first one, however it is written."""
    for place in np.flatnonzero(column != column[firsts]):
        first, other = given.iloc[firsts[place]], given.iloc[place]
        if min(column[place], column[firsts[place]]) < 0 or factor.read(first) != factor.read(other):
            raise two_settings(label_text(variants[place]), factor)


def two_settings(variant: str, factor: Factor) -> DataError:
    """Return the refusal of a variant that appears with two settings of a factor."""
    return DataError(f"Variant {variant} appears with two settings of {factor.name}; a changed build is a new variant.")


def label_codes(rows: pd.DataFrame, name: str) -> Index:
    """Return numbers for the labels of a column, by first appearance; -1 where there is none."""
    return _labelled(rows[name])[0] if name in rows.columns else np.full(len(rows), -1, dtype=np.intp)


def _labelled(column: pd.Series[Any]) -> tuple[Index, Any]:
    """Return a number for each label of a column, -1 where there is none, and the labels by first appearance."""
    plain = column.to_numpy() if isinstance(column.dtype, np.dtype) else column
    try:
        codes, labels = pd.factorize(plain)
    except TypeError:  # lists and dicts have no hash
        raise DataError(f"Column '{column.name}' holds something that is neither text nor a number.") from None
    return np.asarray(codes, dtype=np.intp), labels


def _factorized(values: Array | Index) -> Index:
    return np.asarray(pd.factorize(values)[0], dtype=np.intp)


def _names(rows: pd.DataFrame, name: str) -> tuple[str, ...]:
    """Labels in the order of their codes."""
    if name not in rows.columns:
        return ()
    return tuple(map(label_text, _labelled(rows[name])[1]))


def _order(rows: pd.DataFrame) -> Array:
    if "order" not in rows.columns:
        return np.full(len(rows), np.nan)
    order = _as_numbers(rows["order"], "The order of readings holds")
    if np.isinf(order).any():
        raise DataError("The order of readings holds something that is no finite number.")
    return order


def numbered(*codes: Index) -> Index:
    """Return numbers for combinations of codes, each from -1 on, by first appearance."""
    number = np.zeros(len(codes[0]), dtype=np.intp)
    for code in codes:
        number = _factorized(number * (code.max() + 2) + code + 1)
    return number


def _summed(number: Index, values: Array) -> tuple[Array, Array, Array]:
    """Sum readings under equal conditions up: counts, means, sums of squares about the means."""
    counts = np.bincount(number).astype(float)
    means = np.bincount(number, values) / counts
    return counts, means, np.bincount(number, (values - means[number]) ** 2)


def _places(order: Array, session: Index) -> Array:
    """Code the order to -1..1 within each session; 0 where it says nothing."""
    low, high = np.full(session.max() + 2, np.inf), np.full(session.max() + 2, -np.inf)
    np.fmin.at(low, session, order)  # the last group is that of readings without a session
    np.fmax.at(high, session, order)
    low, half = low[session], (high - low)[session] / 2
    is_placed = np.isfinite(half) & (half > 0) & np.isfinite(order)
    places = np.zeros(len(order))
    places[is_placed] = (order[is_placed] - low[is_placed] - half[is_placed]) / half[is_placed]
    return places


def settings_of(rows: pd.DataFrame, factors: Sequence[Factor]) -> pd.DataFrame:
    """Read the settings of variants, one row each, in the factors' own types."""
    columns: dict[str, Any] = {}
    for factor in factors:
        column = rows[factor.name].tolist()
        read = {value: factor.read(value) for value in dict.fromkeys(column)}
        columns[factor.name] = [read[value] for value in column]
    return pd.DataFrame(columns, index=pd.RangeIndex(len(rows)))


def relative_notes(outcome: Outcome, built: Sequence[str], references: Sequence[str]) -> list[str]:
    """Say why an outcome is not taken relative to its reference object, where it is not."""
    if outcome.relative_to is None or outcome.relative_to in references:
        return []
    why = "has settings and so is no reference object" if outcome.relative_to in built else "has no reading"
    return [f"{spaced(outcome.name)} is wanted relative to '{outcome.relative_to}', which {why}; taken as it is."]


def _grouping(name: str, codes: Index, *, shared: bool) -> Grouping | None:
    """Make a grouping; rows without a group share one of their own, or have no offset. None with fewer than two groups."""
    groups, index = np.unique(codes, return_inverse=True)
    if np.count_nonzero(groups >= 0) < 2:
        return None
    if shared or groups[0] >= 0:
        return Grouping(name, index.astype(np.intp), len(groups))
    is_named = codes >= 0
    return Grouping(name, np.where(is_named, index - 1, 0), len(groups) - 1, is_named.astype(float)[:, None])


def _twin(grouping: Grouping, evidence: Evidence, found: Sequence[Grouping]) -> str:
    """Name what the grouping cannot be told apart from: one variant per group, or a grouping found before it."""
    named = slice(None) if grouping.covariates is None else grouping.covariates[:, 0] > 0
    variant, index = evidence.variant[named], grouping.index[named]
    groups_per_variant = pairs(variant, index)
    variants_per_group = np.bincount(groups_per_variant[:, 1], minlength=grouping.size)
    single = len(groups_per_variant) == len(np.unique(variant))
    if single and np.all(variants_per_group <= 1):
        return "variant"
    for other in found:
        if other.name != "variant" and len(pairs(index, other.index[named])) == grouping.size == other.size:
            return other.name
    return ""


def pairs(a: Index, b: Index) -> npt.NDArray[Any]:
    """Return the combinations of two codes that occur, in order, shape (n_pairs, 2)."""
    if not len(a):
        return np.empty((0, 2), dtype=np.intp)
    least, width = b.min(), b.max() - b.min() + 1
    firsts, seconds = np.divmod(
        np.unique(a * width + (b - least)), width
    )  # one number a pair: four times as fast as rows
    return np.column_stack([firsts, seconds + least])


def _twin_note(name: str, twin: str) -> str:
    if twin == "variant":
        return f"Each {name} held one variant only, so what the {name} did cannot be told from the build itself."
    return f"Every {name} goes with one {twin}, so the two cannot be told apart."


def _drift(evidence: Evidence, *, has_variants: bool) -> Grouping | None:
    """Make a slope over the order, one per session; with fewer than three sessions its scatter could not be judged.

    None either where the other sources and the slopes together could take up whatever was read, as with two readings of
    one variant in every session: the scatter of readings would pass for drift, and every variant for exactly known.
    """
    index = np.where(evidence.session >= 0, evidence.session, 0)
    size = int(index.max()) + 1
    has_slope = np.bincount(index, evidence.place != 0, size) > 0
    if (
        np.count_nonzero(has_slope) < _LEAST_DRIFTS
        or _left_over(evidence, index, has_slope, has_variants) < _LEAST_LEFT_OVER
    ):
        return None
    return Grouping("drift", index, size, evidence.place[:, None])


def _left_over(evidence: Evidence, session: Index, has_slope: npt.NDArray[np.bool_], has_variants: bool) -> int:
    """Count the readings beyond those that variants, sessions, raters and slopes can take up; a lower bound.

    The larger of two: all sources counted together, and each session by itself, its variants as if they were its own.
    """
    readings = evidence.total(session, len(has_slope))
    raters, n_slopes = max(len(evidence.raters) - 1, 0), np.count_nonzero(has_slope)
    own = np.count_nonzero(readings)
    variants = np.minimum(readings, 1.0)
    if has_variants:
        own += len(evidence.variants) - 1
        variants = np.bincount(pairs(session, evidence.variant)[:, 0], minlength=len(has_slope))
    apart = np.maximum(readings - variants - has_slope, 0.0).sum()
    return int(max(evidence.n_readings - own - n_slopes, apart)) - raters
