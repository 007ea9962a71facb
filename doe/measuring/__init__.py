"""Floor 5: takes of a variant turned into stored readings, and drawn."""

from doe.measuring.again import measure_again
from doe.measuring.check import check_outcome, check_setup
from doe.measuring.measure import measure
from doe.measuring.playback import playback, recordings_of
from doe.measuring.results import Measurements, Recomputed

__all__ = [
    "Measurements",
    "Recomputed",
    "check_outcome",
    "check_setup",
    "measure",
    "measure_again",
    "playback",
    "recordings_of",
]
