"""Hadamard and conference matrices by construction.

Sylvester's doubling and Paley's two constructions over finite fields (Paley 1933, J. Math. Phys. 12, 311-320) give a Hadamard
matrix of every order that is a multiple of 4 up to 48, which Plackett & Burman (1946, Biometrika 33, 305-325) made into
screening plans. Conference matrices (zero diagonal, C'C = (m - 1)I) come from the same fields, and of order 16 by doubling.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

Signs = npt.NDArray[np.int64]

LARGEST = 48
"""Largest order offered."""


@cache
def hadamard(order: int) -> Signs:
    """Build a Hadamard matrix whose first column is all ones.

    Parameters
    ----------
    order : int
        1, 2 or a multiple of 4 up to 48.

    Returns
    -------
    ndarray of shape (order, order)
        Entries 1 and -1, with H'H = order * I. Do not write into it: it is shared.

    Raises
    ------
    ValueError
        If no construction is at hand for the order.
    """
    if order == 1:
        return np.ones((1, 1), dtype=np.int64)
    if order & (order - 1) == 0:
        return np.kron(np.array([[1, 1], [1, -1]]), hadamard(order // 2))
    if order % 4 == 0 and is_field(order - 1):
        return _normalised(_paley_one(order - 1))
    if order % 4 == 0 and is_field(order // 2 - 1) and (order // 2 - 1) % 4 == 1:
        return _normalised(_paley_two(order // 2 - 1))
    if order % 8 == 0:
        return _normalised(np.kron(np.array([[1, 1], [1, -1]]), hadamard(order // 2)))
    raise ValueError(f"no construction for order {order}")


def _normalised(matrix: Signs) -> Signs:
    return matrix * matrix[:, :1]


def _paley_one(q: int) -> Signs:
    core = conference(q + 1)
    return core + np.eye(q + 1, dtype=np.int64)


def _paley_two(q: int) -> Signs:
    core = conference(q + 1)
    signs, diagonal = np.array([[1, 1], [1, -1]]), np.array([[1, -1], [-1, -1]])
    return np.kron(core, signs) + np.kron(np.eye(q + 1, dtype=np.int64), diagonal)


@cache
def conference(order: int) -> Signs:
    """Build a conference matrix: zeros on the diagonal, ones and minus ones elsewhere, C'C = (order - 1) * I.

    Parameters
    ----------
    order : int
        Even; one more than an odd prime or a prime's square, or 16.

    Returns
    -------
    ndarray of shape (order, order)
        Symmetric for order = 2 mod 4, skew-symmetric for order = 0 mod 4. Do not write into it: it is shared.

    Raises
    ------
    ValueError
        If no construction is at hand for the order.
    """
    if is_field(order - 1):
        return _paley_conference(order - 1)
    if order % 8 == 0:  # the doubling of a skew conference matrix is one again
        half, one = conference(order // 2), np.eye(order // 2, dtype=np.int64)
        return np.block([[half, half + one], [half - one, -half]])
    raise ValueError(f"no construction for order {order}")


def _paley_conference(q: int) -> Signs:
    matrix = np.zeros((q + 1, q + 1), dtype=np.int64)
    matrix[1:, 1:] = _differences(q)
    matrix[0, 1:] = 1
    matrix[1:, 0] = 1 if q % 4 == 1 else -1
    return matrix


@cache
def is_field(q: int) -> bool:
    """Tell whether a field of q elements is at hand: q an odd prime, or the square of one that is 3 mod 4."""
    if _is_prime(q):
        return q % 2 == 1
    root = round(q**0.5)
    return root * root == q and _is_prime(root) and root % 4 == 3


def _is_prime(q: int) -> bool:
    return q > 1 and all(q % divisor for divisor in range(2, int(q**0.5) + 1))


def _differences(q: int) -> Signs:
    """Return chi(a - b) for all elements of the field: 1 for a square, -1 for another, 0 on the diagonal."""
    if _is_prime(q):
        elements = [(value, 0) for value in range(q)]
        p = q
    else:  # p = 3 mod 4, so i with i^2 = -1 extends the field of p elements
        p = round(q**0.5)
        elements = [(a, b) for a in range(p) for b in range(p)]
    squares = {((a * a - b * b) % p, 2 * a * b % p) for a, b in elements if (a, b) != (0, 0)}
    table = {element: 1 if element in squares else -1 for element in elements}
    table[0, 0] = 0
    return np.array([[table[(a - c) % p, (b - d) % p] for c, d in elements] for a, b in elements])
