"""Any sampled signal - current, force, temperature in a text file, or a recording - and the figures that are read off it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from doe.model import wording
from doe.model.errors import DataError, UsageError, did_you_mean, listed
from doe.signals.files import Recording, choose_channel, open_recording, read_samples
from doe.signals.sound_format import sound_format
from doe.signals.text_table import NumberTable, read_table

Array = NDArray[np.float64]

_LARGEST_JITTER = 0.1
_TIME_UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "ns": 1e-9, "min": 60.0, "h": 3600.0}
_ALSO_SPELLED = {"msec": "ms", "usec": "us", "nsec": "ns", "hours": "h", "minutes": "min"}
_FINAL_SHARE = 0.1
_FAINTEST = 1e-12
"""Share of the power of the strongest line; 120 dB below it stands what rounding leaves."""
_ROUNDING = 1e-12
"""Share of a signal's largest value that rounding may leave of what is taken off."""
_FEWEST = 8
_MOST_SAMPLES = 30_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """A signal sampled at even steps of time.

    Attributes
    ----------
    name : str
        File, and column where there are several.
    value : ndarray of shape (n_samples,)
        In the file's own unit.
    rate : float
        Samples per second, in Hz.
    begin_s : float
        When the first sample was taken by the file's own time, in seconds: scopes count from the trigger.
    time_unit : str
        Unit of the file's time, as its heading says; seconds where it says nothing.
    """

    name: str
    value: Array
    rate: float
    begin_s: float = 0.0
    time_unit: str = "s"

    @property
    def time_s(self) -> Array:
        """Time from the first sample, in seconds."""
        return np.arange(len(self.value)) / self.rate


def read_series(path: Path | str, column: int | str | None = None, *, rate: float | None = None) -> Series:
    """Read one signal from a text file or a recording.

    Parameters
    ----------
    path : path
        A WAV, FLAC or AIFF file, whose values are shares of full scale, or rows of numbers (see
        `doe.signals.text_table.read_table`). Without `rate` the first column is time: in seconds, or in ms, us, ns, min or h if
        its heading ends in that.
    column : int or str, optional
        The signal: a column counted from 1, or its heading. By default the only one besides time. In a recording the channel
        from 1, by default the only one.
    rate : float, optional
        Samples per second, if the file has no time column.

    Raises
    ------
    UsageError
        If there is no such column, or it must be said which of several; if `rate` is given for a recording.
    DataError
        If the file cannot be read, a recording is silent, clipped or too long, or time does not rise in even steps.
    """
    if Path(path).is_file() and sound_format(Path(path)) is not None:
        return _from_recording(open_recording(path), column, rate)
    table = _read_columns(path, has_time=rate is None)
    if len(table.values) < _FEWEST:
        raise DataError(
            f"{table.name} holds {wording.counted(len(table.values), 'row')} of numbers; a signal needs {_FEWEST} or more."
        )
    place = _choose_column(table, column, has_time=rate is None)
    name = table.name if table.values.shape[1] <= 2 else f"{table.name}, {_called(table, place)}"
    value = table.values[:, place].copy()
    if rate is not None:
        return Series(name, value, _checked_rate(rate))
    unit = _time_unit(table)
    time = table.values[:, 0] * _TIME_UNITS[unit]
    return Series(name, value, _rate_from_time(table, time), float(time[0]), unit)


def _from_recording(recording: Recording, channel: int | str | None, rate: float | None) -> Series:
    """Return one channel of a recording."""
    name, count = recording.name, recording.channels
    if rate is not None:
        raise UsageError(f"rate is set, but {name} says its own: {recording.rate} Hz; leave rate out.")
    if channel is None and count > 1 and not recording.alike:
        raise UsageError(f"{name} holds {count} channels; set column to the channel, from 1.")
    if isinstance(channel, str):
        raise UsageError(f"column is '{channel}'; channels of a recording have numbers, from 1.")
    if recording.frames > _MOST_SAMPLES:
        raise DataError(
            f"{name} holds {wording.number(recording.seconds)} s; a signal may hold {_MOST_SAMPLES} samples: cut it to the "
            "part that matters."
        )
    chosen, _ = choose_channel(recording, channel)
    told = name if count == 1 else f"{name}, channel {chosen}"
    return Series(told, read_samples(recording, chosen), float(recording.rate))


def _read_columns(path: Path | str, *, has_time: bool) -> NumberTable:
    try:
        return read_table(path, least_columns=2 if has_time else 1)
    except DataError:
        if has_time and _is_one_column(Path(path)):
            raise UsageError(
                f"{Path(path).name} has one column, so no time; set rate to its samples per second."
            ) from None
        raise


def _is_one_column(path: Path) -> bool:
    """Whether a text that has no two numbers a line ends in lines that are one number."""
    if not path.is_file():
        return False
    try:
        float(path.read_text(encoding="utf-8", errors="replace").rstrip().rsplit("\n", 1)[-1].replace(",", "."))
    except ValueError:
        return False
    return True


def _time_unit(table: NumberTable) -> str:
    """Return the unit that the heading of the time column ends in: ``time (ms)``, ``t_us``, ``Time [s]``."""
    words = re.split(r"[\W\d_]+", table.headings[0].replace("μ", "µ")) if table.headings else []
    last = next((word.lower() for word in reversed(words) if word), "")
    unit = _ALSO_SPELLED.get(last, last)
    return unit if unit in _TIME_UNITS else "s"


def _checked_rate(rate: float) -> float:
    if not 0 < rate <= 1e9:
        raise UsageError(f"rate is {wording.number(rate)} Hz; it must be above 0 and at most 1000000000 Hz.")
    return float(rate)


def _called(table: NumberTable, place: int) -> str:
    return f"'{table.headings[place]}'" if table.headings else f"column {place + 1}"


def _choose_column(table: NumberTable, column: int | str | None, *, has_time: bool) -> int:
    first, count = (1 if has_time else 0), table.values.shape[1]
    if column is None:
        if count - first > 1:
            names = listed([_called(table, place) for place in range(first, count)])
            raise UsageError(f"{table.name} holds several signals; set column to {names}.")
        return first
    if isinstance(column, int):
        if not first < column <= count:
            raise UsageError(
                f"column is {column}; the signals of {table.name} stand in columns {first + 1} to {count}."
            )
        return column - 1
    folded = [heading.casefold() for heading in table.headings]
    if column.strip().casefold() not in folded[first:]:
        known = table.headings[first:]
        hint = did_you_mean(column, known) if known else " It has no headings; give the number of the column."
        raise UsageError(f"column is '{column}'; {table.name} has no such heading.{hint}")
    return first + folded[first:].index(column.strip().casefold())


def _rate_from_time(table: NumberTable, time: Array) -> float:
    steps = np.diff(time)
    back = np.flatnonzero(steps <= 0)
    if len(back):
        raise DataError(
            f"{table.where(int(back[0]) + 1)}: time does not rise; the first column must be time in seconds, or set rate."
        )
    step = float(np.median(steps))
    uneven = np.flatnonzero(np.abs(steps - step) > _LARGEST_JITTER * step)
    if len(uneven):
        row = int(uneven[0]) + 1
        raise DataError(
            f"{table.where(row)}: the step of time is {wording.number(float(steps[row - 1]))} s and elsewhere "
            f"{wording.number(step)} s; samples must be evenly spaced."
        )
    return float(len(steps) / (time[-1] - time[0]))


def rms(series: Series, *, without_mean: bool = False) -> float:
    """Return the root mean square, in the signal's unit; `without_mean` leaves only what varies."""
    value = series.value - np.mean(series.value) if without_mean else series.value
    top = float(np.max(np.abs(value)))
    return top * math.sqrt(float(np.mean((value / top) ** 2))) if top > _ROUNDING * peak(series) else 0.0


def peak(series: Series) -> float:
    """Return the largest magnitude, in the signal's unit."""
    return float(np.max(np.abs(series.value)))


def dominant_frequency(series: Series, low_hz: float | None = None, high_hz: float | None = None) -> float:
    """Return the frequency of the strongest part of a signal, in Hz.

    Parameters
    ----------
    series : Series
        The signal; its mean and its straight trend are taken off first.
    low_hz, high_hz : float, optional
        Where to look.

    Raises
    ------
    DataError
        If the signal does not vary, the band does not lie between one period of the record and half the rate, or holds no
        peak.

    Notes
    -----
    Top of the parabola through three lines of the spectrum, in dB, under a Hann window: off by less than a twentieth of a
    line for a single tone (E. Jacobsen, P. Kootsookos 2007, IEEE Signal Process. Mag. 24(3), 123-125, *from memory*).
    """
    count = len(series.value)
    width = series.rate / count
    low, high = max(low_hz or 0.0, 1.5 * width), min(high_hz or math.inf, 0.5 * series.rate)
    t = np.linspace(-1.0, 1.0, count)
    value = series.value - np.mean(series.value)
    value = value - t * (np.sum(value * t) / np.sum(t * t))
    if float(np.max(np.abs(value))) <= _ROUNDING * max(1e-300, peak(series)):
        raise DataError(f"{series.name} does not vary; it has no dominant frequency.")
    power = np.abs(fft.rfft(value / np.max(np.abs(value)) * np.hanning(count))) ** 2
    inside = np.flatnonzero((np.arange(len(power)) * width >= low) & (np.arange(len(power)) * width <= high))
    if not len(inside):
        raise DataError(
            f"{series.name} has nothing between {wording.number(low)} and {wording.number(high)} Hz: it resolves "
            f"{wording.number(width)} Hz and ends at {wording.number(0.5 * series.rate)} Hz."
        )
    peaks = inside[np.isin(inside, _tops(power))]
    if not len(peaks):
        raise DataError(
            f"{series.name} has no peak between {wording.number(low)} and {wording.number(high)} Hz; what is there belongs to "
            "something outside, so widen band."
        )
    top = int(peaks[np.argmax(power[peaks])])
    return (top + _parabola_step(power, top)) * width


def _tops(power: Array) -> NDArray[np.intp]:
    """Return the lines that no neighbour exceeds; a band may cut through the foot of a tone outside it."""
    middle = power[1:-1]
    return np.flatnonzero((middle >= power[:-2]) & (middle >= power[2:]) & (middle > _FAINTEST * power.max())) + 1


def _parabola_step(power: Array, top: int) -> float:
    if not 0 < top < len(power) - 1:
        return 0.0
    left, middle, right = np.log(np.maximum(power[top - 1 : top + 2], 1e-300))
    bend = left - 2.0 * middle + right
    return float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < 0 else 0.0


def settling_time(series: Series, share: float = 0.05, *, start_s: float = 0.0) -> float:
    """Return how long a signal takes to stay near its final value, in seconds.

    Parameters
    ----------
    series : Series
        A step response.
    share : float
        It has settled when it stays within this share of the whole step around its final value.
    start_s : float
        When the step was applied, by the time of the file; at the first sample if that is later.

    Raises
    ------
    DataError
        If there is no step, or the signal does not settle within the record.

    Notes
    -----
    The final value is the mean of the last tenth; the step is the final value less the first one from `start_s` on. The
    definition is that of control engineering (IEC 60050-351-45-37, *from memory*).
    """
    first = max(0, round((start_s - series.begin_s) * series.rate))
    value = series.value[first:]
    if len(value) < _FEWEST:
        raise DataError(f"{series.name}: start {wording.number(start_s)} s leaves less than {_FEWEST} samples.")
    last = max(1, int(_FINAL_SHARE * len(value)))
    final = float(np.mean(value[-last:]))
    step = abs(final - float(value[0]))
    if step <= _ROUNDING * max(float(np.max(np.abs(value))), 1e-300):
        raise DataError(f"{series.name} ends where it begins; there is no step to settle from.")
    outside = np.flatnonzero(np.abs(value - final) > share * step)
    settled = int(outside[-1]) + 1 if len(outside) else 0
    if settled > len(value) - last:
        raise DataError(
            f"{series.name} does not settle: it still leaves the range of {wording.percent(share)} around its final value "
            "in the last tenth of the record; record longer."
        )
    return settled / series.rate
