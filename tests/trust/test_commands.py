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

KILLS, WRITERS, EACH = 50, 4, 25


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


def test_fifty_kills_of_log_and_import_lose_nothing_acknowledged(radio: Path):
    """What was printed as stored is there, an import is whole or absent, and the file always opens."""
    rng = random.Random(1)
    table = radio / "more.csv"
    acknowledged: list[str] = []
    typical = 0.25
    for place in range(KILLS):
        is_import = place % 5 == 4
        if is_import:
            lines = ["variant,vents,rings,wool,driver,feet,decay"]
            lines += [f"i{place}-{row},1,9,10,poly,felt,{70 + row}" for row in range(20)]
            table.write_text("\n".join(lines) + "\n", encoding="utf-8")
        began = time.perf_counter()
        process = start(["import", "more.csv"] if is_import else ["log", "--again", "--name", f"k{place}"], radio)
        time.sleep(rng.uniform(0.2, 1.4) * typical)
        process.kill()
        out, _ = process.communicate()
        if process.returncode == 0:
            typical = time.perf_counter() - began
        if "Take it back" in out:
            acknowledged += [f"i{place}-{row}" for row in range(20)] if is_import else [f"k{place}"]
        present = {variant.name for variant in ProjectFile.open(radio / "radio.duckdb").variants()}
        assert set(acknowledged) <= present
        if is_import:
            assert len([name for name in present if name.startswith(f"i{place}-")]) in (0, 20)
    assert ProjectFile.open(radio / "radio.duckdb").check() == []


def test_four_people_log_25_variants_each(radio: Path):
    """100 of 100 present, and nobody is shown an error; 200 at once are written in `test_writers.py`."""
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
