"""Sampled signals of any trade."""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from doe.model.errors import DataError, UsageError
from doe.signals.series import Series, dominant_frequency, peak, read_series, rms, settling_time
from tests.refusing import refused
from tests.strategies import examples

RATE = 1000.0
T = np.arange(2000) / RATE


def written(tmp_path, columns, heading="", end=".csv"):
    path = tmp_path / f"rig{end}"
    np.savetxt(path, np.column_stack(columns), delimiter=";", fmt="%.9g", header=heading, comments="")
    return path


def test_a_time_column_gives_the_rate(tmp_path):
    found = read_series(written(tmp_path, [T, 3 * np.sin(20 * T)], "time;force"))
    assert found.rate == pytest.approx(1000)
    assert (found.name, len(found.value)) == ("rig.csv", 2000)
    assert found.time_s[-1] == pytest.approx(1.999)


def test_a_signal_is_chosen_by_number_or_heading(tmp_path):
    path = written(tmp_path, [T, 0 * T + 1, 0 * T + 2], "time;left;right")
    assert read_series(path, "Right").value[0] == read_series(path, 3).value[0] == 2
    assert read_series(path, "right").name == "rig.csv, 'right'"
    with refused(UsageError, "rig.csv holds several signals; set column to 'left' or 'right'."):
        read_series(path)
    with refused(UsageError, "column is 'rigt'; rig.csv has no such heading. Did you mean 'right'?"):
        read_series(path, "rigt")
    with refused(UsageError, "column is 1; the signals of rig.csv stand in columns 2 to 3."):
        read_series(path, 1)


def test_without_a_time_column_the_rate_is_given(tmp_path):
    path = written(tmp_path, [np.sin(20 * T)])
    assert read_series(path, rate=500).rate == 500
    with refused(UsageError, "rate is 0 Hz; it must be above 0 and at most 1000000000 Hz."):
        read_series(path, rate=0)


def test_what_is_no_even_sampling_is_refused(tmp_path):
    back = T.copy()
    back[100] = back[98]
    with refused(
        DataError,
        "rig.csv, line 101: time does not rise; the first column must be time in seconds, or set rate.",
    ):
        read_series(written(tmp_path, [back, T]))
    gap = T.copy()
    gap[500:] += 0.25
    with refused(
        DataError,
        "rig.csv, line 501: the step of time is 0.251 s and elsewhere 0.001 s; samples must be evenly spaced.",
    ):
        read_series(written(tmp_path, [gap, T]))
    with refused(DataError, "rig.csv holds 3 rows of numbers; a signal needs 8 or more."):
        read_series(written(tmp_path, [T[:3], T[:3]]))


def test_rms_and_peak_of_a_sine_with_an_offset():
    """``1 + 2 sin``: sqrt(1 + 2), and sqrt(2) without the mean; peak 3."""
    found = Series("rig", 1 + 2 * np.sin(2 * np.pi * 10 * T), RATE)
    assert rms(found) == pytest.approx(math.sqrt(3), abs=1e-9)
    assert rms(found, without_mean=True) == pytest.approx(math.sqrt(2), abs=1e-9)
    assert peak(found) == pytest.approx(3.0, abs=0.01)
    assert rms(Series("rig", np.zeros(10), RATE)) == 0.0
    assert rms(Series("rig", np.full(9, 60 * 2.05), RATE), without_mean=True) == 0.0


@given(st.floats(5, 400), st.floats(0, 6.28), st.floats(-100, 100), st.floats(-50, 50))
@examples(30)
def test_the_frequency_of_a_tone_is_found_between_the_lines(hz, phase, offset, trend):
    """Within a tenth of a line, whatever the offset and the trend."""
    found = dominant_frequency(Series("rig", np.sin(2 * np.pi * hz * T + phase) + offset + trend * T, RATE), low_hz=3)
    assert abs(found - hz) < 0.1 * RATE / len(T) + 0.02


def test_a_band_limits_the_search():
    value = 5 * np.sin(2 * np.pi * 50 * T) + np.sin(2 * np.pi * 180 * T)
    assert dominant_frequency(Series("rig", value, RATE)) == pytest.approx(50, abs=0.1)
    assert dominant_frequency(Series("rig", value, RATE), 100, 300) == pytest.approx(180, abs=0.1)


def test_the_foot_of_a_tone_outside_the_band_is_no_tone():
    """A hum of 50.3 Hz, a hundred times as strong as the whistle of 300 Hz: at 60 Hz its foot is still the strongest."""
    hum, even = (100 * np.sin(2 * np.pi * hz * T) for hz in (50.3, 50.0))
    heard = Series("rig", hum + np.sin(2 * np.pi * 300 * T), RATE)
    assert dominant_frequency(heard, 60, 400) == pytest.approx(300, abs=0.1)
    for alone in (hum, even):
        with refused(
            DataError,
            "rig has no peak between 60 and 400 Hz; what is there belongs to something outside, so widen band.",
        ):
            dominant_frequency(Series("rig", alone, RATE), 60, 400)


def test_what_has_no_frequency_is_refused():
    with refused(DataError, "rig does not vary; it has no dominant frequency."):
        dominant_frequency(Series("rig", np.full(100, 7.0), RATE))
    with refused(DataError, "rig has nothing between 600 and 500 Hz: it resolves 0.5 Hz and ends at 500 Hz."):
        dominant_frequency(Series("rig", np.sin(T), RATE), 600, 700)


@pytest.mark.parametrize("share", [0.02, 0.05])
def test_a_first_order_step_settles_when_its_exponential_does(share):
    """``1 - exp(-t / tau)`` stays within `share` from ``tau ln(1 / share)`` on."""
    tau = 0.1
    value = np.where(T >= 0.2, 1 - np.exp(-(T - 0.2) / tau), 0.0)
    found = settling_time(Series("rig", value, RATE), share, start_s=0.2)
    assert found == pytest.approx(tau * math.log(1 / share), abs=0.002)


def test_a_step_of_few_samples_settles_where_one_sees_it():
    """By hand: 9 is farther than a twentieth of the step of 10 from its end, 9.6 and all behind it are not."""
    value = np.array([0, 4, 9, 9.6, *[10.0] * 36])
    assert settling_time(Series("rig", value, 10.0), 0.05) == pytest.approx(0.3)


def test_a_ringing_step_settles_with_its_envelope():
    """Damped second order: within 5 % from the last crossing; checked against the envelope's time."""
    w, z = 2 * np.pi * 10, 0.1
    value = 1 - np.exp(-z * w * T) * np.cos(w * np.sqrt(1 - z**2) * T)
    envelope = math.log(1 / 0.05) / (z * w)
    assert envelope - 0.05 <= settling_time(Series("rig", value, RATE), 0.05) <= envelope


def test_what_does_not_settle_is_refused():
    with refused(DataError, "rig ends where it begins; there is no step to settle from."):
        settling_time(Series("rig", np.zeros(100), RATE))
    with refused(
        DataError,
        "rig does not settle: it still leaves the range of 5 % around its final value in the last tenth of the record; "
        "record longer.",
    ):
        settling_time(Series("rig", T, RATE))
    with refused(DataError, "rig: start 5 s leaves less than 8 samples."):
        settling_time(Series("rig", T, RATE), start_s=5)


def test_a_scope_counts_time_from_its_trigger(tmp_path):
    """Closed form: ``1 - exp(-t / tau)`` is within 5 % from ``tau ln 20`` on. The 0.1 s before the trigger counted too."""
    tau, time = 0.05, T - 0.1
    value = np.where(time < 0, 0.0, 1 - np.exp(-time / tau))
    found = read_series(written(tmp_path, [time, value], "Time (s);CH1 (V)"))
    assert found.begin_s == pytest.approx(-0.1)
    assert settling_time(found) == pytest.approx(tau * math.log(20), abs=1 / RATE)
    late = read_series(written(tmp_path, [time + 5, value]))
    assert settling_time(late, start_s=4.999) == pytest.approx(tau * math.log(20), abs=2 / RATE)
    assert settling_time(late) == settling_time(late, start_s=4.9)


@pytest.mark.parametrize(
    ("heading", "unit", "per_second"),
    [("Time (ms)", "ms", 1e3), ("t_us", "us", 1e6), ("Zeit [µs]", "µs", 1e6), ("t/μs", "µs", 1e6), ("ns", "ns", 1e9),
     ("Time/min", "min", 1 / 60), ("time (h)", "h", 1 / 3600), ("Time [MSEC]", "ms", 1e3),
     ("Time (s)", "s", 1), ("time", "s", 1), ("items", "s", 1)],
)  # fmt: skip
def test_time_is_in_the_unit_of_its_heading(tmp_path, heading, unit, per_second):
    """A tone of 50 Hz; milliseconds under a heading that says so passed for seconds, and the tone for 0.05 Hz."""
    path = tmp_path / "rig.csv"
    rows = [f"{second * per_second:.12g};{np.sin(2 * np.pi * 50 * second):.9f}" for second in T]
    path.write_text("\n".join([f"{heading};force", *rows]), encoding="utf-8")
    found = read_series(path)
    assert (found.time_unit, found.rate) == (unit, pytest.approx(RATE))
    assert dominant_frequency(found) == pytest.approx(50, abs=0.05)


def test_a_column_alone_needs_its_rate(tmp_path):
    with refused(UsageError, "rig.csv has one column, so no time; set rate to its samples per second."):
        read_series(written(tmp_path, [np.sin(20 * T)]))
    (tmp_path / "rig.csv").write_text('0.1;"1,234.5"\n' * 20, encoding="utf-8")
    with pytest.raises(DataError, match=r"rig\.csv holds no rows of numbers"):
        read_series(tmp_path / "rig.csv")


@pytest.mark.parametrize(("rate", "subtype"), [(44_100, "PCM_16"), (48_000, "PCM_24"), (96_000, "FLOAT")])
def test_a_recording_is_a_sampled_signal(tmp_path, rate, subtype):
    """A whistle of 587 Hz and amplitude 0.5: what is tuned by its pitch is recorded, not written as text."""
    path = tmp_path / "whistle.wav"
    soundfile.write(path, 0.5 * np.sin(2 * np.pi * 587 * np.arange(2 * rate) / rate), rate, subtype=subtype)
    found = read_series(path)
    assert (found.rate, found.name, found.begin_s) == (rate, "whistle.wav", 0.0)
    assert dominant_frequency(found) == pytest.approx(587, abs=0.05 * rate / len(found.value))
    assert (peak(found), rms(found)) == (pytest.approx(0.5, abs=1e-4), pytest.approx(0.5 / math.sqrt(2), abs=1e-4))
    with refused(UsageError, f"rate is set, but whistle.wav says its own: {rate} Hz; leave rate out."):
        read_series(path, rate=rate)


def test_the_channel_of_a_recording_is_said(tmp_path):
    path = tmp_path / "pair.wav"
    both = [0.5 * np.sin(2 * np.pi * hz * np.arange(8000) / 8000) for hz in (400, 700)]
    soundfile.write(path, np.column_stack(both), 8000)
    assert dominant_frequency(read_series(path, 2)) == pytest.approx(700, abs=0.1)
    with refused(UsageError, "pair.wav holds 2 channels; set column to the channel, from 1."):
        read_series(path)
    with refused(UsageError, "channel is 3; pair.wav has channels 1 to 2."):
        read_series(path, 3)
    with refused(UsageError, "column is 'left'; channels of a recording have numbers, from 1."):
        read_series(path, "left")
    soundfile.write(path, np.column_stack([both[0], both[0]]), 8000)
    assert dominant_frequency(read_series(path)) == pytest.approx(400, abs=0.1)
