"""Coordinate exchange: many plans improved side by side, one setting at a time, two where limits tie them together.

Every plan of a batch is a row of arrays. Replacing row x of a plan by z changes |M| by the factor

    phi = (1 - x'Dx)(1 + z'Dz) + (x'Dz)^2,      D = M^-1,

and tr(M^-1 W) by a like expression in B = DWD (Fedorov 1972, Theory of Optimal Experiments, ch. 3; Meyer & Nachtsheim 1995,
Technometrics 37, 60-69, for exchanging one coordinate of x at a time). A setting touches few model columns, so a trial costs
a small quadratic form, and D is only renewed, by a rank-2 update, when the whole row has been gone through.

M = X'X + `fixed`, where `fixed` holds runs that exist already and the penalties of terms that are only suspected (DuMouchel
& Jones 1994, Technometrics 36, 37-47) or of random effects such as units (Henderson's equations; Goos & Jones 2011,
Optimal Design of Experiments, ch. 10, for plans with whole plots).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import reduce

import numpy as np
import numpy.typing as npt

from doe.plans.layout import Array, Flags, Ints, Layout

RIDGE = 1e-5
"""Added to M's diagonal, so that a start that cannot estimate everything can still be improved."""

RENEWED = 6
"""Passes after which matrices are inverted from scratch."""

_GAIN = 1e-5
_TINY = 1e-9
_SINGULAR = 1e6
_TRACE_OF_RIDGE = 1e-9
_BATCH_BYTES = 12_000_000


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be optimised.

    Attributes
    ----------
    layout : Layout
        The model; column 0 is that of ones.
    candidates : tuple of ndarray
        For each factor the settings to try.
    beside : ndarray of shape (n_runs, n_beside)
        Columns that are given, not chosen: blocks, units. They follow the model's.
    fixed : ndarray of shape (n_columns + n_beside, n_columns + n_beside)
        Information there already: runs that exist, penalties.
    moments : ndarray of the same shape, or None
        Mean of f(x)f(x)' over the region, for I-optimality; None for D-optimality.
    groups : mapping
        For a factor that stays the same within a unit: its rows, unit by unit.
    allowed : callable or None
        Settings of shape (..., n_factors) -> whether they keep the limits.
    limited : frozenset of int
        Factors that the limits speak of.
    tied : tuple of (int, int)
        Factors that the limits let move in pairs only, as where settings must add up to a number.
    nudges : mapping
        For a factor to be moved a little instead of set to its candidates: the size of a move, and the ends of its range.
    """

    layout: Layout
    candidates: tuple[Array, ...]
    beside: Array
    fixed: Array
    moments: Array | None = None
    groups: Mapping[int, tuple[Ints, ...]] = field(default_factory=dict)
    allowed: Callable[[Array], Flags] | None = None
    limited: frozenset[int] = frozenset()
    tied: tuple[tuple[int, int], ...] = ()
    nudges: Mapping[int, tuple[float, float, float]] = field(default_factory=dict)

    @property
    def n_runs(self) -> int:
        """Runs to be chosen."""
        return len(self.beside)

    @property
    def size(self) -> int:
        """Order of M."""
        return len(self.fixed)

    @property
    def moves(self) -> tuple[tuple[int, ...], ...]:
        """Factors to change in one trial: each by itself, then those that are tied, in pairs."""
        return (*((factor,) for factor in range(len(self.candidates))), *self.tied)


@dataclass(slots=True)
class Batch:
    """Plans in work; row s of every array belongs to plan s.

    Attributes
    ----------
    values : ndarray of shape (n_plans, n_runs, n_factors)
        Settings.
    X : ndarray of shape (n_plans, n_runs, size)
        Model rows, given columns included.
    D, B : ndarray of shape (n_plans, size, size)
        M^-1, and M^-1 W M^-1 (None for D-optimality).
    total : ndarray of shape (n_plans,)
        tr(M^-1 W) when last inverted; ones for D-optimality.
    """

    values: Array
    X: Array
    D: Array
    B: Array | None
    total: Array

    def part(self, which: npt.NDArray[np.bool_]) -> Batch:
        """Return some of the plans."""
        B = None if self.B is None else self.B[which]
        return Batch(self.values[which], self.X[which], self.D[which], B, self.total[which])

    def joined(self, other: Batch) -> Batch:
        """Return these plans and others."""
        mine, theirs = self.arrays(), other.arrays()
        B = None if self.B is None or other.B is None else np.concatenate([self.B, other.B])
        values, X, D, total = (np.concatenate(pair) for pair in zip(mine, theirs, strict=True))
        return Batch(values, X, D, B, total)

    def arrays(self) -> tuple[Array, Array, Array, Array]:
        """Return all arrays but B."""
        return self.values, self.X, self.D, self.total


def begin(task: Task, values: Array) -> Batch:
    """Code starts and invert their information matrices."""
    rows = task.layout.rows(values)
    beside = np.broadcast_to(task.beside, (len(values), *task.beside.shape))
    batch = Batch(values.copy(), np.concatenate([rows, beside], axis=2), np.empty(0), None, np.ones(len(values)))
    refresh(task, batch)
    return batch


def refresh(task: Task, batch: Batch) -> None:
    """Invert from scratch, so that rounding does not gather."""
    M = batch.X.transpose(0, 2, 1) @ batch.X + task.fixed
    M += RIDGE * np.eye(task.size)
    batch.D = np.asarray(np.linalg.inv(M), dtype=np.float64)
    if task.moments is not None:
        half = batch.D @ task.moments
        batch.B = half @ batch.D
        batch.total = np.einsum("sii->s", half)


def score(task: Task, values: Array) -> Array:
    """Return what is maximised, shape (n_plans,): log|M|, or -tr(M^-1 W); -inf where M is singular."""
    M = _information(task, values)
    ridged = np.linalg.inv(M + _TRACE_OF_RIDGE * np.eye(task.size))
    inflation = np.einsum("sii->si", ridged) * np.einsum("sii->si", M)
    return np.where(inflation.max(axis=1) > _SINGULAR, -np.inf, _merit(task, M))


def _information(task: Task, values: Array) -> Array:
    rows = task.layout.rows(values)
    X = np.concatenate([rows, np.broadcast_to(task.beside, (len(values), *task.beside.shape))], axis=2)
    return np.asarray(X.transpose(0, 2, 1) @ X + task.fixed)


def _merit(task: Task, M: Array) -> Array:
    if task.moments is None:
        return np.asarray(np.linalg.slogdet(M + 1e-12 * np.eye(task.size))[1])
    sound = M + _TRACE_OF_RIDGE * np.eye(task.size)
    return np.asarray(-np.einsum("sii->s", np.linalg.solve(sound, np.broadcast_to(task.moments, sound.shape))))


def batch_size(task: Task) -> int:
    """Plans to be worked on side by side, so that their matrices stay in the processor's cache."""
    each = 8 * task.size * (task.size * (1 if task.moments is None else 2) + task.n_runs)
    return int(np.clip(_BATCH_BYTES // each, 4, 4000))


def improve(task: Task, values: Array, most: int = 30) -> Array:
    """Exchange coordinates until no single change helps any plan, or after so many passes over all runs."""
    done = values.copy()
    active = np.arange(len(values))
    batch = begin(task, values)
    for place in range(most):
        if place % RENEWED == RENEWED - 1:
            refresh(task, batch)
        moved = sweep_once(task, batch)
        done[active] = batch.values
        if not moved.any():
            break
        active, batch = active[moved], batch.part(moved)
    return done


def sweep_once(task: Task, batch: Batch) -> Flags:
    """Go through all units, then all runs, once; tell which plans changed."""
    moved = np.zeros(len(batch.values), dtype=bool)
    for factors in task.moves:
        for rows in next((task.groups[factor] for factor in factors if factor in task.groups), ()):
            moved |= _exchange_group(task, batch, factors, rows)
    for run in range(task.n_runs):
        moved |= _exchange_run(task, batch, run)
    return moved


@dataclass(slots=True)
class _Form:
    """One quadratic form of the row in work: x as it was, z as it is becoming.

    Attributes
    ----------
    A : ndarray of shape (n_plans, size, size)
        D or B.
    u, g : ndarray of shape (n_plans, size)
        Ax and Az.
    h, q, s : ndarray of shape (n_plans,)
        x'Ax, z'Az and x'Az.
    """

    A: Array
    u: Array
    g: Array
    h: Array
    q: Array
    s: Array

    @classmethod
    def of(cls, A: Array, x: Array) -> _Form:
        u = np.matmul(A, x[:, :, None])[:, :, 0]
        h = np.einsum("sp,sp->s", x, u)
        return cls(A, u, u.copy(), h, h.copy(), h.copy())

    def tried(self, delta: Array, touched: Ints) -> tuple[Array, Array]:
        """Return q and s after each trial; `delta` has shape (n_plans, n_trials, n_touched)."""
        size, n = self.A.shape[1], len(touched)
        places = (touched[:, None] * size + touched).ravel()
        block = np.take(self.A.reshape(len(self.A), -1), places, axis=1).reshape(len(self.A), n, n)
        linear = np.matmul(delta, np.stack([2 * self.g[:, touched], self.u[:, touched]], axis=2))
        square = np.einsum("scm,scm->sc", np.matmul(delta, block), delta)
        return self.q[:, None] + linear[:, :, 0] + square, self.s[:, None] + linear[:, :, 1]

    def follow(self, which: Ints, step: Array, touched: Ints, q: Array, s: Array) -> None:
        """Take the step in the plans `which`."""
        self.q[which], self.s[which] = q, s
        self.g[which] += np.einsum("km,kmp->kp", step, self.A[which[:, None], touched])


def _phi(form: _Form, q: Array, s: Array) -> Array:
    return (1 - _beside(form.h, q)) * (1 + q) + s**2


def _beside(number: Array, like: Array) -> Array:
    return number[:, None] if like.ndim == 2 else number


def _trace_change(D: _Form, B: _Form, sums: tuple[Array, Array, Array, Array]) -> Array:
    """Return the change of tr(M^-1 W) when x gives way to z."""
    q, s, qB, sB = sums
    phi = _phi(D, q, s)
    h, hB = _beside(D.h, q), _beside(B.h, q)
    change = ((1 + q) * hB - 2 * s * sB - (1 - h) * qB) / np.maximum(phi, _TINY)
    return np.where(phi > _TINY, change, np.inf)


def _exchange_run(task: Task, batch: Batch, run: int) -> Flags:
    x = batch.X[:, run]
    D = _Form.of(batch.D, x)
    B = None if batch.B is None else _Form.of(batch.B, x)
    values, z = batch.values[:, run].copy(), x.copy()
    coded = task.layout.code(values)
    changed = np.zeros(len(values), dtype=bool)
    for factors in task.moves:
        if not any(factor in task.groups for factor in factors):
            changed[_exchange_setting(task, batch, (values, coded, z), (D, B), factors)] = True
    which = np.flatnonzero(changed)
    if len(which):
        _renew(batch, D, B, which)
        batch.X[which, run] = z[which]
        batch.values[which, run] = values[which]
    return changed


def _exchange_setting(
    task: Task,
    batch: Batch,
    row: tuple[Array, Array, Array],
    forms: tuple[_Form, _Form | None],
    factors: tuple[int, ...],
) -> Ints:
    """Give a factor of the row, or two, the best setting in every plan, all else as it is; return the plans that changed."""
    (values, coded, z), (D, B) = row, forms
    touched = _touched(task.layout, factors)
    tries, kept = _tried(task, values, factors)
    codes = np.repeat(coded[:, None, :], tries.shape[1], axis=1)
    for factor in factors:
        task.layout.recode(codes, tries, factor)
    new = task.layout.expand(codes, touched)
    delta = new - z[:, None, touched]
    gain, sums = _gains(batch, D, B, delta, touched)
    if kept is not None:
        gain = np.where(kept, gain, -np.inf)
    if task.layout.derived:
        gain = np.where(np.isfinite(gain), gain, -np.inf)
    best = np.argmax(gain, axis=1)
    which = np.flatnonzero(gain[np.arange(len(best)), best] > _GAIN)
    if len(which):
        chosen = best[which]
        step = delta[which, chosen]
        values[which], coded[which] = tries[which, chosen], codes[which, chosen]
        z[which[:, None], touched] = new[which, chosen]
        picked = [part[which, chosen] for part in sums]
        D.follow(which, step, touched, *picked[:2])
        if B is not None:
            B.follow(which, step, touched, *picked[2:])
    return which


def _touched(layout: Layout, factors: tuple[int, ...]) -> Ints:
    """Return the model columns that change with some of the factors."""
    return reduce(np.union1d, (layout.touched[factor] for factor in factors))


def _tried(task: Task, values: Array, factors: tuple[int, ...]) -> tuple[Array, Flags | None]:
    """Return the rows with some factors at all settings to try, shape (n_plans, n_trials, n_factors), and those that may be.

    None for the latter where limits have no say.
    """
    tries = values[:, None, :]
    for factor in factors:
        settings: Array = task.candidates[factor]
        if factor in task.nudges:
            size, low, high = task.nudges[factor]
            settings = np.clip(values[:, factor, None] + size * np.array([-1.0, 1.0]), low, high)
        tries = _at_each(tries, factor, settings)
    return _sifted(task, factors, tries)


def _at_each(tries: Array, factor: int, settings: Array) -> Array:
    """Repeat trials, shape (n_plans, n_trials, ..., n_factors), with a factor at each of its settings."""
    n_before, n_settings = tries.shape[1], settings.shape[-1]
    tries = np.repeat(tries, n_settings, axis=1)
    every = settings if n_before == 1 else np.tile(settings, n_before)
    tries[..., factor] = every.reshape(*every.shape, *(1,) * (tries.ndim - 3))
    return tries


def _sifted(task: Task, factors: tuple[int, ...], tries: Array) -> tuple[Array, Flags | None]:
    """Leave out trials that break limits, most of them where factors are tied; as many stay for every plan.

    Parameters
    ----------
    task : Task
    factors : tuple of int
        What the trials change; limits that speak of none of them have no say, and there are no flags then.
    tries : ndarray of shape (n_plans, n_trials, ..., n_factors)
    """
    if task.allowed is None or task.limited.isdisjoint(factors):
        return tries, None
    kept = np.all(task.allowed(tries), axis=tuple(range(2, tries.ndim - 1)))
    most = max(1, int(kept.sum(axis=1).max()))
    first = np.argsort(~kept, axis=1, kind="stable")[:, :most]
    rows = np.arange(len(tries))[:, None]
    return tries[rows, first], kept[rows, first]


def _gains(batch: Batch, D: _Form, B: _Form | None, delta: Array, touched: Ints) -> tuple[Array, tuple[Array, ...]]:
    """Return by which share each trial beats the row as it stands, and the sums it would have."""
    q, s = D.tried(delta, touched)
    if B is None:
        now = np.maximum(_phi(D, D.q, D.s), _TINY)
        return _phi(D, q, s) / now[:, None] - 1, (q, s)
    sums = (q, s, *B.tried(delta, touched))
    now = _trace_change(D, B, (D.q, D.s, B.q, B.s))
    return (now[:, None] - _trace_change(D, B, sums)) / batch.total[:, None], sums


def _renew(batch: Batch, D: _Form, B: _Form | None, which: Ints) -> None:
    """Bring D (and B) up to date after x gave way to z, by the Woodbury identity.

    D' = D - V S^-1 V' with V = [Dx, Dz]; likewise B' = D'WD', for which DWV = [Bx, Bz] is known.
    """
    h, q, s = D.h[which], D.q[which], D.s[which]
    inverse = np.stack([np.stack([1 + q, -s], 1), np.stack([-s, h - 1], 1)], 1) / -_phi_of(h, q, s)[:, None, None]
    V = np.stack([D.u[which], D.g[which]], axis=2)
    VS = V @ inverse
    if B is not None and batch.B is not None:
        VB = np.stack([B.u[which], B.g[which]], axis=2)
        inner = np.stack([np.stack([B.h[which], B.s[which]], 1), np.stack([B.s[which], B.q[which]], 1)], 1)
        cross = VS @ VB.transpose(0, 2, 1)
        batch.B[which] += VS @ inner @ VS.transpose(0, 2, 1) - cross - cross.transpose(0, 2, 1)
    batch.D[which] -= VS @ V.transpose(0, 2, 1)


def _phi_of(h: Array, q: Array, s: Array) -> Array:
    return (1 - h) * (1 + q) + s**2


def _exchange_group(task: Task, batch: Batch, factors: tuple[int, ...], rows: Ints) -> Flags:
    """Give a factor that is fixed on a unit its best setting on all rows of that unit, or two factors that are tied."""
    tries = batch.values[:, None, rows]
    for factor in factors:
        tries = _at_each(tries, factor, task.candidates[factor])
    tries, kept = _sifted(task, factors, tries)
    X = batch.X[:, rows]
    beside = np.broadcast_to(
        X[:, None, :, task.layout.n_columns :], (*tries.shape[:3], task.size - task.layout.n_columns)
    )
    gain = _gains_together(batch, X, np.concatenate([task.layout.rows(tries), beside], axis=3))
    if kept is not None:
        gain = np.where(kept, gain, -np.inf)
    best = np.argmax(gain, axis=1)
    changed: Flags = gain[np.arange(len(best)), best] > _GAIN
    if changed.any():
        which = np.flatnonzero(changed)
        batch.values[which[:, None], rows] = tries[which, best[which]]
        fresh = begin(task, batch.values[which])
        batch.X[which], batch.D[which], batch.total[which] = fresh.X, fresh.D, fresh.total
        if batch.B is not None and fresh.B is not None:
            batch.B[which] = fresh.B
    return changed


def _gains_together(batch: Batch, X: Array, Z: Array) -> Array:
    """Return by which share it helps to replace several rows at once.

    With U = [X' Z'] and C = diag(-1, 1), M changes by UCU', so that |M| changes by the factor |C| |K|, K = C + U'DU, and
    tr(M^-1 W) by -tr(K^-1 U'BU) (matrix determinant lemma, and the identity of Woodbury).

    Parameters
    ----------
    batch : Batch
    X : ndarray of shape (n_plans, n_rows, size)
        The rows as they are.
    Z : ndarray of shape (n_plans, n_trials, n_rows, size)
        What might replace them.

    Returns
    -------
    ndarray of shape (n_plans, n_trials)
        Minus infinity where a derived quantity gives no number, or M would be singular.
    """
    n_rows = Z.shape[2]
    known = np.asarray(np.isfinite(Z).all(axis=(2, 3)))
    U = np.concatenate([np.broadcast_to(X[:, None], Z.shape), np.where(known[..., None, None], Z, X[:, None])], axis=2)
    K = _inner(batch.D, U)
    K[..., range(2 * n_rows), range(2 * n_rows)] += np.repeat([-1.0, 1.0], n_rows)
    sign, log = np.linalg.slogdet(K)
    sound = known & (sign == (-1) ** n_rows) & (log > np.log(_TINY))
    if batch.B is None:
        return np.where(sound, np.expm1(log), -np.inf)
    K = np.where(sound[..., None, None], K, np.eye(2 * n_rows))
    less = np.einsum("stii->st", np.linalg.solve(K, _inner(batch.B, U)))
    return np.where(sound, less / batch.total[:, None], -np.inf)


def _inner(A: Array, U: Array) -> Array:
    """Return UAU' of each trial, shape (n_plans, n_trials, 2 n_rows, 2 n_rows)."""
    return np.asarray((U @ A[:, None]) @ U.swapaxes(2, 3))
