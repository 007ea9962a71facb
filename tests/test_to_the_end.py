"""The script that drives the invented radio to its end: what it settles is what its truth says."""

import importlib.util
import shutil
import subprocess
from pathlib import Path

import pytest

from doe.project import Project
from doe.sheets import print_pdf

SCRIPT = Path(__file__).parents[1] / "examples" / "radio" / "to_the_end.py"


@pytest.mark.slow
def test_the_radio_is_settled_confirmed_and_written_down(tmp_path, capsys):
    """Truth of 6 rings without wool: bass 0.52 dB, echo 2.63, decay 67.0 ms (4 vents take 0.8 off)."""
    spec = importlib.util.spec_from_file_location("to_the_end", SCRIPT)
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    script.main(tmp_path / "radio")
    told = capsys.readouterr().out
    assert "rings beyond 7 to 12: rings 6 would be 10.5 cm3 off" in told
    assert "kept the promise in every outcome" in told
    project = Project.open(tmp_path / "radio" / "radio.duckdb")
    (version,) = project.versions()
    assert (version.number, version.name, version.settings["rings"], version.settings["wool"]) == (
        1,
        "kitchen radio",
        6,
        0.0,
    )
    assert version.files[0]["filename"] == "body-F.png"
    truth = {"bass": 0.52, "echo": 1.9 + 3.3 * 72 / 324, "decay": 58 + 48 * 72 / 324 - 0.8}
    for row in version.evidence["expected"]:
        assert row["low"] < truth[row["outcome"]] < row["high"]
    assert version.evidence["confirmation"]["verdict"] == "kept its promise"
    assert project.file.check() == []
    assert (tmp_path / "radio" / "reports" / "radio.html").stat().st_size > 100_000
    page = tmp_path / "radio" / "reports" / "radio-version-1.html"
    assert "data:image/png;base64" in page.read_text(encoding="utf-8")
    if shutil.which("chromium") and shutil.which("pdfinfo"):
        pdf = print_pdf(page, tmp_path / "sheet.pdf")
        info = subprocess.run(["pdfinfo", str(pdf)], capture_output=True, text=True, check=True).stdout
        pages = int(next(line for line in info.splitlines() if line.startswith("Pages:")).split()[1])
        assert pages <= 2
