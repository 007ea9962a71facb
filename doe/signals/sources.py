"""From a file and a recipe's settings to what a recipe works on, with everything said that was found or assumed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from doe.model import wording
from doe.model.errors import DataError, UsageError
from doe.signals import bands
from doe.signals.curve import read_curve
from doe.signals.files import Recording, choose_channel, open_recording, quiet_warning, read_blocks
from doe.signals.impulse import Impulse, frequency_response, impulse_from_sweep, read_impulse, signal_to_noise
from doe.signals.response import Response
from doe.signals.sound_format import sound_format
from doe.signals.spectrum import Spectrum, full_scale_from, power_spectrum
from doe.signals.sweep import Sweep

Settings = Mapping[str, Any]

LEAST_SNR_DB = 15.0
"""Below it noise raises a level by more than 0.14 dB (the sum of two powers)."""

_HIDDEN_SNR_DB = 3.0


@dataclass(frozen=True, slots=True)
class Context:
    """What a recipe may need beside the files that are measured.

    Attributes
    ----------
    folder : Path
        Where files named in a recipe (microphone, reference, calibrator) are looked for.
    variant_files : mapping of str to sequence of Path
        Takes of other variants and reference objects, by name.
    files : mapping of str to Path
        Files that a recipe may name and that lie elsewhere, by name; one in the folder counts before them.
    loaded : dict
        What was read already, so that several recipes share one reading of a file. Filled in while measuring.
    """

    folder: Path = Path()
    variant_files: Mapping[str, Sequence[Path]] = field(default_factory=dict)
    files: Mapping[str, Path] = field(default_factory=dict)
    loaded: dict[tuple[Any, ...], Any] = field(default_factory=dict, repr=False, compare=False)

    def path(self, name: str) -> Path:
        """Return where a file is that a recipe names; in the folder, where it is nowhere."""
        beside = self.folder / name
        return beside if beside.exists() else self.files.get(name, beside)

    def once(self, what: str, path: Path, make: Any, *more: Any) -> Any:
        """Return ``make()``, or what it returned before for the same state of the same file."""
        state = path.stat() if path.is_file() else None
        key = (what, str(path), None if state is None else (state.st_size, state.st_mtime_ns), *more)
        if key not in self.loaded:
            self.loaded[key] = make()
        return self.loaded[key]


@dataclass(slots=True)
class Said:
    """What is to be told beside a value.

    Attributes
    ----------
    warnings : list of str
        What stands against trusting it.
    notes : list of str
        What was assumed because nothing was stated.
    """

    warnings: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def warn(self, *sentences: str) -> None:
        """Add warnings, each once; empty ones are left out."""
        self.warnings.extend(text for text in sentences if text and text not in self.warnings)

    def note(self, *sentences: str) -> None:
        """Add notes, each once."""
        self.notes.extend(text for text in sentences if text not in self.notes)


def load_recording(path: Path, settings: Settings, context: Context, said: Said) -> tuple[Recording, int]:
    """Open a recording, choose its channel, and say what is amiss with it.

    Raises
    ------
    DataError
        If it cannot be measured (see `doe.signals.files.open_recording`).
    UsageError
        If it lacks the channel.
    """
    recording: Recording = context.once("recording", path, lambda: open_recording(path))
    channel, sentence = choose_channel(recording, settings.get("channel"))
    said.warn(sentence, quiet_warning(recording, channel))
    return recording, channel


def load_impulse(path: Path, settings: Settings, context: Context, said: Said) -> Impulse:
    """Return the impulse response that a file holds or from which it can be taken.

    Raises
    ------
    DataError
        If the file is no recording, or does not hold the sweep.
    """
    recording, channel = load_recording(path, settings, context, said)
    if settings.get("input") == "impulse":
        return context.once("impulse", path, lambda: read_impulse(recording, channel), channel)  # type: ignore[no-any-return]
    sweep: Sweep = settings["sweep"]
    said.note(
        f"Read as the sweep from {wording.number(sweep.start_hz)} to {wording.number(sweep.stop_hz)} Hz in "
        f"{wording.number(sweep.seconds)} s."
    )
    impulse: Impulse = context.once(
        "sweep", path, lambda: impulse_from_sweep(recording, channel, sweep), channel, sweep
    )
    said.warn(*impulse.warnings)
    return impulse


def load_response(path: Path, settings: Settings, context: Context, said: Said, band: tuple[float, float]) -> Response:
    """Return the frequency response that a file holds or from which it can be taken, corrected and calibrated.

    Parameters
    ----------
    path : Path
        A curve file or a recording.
    settings : mapping
        Checked settings of a recipe with the keys of `doe.signals.recipe_keys.response_keys`.
    context : Context
        Where other files are.
    said : Said
        Takes what is found or assumed.
    band : pair of float
        In Hz; it must be covered, and the noise is judged in it.

    Raises
    ------
    DataError
        If the file cannot be read, or the band is not covered.
    UsageError
        If the recipe expects something else than the file holds.
    """
    gate_s = None if settings.get("gate_ms") is None else settings["gate_ms"] / 1000.0
    impulse = None
    if _holds_curve(path, settings.get("input")):
        _refuse_for_curves(path, settings)
        response = read_curve(path)
    else:
        impulse = load_impulse(path, settings, context, said)
        response = frequency_response(impulse, gate_s)
    bands.check_cover(response.frequency, band[0], band[1], path.name)
    if impulse is not None:
        _judge_impulse(impulse, response, band, gate_s, said)
    response = _corrected(response, settings, context, said, band)
    known = full_scale(settings, context)
    response = response if known is None else response.raised(known)
    smoothing = settings.get("smoothing")
    return response.smoothed(smoothing, settings.get("average", "power")) if smoothing else response


def load_spectrum(path: Path, settings: Settings, context: Context, said: Said) -> Spectrum:
    """Return the power spectrum of a recording.

    Raises
    ------
    DataError
        If it cannot be measured.
    """
    recording, channel = load_recording(path, settings, context, said)
    spectrum: Spectrum = context.once(
        "spectrum",
        path,
        lambda: power_spectrum(read_blocks(recording, channel), recording.rate, recording.frames),
        channel,
    )
    return spectrum


def full_scale(settings: Settings, context: Context) -> float | None:
    """Return the sound level of a sine at full scale as the recipe calibrates it; None without a calibration.

    Raises
    ------
    UsageError
        If both a figure and a calibrator's recording are given.
    DataError
        If the calibrator's recording holds no steady tone.
    """
    name = settings.get("calibrator")
    if name is None:
        found: float | None = settings.get("full_scale_db")
        return found
    if settings.get("full_scale_db") is not None:
        raise UsageError("full_scale_db and calibrator are both set; keep one of them.")
    tone = load_spectrum(context.path(name), settings, context, Said())
    return full_scale_from(tone, settings["calibrator_db"])


def say_uncalibrated(path: Path, said: Said) -> None:
    """Say that a level is no sound level, or, of a curve, that it is what the file says."""
    said.note(
        "Levels are taken as the curves state them, and compare only while these are measured alike."
        if sound_format(path) is None
        else "No calibration: levels are relative to full scale, and compare only while the recording gain stays as it is."
    )


def average_responses(responses: Sequence[Response], average: bands.Average, band: tuple[float, float]) -> Response:
    """Return the mean of several takes over a band, as power or as decibels, on one logarithmic grid."""
    grid = bands.log_grid(band[0], band[1])
    levels = np.vstack([response.at(grid) for response in responses])
    mean = bands.to_level(bands.to_power(levels).mean(axis=0)) if average == "power" else levels.mean(axis=0)
    return Response(responses[0].name, grid, mean)


def _holds_curve(path: Path, wanted: str | None) -> bool:
    if not path.is_file():
        raise DataError(f"{path.name} is not there; give the path of a recording or a curve file.")
    is_sound = sound_format(path) is not None
    if wanted == "curve" and is_sound:
        raise UsageError(f"input is 'curve', but {path.name} is a recording; set input to 'sweep' or 'impulse'.")
    if wanted in ("sweep", "impulse") and not is_sound:
        raise DataError(f"{path.name} is not a recording; input is '{wanted}', which needs a WAV, FLAC or AIFF file.")
    return not is_sound


def _refuse_for_curves(path: Path, settings: Settings) -> None:
    for key in ("channel", "gate_ms", "calibrator", "full_scale_db"):
        if settings.get(key) is not None:
            raise UsageError(f"{key} does not fit {path.name}: it is a curve file, and {key} is for recordings.")


def _judge_impulse(
    impulse: Impulse, response: Response, band: tuple[float, float], gate_s: float | None, said: Said
) -> None:
    snr = signal_to_noise(impulse, band[0], band[1], gate_s)
    told = f"from {wording.number(band[0])} to {wording.number(band[1])} Hz"
    if snr is None:
        said.note(f"{impulse.name} leaves no stretch of noise to compare with; the signal-to-noise ratio is not known.")
    elif snr < _HIDDEN_SNR_DB:
        raise DataError(f"{impulse.name} does not stand out of the noise {told}; measure louder, nearer or longer.")
    elif snr < LEAST_SNR_DB:
        said.warn(
            f"{impulse.name} stands only {wording.number(snr, 2)} dB out of the noise {told}; {LEAST_SNR_DB:.0f} dB or more "
            "keep the level within 0.14 dB. Measure louder, nearer or longer."
        )
    if band[1] - band[0] < response.resolution_hz:
        said.warn(
            f"{impulse.name} was analysed over so short a time that it resolves {wording.number(response.resolution_hz)} Hz; "
            f"the band {told} is narrower. Set a longer gate_ms."
        )


def _corrected(
    response: Response, settings: Settings, context: Context, said: Said, band: tuple[float, float]
) -> Response:
    name = settings.get("microphone")
    if name is None:
        return response
    microphone = read_curve(context.path(name))
    if microphone.frequency[0] > band[0] or microphone.frequency[-1] < band[1]:
        said.warn(
            f"{name} corrects from {wording.number(float(microphone.frequency[0]))} to "
            f"{wording.number(float(microphone.frequency[-1]))} Hz only; beyond that nothing was taken off."
        )
    return response.corrected(microphone)
