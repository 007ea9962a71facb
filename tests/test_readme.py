from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


def _blocks(language: str) -> list[str]:
    """Fenced blocks of one language, in order; an empty language means none was named."""
    fences = re.split(r"^```", TEXT, flags=re.MULTILINE)[1::2]
    return [block.split("\n", 1)[1] for block in fences if block.split("\n", 1)[0] == language]


def _bin() -> str:
    return os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", "")])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the README's own commands have been run, in order."""
    place = tmp_path_factory.mktemp("readme")
    shutil.copytree(ROOT / "examples", place / "examples")
    script = "set -e\n" + "".join(_blocks("sh")[2:])
    done = subprocess.run(
        ["bash", "-c", script],
        cwd=place,
        env={**os.environ, "PATH": _bin()},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    (place / "printed.txt").write_text(done.stdout, encoding="utf-8")
    return place


@pytest.mark.slow
def test_the_ten_minutes_work_as_written(folder: Path):
    """Every command of the walk-through runs, and the table it shows is the table it prints."""
    printed = (folder / "printed.txt").read_text(encoding="utf-8")
    shown = next(block for block in _blocks("") if block.startswith("Sustain follows"))
    assert shown.strip() in printed
    assert (folder / "reports" / "ukulele.html").stat().st_size > 10_000


@pytest.mark.slow
def test_the_python_example_works_as_written(folder: Path):
    done = subprocess.run(
        [sys.executable, "-c", _blocks("python")[0]], cwd=folder, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "moves it" in done.stdout


def test_the_set_up_takes_two_commands():
    """One runs the demo, one runs the tests; each makes its own environment."""
    demo, tests = _blocks("sh")[:2]
    assert demo.count("\n") == tests.count("\n") == 1
    assert all(command.startswith("python3 -m venv .venv && ") for command in (demo, tests))
    assert demo.rstrip().endswith("fettle demo radio-demo")
    assert tests.rstrip().endswith("python -m tests")
