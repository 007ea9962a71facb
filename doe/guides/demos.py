"""The invented projects that ship: where the files of each are."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).parents[1]


def demo_folder(name: str) -> Path:
    """Return where the files of a demo are: in the package when installed, in `examples/` of the source."""
    packaged = _PACKAGE / "cli" / "demo_data" / name
    return packaged if packaged.is_dir() else _PACKAGE.parent / "examples" / name
