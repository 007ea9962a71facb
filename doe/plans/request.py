"""What was asked for, checked: everything that building a plan needs to know."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from doe.coding import Coding, Term
from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.model.given import check_frame, check_number, check_whole
from doe.model.limit import Derived, Limit, check_rules
from doe.plans.frame import check_factors, to_values, without_references
from doe.plans.layout import Array, Layout
from doe.plans.varied import named_terms

Tell = Callable[[float, str], None]


@dataclass(frozen=True, slots=True)
class Request:
    """A checked request.

    Attributes
    ----------
    coding : Coding
        Factors and derived quantities.
    terms : tuple of Term
        The model.
    limits : tuple of Limit
        Rules.
    old : ndarray of shape (n_existing, n_factors)
        Settings of the runs that exist, as plain numbers.
    existing : DataFrame
        The same as a table.
    scatter, matters : float or None
        Standard deviation between runs, smallest difference that matters.
    seed : int
        Seed of everything random.
    """

    coding: Coding
    terms: tuple[Term, ...]
    limits: tuple[Limit, ...]
    old: Array
    existing: pd.DataFrame
    scatter: float | None
    matters: float | None
    seed: int

    @property
    def factors(self) -> tuple[Factor, ...]:
        """The factors."""
        return self.coding.factors

    @property
    def layout(self) -> Layout:
        """The model compiled."""
        return Layout(self.coding, self.terms)


def check_request(
    factors: Sequence[Factor],
    model: str | Sequence[str],
    *,
    existing: pd.DataFrame | None = None,
    limits: Sequence[Limit] = (),
    derived: Sequence[Derived] = (),
    scatter: float | None = None,
    matters: float | None = None,
    seed: int = 1,
) -> Request:
    """Check what was asked for.

    Raises
    ------
    UsageError
        If factors, rules, model or numbers contradict each other.
    DataError
        If a run that exists has a setting that is not allowed.
    """
    known = check_factors(factors)
    seed = check_whole("seed", seed)
    if existing is not None:
        check_frame("existing", existing, "run")
    check_rules(known, limits, derived)
    coding = Coding(known, tuple(derived))
    for name, number in (("scatter", scatter), ("matters", matters)):
        if number is not None:
            check_number(name, number)
        if number is not None and not (np.isfinite(number) and number > 0):
            raise UsageError(f"{name} is {number}; it must be more than 0.")
    rows = (
        pd.DataFrame({factor.name: [] for factor in known}) if existing is None else without_references(known, existing)
    )
    old = to_values(known, rows, "Existing run")
    table = rows[[factor.name for factor in known]].reset_index(drop=True)
    terms = named_terms(coding, model, limits) if isinstance(model, str) else coding.terms(model)
    if not terms:
        raise UsageError("The model has no terms; name at least one, or use model='main'.")
    return Request(coding, terms, tuple(limits), old, table, scatter, matters, seed)
