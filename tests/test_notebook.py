"""The example notebook is run as a reader would run it, and still says what it says in the repository."""

import re
import subprocess
import sys

import nbformat
import pytest

from tests.cli.running import ROOT, environment
from tests.notebooks import NOTEBOOK


def outputs(book):
    """What each cell of code shows, as one text."""
    return [
        "\n".join(str(part.get("text") or part.get("data", {}).get("text/plain")) for part in cell.outputs)
        for cell in book.cells
        if cell.cell_type == "code"
    ]


@pytest.fixture(scope="module")
def kept():
    return nbformat.read(NOTEBOOK, as_version=4)


@pytest.fixture(scope="module")
def run_anew(tmp_path_factory):
    """A process of its own: the kernel's sockets and threads are none of ours."""
    out = tmp_path_factory.mktemp("notebook") / "radio.ipynb"
    done = subprocess.run(
        [sys.executable, "-m", "tests.notebooks", str(out)],
        cwd=ROOT, env=environment(), capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return nbformat.read(out, as_version=4)


@pytest.mark.slow
def test_the_notebook_runs_from_start_to_end_and_says_what_it_said(kept, run_anew):
    """Every headline and every finding against the truth as kept; if not, run `python -m tests.notebooks` and read it."""
    told = [re.findall(r"<\w+[ :].*>|^true .*", text, re.MULTILINE) for text in outputs(run_anew)]
    assert told == [re.findall(r"<\w+[ :].*>|^true .*", text, re.MULTILINE) for text in outputs(kept)]
    assert sum(map(len, told)) == 12


@pytest.mark.slow
def test_the_truth_lies_in_the_intervals_that_the_notebook_finds(run_anew):
    """`radio.py` states it: 3.3 grades of echo from 180 to 504 cm3, 5.5 dB of bass from paper to bamboo."""
    rows = re.findall(r"true (\S+), found (\S+) \((\S+) to (\S+)\)", outputs(run_anew)[-1])
    assert len(rows) == 2
    for row in rows:
        true, found, low, high = map(float, row)
        assert low < found < high
        assert low < true < high


def test_it_was_run_whole_and_is_small(kept):
    """Cells in order, none failed, each with its output; below 300 kB, no scripts, no place on anybody's machine."""
    cells = [cell for cell in kept.cells if cell.cell_type == "code"]
    assert [cell.execution_count for cell in cells] == list(range(1, len(cells) + 1))
    assert all(cell.outputs for cell in cells)
    assert not any(part.output_type == "error" for cell in cells for part in cell.outputs)
    text = NOTEBOOK.read_text(encoding="utf-8")
    assert len(text.encode()) < 300_000
    places = "|".join(f"/{top}/" for top in ("tmp", "home", "Users"))
    assert not re.search(f"<script|{places}", text)
