"""A page as PDF, through the Chromium of the system."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

from doe.charts.export import check_free, write_whole
from doe.model.choices import Paper, choose
from doe.model.errors import StoreError

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
_SECONDS = 60


def print_pdf(page: Path, target: Path, *, paper: Paper = "A4", replace: bool = False) -> Path:
    """Print an HTML page to a PDF.

    Parameters
    ----------
    page, target : Path
        The page, and the file to write.
    paper : {"A4", "letter"}
        210 x 297 mm (ISO 216), or 8.5 x 11 inches.
    replace : bool
        Overwrite a file that exists.

    Raises
    ------
    UsageError
        If the paper is unknown.
    StoreError
        If no Chromium is installed, it does not print, or the target exists and may not be replaced.
    """
    choose("paper", paper, Paper)
    check_free(target, replace=replace)
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        raise StoreError(
            "No Chromium is installed, so no PDF is written; open the page in a browser and print it there."
        )
    with tempfile.TemporaryDirectory() as folder:
        made, sized = Path(folder) / "page.pdf", Path(folder) / "page.html"
        text = page.read_text(encoding="utf-8")
        sized.write_text(text.replace("</head>", f"<style>@page{{size:{paper}}}</style></head>", 1), encoding="utf-8")
        call = [
            browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
            f"--user-data-dir={folder}/profile",
            f"--print-to-pdf={made}", sized.as_uri(),
        ]  # fmt: skip
        try:
            subprocess.run(call, capture_output=True, timeout=_SECONDS, check=False)
        except (OSError, subprocess.TimeoutExpired) as err:
            raise StoreError(f"{browser} did not print the page; open it in a browser and print it there.") from err
        if not made.is_file():
            raise StoreError(f"{browser} did not print the page; open it in a browser and print it there.")
        write_whole(target, made.read_bytes(), replace=replace)
    return target
