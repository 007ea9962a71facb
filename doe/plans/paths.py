"""The cheapest way to visit every variant once, by paths that start at units: exact where it can be proved.

Each unit carries its variants one after another, so a route is a set of paths that together visit every variant once: a
travelling salesman's problem with many starts. It is solved as an integer program (HiGHS): every variant has one way in and
at most one way out, and no set of variants is a closed round; those last rules are added where a solution breaks them, first
to the program without whole numbers, then to the whole one (Dantzig, Fulkerson & Johnson 1954, Oper. Res. 2, 393-410). Where
that is not finished, the best route of a local search stands, with the proven bound beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import optimize, sparse
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from doe.plans.layout import Array, Flags, Ints
from doe.plans.tours import NEW, Paths, Steepness, greedy_paths, improve_paths, path_cost

Tell = Callable[[float, str], None]

MOST_EXACT = 80
"""Most variants for which closed rounds are ruled out; beyond, a local search starts from what is left of the program."""

_MOST_ROUNDS = 80
_SCALE = 1_000_000
_SLACK = 1e-6


@dataclass(frozen=True, slots=True)
class Solved:
    """A route in numbers.

    Attributes
    ----------
    paths : list of tuple
        Start (place of a unit, or -1 for a new one) and variants in order.
    cost : float
        Its total.
    bound : float
        No route can cost less than this.
    was_stopped : bool
        Whether it was interrupted.
    """

    paths: Paths
    cost: float
    bound: float
    was_stopped: bool = False


def cheapest_paths(
    costs: Steepness, *, seconds: float, seed: int, tell: Tell | None = None, is_exact: bool = True
) -> Solved | None:
    """Find the cheapest paths.

    Parameters
    ----------
    costs : Steepness
        Cost of every step and start.
    seconds : float
        Time that the integer program may take at each round.
    seed : int
        Seed of the local search.
    tell : callable, optional
        Told the share done and a few words.
    is_exact : bool
        Whether closed rounds are ruled out until the shortest route is proved; always left out for more than 80 variants.

    Returns
    -------
    Solved or None
        None if no paths visit every variant.
    """
    best = greedy_paths(costs)
    bound = 0.0
    try:
        best = improve_paths(costs, best, np.random.default_rng(seed)) if best is not None else None
        for answer in _solutions(costs, seconds, is_exact and costs.n <= MOST_EXACT):
            bound = max(bound, answer.bound)
            best = _better(costs, best, answer.paths, seed, is_exact)
            if tell is not None:
                tell(answer.share, "looking for a shorter route")
            if best is not None and bound >= path_cost(costs, best) - _SLACK:
                break
    except KeyboardInterrupt:
        if best is None:
            raise
        return Solved(best, path_cost(costs, best), min(bound, path_cost(costs, best)), True)
    if best is None:
        return None
    return Solved(best, path_cost(costs, best), min(bound, path_cost(costs, best)))


def _better(costs: Steepness, best: Paths | None, found: Paths | None, seed: int, is_exact: bool) -> Paths | None:
    if found is None:
        return best
    if not is_exact or costs.n > MOST_EXACT:
        found = improve_paths(costs, found, np.random.default_rng(seed))
    return found if best is None or path_cost(costs, found) < path_cost(costs, best) else best


@dataclass(frozen=True, slots=True)
class _Answer:
    """One solution of the program: the bound it proves, and the paths if it is a route."""

    bound: float
    paths: Paths | None
    share: float


def _solutions(costs: Steepness, seconds: float, is_exact: bool) -> Iterator[_Answer]:
    """Yield ever better bounds, and the route at last."""
    program = _Program(costs, is_exact)
    if not is_exact:
        whole = program.whole(seconds)
        if whole is not None:
            yield _Answer(whole[1], program.opened(whole[0]), 0.5)
        return
    for place in range(_MOST_ROUNDS):
        result = program.relaxed()
        if result is None:
            return
        cuts = program.fractional_cuts(result.x)
        yield _Answer(float(result.fun), None, 0.5 * (1 - 0.9**place))
        if not cuts:
            break
        program.forbid(cuts)
    for place in range(_MOST_ROUNDS):
        whole = program.whole(seconds)
        if whole is None:
            return
        chosen, lower, is_done = whole
        cuts = program.whole_cuts(chosen)
        paths = None if cuts else program.read(chosen)
        yield _Answer(lower, paths, 0.5 + 0.5 * (1 - 0.8**place))
        if not cuts or not is_done:
            return
        program.forbid(cuts)


def _grouped(codes: Ints, n_groups: int) -> list[Ints]:
    """Return the places of each code from 0 on."""
    order = np.argsort(codes, kind="stable")
    return np.split(order, np.cumsum(np.bincount(codes, minlength=n_groups))[:-1])


class _Program:
    """The integer program: one variable for each step that can be made.

    Variables are arcs, from a start (units first, then one node for all new units) or a variant to a variant. A rule bounds how
    many of some arcs are taken; the arcs of each are listed in `rows`. (Stacking one sparse matrix per rule would be slow, and
    swallow a Ctrl-C: numpy asks each for its length and takes whatever is raised then for a no.)
    """

    def __init__(self, costs: Steepness, no_pairs: bool) -> None:
        self.costs = costs
        self.n = costs.n
        self.n_units = len(costs.first)
        heads = np.vstack([costs.first, costs.new[None, :], costs.between])  # rows: units, new, variants
        self.tail, self.head = np.nonzero(np.isfinite(heads))
        self.cost = heads[self.tail, self.head]
        self.rows: list[Ints] = []
        self.low: list[float] = []
        self.high: list[float] = []
        self._begin(no_pairs)

    def _begin(self, no_pairs: bool) -> None:
        n_tails = self.n_units + 1 + self.n
        most = np.ones(n_tails)
        most[self.n_units] = self.n if self.costs.most_new is None else self.costs.most_new
        self.rows = [*_grouped(self.head, self.n), *_grouped(self.tail, n_tails)]
        self.low = [*np.ones(self.n), *np.full(n_tails, -np.inf)]
        self.high = [*np.ones(self.n), *most]
        if no_pairs:
            for first in range(self.n):  # no going there and back
                for second in range(first):
                    self._forbid(np.array([first, second]))

    def forbid(self, sets: list[Ints]) -> None:
        """Add the rule that each set of variants is entered from outside."""
        for members in sets:
            self._forbid(members)

    def _forbid(self, members: Ints) -> None:
        is_member = np.zeros(self.n_units + 1 + self.n, dtype=bool)
        is_member[self.n_units + 1 + members] = True
        enters = ~is_member[self.tail] & is_member[self.n_units + 1 + self.head]
        self.rows.append(np.flatnonzero(enters))
        self.low.append(1.0)
        self.high.append(np.inf)

    def _rules(self) -> optimize.LinearConstraint:
        ends = np.cumsum([0, *(len(arcs) for arcs in self.rows)])
        arcs = np.concatenate(self.rows)
        matrix = sparse.csr_array((np.ones(len(arcs)), arcs, ends), shape=(len(self.rows), len(self.cost)))
        return optimize.LinearConstraint(matrix, np.array(self.low), np.array(self.high))

    def relaxed(self) -> optimize.OptimizeResult | None:
        """Solve without whole numbers; None if nothing keeps the rules."""
        result = optimize.milp(self.cost, constraints=self._rules(), bounds=optimize.Bounds(0, 1))
        return result if result.x is not None else None

    def whole(self, seconds: float) -> tuple[Array, float, bool] | None:
        """Solve in whole numbers: the solution, the bound proved, and whether it is finished."""
        options: Any = {"time_limit": seconds, "mip_rel_gap": 0.0}
        result = optimize.milp(
            self.cost,
            constraints=self._rules(),
            bounds=optimize.Bounds(0, 1),
            integrality=np.ones(len(self.cost), dtype=np.int64),
            options=options,
        )
        if result.x is None:
            return None
        lower = result.fun if result.mip_dual_bound is None else result.mip_dual_bound
        return np.round(result.x), float(lower), result.status == 0

    def fractional_cuts(self, x: Array) -> list[Ints]:
        """Find sets of variants that are entered less than once in all, by the smallest cut in front of each variant."""
        graph = self._flow_graph(x)
        source = self.n_units + 1 + self.n
        found: dict[bytes, Ints] = {}
        for variant in range(self.n):
            target = self.n_units + 1 + variant
            flow = maximum_flow(graph, source, target)
            if flow.flow_value < _SCALE * (1 - 1e-4):
                reached = self._reached(graph, flow.flow, source)
                members = np.flatnonzero(~reached[self.n_units + 1 : source])
                found[members.tobytes()] = members
        return list(found.values())

    def _flow_graph(self, x: Array) -> sparse.csr_array:
        size = self.n_units + 1 + self.n + 1
        capacity = np.round(np.clip(x, 0, 1) * _SCALE).astype(np.int32)
        tails = np.concatenate([self.tail, np.full(self.n_units + 1, size - 1)])
        heads = np.concatenate([self.head + self.n_units + 1, np.arange(self.n_units + 1)])
        values = np.concatenate([capacity, np.full(self.n_units + 1, _SCALE * max(self.n, 1), dtype=np.int32)])
        places = (tails.astype(np.int32), heads.astype(np.int32))  # the flow solver takes no longer ones
        return sparse.csr_array((values, places), shape=(size, size))

    def _reached(self, graph: sparse.csr_array, flow: sparse.csr_array, source: int) -> Flags:
        left = (graph - flow).tocsr()
        left.data = np.where(left.data > 0, left.data, 0)
        left.eliminate_zeros()
        reached = np.zeros(graph.shape[0], dtype=bool)
        reached[breadth_first_order(left, source, return_predecessors=False)] = True
        return reached

    def whole_cuts(self, chosen: Array) -> list[Ints]:
        """Find the closed rounds of a solution in whole numbers."""
        follows = self._follows(chosen)
        entered = set(self.head[(chosen > 0.5) & (self.tail <= self.n_units)].tolist())
        left = set(range(self.n))
        for start in entered:
            place: int | None = start
            while place is not None:
                left.discard(place)
                place = follows.get(place)
        cuts = []
        while left:
            place, members = next(iter(left)), []
            while place in left:
                left.discard(place)
                members.append(place)
                place = follows[place]
            cuts.append(np.array(sorted(members)))
        return cuts

    def opened(self, chosen: Array) -> Paths | None:
        """Make paths of a solution that may have closed rounds: each is opened where a new unit costs least."""
        rounds = self.whole_cuts(chosen)
        paths = self.read(chosen)
        follows = self._follows(chosen)
        for members in rounds:
            before = {follows[int(place)]: int(place) for place in members}
            head = min(
                before, key=lambda place: float(self.costs.new[place] - self.costs.between[before[place], place])
            )
            variants = [head]
            while follows[variants[-1]] != head:
                variants.append(follows[variants[-1]])
            paths.append((NEW, variants))
        n_new = sum(start == NEW for start, _ in paths)
        return paths if self.costs.most_new is None or n_new <= self.costs.most_new else None

    def _follows(self, chosen: Array) -> dict[int, int]:
        between = (chosen > 0.5) & (self.tail > self.n_units)
        return dict(zip((self.tail[between] - self.n_units - 1).tolist(), self.head[between].tolist(), strict=True))

    def read(self, chosen: Array) -> Paths:
        """Turn a solution without closed rounds into paths."""
        follows = self._follows(chosen)
        paths: Paths = []
        for arc in np.flatnonzero((chosen > 0.5) & (self.tail <= self.n_units)):
            start, place = int(self.tail[arc]), int(self.head[arc])
            variants = [place]
            while variants[-1] in follows:
                variants.append(follows[variants[-1]])
            paths.append((start if start < self.n_units else NEW, variants))
        return paths
