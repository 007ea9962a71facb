import itertools

import numpy as np
import pandas as pd
import pytest

from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.plans import plan
from doe.plans.hadamard import LARGEST, conference, hadamard, is_field
from doe.plans.screening import definitive, fold_over, plackett_burman
from tests.plans.made import coded, numbers, quadratic, switches
from tests.refusing import refused


@pytest.mark.parametrize("order", range(4, LARGEST + 1, 4))
def test_hadamard_matrices_of_every_order(order):
    """Definition: entries of size 1 and H'H = order * I."""
    H = hadamard(order)
    assert set(np.unique(H)) == {-1, 1}
    assert np.array_equal(H.T @ H, order * np.eye(order))
    assert (H[:, 0] == 1).all()


@pytest.mark.parametrize("order", [4, 6, 8, 10, 12, 14, 16, 18, 20])
def test_conference_matrices_of_every_order(order):
    """Definition: zero diagonal, entries of size 1 elsewhere, C'C = (order - 1) * I (Xiao, Lin & Bai 2012)."""
    C = conference(order)
    assert np.array_equal(np.abs(C), 1 - np.eye(order))
    assert np.array_equal(C.T @ C, (order - 1) * np.eye(order))


def test_the_fields_at_hand():
    assert [q for q in range(2, 50) if is_field(q)] == [3, 5, 7, 9, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 49]


@pytest.mark.parametrize("n_runs", range(4, 49, 4))
def test_plackett_burman_columns_are_orthogonal_and_even(n_runs):
    """Plackett & Burman 1946: every factor at each side in half of the runs, any two factors orthogonal."""
    draft = plackett_burman(numbers(min(n_runs - 1, 24)), n_runs)
    X = draft.values
    assert np.array_equal(X.T @ X, n_runs * np.eye(X.shape[1]))
    assert not X.sum(axis=0).any()


@pytest.mark.parametrize("n_runs", [12, 20, 24, 36, 44])
def test_partial_aliases_of_plackett_burman_plans(n_runs):
    """Where the order is no power of two no main effect equals an interaction; in 12 runs all correlations are 1/3."""
    X = plackett_burman(numbers(min(11, n_runs - 1)), n_runs).values
    sizes = {
        round(abs(X[:, i] @ (X[:, j] * X[:, k])) / n_runs, 9)
        for i, j, k in itertools.combinations(range(X.shape[1]), 3)
    }
    assert max(sizes) < 1
    if n_runs == 12:
        assert sizes == {round(1 / 3, 9)}


@pytest.mark.parametrize(("n_factors", "n_runs", "is_clear"), [(3, 8, True), (7, 16, True), (10, 12, False)])
def test_two_blocks_of_a_plackett_burman_plan_cost_no_main_effect(n_factors, n_runs, is_clear):
    """Blocks are one more orthogonal column; where eight factors are clear in 16 runs, so are seven in two blocks."""
    draft = plackett_burman(numbers(n_factors), n_runs, 2)
    X = np.column_stack([draft.values, 2 * draft.block - 1])
    assert np.array_equal(X.T @ X, n_runs * np.eye(n_factors + 1))
    products = np.column_stack([X[:, i] * X[:, j] for i in range(n_factors) for j in range(i)])
    assert (not (draft.values.T @ products).any()) is is_clear


def test_a_fold_over_frees_main_effects_from_interactions():
    """Box & Wilson 1951: the mirror image makes any odd and even products orthogonal."""
    made = plan(numbers(7), kind="fold-over", blocks=2)
    X = coded(made)
    assert len(X) == 16
    for i, j, k in itertools.product(range(7), repeat=3):
        if len({i, j, k}) == 3:
            assert X[:, i] @ (X[:, j] * X[:, k]) == 0
    first, second = (X[made.table["block"] == block] for block in (1, 2))
    assert set(map(tuple, first)) == set(map(tuple, -second))


def test_mirroring_runs_that_exist():
    factors = [Factor("gap", low=0, high=6, step=1), *switches(1)]
    log = pd.DataFrame({"gap": [0, 2], "S1": ["on", "off"]})
    assert fold_over(factors, log).values.tolist() == [[6, 0], [4, 1]]
    assert fold_over(factors, log, ["gap"]).values.tolist() == [[6, 1], [4, 0]]


@pytest.mark.parametrize(
    ("count", "asked", "said"),
    [
        (3, {"runs": 12}, "A fold-over plan of 3 factors cannot have 12 runs; the nearest has 16."),
        (9, {"runs": 16}, "A fold-over plan of 9 factors cannot have 16 runs; the nearest has 24."),
        (3, {"runs": 104}, "A fold-over plan of 3 factors cannot have 104 runs; the nearest has 96."),
        (3, {"blocks": 3}, "A fold-over plan cannot have 3 blocks; it may have 2, or use kind='d-optimal'."),
    ],
)
def test_what_a_fold_over_cannot_hold_is_refused_with_the_nearest(count, asked, said):
    """Nine factors need a plan of twelve runs, so twice as many with its mirror image."""
    with refused(UsageError, said):
        plan(numbers(count), kind="fold-over", **asked)


def test_a_log_is_folded_over_as_a_plan_beside_it():
    """Four of eight corners and their mirror images are all eight, which are orthogonal (Box & Wilson 1951)."""
    log = pd.DataFrame({"A": [-1, 1, -1, 1], "B": [-1, -1, 1, 1], "C": [1, -1, -1, 1]})
    made = plan(numbers(3), kind="fold-over", existing=log)
    assert {*map(tuple, coded(made)), *map(tuple, log.to_numpy())} == set(itertools.product((-1, 1), repeat=3))
    assert "beside 4 existing runs" in made.headline


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"runs": 2}, "A fold-over mirrors the 1 existing run, so it cannot have 2; leave runs out."),
        ({"blocks": 2}, "The mirror image of existing runs is one block; leave blocks out."),
        (
            {"existing": None, "fold": ["A"]},
            "fold names factors to mirror, but there are no existing runs; give existing=.",
        ),
    ],
)
def test_what_a_fold_over_of_a_log_cannot_be_asked_for_is_refused(asked, said):
    with refused(UsageError, said):
        plan(numbers(2), **{"kind": "fold-over", "existing": pd.DataFrame({"A": [0], "B": [1]}), **asked})


def test_a_mirrored_setting_has_no_noise_of_arithmetic():
    """0.1 + 0.7 - 0.3 is 0.49999999999999994 to a processor, and 0.5 by hand."""
    factor = [Factor("gap", low=0.1, high=0.7)]
    assert fold_over(factor, pd.DataFrame({"gap": [0.3]})).values.tolist() == [[0.5]]


@pytest.mark.parametrize("n_numbers", range(3, 13))
def test_definitive_screening_by_its_defining_properties(n_numbers):
    """Jones & Nachtsheim 2011: 2m + 1 runs (2m + 3 for odd m), mirrored pairs, one factor in the middle in each pair,
    main effects orthogonal to each other and to every square and product.
    """
    X = definitive(numbers(n_numbers)).values
    order = n_numbers + n_numbers % 2
    assert len(X) == 2 * order + 1
    assert np.array_equal(X[:order], -X[order : 2 * order])
    assert not X[-1].any()
    if n_numbers == order:
        assert ((X[:order] == 0).sum(axis=1) == 1).all()
    main, others = X, quadratic(X)[:, 1 + n_numbers :]
    gram = main.T @ main
    assert np.array_equal(gram, np.diag(np.diag(gram)))
    assert not (main.T @ others).any()


@pytest.mark.parametrize(("n_numbers", "n_switches"), [(3, 1), (4, 2), (6, 2), (8, 4), (12, 4), (5, 3)])
def test_two_level_factors_in_a_definitive_screening_plan(n_numbers, n_switches):
    """Jones & Nachtsheim 2013, mirrored kind: two-level factors are never in the middle, pairs stay mirrored, the centre is
    run twice, so main effects are clear of every second-order term.
    """
    factors = [*numbers(n_numbers), *switches(n_switches)]
    X = definitive(factors).values.copy()
    X[:, n_numbers:] = 2 * X[:, n_numbers:] - 1
    order = (len(X) - 2) // 2
    assert order >= n_numbers + n_switches
    assert np.array_equal(X[:order], -X[order : 2 * order])
    assert np.array_equal(X[-2], -X[-1])
    assert (np.abs(X[:, n_numbers:]) == 1).all()
    products = np.column_stack([X[:, i] * X[:, j] for i in range(X.shape[1]) for j in range(i + 1)])
    assert not (X.T @ products).any()
    assert np.linalg.matrix_rank(np.column_stack([np.ones(len(X)), X])) == X.shape[1] + 1


@pytest.mark.parametrize(("n_numbers", "n_switches"), [(3, 1), (4, 2), (5, 3)])
def test_levels_in_place_of_the_middle_are_those_with_the_largest_determinant(n_numbers, n_switches):
    """Against every choice of levels, by brute force."""
    X = definitive([*numbers(n_numbers), *switches(n_switches)]).values.copy()
    X[:, n_numbers:] = 2 * X[:, n_numbers:] - 1
    order = (len(X) - 2) // 2
    left_out = [int(np.flatnonzero(column == 0)[0]) for column in conference(order)[:, n_numbers:].T[:n_switches]]
    found = []
    for levels in itertools.product((-1, 1), repeat=n_switches):
        tried = X.copy()
        for place, (row, level) in enumerate(zip(left_out, levels, strict=True), start=n_numbers):
            tried[[row, order + row], place] = level, -level
        found.append(np.linalg.det(tried.T @ tried))
    assert np.linalg.det(X.T @ X) == pytest.approx(max(found))
    assert n_switches == 1 or min(found) < max(found)


def test_what_a_screening_plan_cannot_hold_is_refused():
    driver = Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"])
    with refused(
        UsageError,
        "driver has 3 levels, and a definitive screening plan takes two of each factor; use kind='d-optimal'.",
    ):
        plan([*numbers(4), driver], kind="definitive")
    with refused(
        UsageError,
        "A Plackett-Burman plan of 7 factors cannot have 10 runs: the nearest has 8, and kind='d-optimal' takes any number.",
    ):
        plan(numbers(7), 10, kind="plackett-burman")
    for count, there_are in ((2, "are 2"), (1, "is 1")):
        with refused(
            UsageError,
            f"A definitive screening plan needs at least 3 factors with a middle, and there {there_are}; use kind='d-optimal' "
            "with model='quadratic'.",
        ):
            plan([*numbers(count), *switches(2)], kind="definitive")
    for n_switches, found in ((0, "13 and 13"), (8, "13 and 21")):
        with refused(
            UsageError,
            f"A definitive screening plan takes up to 12 numbers and 20 factors in all, and there are {found}; use "
            "kind='d-optimal'.",
        ):
            definitive([*numbers(13), *switches(n_switches)])
    with refused(UsageError, "fold names 'gpa', which is no factor. Did you mean 'gap'?"):
        fold_over([Factor("gap", low=0, high=1)], pd.DataFrame({"gap": [0]}), ["gpa"])


@pytest.mark.parametrize(
    ("n_switches", "least", "said"),
    [
        (0, 1, "centre is 0; a definitive screening plan needs 1 or more."),
        (1, 2, "centre is 1; a definitive screening plan with two-level factors needs 2 or more."),
    ],
)
def test_centre_runs_are_those_asked_for_or_refused(n_switches, least, said):
    factors = [*numbers(4), *switches(n_switches)]
    for count in (None, least, 4):
        made = definitive(factors, count)
        assert made.points.count("centre") == (count or least)
    with refused(UsageError, said):
        definitive(factors, least - 1)
