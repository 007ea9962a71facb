"""Margins for effects without replicates: Lenth (1989), Technometrics 31, 469-473."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit


@dataclass(frozen=True, slots=True)
class Margins:
    """What an effect must exceed to stand out of the others.

    Attributes
    ----------
    pse : float
        Pseudo standard error.
    margin : float
        95 % margin for one effect.
    simultaneous : float
        95 % margin for all of them together.
    """

    pse: float
    margin: float
    simultaneous: float


def lenth(effects: npt.NDArray[Any]) -> Margins:
    """Compute the margins of a set of orthogonal effects, shape (n_effects,), three or more."""
    sizes = np.abs(np.asarray(effects, dtype=float))
    first = 1.5 * np.median(sizes)
    pse = 1.5 * float(np.median(sizes[sizes < 2.5 * first])) if np.any(sizes < 2.5 * first) else 0.0
    df = len(sizes) / 3
    together = (1 + 0.95 ** (1 / len(sizes))) / 2
    return Margins(pse, float(stdtrit(df, 0.975)) * pse, float(stdtrit(df, together)) * pse)
