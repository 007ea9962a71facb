"""Sets of paths, their cost, and a local search that shortens them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.plans.layout import Array

Paths = list[tuple[int, list[int]]]
"""Start (place of a unit, or -1 for a new one) and variants in order, for each path."""

NEW = -1

_TRIES_PER_VARIANT = 100


@dataclass(frozen=True, slots=True)
class Steepness:
    """Cost of every step and start.

    Attributes
    ----------
    between : ndarray of shape (n, n)
        Cost from one variant to another; infinite where there is no way.
    first : ndarray of shape (n_units, n)
        Cost from each unit, which starts one path at most.
    new : ndarray of shape (n,)
        Cost of starting a path with a new unit.
    most_new : int or None
        Most new units.
    """

    between: Array
    first: Array
    new: Array
    most_new: int | None = None

    @property
    def n(self) -> int:
        """Number of variants."""
        return len(self.new)

    def of(self, start: int, variants: list[int]) -> float:
        """Return the cost of one path."""
        if not variants:
            return 0.0
        begin = self.new[variants[0]] if start == NEW else self.first[start, variants[0]]
        return float(begin + self.between[variants[:-1], variants[1:]].sum())


def path_cost(costs: Steepness, paths: Paths) -> float:
    """Return the cost of all paths."""
    return float(sum(costs.of(start, variants) for start, variants in paths))


def greedy_paths(costs: Steepness) -> Paths | None:
    """Join the cheapest steps first, as far as they make paths; None if that leaves a variant without a start."""
    arcs = [
        (float(costs.between[i, j]) - float(costs.new[j]), i, j)
        for i, j in zip(*np.nonzero(np.isfinite(costs.between)), strict=True)
    ]
    arcs += [
        (float(costs.first[u, j]) - float(costs.new[j]), -1 - u, j)
        for u, j in zip(*np.nonzero(np.isfinite(costs.first)), strict=True)
    ]
    follows: dict[int, int] = {}
    entered: set[int] = set()
    root = list(range(costs.n))
    for gain, tail, head in sorted(arcs):
        if tail in follows or head in entered or (gain > 0 and costs.most_new is None):
            continue
        if tail >= 0 and _root(root, tail) == _root(root, head):
            continue
        follows[tail] = head
        entered.add(head)
        if tail >= 0:
            root[_root(root, head)] = _root(root, tail)
    heads = [(NEW if tail is None else -1 - tail, head) for tail, head in _heads(follows, costs.n)]
    paths: Paths = [(start, _chain(follows, head)) for start, head in heads]
    n_new = sum(start == NEW for start, _ in paths)
    return paths if costs.most_new is None or n_new <= costs.most_new else None


def _root(root: list[int], place: int) -> int:
    while root[place] != place:
        root[place] = root[root[place]]
        place = root[place]
    return place


def _heads(follows: dict[int, int], n: int) -> list[tuple[int | None, int]]:
    taken: list[tuple[int | None, int]] = [(tail, head) for tail, head in follows.items() if tail < 0]
    entered = set(follows.values())
    return taken + [(None, place) for place in range(n) if place not in entered]


def _chain(follows: dict[int, int], head: int) -> list[int]:
    variants = [head]
    while variants[-1] in follows:
        variants.append(follows[variants[-1]])
    return variants


def improve_paths(
    costs: Steepness, paths: Paths, rng: np.random.Generator, budget: float | None = None, tries: int | None = None
) -> Paths:
    """Move stretches of variants about at random.

    Parameters
    ----------
    costs : Steepness
        Cost of every step.
    paths : list
        Where to begin; not changed.
    rng : Generator
        Source of moves.
    budget : float, optional
        By default only moves that do not cost are kept; with a budget every move is whose total stays within it.
    tries : int, optional
        Number of moves tried.

    Returns
    -------
    list
        Paths without empty ones.
    """
    state = [(start, list(variants)) for start, variants in paths]
    used = {start for start, _ in state}
    state += [(unit, []) for unit in range(len(costs.first)) if unit not in used]
    spent = path_cost(costs, state)
    for _ in range(_TRIES_PER_VARIANT * costs.n if tries is None else tries):
        _open_new(costs, state)
        moved = _moved(state, rng)
        if moved is None:
            continue
        places, changed = moved
        before = sum(costs.of(*state[place]) for place in places)
        after = sum(costs.of(*path) for path in changed)
        if not np.isfinite(after) or spent - before + after > (spent + 1e-9 if budget is None else budget):
            continue
        for place, path in zip(places, changed, strict=True):
            state[place] = path
        spent += after - before
    return [(start, variants) for start, variants in state if variants]


def _open_new(costs: Steepness, state: Paths) -> None:
    """Keep exactly one empty path with a new unit at hand, where new units are left."""
    empty = [place for place, (start, variants) in enumerate(state) if start == NEW and not variants]
    n_new = sum(start == NEW and bool(variants) for start, variants in state)
    for place in reversed(empty[1:]):
        del state[place]
    if not empty and (costs.most_new is None or n_new < costs.most_new):
        state.append((NEW, []))


def _moved(state: Paths, rng: np.random.Generator) -> tuple[list[int], Paths] | None:
    """Propose a move: exchange tails of two paths, take a stretch elsewhere (turned round or not), or turn one round."""
    one, two = (int(place) for place in rng.integers(len(state), size=2))
    first, second = state[one], state[two]
    if one == two:
        return _within(one, first, rng)
    if rng.random() < 0.5:
        cut, other = int(rng.integers(len(first[1]) + 1)), int(rng.integers(len(second[1]) + 1))
        return [one, two], [
            (first[0], first[1][:cut] + second[1][other:]),
            (second[0], second[1][:other] + first[1][cut:]),
        ]
    if not first[1]:
        return None
    a = int(rng.integers(len(first[1])))
    b = min(len(first[1]), a + int(rng.integers(1, 4)))
    at = int(rng.integers(len(second[1]) + 1))
    stretch = first[1][a:b][:: 1 if rng.random() < 0.5 else -1]
    return [one, two], [(first[0], first[1][:a] + first[1][b:]), (second[0], second[1][:at] + stretch + second[1][at:])]


def _within(place: int, path: tuple[int, list[int]], rng: np.random.Generator) -> tuple[list[int], Paths] | None:
    start, variants = path
    if len(variants) < 2:
        return None
    a, b = sorted(int(cut) for cut in rng.integers(len(variants) + 1, size=2))
    if rng.random() < 0.5:
        return [place], [(start, variants[:a] + variants[a:b][::-1] + variants[b:])]
    rest = variants[:a] + variants[b:]
    at = int(rng.integers(len(rest) + 1))
    return [place], [(start, rest[:at] + variants[a:b] + rest[at:])]
