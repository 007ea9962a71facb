"""Small-sample degrees of freedom for effects of a mixed model."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from doe.fit.reml import Reml

Array = npt.NDArray[Any]


def satterthwaite(model: Reml, contrasts: Array) -> Array:
    """Degrees of freedom of estimable combinations of the fixed effects.

    The variance of a combination is taken as a multiple of a chi-square variable with the same mean and variance
    (Satterthwaite 1946, Biometrics Bulletin 2, 110-114; for REML: Giesbrecht & Burns 1985, Biometrics 41, 477-486).

    Parameters
    ----------
    model : Reml
        Fitted with `with_df`.
    contrasts : ndarray of shape (n_contrasts, n_columns)
        Rows of coefficients.

    Returns
    -------
    ndarray of shape (n_contrasts,)
        At least 1, whatever the variance parameters' uncertainty.
    """
    variance = np.einsum("ci,ij,cj->c", contrasts, model.covariance, contrasts)
    slopes = np.einsum("ci,fij,cj->cf", contrasts, model.gradients, contrasts)
    spread = np.einsum("cf,fg,cg->c", slopes, model.df_parameters, slopes)
    with np.errstate(divide="ignore", invalid="ignore"):
        df = 2.0 * variance**2 / spread
    return np.maximum(np.where(np.isfinite(df), df, 1.0), 1.0)
