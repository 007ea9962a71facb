"""The kinds of plan by name, and the builders of those that follow from a construction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from doe.model.errors import UsageError, did_you_mean, listed
from doe.model.wording import counted
from doe.plans.draft import Draft, centre_values, has_middle
from doe.plans.layout import keeps
from doe.plans.request import Request
from doe.plans.screening import definitive, fold_over, mirrored_plan, plackett_burman
from doe.plans.space_filling import latin_hypercube, maximin
from doe.plans.surface import box_behnken, central_composite
from doe.plans.two_level import fraction, full

KINDS: Mapping[str, str] = {
    "d-optimal": "chosen by search so that the model's terms are estimated as precisely as can be",
    "i-optimal": "chosen by search so that predictions over the whole region are as precise as can be",
    "bayesian": "chosen by search for more terms than runs: main effects for sure, the other terms as far as possible",
    "full": "every combination",
    "fraction": "a regular part of all combinations of two settings",
    "plackett-burman": "main effects of many factors in few runs",
    "fold-over": "runs and their mirror images",
    "definitive": "main effects clear of interactions and curvature, three settings of each number",
    "central-composite": "corners, axial points and centre, rotatable or in orthogonal blocks",
    "face-centred": "corners, face centres and centre: three settings of each number",
    "box-behnken": "three settings of each number, no corners",
    "latin-hypercube": "every run at settings of its own, spread evenly over each range",
    "maximin": "runs as far apart from each other as the limits allow",
}
"""Name -> what it is."""

OPTIMAL = ("d-optimal", "i-optimal", "bayesian")
CURVED = ("central-composite", "face-centred", "box-behnken")
"""Kinds made for a quadratic model."""

_FIXED_SIZE = ("full", "definitive", "central-composite", "face-centred", "box-behnken")
_OWN_CENTRE = ("definitive", "central-composite", "face-centred", "box-behnken")
_NO_BLOCKS = ("definitive", "latin-hypercube", "maximin")


def check_kind(kind: str) -> str:
    """Return the kind if it is one.

    Raises
    ------
    UsageError
        If it is not; the message lists what is.
    """
    if kind not in KINDS:
        raise UsageError(f"kind is '{kind}'; it must be {listed(KINDS)}.{did_you_mean(str(kind), KINDS)}")
    return kind


def draft(
    request: Request, kind: str, runs: int | None, blocks: int, *, model: str, centre: int | None, fold: Sequence[str]
) -> Draft:
    """Build a plan that follows from a construction.

    Raises
    ------
    UsageError
        If the factors, runs, blocks or limits do not fit the kind; the nearest plan that works is named.
    """
    if kind in _NO_BLOCKS and blocks > 1:
        raise UsageError(f"A {kind} plan has no blocks of its own; use kind='d-optimal' with blocks={blocks}.")
    built = _build(request, kind, runs, blocks, model=model, centre=centre, fold=fold)
    if centre and kind not in _OWN_CENTRE:
        built = with_centre(request, built, centre)
    if kind in _FIXED_SIZE and runs is not None and runs != built.n_runs:
        raise UsageError(
            f"A {kind} plan of {counted(len(request.factors), 'factor')} has {counted(built.n_runs, 'run')}, not {runs}; leave "
            "runs out, or use kind='d-optimal'."
        )
    _check_limits_kept(request, built, kind)
    return built


def _build(
    request: Request, kind: str, runs: int | None, blocks: int, *, model: str, centre: int | None, fold: Sequence[str]
) -> Draft:
    factors = request.factors
    if kind == "full":
        return full(factors, model, blocks)
    if kind == "fraction":
        return fraction(factors, runs, blocks)
    if kind == "plackett-burman":
        return plackett_burman(factors, runs, blocks)
    if kind == "fold-over":
        return _mirrored(request, runs, blocks, fold)
    if kind == "definitive":
        return definitive(factors, centre)
    if kind in ("central-composite", "face-centred"):
        return central_composite(factors, is_faced=kind == "face-centred", blocks=blocks, centre=centre)
    if kind == "box-behnken":
        return box_behnken(factors, blocks, centre)
    n_runs = runs if runs is not None else 10 * len(factors)  # Loeppky, Sacks & Welch 2009, Technometrics 51, 366-376
    if kind == "latin-hypercube":
        return latin_hypercube(request.coding, n_runs, request.seed, request.limits)
    return maximin(request.coding, n_runs, request.seed, request.limits, request.old)


def _mirrored(request: Request, runs: int | None, blocks: int, fold: Sequence[str]) -> Draft:
    if not len(request.old):
        if fold:
            raise UsageError("fold names factors to mirror, but there are no existing runs; give existing=.")
        return mirrored_plan(request.factors, runs, blocks)
    if runs is not None and runs != len(request.old):
        raise UsageError(
            f"A fold-over mirrors the {counted(len(request.old), 'existing run')}, so it cannot have {runs}; leave runs out."
        )
    if blocks > 1:
        raise UsageError("The mirror image of existing runs is one block; leave blocks out.")
    return fold_over(request.factors, request.existing, fold)


def with_centre(request: Request, built: Draft, count: int) -> Draft:
    """Add centre runs, spread over the blocks.

    Raises
    ------
    UsageError
        If no factor has a middle.
    """
    if not any(has_middle(factor) for factor in request.factors):
        raise UsageError("No factor has a middle, so there are no centre runs; leave centre out, or use replicates=2.")
    n_blocks = int(built.block.max()) + 1
    return replace(
        built,
        title=f"{built.title}, {counted(count, 'centre run')}",
        values=np.vstack([built.values, centre_values(request.factors, count)]),
        block=np.concatenate([built.block, np.arange(count) % n_blocks]).astype(np.intp),
        points=(*built.points, *("centre",) * count),
    )


def repeated(built: Draft, replicates: int, blocks: int) -> Draft:
    """Repeat every run; where blocks allow, each replicate is a block, or has blocks, of its own."""
    if replicates == 1:
        return built
    inner = int(built.block.max()) + 1
    copies = np.repeat(np.arange(replicates), built.n_runs)
    block = np.tile(built.block, replicates)
    if inner * replicates == blocks:
        block = block + inner * copies
    return replace(
        built,
        title=f"{built.title}, each run {replicates} times",
        values=np.tile(built.values, (replicates, 1)),
        block=block.astype(np.intp),
        points=built.points * replicates,
    )


def _check_limits_kept(request: Request, built: Draft, kind: str) -> None:
    """Check that every run keeps the limits.

    Raises
    ------
    UsageError
        Naming the first limit that is broken, and how many runs break it.
    """
    for limit in request.limits:
        broken = int((~keeps(request.coding, [limit], built.values)).sum())
        if broken:
            raise UsageError(
                f"{counted(broken, 'run')} of the {kind} plan would break the limit '{limit.rule}'; use kind='d-optimal', "
                "which keeps limits."
            )
