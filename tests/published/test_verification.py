from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).parent
MODULES = [path.stem for path in sorted(FOLDER.glob("verification_*.py"))]


@pytest.mark.slow
@pytest.mark.published
@pytest.mark.parametrize("module", MODULES)
def test_every_published_figure_is_met_within_its_printed_digits(module: str):
    """Each row names its source; the tolerance is what the printed digits allow."""
    rows: list[dict[str, Any]] = importlib.import_module(f"tests.published.{module}").rows()
    assert rows
    assert all(row["source"] for row in rows)
    missed = [
        f"{row['check']}: {row['published']} / {row['ours']}"
        for row in rows
        if not row["difference"] <= row["tolerance"]
    ]
    assert not missed, "\n".join(missed)
