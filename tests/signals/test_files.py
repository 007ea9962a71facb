"""Recordings: what is accepted, and the sentence with which the rest is refused."""

from __future__ import annotations

import itertools
import math
import os

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from doe.model.errors import DataError, UsageError
from doe.signals.files import choose_channel, open_recording, quiet_warning, read_blocks, read_samples
from tests.refusing import refused
from tests.signals import sounds
from tests.strategies import examples


@pytest.mark.parametrize("rate", [8_000, 44_100, 48_000, 192_000])
@pytest.mark.parametrize(("ending", "subtype"), [("wav", "PCM_16"), ("wav", "PCM_24"), ("wav", "FLOAT"), ("wav", "DOUBLE"),
                                                 ("flac", "PCM_24"), ("aiff", "PCM_16")])  # fmt: skip
def test_every_usual_format_is_read(tmp_path, rate, ending, subtype):
    """Rate, length, peak and root mean square are those of the samples."""
    path = tmp_path / f"take.{ending}"
    x = 0.1 * np.random.default_rng(1).standard_normal(rate // 10)
    soundfile.write(path, x, rate, subtype=subtype)
    found = open_recording(path)
    assert (found.rate, found.frames, found.channels, found.encoding) == (rate, rate // 10, 1, subtype)
    assert found.format == {"wav": "WAV", "flac": "FLAC", "aiff": "AIFF"}[ending]
    assert found.seconds == pytest.approx(0.1)
    assert found.peaks[0] == pytest.approx(np.abs(x).max(), abs=4e-5)
    assert found.rms[0] == pytest.approx(math.sqrt(np.mean(x**2)), abs=4e-5)
    assert np.abs(read_samples(found, 1) - x).max() < 4e-5


def test_content_counts_not_the_ending(tmp_path):
    """A FLAC called .wav is read as what it is, and a text called .wav is refused."""
    path = tmp_path / "take.flac"
    sounds.write_noise(path)
    path = path.rename(tmp_path / "take.wav")
    assert open_recording(path).format == "FLAC"
    text = tmp_path / "curve.wav"
    text.write_text("20 80\n30 81\n" * 20)
    with refused(DataError, "curve.wav is not a recording; it must be a WAV, FLAC or AIFF recording."):
        open_recording(text)


def test_a_raw_ending_does_not_mislead(tmp_path):
    """The name must not make the reader ask for a sample rate."""
    path = sounds.write_noise(tmp_path / "take.wav").rename(tmp_path / "take.raw")
    assert open_recording(path).format == "WAV"


def test_what_is_missing_empty_or_broken_off_is_refused(tmp_path):
    path = tmp_path / "take.wav"
    with refused(DataError, "take.wav is not there; give the path of a WAV, FLAC or AIFF recording."):
        open_recording(path)
    path.write_bytes(b"")
    with refused(DataError, "take.wav is empty; it must be a WAV, FLAC or AIFF recording."):
        open_recording(path)
    path.write_bytes(sounds.wav_header(100)[:30])
    with refused(DataError, "take.wav breaks off in its header; record it again or copy it again."):
        open_recording(path)
    path.write_bytes(sounds.wav_header(0)[:36] + bytes(8))
    with refused(DataError, "take.wav breaks off before its samples begin; record it again or copy it again."):
        open_recording(path)


def test_a_folder_is_no_recording(tmp_path):
    with refused(DataError, f"{tmp_path.name} is not there; give the path of a WAV, FLAC or AIFF recording."):
        open_recording(tmp_path)


def test_a_truncated_wav_is_refused_with_its_figures(tmp_path):
    path = sounds.write_noise(tmp_path / "take.wav", 1.0)
    path.write_bytes(path.read_bytes()[: 44 + 48_000])
    with refused(
        DataError,
        "take.wav is truncated: its header announces 96000 bytes of sound, the file holds 48000 (50 %); copy it again, "
        "or end the recording properly.",
    ):
        open_recording(path)


@pytest.mark.parametrize("length", [0, 0xFFFFFFFF])
def test_a_recording_that_was_not_ended_says_so(tmp_path, length):
    """Recorders write the length last, and pipes never: "holds 0 samples" and "0.00411 %" sent people to record anew."""
    path = sounds.write_noise(tmp_path / "take.wav", 1.0)
    whole = bytearray(path.read_bytes())
    whole[40:44] = length.to_bytes(4, "little")
    path.write_bytes(whole)
    with refused(
        DataError,
        "take.wav does not say how long its sound is, as when a recording was not ended; open it in a sound editor and "
        "save it anew.",
    ):
        open_recording(path)


def test_a_truncated_flac_is_refused(tmp_path):
    path = sounds.write_noise(tmp_path / "take.flac", 1.0)
    path.write_bytes(path.read_bytes()[:40_000])
    with pytest.raises(DataError, match=r"take\.flac is (damaged or )?truncated"):
        open_recording(path)


def test_one_sample_is_refused(tmp_path):
    path = tmp_path / "take.wav"
    soundfile.write(path, np.array([0.5]), 48_000)
    with refused(DataError, "take.wav holds 1 sample; at least 5 ms are needed to measure anything."):
        open_recording(path)


def test_silence_is_refused(tmp_path):
    path = tmp_path / "take.wav"
    soundfile.write(path, np.zeros(4800), 48_000)
    with refused(DataError, "take.wav is silent; check the microphone and the input, and record it again."):
        open_recording(path)


@pytest.mark.parametrize(
    ("bad", "place", "told"), [(np.nan, 12_000, "0.25"), (np.inf, 12_000, "0.25"), (-np.inf, 0, "0")]
)
def test_a_sample_that_is_no_number_is_refused_with_its_time(tmp_path, bad, place, told):
    """Also where the first channel is sound, and at the very first sample."""
    path = tmp_path / "take.wav"
    x = 0.1 * np.ones((48_000, 2))
    x[place, 1] = bad
    soundfile.write(path, x, 48_000, subtype="FLOAT")
    with refused(DataError, f"take.wav holds a sample that is no finite number, at {told} s; record it again."):
        open_recording(path)


def test_clipping_is_refused_with_a_count(tmp_path):
    path = tmp_path / "take.wav"
    x = np.clip(1.2 * np.sin(2 * np.pi * 100 * np.arange(4800) / 48_000), -1, 1)
    soundfile.write(path, x, 48_000, subtype="PCM_24")
    expected = int(np.sum(np.abs(1.2 * np.sin(2 * np.pi * 100 * np.arange(4800) / 48_000)) >= 0.9999))
    with refused(
        DataError,
        f"take.wav is clipped: {expected} samples stand at full scale; lower the recording level and record it again.",
    ):
        open_recording(path)


def test_a_clipped_run_across_two_blocks_is_seen_whole():
    """Five samples at full scale, parted by the end of one block or of two, are five."""
    from doe.signals.files import _Tally

    x = np.array([0.1, 0.2, 1.0, 1.0, 1.0, 1.0, 1.0, 0.3], dtype=np.float32)[:, np.newaxis]
    for first, second in itertools.combinations(range(1, 8), 2):
        tally = _Tally(1)
        for piece in (x[:first], x[first:second], x[second:]):
            tally.add(piece)
        assert tally.clipped == 5


def test_single_samples_at_full_scale_are_no_clipping(tmp_path):
    path = tmp_path / "take.wav"
    x = 0.1 * np.random.default_rng(0).standard_normal(4800)
    x[[100, 900]] = 0.99999
    soundfile.write(path, x, 48_000, subtype="PCM_24")
    assert open_recording(path).peaks[0] > 0.9999


def test_a_float_file_may_run_beyond_full_scale(tmp_path):
    path = tmp_path / "take.wav"
    soundfile.write(path, 20 * np.random.default_rng(0).standard_normal(4800), 48_000, subtype="FLOAT")
    assert open_recording(path).peaks[0] > 50


def test_a_2_gb_file_is_refused_without_being_read(tmp_path):
    """The file is sparse: reading it would give silence, not this sentence."""
    path = tmp_path / "take.wav"
    path.write_bytes(sounds.wav_header(2_000_000_000))
    os.truncate(path, 2_000_000_044)
    with refused(
        DataError, "take.wav holds 2 GB; a recording may hold at most 1.5 GB: cut it to the part that matters."
    ):
        open_recording(path)


def test_a_sample_rate_out_of_range_is_refused(tmp_path):
    path = tmp_path / "take.wav"
    path.write_bytes(sounds.wav_header(4000, rate=1000) + bytes(4000))
    with refused(DataError, "take.wav has a sample rate of 1000 Hz; it must be from 4000 to 768000 Hz."):
        open_recording(path)


def test_lossy_files_are_refused_with_the_reason(tmp_path):
    path = tmp_path / "take.mp3"
    path.write_bytes(b"ID3" + bytes(500))
    with refused(DataError, "take.mp3 is MP3, which alters levels and decays; record to WAV or FLAC."):
        open_recording(path)


def test_telephone_coding_inside_a_wav_is_refused(tmp_path):
    path = sounds.write_noise(tmp_path / "take.wav", subtype="ULAW")
    with refused(DataError, "take.wav is written as ULAW, which alters levels and decays; record to PCM or float."):
        open_recording(path)


@pytest.mark.parametrize("kind", ["RF64", "WAVEX"])
def test_wav_files_with_longer_headers_are_read(tmp_path, kind):
    path = sounds.write_noise(tmp_path / "take.wav", 0.1, format=kind, subtype="PCM_24", channels=2)
    assert (open_recording(path).frames, open_recording(path).channels) == (4800, 2)


def test_of_two_different_channels_the_first_is_used_and_said(tmp_path):
    path = sounds.write_noise(tmp_path / "take.wav", 0.1, channels=2)
    found = open_recording(path)
    assert choose_channel(found, None) == (1, "take.wav has 2 channels; channel 1 was used, since none is set.")
    assert choose_channel(found, 2) == (2, "")
    with refused(UsageError, "channel is 3; take.wav has channels 1 to 2."):
        choose_channel(found, 3)


def test_two_channels_that_are_alike_need_no_choice(tmp_path):
    path = tmp_path / "take.wav"
    x = 0.1 * np.random.default_rng(0).standard_normal(4800)
    soundfile.write(path, np.column_stack([x, x]), 48_000)
    assert choose_channel(open_recording(path), None) == (1, "")
    end = np.zeros((270_000, 2))  # more than is read at once
    soundfile.write(path, np.vstack([np.column_stack([x, -x]), end]), 48_000)
    assert not open_recording(path).alike


def test_a_silent_channel_is_refused(tmp_path):
    path = tmp_path / "take.wav"
    x = 0.1 * np.random.default_rng(0).standard_normal(4800)
    soundfile.write(path, np.column_stack([0 * x, x]), 48_000)
    found = open_recording(path)
    with refused(DataError, "take.wav is silent on channel 1; set channel to the one that was recorded."):
        choose_channel(found, None)
    assert choose_channel(found, 2) == (2, "")


def test_a_quiet_recording_is_told(tmp_path):
    path = sounds.write_tone(tmp_path / "take.wav", 1000, 0.001)
    assert quiet_warning(open_recording(path), 1) == (
        "take.wav peaks at only -60 dB of full scale; raise the recording level."
    )


def test_pieces_and_blocks_are_the_whole(tmp_path):
    path = sounds.write_noise(tmp_path / "take.wav", 0.5, channels=2, subtype="FLOAT")
    found = open_recording(path)
    whole = read_samples(found, 2)
    assert np.array_equal(np.concatenate(list(read_blocks(found, 2, 1000))), whole.astype(np.float32))
    assert np.array_equal(read_samples(found, 2, 100, 200), whole[100:200])
    assert len(read_samples(found, 2, 23_990, 99_999)) == 10


def _sound_bytes(tmp_path_factory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("whole")
    return {
        "wav": sounds.write_noise(folder / "a.wav", 0.02, channels=2).read_bytes(),
        "flac": sounds.write_noise(folder / "a.flac", 0.02).read_bytes(),
        "aiff": sounds.write_noise(folder / "a.aiff", 0.02).read_bytes(),
        "float": sounds.write_noise(folder / "b.wav", 0.02, subtype="FLOAT").read_bytes(),
    }


@pytest.fixture(scope="module")
def whole_files(tmp_path_factory):
    return _sound_bytes(tmp_path_factory)


@given(data=st.data())
@settings(examples(60), suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_mutated_file_crashes_or_hangs(whole_files, tmp_path, data):
    """Flipped, cut, doubled and inserted bytes: a recording or one sentence, and nothing else."""
    kind = data.draw(st.sampled_from(sorted(whole_files)))
    content = bytearray(whole_files[kind])
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, min(len(content) - 1, data.draw(st.sampled_from([60, 4000])))))
        match data.draw(st.sampled_from(["flip", "cut", "double", "insert"])):
            case "flip":
                content[place] = data.draw(st.integers(0, 255))
            case "cut":
                del content[place : place + data.draw(st.integers(1, 2000))]
            case "double":
                content[place:place] = content[place : place + 500]
            case "insert":
                content[place:place] = data.draw(st.binary(max_size=20))
        content = content or bytearray(b"R")
    path = tmp_path / f"take.{kind}"
    path.write_bytes(bytes(content))
    try:
        found = open_recording(path)
    except DataError as err:
        assert str(err).startswith(path.name) and str(err).endswith(".") and "\n" not in str(err)
    else:
        assert found.frames >= 1 and all(math.isfinite(value) for value in (*found.peaks, *found.rms))
