"""A ten-minute recording at 96 kHz: time, memory, and growth with length.

Each measurement runs in a process of its own, so that its peak memory is its own; memory is what Linux calls the high-water
mark of the resident set.
"""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from doe.signals.sweep import Sweep
from tests.benchmarks.in_turn import fastest_in_turn
from tests.signals import sounds

pytestmark = [pytest.mark.slow]

RATE = 96_000
ROOT = Path(__file__).parents[2]
MEGABYTES_ALLOWED = 600.0
TIMES_ALLOWED = 5.0
"""Of the time of a plain filter over the same file: 5 s on a slow machine, on which that takes 1 s when nothing disturbs it."""

RECIPES = {
    "level": {"from": "level"},
    "loudest_level": {"from": "loudest_level"},
    "band_level of noise": {"from": "band_level", "band": [40, 150], "input": "recording"},
    "band_level of a sweep": {"from": "band_level", "band": [40, 150]},
    "decay_time of a sweep": {"from": "decay_time", "octave": 1000},
}
SCRIPT = """
import sys, time
from pathlib import Path
from doe.signals.recipes import compute
start = time.perf_counter()
compute({recipe!r}, Path(sys.argv[1]))
seconds = time.perf_counter() - start
status = Path("/proc/self/status")
peak = [line.split()[1] for line in status.read_text().splitlines() if line.startswith("VmHWM")] if status.exists() else ["0"]
print(seconds, int(peak[0]) / 1000)
"""
PLAIN_FILTER = """
import sys, time
import numpy as np
import soundfile
from scipy import signal
start = time.perf_counter()
band = signal.butter(4, [40, 150], "bandpass", fs=96_000, output="sos")
state, power = np.zeros((len(band), 2)), 0.0
for block in soundfile.blocks(sys.argv[1], blocksize=2**18):
    heard, state = signal.sosfilt(band, block, zi=state)
    power += float(np.sum(heard**2))
print(time.perf_counter() - start, 0)
"""


def recording(path, minutes):
    """Noise, with a sweep in a room of 0.3 s in its last third; written piece by piece."""
    rng = np.random.default_rng(1)
    frames = round(60 * minutes * RATE)
    room = sounds.decay(0.3, length=0.4, carrier="noise", rate=RATE)
    sweep, start = 0.002 * signal.fftconvolve(Sweep().samples(RATE), room), round(0.7 * frames)
    with soundfile.SoundFile(path, "w", RATE, 1, subtype="PCM_24") as file:
        for first in range(0, frames, RATE * 10):
            count = min(RATE * 10, frames - first)
            block = 0.001 * rng.standard_normal(count)
            low, high = max(start, first), min(start + len(sweep), first + count)
            if low < high:
                block[low - first : high - first] += sweep[low - start : high - start]
            file.write(block.astype(np.float32))
    return path


@pytest.fixture(scope="module")
def recordings(tmp_path_factory):
    folder = tmp_path_factory.mktemp("long")
    return {minutes: recording(folder / f"{minutes}.wav", minutes) for minutes in (2.5, 10)}


def seconds_of(script, path, megabytes):
    """Run a script in a process of its own; its peak memory is appended to `megabytes`."""
    done = subprocess.run(
        [sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=True, cwd=ROOT
    )
    seconds, peak = (float(part) for part in done.stdout.split())
    megabytes.append(peak)
    return seconds


@pytest.mark.parametrize("name", RECIPES)
def test_ten_minutes_at_96_khz_take_few_times_a_plain_filter_and_at_most_600_mb(recordings, name):
    megabytes = []
    seconds, filter_s = fastest_in_turn(
        lambda: seconds_of(SCRIPT.format(recipe=RECIPES[name]), recordings[10], megabytes),
        lambda: seconds_of(PLAIN_FILTER, recordings[10], []),
        at_most=TIMES_ALLOWED,
        rounds=2,
        least=1,
    )
    assert seconds <= TIMES_ALLOWED * filter_s, f"{name}: {seconds:.2f} s, the filter {filter_s:.2f} s"
    assert max(megabytes) <= MEGABYTES_ALLOWED, f"{name}: {max(megabytes):.0f} MB"


@pytest.mark.parametrize("name", ["level", "band_level of a sweep"])
def test_cost_grows_no_faster_than_length(recordings, name):
    """Four times the length: at most five times the time of the shorter, hardly more memory."""
    script, memory = SCRIPT.format(recipe=RECIPES[name]), {2.5: [], 10: []}
    long_s, short_s = fastest_in_turn(
        lambda: seconds_of(script, recordings[10], memory[10]),
        lambda: seconds_of(script, recordings[2.5], memory[2.5]),
        at_most=5,
        rounds=3,
    )
    assert long_s <= 5 * short_s, f"{short_s:.2f} s and {long_s:.2f} s"
    assert max(memory[10]) <= max(memory[2.5]) + 60, f"{memory} MB"
