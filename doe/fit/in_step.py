"""A check for factors that went up or down from build to build, so that time itself could have done their work.

A trend over the runs passes for the effect of a factor that follows their order (Box, Hunter & Hunter 2005, Statistics for
Experimenters, 2nd ed., ch. 3, on why runs are made in random order). Readings of one thing at both ends would show it.
"""

from __future__ import annotations

import numpy as np

from doe.coding import Coding, Matrix
from doe.fit.check import Check
from doe.fit.evidence import Evidence, pairs
from doe.fit.tangled import NEAR
from doe.model.errors import listed
from doe.model.wording import capital, spaced

_LEAST_BUILDS = 4
_HALF_A_SESSION = 1.0


def in_step(evidence: Evidence, coding: Coding, matrix: Matrix) -> Check | None:
    """Name the factors of a model that follow the order of the builds, where nothing was read early and late.

    Parameters
    ----------
    evidence : Evidence
    coding : Coding
    matrix : Matrix
        Of the best-supported model, one row per variant.
    """
    if evidence.n_built < _LEAST_BUILDS or _is_read_early_and_late(evidence):
        return None
    mains = {term.factors[0] for term in matrix.terms if term.is_main}
    found = []
    for factor in coding.factors:
        if factor.name in mains and factor.kind != "categorical":
            settings = [factor.position(value) for value in evidence.settings[factor.name]]
            if abs(np.corrcoef(np.arange(len(settings)), settings)[0, 1]) >= NEAR:
                found.append(spaced(factor.name))
    if not found:
        return None
    one = len(found) == 1
    return Check(
        "Drift over the log",
        f"{capital(listed(found, 'and'))} went one way from build to build, so a drift over time would look like "
        f"{'its' if one else 'their'} work.",
        "look",
        "Read an early variant again, if one stands as it was; otherwise read one reference object beside every build.",
    )


def _is_read_early_and_late(evidence: Evidence) -> bool:
    """Whether something was read in two sessions, or half a session apart."""
    seen = pairs(evidence.variant, evidence.session)
    if len(np.unique(seen[:, 0])) < len(seen):
        return True
    places = [evidence.place[evidence.variant == variant] for variant in np.unique(evidence.variant)]
    return max(float(np.ptp(each)) for each in places) >= _HALF_A_SESSION
