"""Named recipes: from the files of one variant to readings of one outcome."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, is_dataclass
from pathlib import Path
from typing import Any

from doe.model.errors import DataError, UsageError, did_you_mean, listed
from doe.signals import recipe_book as book
from doe.signals.recipe_keys import (
    REQUIRED,
    Key,
    impulse_keys,
    number,
    one_of,
    read_band,
    read_channels,
    read_settings,
    read_text,
    response_keys,
    series_keys,
    sound_keys,
)
from doe.signals.sources import Context, Said

FilePath = Path | str


@dataclass(frozen=True, slots=True)
class Recipe:
    """How an outcome is computed from a file.

    Attributes
    ----------
    name : str
        What stands at ``from`` in the setup file.
    version : int
        Rises when the same file would give another number.
    unit : str
        Unit of the value; empty where it is the file's own.
    is_level : bool
        Whether the value is a level in dB, so that takes may be averaged as power.
    measure : callable
        Takes path, settings, context and what is to be said; returns the value.
    keys : tuple of Key
        What it may be given.
    help : str
        What it measures, in a sentence.
    """

    name: str
    version: int
    unit: str
    is_level: bool
    measure: book.Measure
    keys: tuple[Key, ...]

    @property
    def help(self) -> str:
        """What it measures, in a sentence."""
        return str(self.measure.__doc__)


@dataclass(frozen=True, slots=True)
class Measured:
    """Readings of one outcome, computed from files.

    Attributes
    ----------
    recipe : str
        Name of the recipe.
    version : int
        Its version.
    unit : str
        Unit of the values.
    values : tuple of float
        One reading a take, in the order of the files.
    files : tuple of str
        Names of the files.
    settings : mapping
        All keys, those left out included: with the version, what made the numbers.
    average : str
        How `mean` is formed: ``"power"`` or ``"dB"`` for levels, else ``"arithmetic"``.
    mean : float
        Mean of the takes.
    scatter : float or None
        Standard deviation of the takes; None for a single one.
    warnings, notes : tuple of str
        What stands against trusting the values, and what was assumed.
    """

    recipe: str
    version: int
    unit: str
    values: tuple[float, ...]
    files: tuple[str, ...]
    settings: Mapping[str, Any]
    average: str
    mean: float
    scatter: float | None
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


_BAND = Key("band", read_band, REQUIRED, "the band in Hz, such as [40, 150]")
_ANY_BAND = Key("band", read_band, None, "band in Hz; all frequencies without it")
_OCTAVES = (31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16_000)
_OCTAVE = Key("octave", one_of(*_OCTAVES), None, "octave band by its nominal frequency, such as 500")
_LEVEL_INPUTS = ("sweep", "impulse", "curve", "recording")
_WEIGHTING = Key("weighting", one_of("A", "C", "Z"), "A", "frequency weighting")
_TIME_UNIT = Key("time_unit", one_of("s", "ms"), "s", "unit of the result")
_DECAY_KEYS = (_ANY_BAND, _OCTAVE, *impulse_keys())
_RESONANCE_KEYS = (
    _BAND,
    Key("least_db", number(0.5, 60, "dB"), 3.0, "how far a resonance must stand out on both sides"),
    *response_keys(smoothing=24),
)
_RELATIVE = Key("relative_to", read_band, None, "band whose level is taken off")


def _table() -> tuple[Recipe, ...]:
    return (
        Recipe("band_level", 2, "dB", True, book.band_level,
               (_BAND, _RELATIVE, *response_keys(inputs=_LEVEL_INPUTS))),
        Recipe("band_ratio", 2, "dB", True, book.band_ratio,
               (_BAND, Key("to_band", read_band, REQUIRED, "the other band in Hz"), *response_keys(inputs=_LEVEL_INPUTS))),
        Recipe("level", 1, "dB", True, book.level, (_WEIGHTING, _ANY_BAND, *sound_keys())),
        Recipe("loudest_level", 1, "dB", True, book.loudest_level, (_WEIGHTING, *sound_keys()[:-1])),
        Recipe("deviation", 2, "dB", False, book.deviation,
               (_BAND, Key("reference", read_text, None, "file with the reference curve"),
                Key("reference_variant", read_text, None, "variant or reference object to compare with"),
                Key("match_band", read_band, None, "band in which the levels are matched"), *response_keys(smoothing=12))),
        Recipe("tilt", 2, "dB/octave", False, book.tilt, (_BAND, *response_keys())),
        Recipe("resonance_frequency", 2, "Hz", False, book.resonance_frequency, _RESONANCE_KEYS),
        Recipe("resonance_q", 2, "", False, book.resonance_q, _RESONANCE_KEYS),
        Recipe("resonance_height", 2, "dB", False, book.resonance_height, _RESONANCE_KEYS),
        Recipe("decay_time", 1, "s", False, book.decay_time,
               (Key("range", one_of("T20", "T30", "EDT"), "T20", "which part of the decay"), _TIME_UNIT, *_DECAY_KEYS)),
        Recipe("clarity", 1, "dB", False, book.clarity,
               (Key("limit_ms", one_of(50, 80), 50, "limit between early and late, in ms"), *_DECAY_KEYS)),
        Recipe("definition", 1, "", False, book.definition, _DECAY_KEYS),
        Recipe("centre_time", 1, "s", False, book.centre_time, (_TIME_UNIT, *_DECAY_KEYS)),
        Recipe("distortion", 1, "%", False, book.distortion,
               (_BAND, Key("order", one_of("total", *range(2, 11)), "total", "harmonic, from 2, or total"), *impulse_keys())),
        Recipe("channel_difference", 2, "dB", False, book.channel_difference,
               (_BAND, Key("channels", read_channels, (1, 2), "the two channels"),
                Key("what", one_of("level", "shape"), "level", "difference of level (signed) or of shape (RMS)"),
                *(key for key in response_keys(inputs=("sweep", "impulse")) if key.name not in ("channel", "microphone")))),
        Recipe("rms", 1, "", False, book.signal_rms,
               (Key("mean", one_of("on", "off"), "on", "off to take the mean off first"), *series_keys())),
        Recipe("peak", 1, "", False, book.signal_peak, series_keys()),
        Recipe("dominant_frequency", 3, "Hz", False, book.dominant_frequency, (_ANY_BAND, *series_keys())),
        Recipe("settling_time", 3, "s", False, book.settling_time,
               (Key("within_percent", number(0.01, 50, "%"), 5.0, "share of the step"),
                Key("start_s", number(-1e9, 1e9, "s"), 0.0, "when the step was applied, by the file's time"), *series_keys())),
    )  # fmt: skip


RECIPES: Mapping[str, Recipe] = {recipe.name: recipe for recipe in _table()}
"""Every recipe by name."""


def check_recipe(recipe: Mapping[str, Any]) -> tuple[Recipe, dict[str, Any]]:
    """Return the recipe that a setup names, and all its settings; nothing is measured.

    Parameters
    ----------
    recipe : mapping
        ``from`` and the recipe's keys, as in the setup file.

    Raises
    ------
    UsageError
        If there is no such recipe or key (the message suggests the nearest), or a key holds what it may not.
    """
    name = recipe.get("from")
    if name is None:
        raise UsageError(f"There is no recipe; set from to {listed(RECIPES)}.")
    if not isinstance(name, str) or name not in RECIPES:
        hint = did_you_mean(str(name), RECIPES)
        raise UsageError(f"from is '{name}'; a recipe is one of {listed(RECIPES)}.{hint}")
    found = RECIPES[name]
    settings = read_settings(f"Recipe '{name}'", recipe, found.keys)
    if settings.get("band") is not None and settings.get("octave") is not None:
        raise UsageError(f"Recipe '{name}' has band and octave; keep one of them.")
    return found, settings


def compute(
    recipe: Mapping[str, Any], files: FilePath | Sequence[FilePath], context: Context | None = None
) -> Measured:
    """Measure one outcome from the takes of one variant; each file is a reading of its own.

    Parameters
    ----------
    recipe : mapping
        ``from`` and the recipe's keys, as in the setup file.
    files : path or sequence of path
        One file per take: put up anew, measured again.
    context : Context, optional
        Where files named in the recipe are, and the takes of other variants.

    Returns
    -------
    Measured

    Raises
    ------
    UsageError
        If the recipe or a key is unknown, a key holds what it may not or does not fit the file, or no file is given.
    DataError
        If a file cannot be measured; then none counts, so that nothing half-measured is stored.
    """
    found, settings = check_recipe(recipe)
    paths = [Path(files)] if isinstance(files, str | Path) else [Path(file) for file in files]
    if not paths:
        raise UsageError("There are no files to measure; give one for each take.")
    said, shared = Said(), context or Context()
    values = tuple(_one(found, path, settings, shared, said) for path in paths)
    average = settings.get("average", "power") if found.is_level else "arithmetic"
    unit = settings.get("time_unit", found.unit)
    return Measured(
        recipe=found.name,
        version=found.version,
        unit=unit,
        values=values,
        files=tuple(path.name for path in paths),
        settings=plain_settings(settings),
        average=average,
        mean=_mean(values, average),
        scatter=statistics.stdev(values) if len(values) > 1 else None,
        warnings=tuple(said.warnings),
        notes=tuple(said.notes),
    )


def _one(recipe: Recipe, path: Path, settings: Mapping[str, Any], context: Context, said: Said) -> float:
    value = recipe.measure(path, settings, context, said)
    if not math.isfinite(value):
        raise DataError(f"{path.name}: {recipe.name} has no finite value; look at the file.")
    return float(value)


def _mean(values: Sequence[float], average: str) -> float:
    if average != "power":
        return statistics.fmean(values)
    top = max(values)
    return top + 10.0 * math.log10(statistics.fmean(10.0 ** ((value - top) / 10.0) for value in values))


def plain_settings(settings: Mapping[str, Any]) -> dict[str, Any]:
    """Return checked settings as they may be written to JSON, and as `Measured.settings` holds them."""
    return {name: _plain(value) for name, value in settings.items()}


def _plain(value: Any) -> Any:
    """Return a setting as it may be written to JSON."""
    if is_dataclass(value) and not isinstance(value, type):
        return list(asdict(value).values())
    return list(value) if isinstance(value, tuple) else value
