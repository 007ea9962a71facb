"""The classical table: least squares, or REML with Satterthwaite's degrees of freedom, on exactly the terms asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import stdtr, stdtrit

from doe.coding import Coding, Matrix, Term
from doe.fit.degrees import satterthwaite
from doe.fit.estimates import term_contrast
from doe.fit.evidence import Evidence
from doe.fit.hidden import TAKEN_AS, hidden_sources
from doe.fit.least_squares import LeastSquares, independent_columns, least_squares
from doe.fit.reml import Crossproducts, Expected, Grouping, Reml, fit_reml
from doe.fit.small_sample import kenward_roger_covariance

Array = npt.NDArray[Any]

_LARGE = 10**9

COLUMNS = ["term", "swing", "se", "df", "p", "low", "high"]


@dataclass(frozen=True, slots=True)
class Classical:
    """A classical fit.

    Attributes
    ----------
    table : DataFrame
        Columns `term, swing, se, df, p, low, high`, one row per term in model order; NaN where a term depends on others. Of a
        factor with several levels the two that differ most are shown; `p` and the interval allow for their having been picked.
    model : Reml or None
        The mixed model; None where plain least squares does.
    plain : LeastSquares or None
        The least-squares fit of one value per build; None where a mixed model was needed.
    sources : tuple of Grouping
        Sources of scatter in `model`.
    estimable : ndarray of bool, shape (1 + n_columns,)
        Columns that are no combination of columns before them, the mean first.
    hidden : tuple of str
        Sources whose scatter these terms hide; a table is made without them.
    """

    table: pd.DataFrame
    model: Reml | None
    plain: LeastSquares | None
    sources: tuple[Grouping, ...]
    estimable: npt.NDArray[np.bool_]
    hidden: tuple[str, ...] = ()


def fit_classical(
    evidence: Evidence,
    coding: Coding,
    matrix: Matrix,
    sources: Sequence[Grouping],
    *,
    with_table: bool = True,
    expected: Mapping[str, Expected] | None = None,
) -> Classical:
    """Fit the terms of a matrix.

    Parameters
    ----------
    evidence : Evidence
        Readings.
    coding : Coding
        What `matrix` was made with.
    matrix : Matrix
        Rows of the variants with settings.
    sources : sequence of Grouping
        Sources of scatter; empty for least squares.
    with_table : bool
        Whether degrees of freedom and the table are wanted; otherwise only variance components, held off zero.
    expected : mapping of str to float, optional
        What `fit_reml` is to expect of the sources, beside `TAKEN_AS` for hidden ones; without a table only.
    """
    X = _reading_rows(evidence, matrix)
    estimable = independent_columns(X)
    n_fixed = int(estimable.sum())
    fixed = estimable[: 1 + matrix.values.shape[1]]
    q, r = np.linalg.qr(X[:, estimable])
    live = _identified(evidence, sources, int(fixed.sum()))
    hidden = hidden_sources(q, live)
    if with_table:
        live = [source for source in live if source.name not in hidden]
    if not live or evidence.n_readings <= n_fixed:
        fit = least_squares(X * np.sqrt(evidence.counts)[:, None], evidence.means * np.sqrt(evidence.counts))
        df = evidence.n_readings - n_fixed
        variance = (fit.rss + evidence.within) / df if df > 0 else np.nan
        table = (
            _table(coding, matrix, fit.coefficients, fit.unscaled * variance, fixed, df=df) if with_table else _empty()
        )
        return Classical(table, None, fit, (), fixed, hidden)
    products = Crossproducts(q, evidence.means, live, evidence.counts, evidence.within)
    if not with_table:
        wanted = expected or {}
        taken = {**wanted, **{name: TAKEN_AS for name in hidden if not isinstance(wanted.get(name), float)}}
        model = fit_reml(products, off_zero=True, with_df=False, expected=taken)
        return Classical(_empty(), model, None, tuple(live), fixed, hidden)
    model = fit_reml(products)
    back = np.zeros((X.shape[1], n_fixed))
    back[estimable] = np.linalg.inv(r)
    adjusted = kenward_roger_covariance(q, live, evidence.counts, evidence.n_readings - len(evidence.counts), model)
    covariance = back @ adjusted @ back.T
    table = _table(coding, matrix, back @ model.coefficients, covariance, fixed, df=model, back=back)
    return Classical(table, model, None, tuple(live), fixed, hidden)


def _reading_rows(evidence: Evidence, matrix: Matrix) -> Array:
    """Model matrix per cell: the mean and the terms for variants with settings, a mean of its own for each reference."""
    n_references = len(evidence.variants) - evidence.n_built
    n_columns = matrix.values.shape[1]
    rows = np.zeros((len(evidence.variants), 1 + n_columns + n_references))
    rows[: evidence.n_built, 0] = 1.0
    rows[: evidence.n_built, 1 : 1 + n_columns] = matrix.values
    rows[evidence.n_built :, 1 + n_columns :] = np.eye(n_references)
    return rows[evidence.variant]


def _identified(evidence: Evidence, sources: Sequence[Grouping], rank: int) -> list[Grouping]:
    """Leave out build-to-build scatter where no build is left over to judge it by."""
    spare = evidence.n_built - rank
    return [source for source in sources if spare > 0 or source.name != "variant"]


def _table(
    coding: Coding, matrix: Matrix, coefficients: Array, covariance: Array, estimable: npt.NDArray[np.bool_],
    *, df: int | Reml, back: Array | None = None,
) -> pd.DataFrame:  # fmt: skip
    rows = []
    for term in matrix.terms:
        place = slice(matrix.slices[term.name].start + 1, matrix.slices[term.name].stop + 1)
        if not np.all(estimable[place]):
            rows.append(_row(term, np.nan, np.nan, np.nan, 1))
            continue
        weights = np.zeros(len(coefficients))
        contrast = term_contrast(coding, term, coefficients[place])
        weights[place], n = contrast.weights, contrast.picked_from
        swing, se = float(weights @ coefficients), float(np.sqrt(weights @ covariance @ weights))
        if isinstance(df, Reml):
            assert back is not None
            rows.append(_row(term, swing, se, float(satterthwaite(df, (weights @ back)[None, :])[0]), n))
        else:
            rows.append(_row(term, swing, se, float(df), n))
    return pd.DataFrame(rows, columns=COLUMNS) if rows else _empty().copy()


def large_sample_table(
    coding: Coding, matrix: Matrix, coefficients: Array, covariance: Array, df: int = _LARGE
) -> Classical:
    """Table of a likelihood fit: normal intervals, as many degrees of freedom as one likes, or those that are given.

    Parameters
    ----------
    coding, matrix : Coding, Matrix
        The terms.
    coefficients : ndarray of shape (n_columns,)
        On the columns of `matrix`, without the mean.
    covariance : ndarray of shape (n_columns, n_columns)
    df : int
        Degrees of freedom that the covariance is known with.
    """
    estimable = np.append(True, np.diag(covariance) > 1e-12)
    padded = np.zeros((len(estimable), len(estimable)))
    padded[1:, 1:] = covariance
    table = _table(coding, matrix, np.append(0.0, coefficients), padded, estimable, df=df)
    return Classical(table, None, None, (), estimable)


def _row(term: Term, swing: float, se: float, df: float, n: int) -> tuple[Any, ...]:
    """Test a swing that is the largest of `n` at 5 % of all of them (Bonferroni), and give the interval that goes with it."""
    if not (se > 0 and df > 0):
        return term.name, swing, se, df, np.nan, np.nan, np.nan
    reach = float(stdtrit(df, 1.0 - 0.025 / n)) * se
    p = min(1.0, 2.0 * n * float(stdtr(df, -abs(swing) / se)))
    return term.name, swing, se, df, p, swing - reach, swing + reach


@cache
def _empty() -> pd.DataFrame:
    """Return a table without rows, for fits whose table nobody looks at; whoever hands it out copies it."""
    return pd.DataFrame({name: pd.Series(dtype=object if name == "term" else float) for name in COLUMNS})
