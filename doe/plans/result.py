"""The plan as a result: its table, what it can say, and how it shows itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from doe.coding import Coding, Term
from doe.model import markup
from doe.model.errors import listed
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.names import MEAN
from doe.model.wording import cell_text, number, percent, spaced
from doe.plans.arrangement import Arrangement
from doe.plans.assess import Information, all_terms, correlations
from doe.plans.frame import to_values
from doe.plans.layout import Array
from doe.plans.moments import sample
from doe.plans.separation import Separation
from doe.plans.varied import compared_names

_REGION_DRAWS = 2000


@dataclass(frozen=True, slots=True)
class Basis:
    """The numbers behind a plan, for what is worked out on demand.

    Attributes
    ----------
    coding : Coding
        Factors and derived quantities.
    terms : tuple of Term
        The model.
    limits : tuple of Limit
        Rules.
    values : ndarray of shape (n_runs + n_existing, n_factors)
        Settings as plain numbers, new runs first.
    arrangement : Arrangement
        Blocks and units.
    information : Information
        What the runs tell of the model.
    """

    coding: Coding
    terms: tuple[Term, ...]
    limits: tuple[Limit, ...]
    values: Array
    arrangement: Arrangement
    information: Information


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """A plan of runs, and what it is worth before anything is built.

    Attributes
    ----------
    table : DataFrame
        One row per run, in run order: `order`, `block` and `unit` where there are several, `kind` of point where they differ,
        one column per factor.
    confounded : DataFrame
        `term`, `with`, `correlation`: every two terms (main effects, interactions of two, curvature) that the runs, together
        with those that exist, mix; largest first. ``the mean`` stands beside a term that is never varied.
    precision : DataFrame
        One row per term of the model: `term`, `half_width` of the 95 % interval of its swing, smallest swing `detectable` by a
        t test (5 %) with a chance of 80 %, `power` to see `matters`, `se`, `df`, `inflation`, and `picked_from`, the pairs of
        levels that the swing told will be the largest of, which interval and test allow for. In outcome units, or in
        multiples of the scatter between runs where that is not known.
    efficiency : mapping of str to float
        ``D`` and ``A`` in percent of an orthogonal two-level plan; ``I`` and ``G``: mean and largest variance of prediction,
        for a scatter of 1.
    kind : str
        As asked for in `plan`.
    headline : str
        The plan in one sentence.
    separation : Separation
        What can be told apart, in words.
    existing : DataFrame
        Settings of the runs that exist already.
    facts : mapping
        What is known by construction: `resolution`, `word_lengths`, `generators`, `aliases`, `axial_distance`.
    notes : tuple of str
        What else the reader must know.
    scatter, matters : float or None
        Standard deviation between runs, and the smallest difference that matters; in outcome units.
    seed : int
        Seed of the search and of the run order.
    basis : Basis
        The numbers behind it.
    """

    table: pd.DataFrame
    confounded: pd.DataFrame
    precision: pd.DataFrame
    efficiency: Mapping[str, float]
    kind: str
    headline: str
    separation: Separation
    existing: pd.DataFrame
    facts: Mapping[str, Any]
    notes: tuple[str, ...]
    scatter: float | None
    matters: float | None
    seed: int
    basis: Basis

    @property
    def factors(self) -> tuple[Factor, ...]:
        """The factors planned with."""
        return self.basis.coding.factors

    @property
    def n_runs(self) -> int:
        """Runs to be made."""
        return len(self.table)

    def to_frame(self) -> pd.DataFrame:
        """Return the runs, in run order."""
        return self.table.copy()

    def correlations(self) -> pd.DataFrame:
        """Return the map of correlations between all terms, a square frame named by term on both sides; 1 on the diagonal.

        A term that is never varied has NaN.
        """
        coding, model = self.basis.coding, self.basis.terms
        terms = all_terms(coding, model, compared_names(coding, model, self.basis.limits))
        names = [term.name for term in terms]
        square = pd.DataFrame(np.eye(len(names)), index=names, columns=names)
        fixed = beside_fixed(self.basis.arrangement)
        pairs = correlations(self.basis.coding, terms, self.basis.values, fixed)
        for first, second, value in pairs.itertuples(index=False):
            if second == MEAN:
                square.loc[first, :] = np.nan
                square.loc[:, first] = np.nan
            else:
                square.loc[first, second] = square.loc[second, first] = value
        return square

    def prediction_error(self, settings: Mapping[str, Any] | pd.DataFrame) -> pd.DataFrame:
        """Return the standard error of the predicted mean at settings.

        Parameters
        ----------
        settings : mapping of str to setting, or DataFrame
            One set, or one row per set; a column for every factor.

        Returns
        -------
        DataFrame
            `error`, in outcome units, or in multiples of the scatter where that is not known.

        Raises
        ------
        UsageError
            If a factor has no column.
        DataError
            If a setting is not allowed.
        """
        frame = settings if isinstance(settings, pd.DataFrame) else pd.DataFrame([dict(settings)])
        values = to_values(self.factors, frame, "Row")
        return pd.DataFrame({"error": self._errors(values)}, index=frame.index)

    def prediction_spread(self, draws: int = _REGION_DRAWS) -> pd.DataFrame:
        """Return which share of the region is predicted at least how well.

        Returns
        -------
        DataFrame
            `share` 0..1 of the settings that keep the limits, and `error`: the standard error of the predicted mean that this
            share does not exceed; in outcome units or multiples of the scatter.
        """
        drawn = sample(self.basis.coding, self.basis.limits, draws, np.random.default_rng(self.seed))
        errors = np.sort(self._errors(drawn))
        return pd.DataFrame({"share": (np.arange(len(errors)) + 0.5) / max(len(errors), 1), "error": errors})

    def prediction_headline(self, spread: pd.DataFrame) -> str:
        """Say how well half of the region, and nearly all of it, would be predicted; `spread` is `prediction_spread()`."""
        if not len(spread) or not np.isfinite(spread["error"].iloc[-1]):
            return "The plan cannot predict everywhere."
        half, most = (float(np.interp(share, spread["share"], spread["error"])) for share in (0.5, 0.95))
        unit = "" if self.scatter is not None else " times the scatter between runs"
        return f"Half of the region is predicted with an error of {number(half)}{unit} or less, 95 % of it with {number(most)}."

    def _errors(self, values: Array) -> Array:
        information = self.basis.information
        rows = information.layout.rows(values)
        variance = np.einsum("ij,jk,ik->i", rows, information.covariance, rows)
        return np.asarray(np.sqrt(np.maximum(variance, 0)) * (self.scatter or 1.0))

    def summary(self) -> str:
        """Return the plan as text for a terminal."""
        lines = [self.headline, *self.separation.sentences, *self.precision_sentences(), ""]
        lines += [*self._table_lines(), ""]
        return "\n".join([*lines, *(f"Note: {note}" for note in self.notes)]).rstrip() + "\n"

    def precision_sentences(self) -> Sequence[str]:
        """Say how sure main effects will be."""
        return precision_sentences(self.precision, self.scatter, self.matters)

    def _table_lines(self) -> Sequence[str]:
        shown = self.table.map(cell_text)
        widths = [max(len(str(name)), *(len(cell) for cell in shown[name])) for name in shown.columns]
        rows = [tuple(str(name) for name in shown.columns), *shown.itertuples(index=False)]
        return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]

    def __str__(self) -> str:
        return self.summary()

    def __repr__(self) -> str:
        return f"<Plan: {self.headline}>"

    def _repr_html_(self) -> str:
        table = self.table.map(cell_text)
        return markup.shown(
            markup.headline(self.headline),
            markup.listing((*self.separation.sentences, *self.precision_sentences())),
            markup.table(list(table.columns), table.itertuples(index=False)),
            markup.paragraphs(self.notes, is_small=True),
        )


def beside_fixed(arrangement: Arrangement) -> Array:
    """Return the columns of blocks and of the runs that exist, new runs first; units are left out, being random."""
    new, old, penalty = arrangement.beside()
    n_units = arrangement.n_units if arrangement.shares_units else 0
    return np.vstack([new, old])[:, : len(penalty) - n_units]


def precision_sentences(precision: pd.DataFrame, scatter: float | None, matters: float | None) -> list[str]:
    """Say how sure main effects will be: the widest of them, and the smallest that a t test at 5 % would see.

    The verdict 'moves it' asks for about one and a half to two times as much, since most factors do nothing. Simulated:
    D-optimal plans of 8, 12, 16 and 24 runs (seed 1), four factors of two levels of which one acts, one reading a run, 80 logs
    each (seeds 5000 to 5079). Of swings that the t test sees with 80 % (there 75, 78, 78 and 81 %), 41, 16, 21 and 24 % are
    said to move it; of swings one and a half times as large 78, 65, 56 and 69 %, of twice as large 96, 94, 91 and 94 %.
    """
    mains = precision[~precision["term"].str.contains(r"[:^]", regex=True)]
    rows = mains if len(mains) else precision
    if not len(rows):
        return []
    open_ = rows[rows["df"] <= 0]["term"].tolist()
    seen = rows[rows["df"] > 0]
    unit = "" if scatter is not None else " times the scatter between runs"
    lines = []
    if len(seen):
        worst = seen.iloc[int(seen["half_width"].to_numpy().argmax())]
        lines.append(
            f"Swings of main effects come with an interval of ± {number(worst['half_width'])}{unit} or less "
            f"({spaced(worst['term'])} is the least sure); there one of "
            f"{number(worst['detectable'])}{unit} would be seen by {_test(worst)} with a chance of {percent(0.8)}."
        )
        if matters is not None and scatter is not None:
            least = seen.iloc[int(seen["power"].to_numpy().argmin())]
            lines.append(
                f"A swing of {number(matters)}, which matters, would be seen by {_test(least)} with a chance of "
                f"{percent(float(least['power']))}."
            )
    if open_:
        names = listed(map(spaced, open_), "and")
        lines.append(
            f"No run is left over to judge the scatter by for {names}, so no interval can be promised; repeat runs, or add "
            "some."
        )
    return lines


def _test(row: pd.Series[Any]) -> str:
    """Name the test of a term: of levels the two that differ most are told, and it allows for their having been picked."""
    pairs = int(row["picked_from"])
    return "a t test (5 %)" if pairs == 1 else f"a t test (5 % for all {pairs} pairs of levels together)"
