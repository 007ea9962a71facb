"""Plans by property: what defines a kind of plan, power, and routes, against closed forms, simulation and trying everything.

Each row gives the largest departure over all sizes offered; the same laws are proved one by one in `tests/plans` and
`tests/advise`. Simulations have 10,000 draws with a fixed seed, so 1 % of them is two standard errors.
"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import stats

from doe.plans import power
from doe.plans.screening import definitive, mirrored_plan, plackett_burman
from doe.plans.surface import box_behnken, central_composite
from tests.advise.test_route import EACH, PARTS, follow, instances
from tests.plans.made import numbers, quadratic
from tests.plans.test_surface import spread_on_sphere
from tests.published.cases import row

Array = npt.NDArray[np.float64]
Rows = list[dict[str, Any]]

PLACKETT = "Plackett & Burman 1946, Biometrika 33, 305-325"
FOLD = "Box & Wilson 1951, J. R. Statist. Soc. B 13, 1-45"
DEFINITIVE = "Jones & Nachtsheim 2011, J. Qual. Technol. 43, 1-15"
ROTATABLE = "Box & Hunter 1957, Ann. Math. Statist. 28, 195-241"
BEHNKEN = "Box & Behnken 1960, Technometrics 2, 455-475"
COMPOSITE_BLOCKS = ((2, 2), (3, 2), (3, 3), (4, 2), (4, 3), (5, 2), (6, 2), (6, 3), (7, 5), (8, 5), (10, 3))
BEHNKEN_BLOCKS = ((4, 3), (5, 2), (6, 2), (7, 2))


def screening_rows() -> Rows:
    """Check orthogonality and mirror images of screening plans: sums of products that must vanish."""
    burman = max(_off_diagonal(plackett_burman(numbers(min(n - 1, 24)), n).values) for n in range(4, 49, 4))
    mirrored = max(_mains_with_products(mirrored_plan(numbers(k), None, 1).values) for k in range(3, 13))
    screened = [definitive(numbers(count)).values for count in range(3, 13)]
    pairs = max(_unmirrored(X) for X in screened)
    mixed = max(_off_diagonal(X) + _mains_with_products(X) for X in screened)
    return [
        row("Plackett-Burman, 4 to 48 runs: largest sum of products of two columns", PLACKETT, 0, burman, 0),
        row("fold-over, 3 to 12 factors: largest sum of main effect times interaction", FOLD, 0, mirrored, 0),
        row("definitive screening, 3 to 12 factors: runs without their mirror image", DEFINITIVE, 0, pairs, 0),
        row("definitive screening: largest sum of main effect times any other or square", DEFINITIVE, 0, mixed, 0),
    ]


def _off_diagonal(X: Array) -> float:
    gram = X.T @ X
    return float(np.abs(gram - np.diag(np.diag(gram))).max())


def _mains_with_products(X: Array) -> float:
    """Return the largest |sum of x_i x_j x_k|, squares included where a factor has a middle."""
    products = [X[:, i] * X[:, j] for i, j in itertools.combinations(range(X.shape[1]), 2)]
    bent = [X[:, i] ** 2 for i in range(X.shape[1])]
    sums = np.abs(X.T @ np.column_stack([*products, *bent]))
    return float(sums.max())


def _unmirrored(X: Array) -> int:
    runs = {tuple(run) for run in X.tolist()}
    return sum(tuple((-run).tolist()) not in runs for run in X + 0.0)


def surface_rows() -> Rows:
    """Check rotatability by the variance of prediction on a sphere, and the orthogonality of blocks."""
    rng = np.random.default_rng(1)
    composite = max(_unevenness(central_composite(numbers(k)).values, rng) for k in range(2, 11))
    behnken = max(_unevenness(box_behnken(numbers(k)).values, rng) for k in (4, 7))
    blocks = max(_block_sums(central_composite(numbers(k), blocks=count)) for k, count in COMPOSITE_BLOCKS)
    others = max(_block_sums(box_behnken(numbers(k), blocks=count)) for k, count in BEHNKEN_BLOCKS)
    return [
        row(
            "central composite, 2 to 10 factors: variance on a sphere, largest over smallest",
            ROTATABLE,
            1,
            composite,
            1e-8,
        ),
        row("Box-Behnken, 4 and 7 factors: variance on a sphere, largest over smallest", BEHNKEN, 1, behnken, 1e-8),
        row("central composite in blocks: largest sum of block times model column", ROTATABLE, 0, blocks, 1e-9),
        row("Box-Behnken in blocks: largest sum of block times model column", BEHNKEN, 0, others, 1e-9),
    ]


def _unevenness(X: Array, rng: np.random.Generator) -> float:
    variance = spread_on_sphere(X, 0.7, rng)
    return float(variance.max() / variance.min())


def _block_sums(draft: Any) -> float:
    Z = np.eye(draft.block.max() + 1)[draft.block] - np.bincount(draft.block) / len(draft.block)
    return float(np.abs(Z.T @ quadratic(draft.values)[:, 1:]).max())


def power_rows() -> Rows:
    """Check power against simulated t tests, and against the noncentral F distribution."""
    rows = []
    for shift, df in ((0.0, 5), (1.0, 3), (2.0, 12), (3.5, 8), (2.2, 40)):
        rng = np.random.default_rng(11)
        t = (rng.normal(size=10_000) + shift) / np.sqrt(rng.chisquare(df, size=10_000) / df)
        seen = float(np.mean(np.abs(t) > stats.t.ppf(0.975, df)))
        what = f"power to see {shift} standard errors with {df} degrees of freedom, 10,000 draws"
        rows.append(row(what, "simulation of t = (Z + shift) / sqrt(chi2 / df)", seen, power(shift, 1.0, df), 0.01))
    for shift, df in ((1.7, 4), (2.9, 9), (0.8, 25)):
        upper = float(stats.ncf.sf(stats.f.ppf(0.95, 1, df), 1, df, shift**2))
        what = f"power to see {shift} standard errors with {df} degrees of freedom: upper tail of F(1, {df})"
        rows.append(row(what, "scipy.stats.ncf", upper, power(shift, 1.0, df), 1e-6, "general library"))
    return rows


def elsewhere() -> Rows:
    """Return what `tests/advise/test_route.py` checks one by one: random build orders against trying all."""
    apart, proven, possible = 0.0, 0, 0
    for part in range(PARTS):
        for found, states, fewest in instances(part):
            apart = max(apart, abs(found.minutes - fewest))
            proven += found.is_proven
            possible += abs(follow(found, states) - found.minutes) < 0.01
    count = PARTS * EACH
    what = f"route, {count} random instances of up to 7 variants and 3 units"
    everything = "every order on every unit tried"
    return [
        row(f"{what}: largest difference from the fewest minutes", everything, 0, apart, 0.01, "computed"),
        row(f"{what}: proved to be the shortest", everything, count, proven, 0, "computed"),
        row(f"{what}: every step possible, minutes as walked", "walked step by step", count, possible, 0, "computed"),
    ]


def rows() -> Rows:
    """Return every check of plans by what defines them, but for routes."""
    return [one for part in (screening_rows, surface_rows, power_rows) for one in part()]
