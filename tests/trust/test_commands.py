"""The real command under fire: killed at random moments, and run by four people at once."""

from __future__ import annotations

import random
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from doe.store import ProjectFile
from tests.cli.running import ROOT, environment

pytestmark = [pytest.mark.trust, pytest.mark.slow]

KILLS, ENOUGH = 20, 2
"""Commands killed, and how many of each kind have to be told as stored, and how many not, at least."""

WRITERS, EACH = 4, 6


def start(words: list[str], folder: Path) -> subprocess.Popen[str]:
    """Start ``fettle`` with these words."""
    return subprocess.Popen(
        [sys.executable, "-m", "doe.cli.main", *words],
        cwd=folder, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def finish(words: list[str], folder: Path) -> str:
    """Run ``fettle`` to its end."""
    process = start(words, folder)
    out, err = process.communicate()
    assert process.returncode == 0, err
    return out


@pytest.fixture
def radio(tmp_path: Path) -> Path:
    """A project with one variant on one unit."""
    finish(["init", "radio", "--setup", str(ROOT / "examples/radio/setup.toml")], tmp_path)
    settings = ["vents=0", "rings=12", "wool=0", "driver=paper", "feet=felt"]
    finish(["log", *settings, "--new-unit", "body A"], tmp_path)
    return tmp_path


def words_of(turn: int, folder: Path) -> list[str]:
    """Return what is typed in a turn: every second imports 20 variants, the others log one."""
    if turn % 2:
        return ["log", "--again", "--name", f"k{turn}-0"]
    lines = ["variant,vents,rings,wool,driver,feet,decay"]
    lines += [f"k{turn}-{row},1,9,10,poly,felt,{70 + row}" for row in range(20)]
    (folder / f"{turn}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return ["import", f"{turn}.csv"]


def test_kills_of_log_and_import_lose_nothing_acknowledged(radio: Path):
    """What was printed as stored is there, an import is whole or absent, and the file always opens.

    Each is killed between 0.5 and 1.4 times what its like took to its end; what outlives that shows how busy the machine is
    by now. It goes on until enough were killed and enough were not.
    """
    rng = random.Random(1)
    acknowledged: set[str] = set()
    takes: dict[str, float] = {}
    ended = {(kind, is_told): 0 for kind in ("log", "import") for is_told in (True, False)}
    for turn in range(3 * KILLS):
        if turn >= KILLS and min(ended.values()) >= ENOUGH:
            break
        words = words_of(turn, radio)
        kind = words[0]
        began = time.perf_counter()
        process = start(words, radio)
        if turn >= 2:  # the first of each kind runs to its end
            time.sleep(rng.uniform(0.5, 1.4) * takes[kind])
            process.kill()
        out, err = process.communicate()
        assert turn >= 2 or process.returncode == 0, err
        took = time.perf_counter() - began
        is_told = "Take it back" in out
        takes[kind] = took if is_told else max(took, takes[kind])
        ended[kind, is_told] += turn >= 2
        names = {f"k{turn}-{row}" for row in range(1 if kind == "log" else 20)}
        acknowledged |= names if is_told else set()
        present = {variant.name for variant in ProjectFile.open(radio / "radio.duckdb").variants()}
        assert acknowledged <= present
        assert len(names & present) in (0, len(names))
    assert min(ended.values()) >= ENOUGH, ended
    assert ProjectFile.open(radio / "radio.duckdb").check() == []


def test_four_people_log_six_variants_each(radio: Path):
    """24 of 24 present, and nobody is shown an error; 200 at once are written in `test_writers.py`."""
    loops = [
        f"for n in $(seq {EACH}); do {sys.executable} -m doe.cli.main log --again --name w{writer}-$n || exit 1; done"
        for writer in range(WRITERS)
    ]
    people = [
        subprocess.Popen(
            ["bash", "-c", loop],
            cwd=radio,
            env=environment(),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for loop in loops
    ]
    said = [person.communicate() for person in people]
    assert [person.returncode for person in people] == [0] * WRITERS, said
    names = {variant.name for variant in ProjectFile.open(radio / "radio.duckdb").variants()}
    assert {f"w{writer}-{n + 1}" for writer in range(WRITERS) for n in range(EACH)} <= names
    assert not any(re.search("lock|held|Fault|Error", err, flags=re.IGNORECASE) for _, err in said)
