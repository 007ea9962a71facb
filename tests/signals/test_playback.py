"""Playback: what was recorded at other moments and levels is heard at one moment and one level."""

import io

import numpy as np
import pytest
import soundfile

from doe.model.errors import DataError
from doe.signals.playback import as_wav, matched

RATE = 8000


def programme(seconds=2.0, seed=3):
    return 0.2 * np.random.default_rng(seed).standard_normal(int(seconds * RATE))


def record(folder, name, sound, rate=RATE):
    soundfile.write(folder / name, np.clip(sound, -1, 1), rate, subtype="PCM_24")
    return folder / name


def test_the_same_instant_stands_at_the_same_sample(tmp_path):
    """Truth by construction: the second begins 1,234 samples later, the third, with its poles turned round, 400 earlier.

    Each has noise of its own; all share what the third holds.
    """
    rng, whole = np.random.default_rng(1), programme(3.0)
    cut = [whole[2000:18000], np.concatenate([np.zeros(1234), whole[2000:18000]]), -whole[2400:18000]]
    paths = [record(tmp_path, f"{n}.wav", part + 0.01 * rng.standard_normal(len(part))) for n, part in enumerate(cut)]
    clips = matched(paths)
    assert [clip.shift for clip in clips] == [0, 1234, -400]
    assert {len(clip.samples) for clip in clips} == {18_000 - 2400}
    first = clips[0].samples[:, 0]
    for clip in clips[1:]:
        assert abs(np.corrcoef(first, clip.samples[:, 0])[0, 1]) > 0.99


@pytest.mark.parametrize("channels", [1, 2])
def test_loudness_is_matched_to_the_quietest(tmp_path, channels):
    """Copies at -6 and -12 dB come out alike to 0.01 dB, and nothing is made louder; a second channel may hold nothing."""
    sound = np.stack([programme(), np.zeros(2 * RATE)], axis=1)[:, :channels]
    paths = [record(tmp_path, f"{db}.wav", sound * 10 ** (db / 20)) for db in (0, -12, -6)]
    clips = matched(paths)
    assert [clip.gain_db for clip in clips] == pytest.approx([-12, 0, -6], abs=0.01)
    power = [np.mean(clip.samples**2) for clip in clips]
    assert 10 * np.log10(max(power) / min(power)) < 0.01


def test_channels_that_cancel_are_aligned_all_the_same(tmp_path):
    """As of a balanced line recorded as two channels: their mean is nothing."""
    whole = programme(3.0)
    cut = ((whole[2000:18000], -1), (whole[1500:18000], -1), (whole[1800:18000], 1))
    parts = [np.stack([part, sign * part], axis=1) for part, sign in cut]
    clips = matched([record(tmp_path, f"{n}.wav", part) for n, part in enumerate(parts)])
    assert [clip.shift for clip in clips] == [0, 500, 200]


def test_what_cannot_be_compared_is_refused(tmp_path):
    first = record(tmp_path, "a.wav", programme())
    other = record(tmp_path, "b.wav", programme(seed=9))
    fast = record(tmp_path, "c.wav", programme(), rate=16000)
    with pytest.raises(DataError, match="do not hold the same programme"):
        matched([first, other])
    late = record(
        tmp_path, "d.wav", np.concatenate([np.zeros(66 * RATE), programme()])
    )  # silent as far as it is listened to
    with pytest.raises(DataError, match="do not hold the same programme"):
        matched([first, late])
    with pytest.raises(DataError, match="8000 and 16000 samples a second"):
        matched([first, fast])


def test_the_file_holds_sound_and_nothing_else(tmp_path):
    """RIFF with the chunks fmt and data only; two files of one clip differ by dither of at most 1.5 steps of 16 bits."""
    soundfile.write(tmp_path / "a.wav", programme(), RATE)
    with soundfile.SoundFile(tmp_path / "tagged.wav", "w", RATE, 1, "PCM_16") as file:
        file.title, file.artist = "variant 12, three vents", "bench"
        file.write(programme())
    clip, _ = matched([tmp_path / "tagged.wav", tmp_path / "a.wav"])
    one, two = as_wav(clip, 1), as_wav(clip, 2)
    assert b"variant" not in one
    assert (one[:4], one[8:16], one[36:40]) == (b"RIFF", b"WAVEfmt ", b"data")
    assert len(one) == len(two) == 44 + 2 * len(clip.samples)
    assert one != two
    heard, rate = soundfile.read(io.BytesIO(one))
    assert rate == RATE
    assert np.max(np.abs(heard - clip.samples[:, 0])) <= 1.5 / 32768 + 1e-12
