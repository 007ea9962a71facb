"""Two ways timed in turn, so that a machine that is busy for a while slows both."""

from __future__ import annotations

from collections.abc import Callable


def fastest_in_turn(
    own: Callable[[], float], yardstick: Callable[[], float], *, at_most: float, rounds: int, least: int = 2
) -> tuple[float, float]:
    """Return the fewest seconds of each; after `least` rounds it ends once their ratio is at most so much.

    Each way does its work once and returns the seconds it took.
    """
    own_s = yardstick_s = float("inf")
    for done in range(1, rounds + 1):
        own_s, yardstick_s = min(own_s, own()), min(yardstick_s, yardstick())
        if done >= least and own_s <= at_most * yardstick_s:
            break
    return own_s, yardstick_s
