import numpy as np
import pytest

from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.plans import plan
from doe.plans.surface import box_behnken, central_composite, orthogonal_distance
from tests.plans.made import coded, numbers, quadratic
from tests.refusing import refused


def moments(X, *powers):
    return np.mean(np.prod([X[:, column] ** power for column, power in powers], axis=0))


def spread_on_sphere(X, radius, rng):
    """Variance of prediction at random points of a sphere."""
    M = quadratic(X)
    points = rng.normal(size=(40, X.shape[1]))
    points *= radius / np.linalg.norm(points, axis=1)[:, None]
    f = quadratic(points)
    return np.einsum("ij,jk,ik->i", f, np.linalg.inv(M.T @ M), f)


@pytest.mark.parametrize("n_factors", range(2, 11))
def test_a_central_composite_plan_is_rotatable(n_factors):
    """Box & Hunter 1957: variance depends on the distance from the centre only; equivalently [iiii] = 3 [iijj]."""
    X = central_composite(numbers(n_factors)).values
    assert np.isclose(moments(X, (0, 4)), 3 * moments(X, (0, 2), (1, 2)))
    variance = spread_on_sphere(X, 0.7, np.random.default_rng(1))
    assert np.allclose(variance, variance[0], rtol=1e-8)


@pytest.mark.parametrize("n_factors", [4, 7])
def test_box_behnken_plans_of_four_and_seven_factors_are_rotatable(n_factors):
    """Box & Behnken 1960: the plans of four and seven factors are exactly rotatable, the others nearly."""
    variance = spread_on_sphere(box_behnken(numbers(n_factors)).values, 0.9, np.random.default_rng(1))
    assert np.allclose(variance, variance[0], rtol=1e-9)


def blocks_are_orthogonal(X, block):
    """Box & Hunter 1957: block differences are orthogonal to every column of the model."""
    Z = np.eye(block.max() + 1)[block] - np.bincount(block) / len(block)
    return np.allclose(Z.T @ quadratic(X)[:, 1:], 0, atol=1e-9)


@pytest.mark.parametrize(
    ("n_factors", "blocks"), [(2, 2), (3, 2), (3, 3), (4, 2), (4, 3), (5, 2), (6, 2), (6, 3), (7, 5), (8, 5), (10, 3)]
)
def test_central_composite_blocks_are_orthogonal(n_factors, blocks):
    draft = central_composite(numbers(n_factors), blocks=blocks)
    assert int(draft.block.max()) + 1 == blocks
    assert blocks_are_orthogonal(draft.values, draft.block)


@pytest.mark.parametrize(("n_factors", "cube", "blocks"), [(2, 4, 2), (3, 8, 3), (4, 16, 2), (5, 16, 2), (6, 32, 3)])
def test_blocks_take_the_fewest_centre_runs_that_keep_the_plan_nearly_rotatable(n_factors, cube, blocks):
    """Three at least, and the axial distance of Box & Hunter (1957) within 5 % of the rotatable one; by brute force."""
    draft, n_cube_blocks = central_composite(numbers(n_factors), blocks=blocks), blocks - 1
    near = [
        inner * n_cube_blocks + outer
        for inner in range(1, 9)
        for outer in range(1, 9)
        if abs(orthogonal_distance(n_factors, cube, inner * n_cube_blocks, outer) / cube**0.25 - 1) <= 0.05
    ]
    assert draft.points.count("centre") == min(count for count in near if count >= 3)
    assert draft.facts["axial_distance"] == pytest.approx(cube**0.25, rel=0.05)


@pytest.mark.parametrize(("n_factors", "blocks"), [(4, 3), (5, 2), (6, 2), (7, 2)])
def test_box_behnken_blocks_are_orthogonal(n_factors, blocks):
    draft = box_behnken(numbers(n_factors), blocks=blocks)
    assert len(set(np.bincount(draft.block))) == 1
    assert blocks_are_orthogonal(draft.values, draft.block)


@pytest.mark.parametrize(
    ("n_factors", "cube", "alpha"), [(2, 4, 1.4142), (3, 8, 1.6818), (4, 16, 2.0), (5, 16, 2.0), (6, 32, 2.3784)]
)
def test_axial_distances_and_run_counts(n_factors, cube, alpha):
    """Rotatable distances (corner runs)^(1/4): Montgomery, Design and Analysis of Experiments, sec. 11.4 (from memory)."""
    draft = central_composite(numbers(n_factors))
    assert draft.points.count("corner") == cube
    assert draft.points.count("axial") == 2 * n_factors
    assert round(draft.facts["axial_distance"], 4) == alpha


def test_orthogonal_distances():
    """Box & Hunter 1957, table (from memory): 1.633 for three factors, two centre runs in each of three blocks; 2 for four."""
    assert round(orthogonal_distance(3, 8, 4, 2), 3) == 1.633
    assert orthogonal_distance(4, 16, 4, 2) == 2.0


@pytest.mark.parametrize(("n_factors", "edges", "centre"), [(3, 12, 3), (4, 24, 3), (5, 40, 6), (6, 48, 6), (7, 56, 6)])
def test_box_behnken_run_counts(n_factors, edges, centre):
    """Box & Behnken 1960, table 1 (from memory): 15, 27, 46, 54 and 62 runs."""
    draft = box_behnken(numbers(n_factors))
    assert draft.points.count("edge") == edges
    assert draft.points.count("centre") == centre
    X = draft.values
    gram = X.T @ X
    assert np.array_equal(gram, np.diag(np.diag(gram)))
    assert len(set(np.diag(gram))) == 1
    assert not (np.abs(X).sum(axis=1) == n_factors).any()


@pytest.mark.parametrize("n_factors", range(2, 8))
def test_a_face_centred_plan_has_three_settings_of_each_factor(n_factors):
    draft = central_composite(numbers(n_factors), is_faced=True)
    X = draft.values
    assert set(np.unique(X)) == {-1.0, 0.0, 1.0}
    assert not draft.notes  # its corners stand where they are
    assert np.linalg.matrix_rank(quadratic(X)) == quadratic(X).shape[1]


def test_no_run_leaves_the_declared_range():
    """Axial points take the ends of the range, so that a plan never asks for what cannot be built."""
    factor = [Factor("wool", low=0, high=60, step=5), Factor("gap", low=1, high=3)]
    made = plan(factor, kind="central-composite")
    assert made.table["wool"].between(0, 60).all()
    assert made.table["gap"].between(1, 3).all()
    assert made.table["gap"].max() == 3.0
    assert (made.table["wool"] % 5 == 0).all()
    assert "Some settings of wool were moved to the nearest step." in made.notes


def test_response_surface_plans_are_judged_on_the_quadratic_model():
    made = plan(numbers(3), kind="box-behnken")
    assert "A^2" in set(made.precision["term"])
    assert made.separation.rung == 5
    assert len(coded(made)) == 15


def test_what_a_surface_plan_cannot_hold_is_refused():
    with refused(
        UsageError,
        "feet has levels, and a Box-Behnken plan takes numbers only; use kind='i-optimal' with model='quadratic'.",
    ):
        plan([*numbers(3), Factor("feet", kind="categorical", levels=["felt", "cork"])], kind="box-behnken")
    with refused(
        UsageError,
        "A Box-Behnken plan takes 3 to 7 factors, and there are 8; use kind='i-optimal' with model='quadratic'.",
    ):
        plan(numbers(8), kind="box-behnken")
    with refused(
        UsageError,
        "A face-centred plan takes 2 to 10 factors, and there are 11; use kind='i-optimal' with model='quadratic'.",
    ):
        plan(numbers(11), kind="face-centred")
    with refused(
        UsageError,
        "A central composite plan of 3 factors cannot have 4 blocks; it may have 2 or 3, and kind='i-optimal' takes any "
        "number.",
    ):
        plan(numbers(3), kind="central-composite", blocks=4)
    with refused(
        UsageError,
        "A rotatable plan of so few factors cannot tell curvature from the mean without a centre run; use centre=1 or more.",
    ):
        plan(numbers(2), kind="central-composite", centre=0)
    with refused(UsageError, "centre is 0; a Box-Behnken plan in 1 block needs 1, 2 or more."):
        plan(numbers(3), kind="box-behnken", centre=0)
