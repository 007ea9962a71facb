import os
import re
import shutil
import sys
from xml.etree import ElementTree

import pytest

from doe.charts import figure, write_figure
from doe.charts.export import check_free, write_whole
from doe.model.errors import FettleError, StoreError, UsageError
from tests.charts import radio

needs_browser = pytest.mark.skipif(
    not (shutil.which("chromium") or shutil.which("google-chrome")), reason="no Chromium here"
)


def whole(message: str) -> str:
    return f"^{re.escape(message)}$"


@pytest.fixture(scope="module")
def fig():
    return figure(radio.effects())


def test_page_is_complete_and_asks_for_nothing_outside(tmp_path, fig):
    """One file: plotly inside, no script or style from elsewhere, the facts as text for those who cannot see."""
    path = write_figure(fig, tmp_path / "new folder" / "effects.html")
    page = path.read_text(encoding="utf-8")
    assert page.startswith("<!doctype html>")
    assert "Plotly.newPlot" in page
    assert not re.search(r'<(script|link|img|iframe)[^>]+(src|href)="?(https?:)?//', page)
    assert fig.layout.meta["alt"].split(".")[0] in page


def test_page_of_the_same_chart_has_the_same_bytes(tmp_path, fig):
    first, second = (write_figure(fig, tmp_path / name).read_bytes() for name in ("a.html", "b.html"))
    assert first == second


@needs_browser
@pytest.mark.slow
def test_picture_is_drawn_at_twice_the_size(tmp_path, fig):
    """PNG, W3C 2003: signature, then IHDR with width and height as 4-byte numbers."""
    data = write_figure(fig, tmp_path / "effects.png").read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    size = [int.from_bytes(data[place : place + 4], "big") for place in (16, 20)]
    assert size == [2 * fig.layout.meta["pixels"], 2 * fig.layout.height]


@needs_browser
@pytest.mark.slow
def test_vector_picture_is_xml_with_its_facts_as_text(tmp_path, fig):
    root = ElementTree.parse(write_figure(fig, tmp_path / "effects.svg")).getroot()
    space = "{http://www.w3.org/2000/svg}"
    assert root.tag == f"{space}svg"
    assert root.findtext(f"{space}desc") == fig.layout.meta["alt"]
    assert "driver" in " ".join(root.itertext())


@pytest.mark.parametrize("name", ["effects.pdf", "effects", "effects.HTML.txt"])
def test_other_endings_are_refused(tmp_path, fig, name):
    with pytest.raises(UsageError, match=whole(f"'{name}' must end in .html, .png or .svg.")):
        write_figure(fig, tmp_path / name)


def test_existing_file_is_kept_unless_it_may_be_replaced(tmp_path, fig):
    path = tmp_path / "effects.html"
    path.write_text("mine")
    said = f"'{path}' exists already; give another name, or say that it may be replaced."
    with pytest.raises(StoreError, match=whole(said)):
        write_figure(fig, path)
    assert path.read_text() == "mine"
    write_figure(fig, path, replace=True)
    assert path.read_text(encoding="utf-8").startswith("<!doctype html>")


def test_folder_in_place_of_a_file_is_refused(tmp_path):
    with pytest.raises(StoreError, match=whole(f"'{tmp_path}' is a folder; name a file in it.")):
        check_free(tmp_path, replace=True)


def test_failed_write_leaves_the_old_file_and_no_part(tmp_path, monkeypatch):
    """Whole or not at all: the disk fills up while the new file is written."""
    path = tmp_path / "effects.html"
    path.write_text("old")

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("doe.charts.export.check_free", full)
    with pytest.raises(StoreError, match=whole(f"'{path}' cannot be written: No space left on device.")):
        write_whole(path, b"new", replace=True)
    assert [item.name for item in tmp_path.iterdir()] == ["effects.html"]
    assert path.read_text() == "old"


def test_folder_that_is_a_file_is_one_sentence(tmp_path):
    (tmp_path / "reports").write_text("")
    with pytest.raises(StoreError, match=r"^'.*reports/effects\.html' cannot be written: .*\.$"):
        write_whole(tmp_path / "reports" / "effects.html", b"", replace=False)


def test_file_gets_the_mode_that_other_files_get(tmp_path, monkeypatch):
    """A report is to be shared as the user's mask allows; asking for it sets it, for every thread, so nobody may ask."""
    set_mask = os.umask
    old = set_mask(0o022)
    try:
        with monkeypatch.context() as patched:
            patched.delattr(os, "umask")
            write_whole(tmp_path / "a.html", b"x", replace=False)
    finally:
        set_mask(old)
    assert (tmp_path / "a.html").stat().st_mode & 0o777 == 0o644


def test_missing_kaleido_says_what_to_install(tmp_path, fig, monkeypatch):
    monkeypatch.setitem(sys.modules, "kaleido", None)
    said = 'A picture needs kaleido and a Chromium; kaleido is missing: pip install "fettle-doe[export]".'
    with pytest.raises(FettleError, match=whole(said)):
        write_figure(fig, tmp_path / "effects.png")
    assert list(tmp_path.iterdir()) == []


def test_missing_browser_says_what_to_install(tmp_path, fig, monkeypatch):
    pytest.importorskip("kaleido")
    monkeypatch.setenv("BROWSER_PATH", str(tmp_path / "no-such-browser"))
    said = "A picture needs kaleido and a Chromium; no Chromium was found: install one (or Chrome), or name it in BROWSER_PATH."
    with pytest.raises(FettleError, match=whole(said)):
        write_figure(fig, tmp_path / "effects.svg")


@pytest.mark.slow
def test_browser_that_dies_is_one_sentence(tmp_path, fig, monkeypatch):
    """What answers to the browser's name but is none."""
    pytest.importorskip("kaleido")
    false = shutil.which("false")
    monkeypatch.setenv("BROWSER_PATH", str(false))
    with pytest.raises(FettleError, match=r"^The picture could not be drawn by the Chromium at hand: [^\n]+\.$"):
        write_figure(fig, tmp_path / "effects.png")
    assert list(tmp_path.iterdir()) == []
