"""The sweep: written, found, taken out."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from doe.model.errors import DataError, StoreError, UsageError
from doe.signals import safety
from doe.signals.files import open_recording, read_blocks
from doe.signals.impulse import impulse_from_sweep
from doe.signals.sweep import Sweep, deconvolve, find_sweep, write_sweep
from tests.refusing import refused
from tests.signals import sounds

RATE = sounds.RATE
SHORT = Sweep(50, 15_000, 1.0)


def test_the_frequency_rises_by_the_same_factor_in_the_same_time():
    """Farina (2000), eq. 3: ``f(t) = f1 exp(t / L)``; zero crossings tell the frequency."""
    sweep = Sweep(20, 20_000, 10)
    x = sweep.samples(192_000)
    crossings = np.flatnonzero((x[:-1] < 0) & (x[1:] >= 0))
    for time in (2.0, 5.0, 9.0):
        near = np.searchsorted(crossings, time * 192_000)
        f = 192_000 / np.mean(np.diff(crossings[near - 2 : near + 3]))
        assert f == pytest.approx(20 * np.exp(time / sweep.L), rel=0.01)


def test_the_written_file_holds_the_sweep_with_silence_around(tmp_path):
    path = tmp_path / "sweep.wav"
    assert write_sweep(path) == safety.SWEEP_CAUTION
    found = open_recording(path)
    assert (found.rate, found.encoding, found.channels) == (48_000, "PCM_24", 1)
    assert found.seconds == pytest.approx(1.0 + 10.0 + 3.0, abs=0.01)
    assert 20 * np.log10(found.peaks[0]) == pytest.approx(-12.0, abs=0.01)
    assert impulse_from_sweep(found, 1, Sweep()).onset / RATE == pytest.approx(10.0, abs=1.1)
    assert [item.name for item in tmp_path.iterdir()] == ["sweep.wav"]


def test_an_existing_file_is_kept_unless_told_otherwise(tmp_path):
    path = tmp_path / "sweep.wav"
    path.write_bytes(b"mine")
    with refused(UsageError, "sweep.wav exists; choose another name, or allow it to be replaced."):
        write_sweep(path, SHORT)
    assert path.read_bytes() == b"mine"
    write_sweep(path, SHORT, replace=True)
    assert open_recording(path).seconds > 4


def test_a_sweep_that_cannot_be_written_is_refused(tmp_path):
    with refused(UsageError, "sweep file is 'sweep.mp3'; its name must end in .wav."):
        write_sweep(tmp_path / "sweep.mp3")
    with refused(UsageError, "rate is 44100 Hz; a sweep up to 22000 Hz needs at least 44898 Hz."):
        write_sweep(tmp_path / "sweep.wav", Sweep(20, 22_000, 5), rate=44_100)
    with refused(StoreError, "sweep.wav cannot be written there; choose a folder that exists and may be written."):
        write_sweep(tmp_path / "nowhere" / "sweep.wav", SHORT)


@pytest.mark.parametrize(
    ("start", "stop", "seconds", "message"),
    [
        (
            100,
            120,
            5,
            "sweep runs from 100 to 120 Hz; it must rise by half an octave at least, between 1 and 300000 Hz.",
        ),
        (20, 20_000, 0.1, "sweep lasts 0.1 s; it must last 0.5 to 30 s."),
        (20, 20_000, 90, "sweep lasts 90 s; it must last 0.5 to 30 s."),
    ],
)
def test_a_sweep_out_of_range_is_refused(start, stop, seconds, message):
    with refused(UsageError, message):
        Sweep(start, stop, seconds)


def test_nothing_but_the_sweep_gives_an_impulse_at_its_start():
    """Deconvolved with itself: one sample of height near 1, the rest far below."""
    x = np.concatenate([np.zeros(5000), SHORT.samples(RATE), np.zeros(5000)])
    response, zero = deconvolve(x, SHORT, RATE)
    peak = int(np.argmax(np.abs(response)))
    assert peak - zero == 5000
    away = np.abs(np.arange(len(response)) - peak) > 2000
    assert 20 * np.log10(np.abs(response[away]).max() / np.abs(response[peak])) < -50


@pytest.mark.parametrize("rate", [8_000, 44_100, 48_000, 96_000])
@pytest.mark.parametrize("delay", [0, 1, 7_777, 99_999])
def test_the_sweep_is_found_wherever_it_starts(tmp_path, rate, delay):
    """To 2 ms, at 20 dB of noise."""
    path = sounds.write_recording(tmp_path / "take.wav", rate=rate, sweep=SHORT, delay=delay, noise_db=-20)
    found = open_recording(path)
    start = find_sweep(read_blocks(found, 1), found.frames, SHORT, rate, "take.wav")
    assert abs(start - delay) <= 0.002 * rate


def test_a_sweep_late_in_a_long_recording_is_found(tmp_path):
    """The search runs in overlapping pieces; the sweep may lie across the seam of two."""
    for delay in (200_000, 1_040_000, 1_048_576, 1_060_000):
        path = sounds.write_recording(tmp_path / "take.wav", sweep=SHORT, delay=delay, noise_db=-30)
        found = open_recording(path)
        assert abs(find_sweep(read_blocks(found, 1), found.frames, SHORT, RATE, "take.wav") - delay) <= 96


def test_a_recording_of_something_else_is_refused(tmp_path):
    path = sounds.write_noise(tmp_path / "take.wav", 12)
    with refused(
        DataError,
        "take.wav does not hold the sweep from 20 Hz to 20000 Hz in 10 s; set sweep to what was played, or input to "
        "'impulse' or 'recording' if no sweep was.",
    ):
        impulse_from_sweep(open_recording(path), 1, Sweep())


def test_another_sweep_is_not_taken_for_the_one_that_was_set(tmp_path):
    path = sounds.write_recording(tmp_path / "take.wav", sweep=Sweep(20, 20_000, 4), noise_db=-60)
    with pytest.raises(DataError, match=r"does not hold the sweep|ends .* s before the sweep does|begins after"):
        impulse_from_sweep(open_recording(path), 1, Sweep(20, 20_000, 10))


def test_a_recording_that_misses_an_end_of_the_sweep_is_refused(tmp_path):
    x = 0.25 * SHORT.samples(RATE)
    late, early = tmp_path / "late.wav", tmp_path / "early.wav"
    soundfile.write(late, np.concatenate([x[9_600:], np.zeros(48_000)]), RATE)
    soundfile.write(early, np.concatenate([np.zeros(48_000), x[:-9_600]]), RATE)
    with refused(DataError, "late.wav begins after the sweep has started; start the recording first, then the sweep."):
        impulse_from_sweep(open_recording(late), 1, SHORT)
    with refused(DataError, "early.wav ends 0.2 s before the sweep does; let the recording run longer."):
        impulse_from_sweep(open_recording(early), 1, SHORT)


def test_a_low_sample_rate_keeps_what_it_can_hold(tmp_path):
    """At 8 kHz the response ends at 3920 Hz, and it is said."""
    path = sounds.write_recording(tmp_path / "take.wav", rate=8_000, noise_db=-70)
    found = impulse_from_sweep(open_recording(path), 1, Sweep())
    assert found.high_hz == pytest.approx(3920)
    assert found.warnings == ("take.wav was recorded at 8000 Hz; the response ends at 3920 Hz, not at 20000 Hz.",)


def test_a_recording_that_stops_with_the_sweep_is_called_truncated(tmp_path):
    path = sounds.write_recording(tmp_path / "take.wav", sweep=SHORT, tail_s=0.1)
    found = impulse_from_sweep(open_recording(path), 1, SHORT)
    assert found.warnings == (
        "take.wav runs on for only 0.1 s after the sweep; its decay is truncated at high frequencies. Let the recording "
        "run 2 s longer.",
    )
