"""What each recipe does with one file: from checked settings to one number."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np

from doe.model import wording
from doe.model.errors import DataError, UsageError
from doe.signals import bands, series, shape, spectrum
from doe.signals.decay import Decay, measure_decay
from doe.signals.distortion import measure_distortion
from doe.signals.files import read_blocks
from doe.signals.impulse import Impulse
from doe.signals.response import Response
from doe.signals.sound_format import sound_format
from doe.signals.sources import (
    LEAST_SNR_DB,
    Context,
    Said,
    Settings,
    average_responses,
    full_scale,
    load_impulse,
    load_recording,
    load_response,
    load_spectrum,
    say_uncalibrated,
)

Measure = Callable[[Path, Settings, Context, Said], float]

_WIDENED, _TOLD_WIDENED = 0.26, 0.04
"""Smoothing over 1/n octave takes 0.26 (Q / n)^2 off the Q that is read off a simple resonator (computed, n = 24: off by
half a percentage point up to Q = 20); it is told from 4 % on."""

_NOT_FOR_CURVES = ("input", "channel", "gate_ms", "microphone", "full_scale_db", "calibrator")


def band_level(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Level within a band, optionally relative to that in another, in dB."""
    return _level_less(path, settings, context, said, settings["relative_to"])


def band_ratio(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Level within one band less that within another, in dB."""
    return _level_less(path, settings, context, said, settings["to_band"])


def _level_less(
    path: Path, settings: Settings, context: Context, said: Said, other: tuple[float, float] | None
) -> float:
    band = settings["band"]
    if settings["input"] == "recording":
        return _recorded_level(path, settings, context, said, band, other)
    low, high = (band[0], band[1]) if other is None else (min(band[0], other[0]), max(band[1], other[1]))
    response = load_response(path, settings, context, said, (low, high))
    level = bands.band_mean(response.frequency, response.level, band[0], band[1], settings["average"])
    if other is not None:
        return level - bands.band_mean(response.frequency, response.level, other[0], other[1], settings["average"])
    if not response.is_absolute:
        say_uncalibrated(path, said)
    return level


def _recorded_level(
    path: Path,
    settings: Settings,
    context: Context,
    said: Said,
    band: tuple[float, float],
    other: tuple[float, float] | None,
) -> float:
    for key in ("gate_ms", "microphone"):
        if settings[key] is not None:
            raise UsageError(f"{key} does not fit input 'recording'; it is for sweeps and impulse responses.")
    if settings["average"] == "dB" or settings["smoothing"]:
        raise UsageError(
            "average 'dB' and smoothing do not fit input 'recording': its power is added up over the band."
        )
    found = load_spectrum(path, settings, context, said)
    known = full_scale(settings, context)
    level = spectrum.level(found, "Z", band, full_scale_db=known)
    if other is not None:
        return level - spectrum.level(found, "Z", other, full_scale_db=known)
    if known is None:
        say_uncalibrated(path, said)
    return level


def level(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Equivalent continuous level of a whole recording, weighted."""
    found = load_spectrum(path, settings, context, said)
    known = full_scale(settings, context)
    if known is None:
        say_uncalibrated(path, said)
    value = spectrum.level(found, settings["weighting"], settings["band"], full_scale_db=known)
    _compare_with_background(path, value, settings, context, said, known)
    return value


def _compare_with_background(
    path: Path, value: float, settings: Settings, context: Context, said: Said, known: float | None
) -> None:
    name = settings["background"]
    if name is None:
        said.note("No background recording: how far the level stands above the silence of the room is not known.")
        return
    silence = load_spectrum(context.path(name), settings, context, Said())  # it is meant to be quiet
    floor = spectrum.level(silence, settings["weighting"], settings.get("band"), full_scale_db=known)
    if value - floor < LEAST_SNR_DB:
        said.warn(
            f"{path.name} stands only {wording.number(value - floor, 2)} dB above {name}; {LEAST_SNR_DB:.0f} dB or more keep "
            "the level within 0.14 dB."
        )


def loudest_level(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Highest time-weighted level (F) of a recording, weighted."""
    recording, channel = load_recording(path, settings, context, said)
    known = full_scale(settings, context)
    if known is None:
        say_uncalibrated(path, said)
    weighting = settings["weighting"]
    return spectrum.loudest_level(read_blocks(recording, channel), recording.rate, weighting, full_scale_db=known)


def deviation(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Root-mean-square difference from a reference over a band, after matching the mean levels, in dB."""
    band, match = settings["band"], settings["match_band"] or settings["band"]
    reach = (min(band[0], match[0]), max(band[1], match[1]))
    response = load_response(path, settings, context, said, reach)
    reference = reference_response(settings, context, said, reach)
    return shape.deviation(response, reference, band[0], band[1], match=match).rms_db


def reference_response(settings: Settings, context: Context, said: Said, band: tuple[float, float]) -> Response:
    """Return the reference that a recipe names: a curve file, or the mean of all takes of another variant.

    Raises
    ------
    UsageError
        If the recipe names none or both.
    DataError
        If the variant has no files, or one of them cannot be read.
    """
    file, variant = settings["reference"], settings["reference_variant"]
    if (file is None) == (variant is None):
        raise UsageError("A deviation needs either reference (a file) or reference_variant (a variant with takes).")
    if file is not None:
        path = context.path(file)
        own = settings if sound_format(path) else {**settings, **dict.fromkeys(_NOT_FOR_CURVES)}
        return load_response(path, own, context, said, band)
    takes = context.variant_files.get(variant, ())
    if not takes:
        raise DataError(f"reference_variant '{variant}' has no files; measure it first.")
    loaded = [load_response(Path(take), settings, context, said, band) for take in takes]
    return average_responses(loaded, settings["average"], band)


def tilt(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Slope over a band, in dB per octave."""
    low, high = settings["band"]
    return shape.tilt(load_response(path, settings, context, said, (low, high)), low, high)


def _resonance(path: Path, settings: Settings, context: Context, said: Said) -> shape.Resonance:
    low, high = settings["band"]
    response = load_response(path, settings, context, said, (low, high))
    found = shape.find_resonances(response, low, high, least_db=settings["least_db"])
    told = f"from {wording.number(low)} to {wording.number(high)} Hz"
    if not found:
        least = wording.number(settings["least_db"])
        raise DataError(
            f"{path.name} has no resonance {told} that stands {least} dB out; widen band or lower least_db."
        )
    if len(found) > 1 and found[0].height_db - found[1].height_db < 1.0:
        others = f"{wording.number(found[0].frequency_hz)} and {wording.number(found[1].frequency_hz)} Hz"
        said.warn(f"{path.name} has two resonances of about the same height {told}, at {others}; narrow the band.")
    return found[0]


def resonance_frequency(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Frequency of the highest resonance within a band, in Hz."""
    return _resonance(path, settings, context, said).frequency_hz


def resonance_height(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """How far the highest resonance within a band stands above the octave around it, in dB."""
    return _resonance(path, settings, context, said).height_db


def resonance_q(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Quality factor of the highest resonance within a band."""
    found = _resonance(path, settings, context, said)
    if found.q is None:
        raise DataError(
            f"{path.name}: the resonance at {wording.number(found.frequency_hz)} Hz does not fall 3 dB on both sides, or is "
            "too sharp to resolve; it has no Q. Use resonance_height, or a longer gate_ms."
        )
    smoothing = settings["smoothing"]
    too_low = _WIDENED * (found.q / smoothing) ** 2 if smoothing else 0.0
    if too_low > _TOLD_WIDENED:
        said.warn(
            f"{path.name}: smoothing over 1/{smoothing} octave widens the resonance, so that its Q comes out some "
            f"{wording.percent(too_low)} too low; set smoothing to 0 if the curve is clean."
        )
    return found.q


def _decay(path: Path, settings: Settings, context: Context, said: Said, *figures: str) -> Decay:
    impulse = load_impulse(path, settings, context, said)
    found = decay_of(impulse, settings)
    said.warn(*found.said_about(*figures))
    return found


def decay_of(impulse: Impulse, settings: Settings) -> Decay:
    """Return the decay that a recipe reads: in its band, in its octave, or of all frequencies."""
    if settings["octave"] is not None:
        return measure_decay(impulse, _octave(settings["octave"]), settings["octave"])
    return measure_decay(impulse, settings["band"])


def _octave(nominal_hz: float) -> tuple[float, float]:
    """Return the exact edges of the octave band that is called by a nominal frequency."""
    place = round(math.log(nominal_hz / bands.REFERENCE_HZ, bands.OCTAVE_RATIO))
    return bands.edges(bands.mid_frequency(place, 1), 1)


def _present(path: Path, value: float | None, decay: Decay, figure: str) -> float:
    if value is None or not math.isfinite(value):
        reasons = [finding.text for finding in decay.findings if finding.about == figure]
        raise DataError(" ".join(reasons) or f"{path.name}: {figure.upper()} cannot be read from this decay.")
    return value


def decay_time(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Decay time for 60 dB, in seconds or milliseconds."""
    which = settings["range"].lower()
    decay = _decay(path, settings, context, said, which, "shape")
    value = _present(path, getattr(decay, f"{which}_s"), decay, which)
    return value * (1000.0 if settings["time_unit"] == "ms" else 1.0)


def clarity(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Early-to-late energy, in dB."""
    figure = f"c{settings['limit_ms']}"
    decay = _decay(path, settings, context, said, figure)
    return _present(path, getattr(decay, f"{figure}_db"), decay, figure)


def definition(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Share of the energy that arrives in the first 50 ms."""
    return _decay(path, settings, context, said).d50


def centre_time(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Centre of gravity of the energy over time, in seconds or milliseconds."""
    found = _decay(path, settings, context, said).centre_s
    return found * (1000.0 if settings["time_unit"] == "ms" else 1.0)


def distortion(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Harmonic distortion within a band of played frequencies, in percent."""
    low, high = settings["band"]
    order = settings["order"]
    impulse = load_impulse(path, settings, context, said)
    found = measure_distortion(impulse, 5 if order == "total" else max(order, 3))
    bands.check_cover(found.frequency, low, high, f"the distortion of {path.name}")
    inside = (found.frequency >= low) & (found.frequency <= high)
    if not inside.any():
        raise DataError(f"{path.name}: the band holds none of the played frequencies; widen it to 1/24 octave or more.")
    level = 20.0 * np.log10(found.total_percent / 100.0) if order == "total" else found.of_order(order)
    if np.isnan(level[inside]).any():
        top = wording.number(impulse.high_hz / float(order))
        raise DataError(
            f"{path.name}: harmonic {order} is known up to {top} Hz of the played tone only; lower the band."
        )
    value, floor = (math.sqrt(float(np.mean(bands.to_power(part[inside])))) for part in (level, found.floor))
    if value < 2.0 * floor:
        said.warn(
            f"{path.name}: noise alone would give {wording.number(100 * floor, 2)} %; the distortion lies at most a "
            "little above it. Measure louder or with a longer sweep."
        )
    return 100.0 * value


def channel_difference(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Difference of the first channel from the second over a band: of level, or of shape, in dB."""
    band = settings["band"]
    first, second = (
        load_response(path, {**settings, "channel": channel, "microphone": None}, context, said, band)
        for channel in settings["channels"]
    )
    difference = shape.deviation(first, second, band[0], band[1])
    return difference.rms_db if settings["what"] == "shape" else difference.shift_db


def _series(path: Path, settings: Settings, context: Context, said: Said) -> series.Series:
    column, rate = settings["column"], settings["rate"]
    found: series.Series = context.once(
        "series", path, lambda: series.read_series(path, column, rate=rate), column, rate
    )
    if found.time_unit != "s":
        said.note(f"{path.name}: time is in {found.time_unit}, as its heading says.")
    return found


def signal_rms(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Root mean square of a sampled signal, or of a recording in shares of full scale."""
    return series.rms(_series(path, settings, context, said), without_mean=settings["mean"] == "off")


def signal_peak(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Largest magnitude of a sampled signal, or of a recording in shares of full scale."""
    return series.peak(_series(path, settings, context, said))


def dominant_frequency(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """Frequency of the strongest part of a sampled signal or a recording, in Hz."""
    low, high = settings["band"] or (None, None)
    return series.dominant_frequency(_series(path, settings, context, said), low, high)


def settling_time(path: Path, settings: Settings, context: Context, said: Said) -> float:
    """How long a sampled signal takes to stay near its final value, in seconds."""
    found = _series(path, settings, context, said)
    return series.settling_time(found, settings["within_percent"] / 100.0, start_s=settings["start_s"])
