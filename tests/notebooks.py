"""The example notebook, run from start to end: ``python -m tests.notebooks`` runs it anew and keeps what it shows.

``python -m tests.notebooks OUT`` writes the run to another file instead, as the test does.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

import nbformat
from nbclient import NotebookClient

EXAMPLES = Path(__file__).parents[1] / "examples"
NOTEBOOK = EXAMPLES / "radio.ipynb"


def executed(source: Path = NOTEBOOK) -> nbformat.NotebookNode:
    """Run a notebook in a copy of its folder; returns it with what it shows and without times, which change every run."""
    book = nbformat.read(source, as_version=4)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "examples"
        shutil.copytree(source.parent, folder)
        NotebookClient(
            book, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(folder)}}
        ).execute()
    for cell in book.cells:
        cell.metadata.pop("execution", None)
    book.metadata = nbformat.from_dict(
        {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}
    )
    return book


def main(out: Path) -> None:
    """Write the run."""
    book = executed()
    nbformat.validate(book)
    out.write_text(nbformat.writes(book) + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else NOTEBOOK)
