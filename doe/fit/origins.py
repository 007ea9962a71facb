"""Where adjusted builds come from: readings with sources of scatter, or comparisons. The rest of the engine is shared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
import pandas as pd

from doe.coding import Coding, Matrix
from doe.fit.builds import Builds, adjusted_builds
from doe.fit.classical import Classical, fit_classical
from doe.fit.compared import Compared, classical_comparisons, compared_builds, gather_comparisons, spare_builds
from doe.fit.evidence import Evidence, gather, groupings
from doe.fit.reml import Expected, Grouping, Reml
from doe.model.outcome import Outcome

Array = npt.NDArray[Any]

NO_BUILD_LEFT = (
    "No build is left over to show how much a rebuild changes by itself; intervals hold for these builds only."
)


@dataclass(frozen=True, slots=True)
class Scatter:
    """Adjusted builds under some set of terms.

    Attributes
    ----------
    builds : Builds
    replicated : bool
        Whether reading scatter is known apart from build-to-build scatter.
    reading_sd : float
        Scatter of one reading, in outcome units.
    hidden : tuple of str
        Sources that the terms hide, so that something was taken for them.
    """

    builds: Builds
    replicated: bool
    reading_sd: float
    hidden: tuple[str, ...] = ()


class Origin(Protocol):
    """What the passes need of an outcome."""

    @property
    def evidence(self) -> Evidence:
        """Settings of the variants, and what was read of them."""

    @property
    def sources(self) -> tuple[Grouping, ...]:
        """Sources of scatter beside the readings' own."""

    @property
    def notes(self) -> tuple[str, ...]:
        """Sources of scatter that cannot be told apart."""

    def scatter(self, coding: Coding, matrix: Matrix, expected: Mapping[str, Expected] | None = None) -> Scatter:
        """Adjust builds, with scatter judged about the terms of a matrix, and by what is expected of its sources."""

    def classical(self, coding: Coding, matrix: Matrix) -> tuple[Classical, tuple[str, ...]]:
        """Fit exactly the terms of a matrix; the sentences say what its scatter cannot tell."""


@dataclass(frozen=True, slots=True)
class Readings:
    """A measured or rated outcome: readings with unit, build, session, rater and drift as sources of scatter."""

    evidence: Evidence
    sources: tuple[Grouping, ...]
    notes: tuple[str, ...]

    def scatter(self, coding: Coding, matrix: Matrix, expected: Mapping[str, Expected] | None = None) -> Scatter:
        """Adjust builds by REML."""
        found = fit_classical(self.evidence, coding, matrix, self.sources, with_table=False, expected=expected)
        model = found.model or _plain_model(self.evidence, found)
        builds = adjusted_builds(self.evidence, list(found.sources), model)
        return Scatter(builds, "variant" in model.names, model.sigma, found.hidden)

    def classical(self, coding: Coding, matrix: Matrix) -> tuple[Classical, tuple[str, ...]]:
        """Fit by least squares or REML."""
        found = fit_classical(self.evidence, coding, matrix, self.sources)
        names = found.model.names if found.model else ()
        is_left_out = any(source.name == "variant" for source in self.sources) and "variant" not in names
        return found, (NO_BUILD_LEFT,) if is_left_out else ()


@dataclass(frozen=True, slots=True)
class Comparisons:
    """A compared outcome: abilities in log odds."""

    compared: Compared

    @property
    def evidence(self) -> Evidence:
        """Abilities as cells."""
        return self.compared.evidence

    @property
    def sources(self) -> tuple[Grouping, ...]:
        """None; comparisons are judged as they are."""
        return ()

    @property
    def notes(self) -> tuple[str, ...]:
        """Nothing beside what the evidence says."""
        return ()

    def scatter(self, coding: Coding, matrix: Matrix, expected: Mapping[str, Expected] | None = None) -> Scatter:
        """Take abilities as adjusted builds; one comparison scatters by pi / sqrt(3), the sd of a logistic variable."""
        return Scatter(compared_builds(self.compared, matrix), True, float(np.pi / np.sqrt(3.0)))

    def classical(self, coding: Coding, matrix: Matrix) -> tuple[Classical, tuple[str, ...]]:
        """Regress abilities on factors in one likelihood."""
        is_left_out = spare_builds(self.compared, matrix) < 1
        return classical_comparisons(self.compared, coding, matrix), (NO_BUILD_LEFT,) if is_left_out else ()


def origin_of(readings: pd.DataFrame, coding: Coding, outcome: Outcome) -> Origin:
    """Gather the readings or the comparisons of an outcome.

    Raises
    ------
    DataError, FitError
        As `gather` and `gather_comparisons` say.
    """
    if outcome.kind == "compared":
        return Comparisons(gather_comparisons(readings, coding.factors, outcome))
    evidence = gather(readings, coding.factors, outcome)
    sources, notes = groupings(evidence)
    return Readings(evidence, tuple(sources), tuple(notes))


def _plain_model(evidence: Evidence, scatter: Classical) -> Reml:
    """Describe a fit without sources of scatter in the form of a mixed model."""
    assert scatter.plain is not None
    df = evidence.n_readings - int(scatter.estimable.sum())
    variance = (scatter.plain.rss + evidence.within) / df if df > 0 else 0.0
    sigma = np.sqrt(variance) if variance > (1e-9 * evidence.spread) ** 2 else evidence.spread / 10
    none = np.zeros((0, 0))
    return Reml((), (), float(sigma), np.zeros(0), none, np.nan, none, np.zeros((0, 0, 0)))
