"""Write `reports/verification.md`: every published figure that the tests check, and ours beside it.

Run ``python -m tests.published.write`` from the top of the repository.
"""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent
REPORT = FOLDER.parent.parent / "reports" / "verification.md"
HEAD = """# Verification

Written by `python -m tests.published.write`; checked by `tests/published/test_verification.py`, which fails when a
difference exceeds its tolerance; routes are checked by `tests/advise/test_route.py`, determinants of order 17 to 20 by
`tests/published/test_determinants.py`. A tolerance is what the printed digits of the source allow. A source marked
*from memory* was recalled, not read again; one marked *computed* or *general library* is another program's figure.
"""


def _text(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.8g}"
    if isinstance(value, list | tuple):
        return ", ".join(_text(item) for item in value)
    return str(value).replace("|", "/")


def _table(rows: list[dict[str, Any]]) -> list[str]:
    sources = {source: place + 1 for place, source in enumerate(dict.fromkeys(row["source"] for row in rows))}
    lines = ["| check | source | published | ours | difference | tolerance |", "|---|---|---:|---:|---:|---:|"]
    for row in rows:
        cells = [_text(row["check"]), f"[{sources[row['source']]}]", _text(row["published"]), _text(row["ours"])]
        cells += [f"{float(row['difference']):.2g}", f"{float(row['tolerance']):.2g}"]
        lines.append("| " + " | ".join(cells) + " |")
    return [*lines, "", *(f"[{place}] {_text(source)}  " for source, place in sources.items())]


def verification() -> str:
    """Return the whole report."""
    parts = [HEAD]
    for path in sorted(FOLDER.glob("verification_*.py")):
        module = importlib.import_module(f"tests.published.{path.stem}")
        rows = [*module.rows(), *(module.elsewhere() if hasattr(module, "elsewhere") else ())]
        title = path.stem.removeprefix("verification_").replace("_", " ").capitalize()
        about = (module.__doc__ or "").strip().split("\n\n")[0].replace("\n", " ")
        parts.append("\n".join([f"## {title}", "", about, "", *_table(rows), ""]))
    return "\n".join(parts)


if __name__ == "__main__":
    REPORT.parent.mkdir(exist_ok=True)
    kept = REPORT.read_text(encoding="utf-8").split("\n## Calibration", 1)[1:] if REPORT.exists() else []
    REPORT.write_text(verification() + "".join(f"\n## Calibration{part}" for part in kept), encoding="utf-8")
