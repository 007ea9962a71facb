"""Whether an analysis answers what was asked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from doe.model.errors import FitError

if TYPE_CHECKING:
    from doe.fit.effects import Effects


def answered(effects: Effects, terms: str | Sequence[str] | None) -> Effects:
    """Return a result that answers what was asked.

    Parameters
    ----------
    effects : Effects
    terms : str, sequence of str or None
        What was asked for: a named model, terms, or whatever may act.

    Raises
    ------
    FitError
        If nothing could be estimated, or more terms were listed than the variants can tell apart. (A model's name only
        limits the search, which needs no such count.)
    """
    if effects.basis is None:
        raise FitError(effects.notes[0])  # the reason comes first
    if terms is not None and not isinstance(terms, str) and len(terms) >= effects.n_variants:
        raise FitError(
            f"{len(terms)} terms were listed, but {effects.outcome.name} was read of {effects.n_variants} variants, which "
            f"can tell at most {effects.n_variants - 1} terms apart; list fewer, or none and let the engine search."
        )
    return effects
