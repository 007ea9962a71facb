"""Settings worth considering where they must add up to a number.

Settings spread evenly over each range by itself hardly ever add up. Here one factor of each rule gets the settings that the
others leave it, and all get those at the corners of what the rule leaves (McLean & Anderson 1966, Technometrics 8, 447-454).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.model.choices import Value
from doe.model.factor import Factor
from doe.model.sums import Sum

Array = npt.NDArray[np.float64]

MOST_SHARED = 100
"""Settings considered of the factor that takes what the others leave."""

MOST_CORNERS = 6
"""Factors in a rule up to which all corners of what it leaves are considered."""

_MOST_COMBINED = 50_000
_EDGE = 1e-9
_ON_STEP = 1e-6
_ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)


def in_range(factor: Factor, number: npt.ArrayLike) -> Array:
    """Return numbers as they are, those at an end of a factor's range but for rounding as that; NaN for what is beyond."""
    low, high = factor.span
    slack = _EDGE * (high - low)
    values = np.asarray(number, dtype=float)
    return np.where((values >= low - slack) & (values <= high + slack), np.clip(values, low, high), np.nan)


def left_to(rule: Sum, settings: Mapping[str, Any], to: Factor | None = None) -> Array:
    """Return what settings leave to a part of a rule, by default its `rest`; NaN where that is off its range or steps."""
    to = rule.rest if to is None else to
    low, high = to.span
    number = in_range(
        to, np.round(rule.left(settings, to), 15 - math.ceil(math.log10(high - low)))
    )  # without its noise
    if to.step is None:
        return number
    steps = (number - low) / to.step
    return np.where(np.abs(steps - np.round(steps)) < _ON_STEP, low + np.round(steps) * to.step, np.nan)


def summed_grids(
    found: Sequence[Sum], most: int, seen: Sequence[Mapping[str, Value]] = ()
) -> dict[str, tuple[Value, ...]]:
    """Choose settings of the factors in such rules, so that many of their combinations keep them.

    Parameters
    ----------
    found : sequence of Sum
    most : int
        Settings considered of each of the other factors, about.
    seen : sequence of mapping
        Settings of variants that exist; what follows from a change of one other factor of theirs is among the rest.

    Returns
    -------
    dict of str to tuple of setting
        Factor name -> its settings, in order: round numbers, the ends of the range, and the corners of what the rule leaves.
    """
    chosen: dict[str, Array] = {}
    for rule in found:
        corners = _corners(rule)
        for part in rule.others:
            if part.name not in chosen:
                chosen[part.name] = np.unique([*_round_grid(part, most), *corners[part.name]])
        follows = _left_by([chosen[part.name] for part in rule.others], rule)
        near = [_near(rule, settings, chosen) for settings in seen]
        usual = _thinned(_tidied(np.concatenate([follows, *near])))
        chosen[rule.rest.name] = np.unique([*usual, *corners[rule.rest.name]])
    by_name = {part.name: part for rule in found for part in rule.parts}
    return {name: tuple(sorted({by_name[name].read(value) for value in values})) for name, values in chosen.items()}


def _round_grid(factor: Factor, most: int) -> Array:
    """List both ends of a range and the multiples of a round step between them; or some of its own steps."""
    if factor.step is not None:
        return np.array(factor.grid(most), dtype=float)
    low, high = factor.span
    least = (high - low) / (most - 1) * (1 - _EDGE)
    power = 10.0 ** math.floor(math.log10(least))
    step = next(power * digit for digit in _ROUND if power * digit >= least)
    inner = step * np.arange(math.ceil(low / step), math.floor(high / step) + 1)
    return np.array([low, *_tidied(inner[(inner > low) & (inner < high)]), high])


def _corners(rule: Sum) -> dict[str, Array]:
    """Return for each part its settings where all others stand at an end of their range."""
    if len(rule.parts) > MOST_CORNERS:
        return {part.name: np.empty(0) for part in rule.parts}
    found = {}
    for part in rule.parts:
        others = [other for other in rule.parts if other is not part]
        ends = np.array(list(itertools.product(*(other.span for other in others))))
        left = left_to(rule, {other.name: ends[:, place] for place, other in enumerate(others)}, part)
        found[part.name] = _tidied(left[np.isfinite(left)])
    return found


def _left_by(others: Sequence[Array], rule: Sum) -> Array:
    """Return what combinations of the others' settings leave; of very many, those of a random part."""
    sizes = [len(values) for values in others]
    if math.prod(sizes) <= _MOST_COMBINED:
        codes = np.stack(np.unravel_index(np.arange(math.prod(sizes)), sizes), axis=1)
    else:
        rng = np.random.default_rng(0)
        codes = np.stack([rng.integers(size, size=_MOST_COMBINED) for size in sizes], axis=1)
    left = left_to(rule, {part.name: others[place][codes[:, place]] for place, part in enumerate(rule.others)})
    return np.asarray(left[np.isfinite(left)])


def _near(rule: Sum, settings: Mapping[str, Value], chosen: Mapping[str, Array]) -> Array:
    """Return what is left when one of the other parts of a variant moves and the rest makes up for it."""
    if not all(part.name in settings for part in rule.others):
        return np.empty(0)
    moved = [left_to(rule, {**settings, part.name: chosen[part.name]}) for part in rule.others]
    left = np.concatenate(moved)
    return np.asarray(left[np.isfinite(left)])


def _tidied(numbers: npt.NDArray[np.floating[Any]]) -> Array:
    """Drop rounding noise, so that 0.3 is shown as 0.3."""
    return np.unique([float(f"{number:.14g}") for number in numbers])


def _thinned(numbers: Array) -> Array:
    places = np.unique(np.round(np.linspace(0, len(numbers) - 1, min(len(numbers), MOST_SHARED))).astype(int))
    return numbers[places] if len(numbers) else numbers
