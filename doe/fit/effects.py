"""The result of an analysis: which factor moves the outcome, by how much, how surely."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from doe.coding import Coding
from doe.fit.builds import Builds
from doe.fit.draws import Draws, draw
from doe.fit.estimates import Averages
from doe.fit.lenth import Margins
from doe.model import markup
from doe.model.errors import DataError, FitError, did_you_mean
from doe.model.given import as_mapping
from doe.model.outcome import Outcome
from doe.model.wording import Column, column_of, counted, percent, verdict_text, with_interval

_PREDICTED = ("mean", "sd", "low", "high", "build_low", "build_high")
_TOLD = (
    "headline", "n_readings", "n_variants", "table", "levels", "cells", "variance", "classical", "checks", "variants",
    "models", "through", "notes", "sensitivity", "covered", "seed",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Basis:
    """What predictions and draws are made from.

    Attributes
    ----------
    averages : Averages
        Posterior with its coding.
    builds : Builds
        Adjusted values of the variants.
    rows : ndarray of shape (n_variants, n_columns)
        Their model matrix.
    variants : tuple of str
        Their labels.
    reading_sd : float
        Scatter of one reading, in outcome units.
    """

    averages: Averages
    builds: Builds
    rows: Any
    variants: tuple[str, ...]
    reading_sd: float


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class Effects:
    """Which factor moves one outcome.

    Attributes
    ----------
    outcome : Outcome
        What was analysed.
    coding : Coding
        Factors and derived quantities, as coded.
    table : DataFrame
        One row per candidate term, largest expected swing first: `term`; `swing`, change in the outcome from `from` to `to`,
        in outcome units, given that the term is active; `low`, `high`, its 95 % interval; `per_step`, the swing over one
        step of a numeric factor; `activity`, the probability that the term is active; `verdict`; `tangled_with`.
    levels : DataFrame
        `factor, level, mean, low, high`: mean outcome at each level, or at the low, middle and high setting, others at
        their middle.
    cells : DataFrame
        `term, first, second, mean, low, high` for two-factor interactions worth seeing.
    variance : DataFrame
        `source, sd, share` of the scatter: unit, build, session, rater, drift, reading.
    classical : DataFrame
        `term, swing, se, df, p, low, high` by least squares or REML on exactly the terms asked for, or on the
        best-supported set.
    checks : DataFrame
        `check, finding, level, advice`.
    variants : DataFrame
        `variant, mean, low, high, readings, fitted`: each build adjusted for session and rater, and what the model gives it.
    models : DataFrame
        `terms, probability` of the most probable models.
    through : DataFrame
        `quantity, parts, odds, finding`: whether factors act through a derived quantity rather than by themselves.
    notes : tuple of str
        What cannot be known from these readings, and why.
    headline : str
        The answer in one sentence.
    sensitivity : str
        How far the claims depend on the prior.
    covered : float
        Share of the posterior mass that the models visited hold.
    n_readings, n_variants : int
        Readings and variants with settings behind the answer.
    seed : int
        Seed of everything drawn at random.
    basis : Basis or None
        For predictions; None where nothing could be fitted.
    margins : Margins or None
        Lenth's margins of the swings in `classical`, in outcome units; None where scatter can be estimated otherwise.
    """

    outcome: Outcome
    coding: Coding
    table: pd.DataFrame
    levels: pd.DataFrame
    cells: pd.DataFrame
    variance: pd.DataFrame
    classical: pd.DataFrame
    checks: pd.DataFrame
    variants: pd.DataFrame
    models: pd.DataFrame
    through: pd.DataFrame
    notes: tuple[str, ...]
    headline: str
    sensitivity: str
    covered: float
    n_readings: int
    n_variants: int
    seed: int
    basis: Basis | None = None
    margins: Margins | None = None

    @property
    def basis_text(self) -> str:
        """The readings behind the answer, such as ``40 readings of 8 variants``."""
        what = "comparison" if self.outcome.kind == "compared" else "reading"
        return f"{counted(self.n_readings, what)} of {counted(self.n_variants, 'variant')}"

    def to_tables(self) -> dict[str, object]:
        """Return everything the result holds as frames and plain data, by name, at full precision."""
        told = {name: getattr(self, name) for name in _TOLD}
        return {"outcome": self.outcome.name, "unit": self.outcome.unit, **told}

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of `table`, in full precision."""
        return self.table.copy()

    def predict(self, settings: Mapping[str, Any] | pd.DataFrame) -> pd.DataFrame:
        """Predict the outcome at settings.

        Parameters
        ----------
        settings : mapping of str to setting, or DataFrame
            One set, or one row per set; a column for every factor.

        Returns
        -------
        DataFrame
            `mean`, `sd`, `low`, `high` of the mean over builds (95 %), and `build_low`, `build_high` for one new build on a
            unit of its own.

        Raises
        ------
        DataError
            If a factor is missing or a setting is not allowed.
        UsageError
            If `settings` is neither.
        FitError
            If nothing could be fitted.
        """
        basis = self.fitted_basis()
        frame = self._checked(settings)
        if frame.empty:
            return pd.DataFrame({name: np.empty(0) for name in _PREDICTED}, index=frame.index)
        rows = basis.averages.settings_rows({str(name): frame[name].tolist() for name in frame.columns})
        mean, build = basis.averages.mean_at(rows), basis.averages.build_at(rows, basis.builds.new_build)
        columns = {
            "mean": mean.mean,
            "sd": mean.sd,
            "low": mean.quantile(0.025),
            "high": mean.quantile(0.975),
            "build_low": build.quantile(0.025),
            "build_high": build.quantile(0.975),
        }
        return pd.DataFrame(columns, index=frame.index)

    @property
    def changes(self) -> Column:
        """How the swings of all terms are counted."""
        return column_of(self.outcome.unit, self.table[["swing", "low", "high"]].itertuples(index=False))

    @property
    def means(self) -> Column:
        """How the means of all levels, cells and variants are counted."""
        known = [frame[["mean", "low", "high"]] for frame in (self.levels, self.cells, self.variants) if len(frame)]
        return column_of(self.outcome.unit, [row for frame in known for row in frame.itertuples(index=False)])

    def posterior(self, n_draws: int, rng: np.random.Generator) -> Draws:
        """Draw jointly from everything that is uncertain about this outcome.

        Raises
        ------
        FitError
            If nothing could be fitted.
        """
        basis = self.fitted_basis()
        return draw(
            basis.averages, basis.builds, basis.rows,
            variants=basis.variants, reading_sd=basis.reading_sd, n_draws=n_draws, rng=rng,
        )  # fmt: skip

    def summary(self, room: int = 0, folded: Callable[[pd.DataFrame], Sequence[str]] | None = None) -> str:
        """Return the answer as text for a terminal.

        Parameters
        ----------
        room : int
            Characters in a line; 0 for as many as it takes.
        folded : callable, optional
            Lays the table out, as lines, where a row of it has no room in one line.
        """
        table = _text_table(self._shown())
        if folded is not None and room and max(map(len, table)) > room:
            table = folded(self._shown())
        lines = [self.headline, "", *table, ""]
        for _, check in self.checks[self.checks["level"] != "fine"].iterrows():
            lines.append(f"{check['check']}: {check['finding']} {check['advice']}".rstrip())
        lines += self._remarks()
        lines.append(self._footer())
        return "\n".join(lines)

    def fitted_basis(self) -> Basis:
        """Return what predictions are computed from.

        Raises
        ------
        FitError
            If nothing could be fitted.
        """
        if self.basis is None:
            raise FitError(f"{self.outcome.name} cannot be predicted: {self.notes[0] if self.notes else 'no model'}")
        return self.basis

    def _shown(self) -> pd.DataFrame:
        """Rows worth a reader's time, as text."""
        keep = self.table[~self.table["term"].str.contains(r"[:^]", regex=True) | (self.table["activity"] >= 0.1)]
        rows = []
        for _, row in keep.iterrows():
            span = f"{row['from']} to {row['to']}" if row["from"] else ""
            change = with_interval(row["swing"], row["low"], row["high"], self.changes, is_change=True)
            verdict = verdict_text(row["verdict"], row["tangled_with"])
            rows.append((row["term"], span, change, percent(row["activity"]), verdict))
        return pd.DataFrame(rows, columns=["term", "from - to", "change (95 %)", "active", "verdict"])

    def _remarks(self) -> list[str]:
        """Sentences below the table, empty ones left out."""
        return [note for note in (*self.through["finding"], *self.notes, self.sensitivity) if note]

    def _footer(self) -> str:
        return f"{self.basis_text}."

    def _repr_html_(self) -> str:
        table = self._shown()
        return markup.shown(
            markup.headline(self.headline),
            markup.table(list(table.columns), table.itertuples(index=False)),
            markup.paragraphs([*self._remarks(), self._footer()]),
        )

    def __repr__(self) -> str:
        return f"<Effects on {self.outcome.name}: {self.headline}>"

    def _checked(self, settings: Mapping[str, Any] | pd.DataFrame) -> pd.DataFrame:
        frame = settings if isinstance(settings, pd.DataFrame) else pd.DataFrame([as_mapping("settings", settings)])
        columns: dict[str, list[Any]] = {}
        for factor in self.coding.factors:
            if factor.name not in frame.columns:
                hint = did_you_mean(factor.name, [str(column) for column in frame.columns])
                raise DataError(f"The settings have no {factor.name}; it {factor.allowed()}.{hint}")
            columns[factor.name] = [factor.read(value) for value in frame[factor.name]]
        return pd.DataFrame(columns, index=frame.index)


def _text_table(frame: pd.DataFrame) -> Sequence[str]:
    """Lay a table of text out in columns."""
    if frame.empty:
        return ["Nothing to show yet."]
    widths = [max(len(str(name)), *(len(str(cell)) for cell in frame[name])) for name in frame.columns]
    head = "  ".join(str(name).ljust(width) for name, width in zip(frame.columns, widths, strict=True))
    rule = "  ".join("-" * width for width in widths)
    body = [
        "  ".join(str(cell).ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in frame.itertuples(index=False)
    ]
    return [head.rstrip(), rule, *body]


def empty_table() -> pd.DataFrame:
    """Return a table of effects without rows."""
    numbers = ["swing", "low", "high", "per_step", "activity"]
    columns = ["term", *numbers, "verdict", "tangled_with", "from", "to"]
    return pd.DataFrame({name: pd.Series(dtype=float if name in numbers else object) for name in columns})
