"""Plans: determinants, word lengths, run tables and precision that the literature prints, against plans as generated.

Every plan is made by `doe.plans.plan` with a fixed seed. Resolution and word lengths of fractions come from published tables
and are marked *from memory* where the table was recalled; that no fraction does better is proved by trying all in
`tests/plans/test_two_level.py`. For maximal determinants of order 17 to 20 the aim is 99 %.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from doe.model.factor import Factor
from doe.plans import Plan, judge, plan, power
from doe.plans.aberration import minimum_aberration, word_lengths
from doe.plans.screening import plackett_burman
from tests.published.cases import case, row

Array = npt.NDArray[np.float64]
Rows = list[dict[str, Any]]

EASY_ORDERS, HARD_ORDERS = range(2, 17), (17, 18, 19, 20)
STARTS = dict.fromkeys(HARD_ORDERS, 8000)

CHEN_SUN_WU = "Chen, Sun & Wu 1993, Int. Stat. Rev. 61, 131-145, tables of 8, 16, 32 and 64 runs"
BHH_TABLE = "Box, Hunter & Hunter 1978, table 12.15; NIST/SEMATECH e-Handbook 5.3.3.4.7, table 3.17"

RESOLUTIONS = {
    (3, 4): 3, (4, 8): 4, (5, 8): 3, (6, 8): 3, (7, 8): 3, (5, 16): 5, (6, 16): 4, (7, 16): 4, (8, 16): 4, (9, 16): 3,
    (10, 16): 3, (11, 16): 3, (15, 16): 3, (6, 32): 6, (7, 32): 4, (8, 32): 4, (9, 32): 4, (10, 32): 4, (11, 32): 4,
    (7, 64): 7, (8, 64): 5, (9, 64): 4, (10, 64): 4, (11, 64): 4, (8, 128): 8, (9, 128): 6, (10, 128): 5, (11, 128): 5,
}  # fmt: skip
"""(factors, runs) -> resolution, every case of the table."""

WORDS = {
    (4, 8): (0, 1), (5, 8): (2, 1, 0), (6, 8): (4, 3, 0, 0), (7, 8): (7, 7, 0, 0, 1),
    (5, 16): (0, 0, 1), (6, 16): (0, 3, 0, 0), (7, 16): (0, 7, 0, 0, 0), (8, 16): (0, 14, 0, 0, 0, 1),
    (9, 16): (4, 14, 8, 0, 4, 1, 0), (10, 16): (8, 18, 16, 8, 8, 5, 0, 0), (11, 16): (12, 26, 28, 24, 20, 13, 4, 0, 0),
    (12, 16): (16, 39, 48, 48, 48, 39, 16, 0, 0, 1), (13, 16): (22, 55, 72, 96, 116, 87, 40, 16, 6, 1, 0),
    (14, 16): (28, 77, 112, 168, 232, 203, 112, 56, 28, 7, 0, 0),
    (15, 16): (35, 105, 168, 280, 435, 435, 280, 168, 105, 35, 0, 0, 1),
    (6, 32): (0, 0, 0, 1), (7, 32): (0, 1, 2, 0, 0), (8, 32): (0, 3, 4, 0, 0, 0), (9, 32): (0, 6, 8, 0, 0, 1, 0),
    (10, 32): (0, 10, 16, 0, 0, 5, 0, 0), (11, 32): (0, 25, 0, 27, 0, 10, 0, 1, 0),
    (12, 32): (0, 38, 0, 52, 0, 33, 0, 4, 0, 0), (13, 32): (0, 55, 0, 96, 0, 87, 0, 16, 0, 1, 0),
    (14, 32): (0, 77, 0, 168, 0, 203, 0, 56, 0, 7, 0, 0), (15, 32): (0, 105, 0, 280, 0, 435, 0, 168, 0, 35, 0, 0, 0),
    (7, 64): (0, 0, 0, 0, 1), (8, 64): (0, 0, 2, 1, 0, 0), (9, 64): (0, 1, 4, 2, 0, 0, 0),
    (10, 64): (0, 2, 8, 4, 0, 1, 0, 0), (11, 64): (0, 4, 14, 8, 0, 3, 2, 0, 0),
    (12, 64): (0, 6, 24, 16, 0, 9, 8, 0, 0, 0), (13, 64): (0, 14, 28, 24, 24, 17, 12, 8, 0, 0, 0),
    (14, 64): (0, 22, 40, 36, 56, 49, 24, 20, 8, 0, 0, 0),
}  # fmt: skip
"""(factors, runs) -> words of length 3, 4, 5, ..."""

SHORT_WORDS = {(15, 64): (0, 30), (12, 128): (0, 1), (13, 128): (0, 2), (14, 128): (0, 3), (15, 128): (0, 7)}
"""(factors, runs) -> words of length 3 and 4, where no more is remembered."""


def two_level(count: int) -> list[Factor]:
    """Return so many factors from -1 to 1."""
    return [Factor(f"x{place + 1}", low=-1, high=1) for place in range(count)]


def settings(made: Plan) -> Array:
    """Return the settings of a plan as an array."""
    return made.table[[factor.name for factor in made.factors]].to_numpy(dtype=float)


@cache
def determinant(order: int) -> int:
    """Return |det| of the D-optimal main-effects plan of order - 1 factors in `order` runs."""
    made = plan(two_level(order - 1), order, seed=1, starts=STARTS.get(order))
    return round(abs(np.linalg.det(np.column_stack([np.ones(order), settings(made)]))))


def determinant_rows(orders: Iterable[int]) -> Rows:
    """Check the largest determinants (OEIS A003433; 19: Brent, Orrick, Osborn & Zimmermann): exact to 16, within 1 % beyond."""
    known = case("hadamard_maximal_determinants")
    rows = []
    for order in orders:
        most = known.value(f"n={order}")
        tolerance = 0.01 * most if order in HARD_ORDERS else 0.0
        name = f"maximal determinant of order {order}: D-optimal main effects of {order - 1} factors in {order} runs"
        rows.append(row(name, known.citation, most, determinant(order), tolerance))
    return rows


def word_rows() -> Rows:
    """Check resolution and word lengths of the fractions of minimum aberration."""
    rows = []
    for (factors, runs), resolution in RESOLUTIONS.items():
        words = word_lengths(np.array(minimum_aberration(factors, runs)), runs)
        ours = int(np.flatnonzero(words)[0]) + 1
        rows.append(
            row(f"resolution of {factors} factors in {runs} runs", BHH_TABLE, resolution, ours, 0, "from memory")
        )
    for (factors, runs), published in {**WORDS, **SHORT_WORDS}.items():
        words = [int(count) for count in word_lengths(np.array(minimum_aberration(factors, runs)), runs)[2:]]
        short = "short " if (factors, runs) in SHORT_WORDS else ""
        source = (
            CHEN_SUN_WU
            if runs < 128
            else "Chen 1998, Statist. Sinica 8, 1265-1270, and Block & Mee 2005, JQT 37, 354-360"
        )
        name = f"{short}words of {factors} factors in {runs} runs, from length 3"
        rows.append(row(name, source, list(published), words[: len(published)], 0, "from memory"))
    return rows


def quadratic_matrix(X: Array) -> Array:
    """Return ones, main effects, the product and the squares of two factors."""
    return np.column_stack([np.ones(len(X)), X, X[:, 0] * X[:, 1], X**2])


def optimal_rows() -> Rows:
    """Check exact D-optimal plans: on a 3 x 3 grid against all plans, and without a grid against Box & Draper."""
    known = case("d_optimal_facts")
    grid = [Factor(name, low=-1, high=1, step=1) for name in "AB"]
    rows = []
    for runs in (6, 7, 8, 9, 10, 12):
        what = f"exact D-optimal {runs}-run design for the two-factor quadratic on the 3x3 grid: det(X'X) (exhaustive)"
        X = quadratic_matrix(settings(plan(grid, runs, "quadratic", kind="d-optimal")))
        rows.append(
            row(what, "all plans tried", known.value(what), np.linalg.det(X.T @ X), 1e-6, known.find(what).origin)
        )
    six = next(item for item in known.known if item.what.startswith("six-run quadratic in two factors on the square"))
    X = quadratic_matrix(settings(plan(two_level(2), 6, "quadratic", kind="d-optimal")))
    source = "Box & Draper 1971, Technometrics 13, 731-742"
    rows.append(
        row("six-run quadratic without a grid: det(X'X)", source, six.value, np.linalg.det(X.T @ X), six.tolerance or 0)
    )
    eight = next(item for item in known.known if item.what.startswith("main effects, n runs divisible by 4"))
    X = np.column_stack([np.ones(12), settings(plan(two_level(7), 12))])
    rows.append(
        row(
            "main effects of 7 factors in 12 runs: det(X'X) = n^p",
            "Hotelling 1944",
            eight.value,
            np.linalg.det(X.T @ X),
            1.0,
            "derived",
        )
    )
    large = next(item for item in known.known if item.what == "its det M")
    X = quadratic_matrix(settings(plan(grid, 100, "quadratic", kind="d-optimal", starts=20)))
    source = "Farrell, Kiefer & Walbran 1967, 5th Berkeley Symp. 1, 113-138"
    name = "two-factor quadratic in 100 runs: det(X'X / n)^(1/6), which the continuous optimum bounds"
    ours = np.linalg.det(X.T @ X / 100) ** (1 / 6)
    rows.append(
        row(name, source, large.value ** (1 / 6), ours, 0.0005, large.origin)
    )  # whole runs cannot carry its weights
    return rows


def handbook_rows() -> Rows:
    """Check that handbook plans come out run for run."""
    return [_reactor(), _bicycle(), *_catapult(), _cvd(), *_composite(), *_injection()]


def _shared(ours: pd.DataFrame, theirs: pd.DataFrame) -> int:
    """Count runs in both tables, each as often as it stands in both."""
    columns = list(theirs.columns)
    left = [tuple(round(float(cell), 3) for cell in run) for run in ours[columns].to_numpy()]
    shared = 0
    for run in theirs.to_numpy():
        key = tuple(round(float(cell), 3) for cell in run)
        if key in left:
            left.remove(key)
            shared += 1
    return shared


def _reactor() -> dict[str, Any]:
    published = case("bhh_reactor_2_5_and_half")
    names = ["feed_rate", "catalyst", "agitation", "temperature", "concentration"]
    half = published.data[published.data["in_half_fraction"] == 1][names]
    factors = [Factor(name, low=float(half[name].min()), high=float(half[name].max())) for name in names]
    made = plan(factors, 16, kind="fraction")
    return row(
        "reactor: runs of the half fraction I = 12345 that are ours",
        published.citation,
        16,
        _shared(made.table, half),
        0,
    )


def _bicycle() -> dict[str, Any]:
    published = case("bhh_bicycle_2_7_4")
    names = [name for name in published.data.columns if name not in ("fraction", "time")]
    first, second = (published.data[published.data["fraction"] == number][names] for number in (1, 2))
    factors = [Factor(name, low=-1, high=1, step=2) for name in names]
    made = plan(factors, kind="fold-over", existing=first, fold=["gear"])
    return row(
        "bicycle: runs of the second fraction, mirrored on gear, that are ours",
        published.citation,
        8,
        _shared(made.table, second),
        0,
    )


def _catapult() -> Rows:
    published = case("nist_catapult_2_5_1")
    names = ["height", "start", "bands", "length", "stop"]
    corners = published.data[published.data["height"] != 4.0][names].copy()
    corners["bands"] = corners["bands"].astype(float)
    ranges = {name: (float(corners[name].min()), float(corners[name].max())) for name in names}
    factors = [Factor(name, low=low, high=high) for name, (low, high) in ranges.items()]
    made = plan(factors, 16, kind="fraction", centre=4)
    only = made.table[made.table["kind"] == "corner"]
    rows = [
        row("catapult: corner runs of the 2^(5-1) that are ours", published.citation, 16, _shared(only, corners), 0)
    ]
    alone = plan(factors, 16, "two-factor", kind="fraction", scatter=published.value("full 2FI model residual SE"))
    se = alone.precision.set_index("term")["se"] / 2
    # the residual is printed to 0.005, which leaves 0.00125 of its quarter, and the standard errors to 0.00005
    for term, what in (("height", "h"), ("start", "s"), ("height:start", "hs"), ("length:stop", "le")):
        known = published.find(f"full 2FI model SE {what}")
        rows.append(
            row(
                f"catapult: standard error of {what} from its scatter",
                published.citation,
                known.value,
                float(se[term]),
                0.0013,
            )
        )
    return rows


def _cvd() -> dict[str, Any]:
    published = case("nist_cvd_rsm")
    names = ["pressure", "ratio"]
    factors = [Factor("pressure", low=4, high=80), Factor("ratio", low=2, high=10)]
    made = plan(factors, kind="central-composite", centre=3)
    ours = made.table[names].round({"pressure": 2, "ratio": 2})
    return row(
        "vapour deposition: runs of the inscribed composite plan that are ours",
        published.citation,
        11,
        _shared(ours, published.data[names]),
        0,
    )


def _composite() -> Rows:
    published = case("montgomery_ccd_yield")
    data = published.data
    factors = [
        Factor(name, low=float(data[name].min()), high=float(data[name].max())) for name in ("time", "temperature")
    ]
    made = plan(factors, kind="central-composite", centre=5, scatter=published.value("yield residual MS") ** 0.5)
    rows = [
        row(
            "yield: runs of the rotatable plan that are ours",
            published.citation,
            13,
            _shared(made.table, data[["time", "temperature"]]),
            0,
        )
    ]
    corner = made.prediction_error({"time": 80.0, "temperature": 170.0})["error"].item() ** 2
    centre = made.prediction_error({"time": 85.0, "temperature": 175.0})["error"].item() ** 2
    known = published.find("leverage: factorial and axial points, centre points")
    variance = published.value("yield residual MS")
    rows.append(
        row(
            "yield: leverage of corners and centre",
            published.citation,
            known.value,
            [corner / variance, centre / variance],
            known.tolerance or 0,
        )
    )
    se = made.precision.set_index("term")["se"]
    stretch = 2.0**0.5  # their coded unit is 5 min and 5 degF, ours the axial distance
    for what, ours in (
        ("x1", se["time"] / 2 / stretch),
        ("x1x2", se["time:temperature"] / 2 / stretch**2),
        ("x1^2", se["time^2"] / stretch**2),
    ):
        known = published.find(f"yield coefficient standard error {what}")
        rows.append(
            row(
                f"yield: standard error of {what} from its scatter",
                published.citation,
                known.value,
                float(ours),
                known.tolerance or 0,
            )
        )
    return rows


def _injection() -> Rows:
    published = case("injection_moulding_2_8_4")
    names = list("ABCDEFGH")
    factors = [Factor(name, low=-1, high=1) for name in names]
    made = judge(published.data[names], factors)
    same = made.confounded[made.confounded["correlation"].abs() > 0.999]
    pairs = {
        frozenset((a.replace(":", ""), b.replace(":", ""))) for a, b in zip(same["term"], same["with"], strict=True)
    }
    strings = [
        item.what.removeprefix("two-factor interaction string ").split("+")
        for item in published.known
        if "string" in item.what
    ]
    wanted = {frozenset((a, b)) for string in strings for a in string for b in string if a < b}
    found = len(wanted & {pair for pair in pairs if all(len(name) == 2 for name in pair)})
    ours = list(plan(factors, 16, kind="fraction").facts["word_lengths"])
    theirs = list(word_lengths_of(published.data[names].to_numpy(dtype=float)))
    return [
        row(
            "injection moulding: aliased pairs of interactions that are found",
            published.citation,
            len(wanted),
            found,
            0,
        ),
        row("injection moulding: word lengths of its 2^(8-4), as ours", published.citation, theirs, ours, 0),
    ]


def word_lengths_of(X: Array) -> tuple[int, ...]:
    """Count the words of any two-level fraction from its settings: products of factors that never change."""
    n_runs, n_factors = X.shape
    counts = [0] * n_factors
    for mask in range(1, 1 << n_factors):
        members = [place for place in range(n_factors) if mask >> place & 1]
        counts[len(members) - 1] += abs(float(np.prod(X[:, members], axis=1).sum())) == n_runs
    return tuple(counts)


def catalogue_rows() -> Rows:
    """Check partial aliases of the 12-run plan, and run counts of Box-Behnken and definitive screening plans."""
    rows = []
    X = plackett_burman(two_level(11), 12).values
    first = np.array([1, 1, -1, 1, 1, 1, -1, -1, -1, 1, -1])
    cyclic = np.vstack([*(np.roll(first, place) for place in range(11)), -np.ones(11)])
    rows.append(
        row("12-run Plackett-Burman: word-like counts of triple products, generator ++-+++---+- against ours",
            "Plackett & Burman 1946, Biometrika 33, 305-325", triples(cyclic), triples(X), 0, "generator from memory")
    )  # fmt: skip
    for factors, runs in ((3, 15), (4, 27), (5, 46), (6, 54), (7, 62)):
        ours = plan(two_level(factors), kind="box-behnken").n_runs
        rows.append(
            row(
                f"Box-Behnken runs of {factors} factors",
                "Box & Behnken 1960, Technometrics 2, 455-475",
                runs,
                ours,
                0,
                "from memory",
            )
        )
    for factors in (4, 6, 8, 10, 12):
        ours = plan(two_level(factors), kind="definitive").n_runs
        source = "Jones & Nachtsheim 2011, J. Qual. Technol. 43, 1-15: 2m + 1 runs"
        rows.append(
            row(f"definitive screening runs of {factors} factors", source, 2 * factors + 1, ours, 0, "from memory")
        )
    return rows


def triples(X: Array) -> list[int]:
    """Count the sizes |sum of x_i x_j x_k| over all three factors: 4 and 12 in twelve runs."""
    n = X.shape[1]
    sizes = [
        abs(round(float((X[:, i] * X[:, j] * X[:, k]).sum()))) for i in range(n) for j in range(i) for k in range(j)
    ]
    return [sizes.count(4), sizes.count(12)]


def efficiency_rows() -> Rows:
    """Check that optimal plans are at least as efficient as handbook plans of the same size: the shortfall is shown."""
    rows = []
    data = case("montgomery_ccd_yield").data
    factors = [
        Factor(name, low=float(data[name].min()), high=float(data[name].max())) for name in ("time", "temperature")
    ]
    rows += _at_least(
        "rotatable composite, 13 runs",
        data[["time", "temperature"]],
        factors,
        "quadratic",
        case("montgomery_ccd_yield").citation,
    )
    data = case("nist_cvd_rsm").data
    factors = [Factor("pressure", low=4, high=80), Factor("ratio", low=2, high=10)]
    rows += _at_least(
        "inscribed composite, 11 runs", data[["pressure", "ratio"]], factors, "quadratic", case("nist_cvd_rsm").citation
    )
    data = case("injection_moulding_2_8_4").data
    factors = [Factor(name, low=-1, high=1) for name in "ABCDEFGH"]
    rows += _at_least(
        "2^(8-4), 16 runs", data[list("ABCDEFGH")], factors, "main", case("injection_moulding_2_8_4").citation
    )
    return rows


def _at_least(what: str, table: pd.DataFrame, factors: list[Factor], model: str, citation: str) -> Rows:
    theirs = judge(table, factors, model)
    rows = []
    for kind, criterion in (("d-optimal", "D"), ("i-optimal", "I")):
        ours = plan(factors, len(table), model, kind=kind).efficiency[criterion]
        handbook = theirs.efficiency[criterion]
        shortfall = max(0.0, handbook - ours if criterion == "D" else ours - handbook)
        name = f"{what}: {criterion} of the {kind} plan at least as good"
        rows.append({**row(name, citation, handbook, ours, 1e-6), "difference": shortfall})
    return rows


def power_rows() -> Rows:
    """Check power against a general library's solver for the t test, to 6 digits."""
    from statsmodels.stats.power import TTestPower

    rows = []
    for shift, df in ((1.0, 3), (2.0, 12), (3.5, 8), (0.5, 60)):
        size = shift / (df + 1) ** 0.5
        theirs = TTestPower().power(size, nobs=df + 1, alpha=0.05, df=df, alternative="two-sided")
        name = f"power to see {shift} standard errors with {df} degrees of freedom"
        rows.append(row(name, "statsmodels TTestPower", float(theirs), power(shift, 1.0, df), 1e-6, "general library"))
    return rows


def rows() -> Rows:
    """Return every check of plans against a published figure, but for determinants of order 17 to 20."""
    parts = (word_rows, optimal_rows, handbook_rows, catalogue_rows, efficiency_rows, power_rows)
    return [*determinant_rows(EASY_ORDERS), *(one for part in parts for one in part())]


def elsewhere() -> Rows:
    """Return what `tests/published/test_determinants.py` checks, as it takes long."""
    return determinant_rows(HARD_ORDERS)
