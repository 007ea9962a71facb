"""The keys of a measuring recipe: what each may hold, and what it is when it is left out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from doe.model.errors import UsageError, did_you_mean, listed
from doe.model.numbers import finite
from doe.model.wording import exact, unit_behind
from doe.signals.sweep import Sweep

REQUIRED: Any = object()
"""Default of a key that must be given."""


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a recipe.

    Attributes
    ----------
    name : str
        As written in the setup file.
    read : callable
        Takes the field's name for messages and the value; returns the value as used, or raises UsageError.
    default : object
        Used when the key is left out; `REQUIRED` if it must not be.
    help : str
        What it is, in a phrase.
    """

    name: str
    read: Callable[[str, Any], Any]
    default: Any
    help: str


def read_settings(where: str, recipe: Mapping[str, Any], keys: Sequence[Key]) -> dict[str, Any]:
    """Check the keys of a recipe and fill in those left out.

    Raises
    ------
    UsageError
        If a key is unknown (the message suggests the nearest), missing, or holds what it may not.
    """
    known = {key.name: key for key in keys}
    for name in recipe:
        if name != "from" and name not in known:
            raise UsageError(
                f"{where} has an unknown key '{name}'; it may have {listed(known, 'and')}.{did_you_mean(str(name), known)}"
            )
    settings = {}
    for key in keys:
        if key.name in recipe:
            settings[key.name] = key.read(f"{where}: {key.name}", recipe[key.name])
        elif key.default is REQUIRED:
            raise UsageError(f"{where} has no {key.name}: {key.help}.")
        else:
            settings[key.name] = key.default
    return settings


def read_band(field: str, value: Any) -> tuple[float, float]:
    """Return two rising frequencies in Hz."""
    if isinstance(value, str) or not isinstance(value, Sequence) or len(value) != 2:
        raise UsageError(f"{field} is '{value}'; it must be two frequencies in Hz, such as [40, 150].")
    low, high = (finite(field, part) for part in value)
    if not 0 < low < high:
        raise UsageError(f"{field} is {exact(low)} to {exact(high)} Hz; it must rise from above 0.")
    return low, high


def read_sweep(field: str, value: Any) -> Sweep:
    """Return a sweep from its first frequency, last frequency and seconds."""
    if isinstance(value, str) or not isinstance(value, Sequence) or len(value) != 3:
        raise UsageError(f"{field} is '{value}'; it must be start and stop in Hz and seconds, such as [20, 20000, 10].")
    return Sweep(*(finite(field, part) for part in value))


def one_of(*words: Any) -> Callable[[str, Any], Any]:
    """Accept one of several words or numbers, as they are or as text with letters of either case."""

    def read(field: str, value: Any) -> Any:
        for word in words:
            same = isinstance(value, str) and value.casefold() == str(word).casefold()
            if same or (value == word and not isinstance(value, bool)):
                return word
        hint = did_you_mean(value, [str(word) for word in words]) if isinstance(value, str) else ""
        raise UsageError(f"{field} is '{value}'; it must be {listed(words)}.{hint}")

    return read


def number(low: float, high: float, unit: str = "") -> Callable[[str, Any], float]:
    """Accept a number within a range."""

    def read(field: str, value: Any) -> float:
        found = finite(field, value)
        if not low <= found <= high:
            raise UsageError(
                f"{field} is {exact(found)}; it must be from {exact(low)} to {exact(high)}{unit_behind(unit)}."
            )
        return found

    return read


def whole(low: int, high: int) -> Callable[[str, Any], int]:
    """Accept a whole number within a range."""

    def read(field: str, value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise UsageError(f"{field} is '{value}'; it must be a whole number from {low} to {high}.")
        return value

    return read


def read_text(field: str, value: Any) -> str:
    """Accept text that is not empty: a file, a variant."""
    if not isinstance(value, str) or not value.strip():
        raise UsageError(f"{field} is '{value}'; it must be text in quotes.")
    return value.strip()


def read_channels(field: str, value: Any) -> tuple[int, int]:
    """Accept two different channels, counted from 1."""
    if isinstance(value, str) or not isinstance(value, Sequence) or len(value) != 2 or value[0] == value[1]:
        raise UsageError(f"{field} is '{value}'; it must be two different channels, such as [1, 2].")
    first, second = (whole(1, 64)(field, part) for part in value)
    return first, second


def read_column(field: str, value: Any) -> int | str:
    """Accept a column by number, from 1, or by heading."""
    return read_text(field, value) if isinstance(value, str) else whole(1, 1000)(field, value)


_CHANNEL = Key("channel", whole(1, 64), None, "channel of the recording, from 1")
_CALIBRATION = (
    Key("full_scale_db", number(-50, 250, "dB"), None, "sound level of a sine at full scale, in dB"),
    Key("calibrator", read_text, None, "recording of a calibrator's tone at the same gain"),
    Key("calibrator_db", number(40, 140, "dB"), 94.0, "level that is printed on the calibrator, in dB"),
)
_SWEEP = Key("sweep", read_sweep, Sweep(), "sweep that was played: start and stop in Hz, seconds")
_AVERAGE = Key("average", one_of("power", "dB"), "power", "whether power or decibels are averaged")
_MICROPHONE = Key("microphone", read_text, None, "curve file with the microphone's own response")
_GATE = Key("gate_ms", number(1, 60_000, "ms"), None, "length of the analysed stretch from the direct sound on, in ms")


def response_keys(smoothing: int = 0, inputs: Sequence[str] = ("sweep", "impulse", "curve")) -> tuple[Key, ...]:
    """Return the keys of every recipe that starts from a frequency response."""
    return (
        Key(
            "input",
            one_of(*inputs),
            None,
            "what the file holds; by default a curve if it is text, a sweep if it is sound",
        ),
        _CHANNEL,
        _SWEEP,
        _GATE,
        _MICROPHONE,
        *_CALIBRATION,
        Key("smoothing", whole(0, 48), smoothing, "smoothing over one octave divided by this; 0 for none"),
        _AVERAGE,
    )


def impulse_keys() -> tuple[Key, ...]:
    """Return the keys of every recipe that starts from an impulse response."""
    return (Key("input", one_of("sweep", "impulse"), "sweep", "what the file holds"), _CHANNEL, _SWEEP)


def sound_keys() -> tuple[Key, ...]:
    """Return the keys of every recipe that starts from a plain recording."""
    background = Key("background", read_text, None, "recording of the silence, at the same gain, to compare with")
    return (_CHANNEL, *_CALIBRATION, background)


def series_keys() -> tuple[Key, ...]:
    """Return the keys of every recipe that starts from a sampled signal, in a text file or a recording."""
    return (
        Key("column", read_column, None, "the signal's column, from 1, or its heading; the channel of a recording"),
        Key("rate", number(1e-9, 1e9, "Hz"), None, "samples per second of a text file without a time column"),
    )
