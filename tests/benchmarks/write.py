"""Write `reports/benchmarks.md`: every speed that is promised, measured on this machine.

Run ``python -m tests.benchmarks.write`` from the top of the repository, on a machine with nothing else to do.
"""

from __future__ import annotations

import importlib
import os
import platform
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent
REPORT = FOLDER.parent.parent / "reports" / "benchmarks.md"
HEAD = """# Benchmarks

Written by `python -m tests.benchmarks.write`. Ratios compare two ways within one run, so that a slow machine slows both;
seconds are of the machine named below. Figures that miss their target are kept as they are.
"""


def _table(rows: list[dict[str, Any]]) -> list[str]:
    lines = ["| what | measured | target |", "|---|---:|---:|"]
    return [*lines, *(f"| {row['check']} | {row['ours']:.3g} | {row['target']} |" for row in rows)]


def figures_of(name: str) -> list[dict[str, Any]]:
    """Return what one module of benchmarks measures; nothing where it has no figures to report."""
    module = importlib.import_module(f"tests.benchmarks.{name}")
    return module.figures() if hasattr(module, "figures") else []


def benchmarks() -> str:
    """Return the whole report, each part measured in a process of its own: what another leaves in memory slows pages."""
    parts = [HEAD, f"Python {platform.python_version()}, {os.cpu_count()} cores, {platform.machine()}.\n"]
    with ProcessPoolExecutor(1, mp_context=get_context("spawn"), max_tasks_per_child=1) as fresh:
        for path in sorted(FOLDER.glob("test_*.py")):
            if rows := fresh.submit(figures_of, path.stem).result():
                title = path.stem.removeprefix("test_").replace("_", " ").capitalize()
                parts.append("\n".join([f"## {title}", "", *_table(rows), ""]))
    return "\n".join(parts)


if __name__ == "__main__":
    REPORT.parent.mkdir(exist_ok=True)
    kept = REPORT.read_text(encoding="utf-8").split("\n## Rehearsal", 1)[1:] if REPORT.exists() else []
    REPORT.write_text(benchmarks() + "".join(f"\n## Rehearsal{part}" for part in kept), encoding="utf-8")
