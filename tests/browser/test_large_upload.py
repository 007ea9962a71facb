"""200 MB chosen by mistake, at a real server: a sentence for the person, and nothing kept of it."""

from __future__ import annotations

import http.client
import re
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest

from doe.project import Project
from tests.browser.screens import ROOT
from tests.cli.running import environment

pytestmark = [pytest.mark.browser, pytest.mark.slow]
sync_api = pytest.importorskip("playwright.sync_api")

SIZE = 200 * 1024**2
FORMS = ("/variants/1/photos", "/log", "/import", "/readings/1/correct", "/setup/outcome")
TOLD = "at most 32 MB can be sent at once"


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    """A file of 200 MB that takes no room on the disk."""
    path = tmp_path_factory.mktemp("large") / "holiday.jpg"
    with path.open("wb") as file:
        file.truncate(SIZE)
    return path


@contextmanager
def served(folder):
    """Serve the radio by the real command, in a process of its own."""
    project = Project.create(folder / "radio.duckdb", ROOT / "examples" / "radio" / "setup.toml")
    project.import_log(ROOT / "examples" / "radio" / "log.csv")
    scratch = folder / "scratch"
    scratch.mkdir()
    server = subprocess.Popen(
        [sys.executable, "-m", "doe.cli.main", "serve", "--port", "0"], cwd=folder, stdout=subprocess.PIPE, text=True,
        env={**environment(), "TMPDIR": str(scratch)},
    )  # fmt: skip
    try:
        yield server, re.search(r"http://[\w.:]+", server.stdout.readline()).group(), project, scratch
    finally:
        server.terminate()
        server.wait(20)
        server.stdout.close()


def peak_memory(server):
    """Most memory that a process ever held, in MB."""
    status = Path(f"/proc/{server.pid}/status").read_text()
    return int(re.search(r"VmHWM:\s+(\d+)", status).group(1)) / 1024


def pieces():
    block = b"\0" * 1024**2
    for _ in range(SIZE // len(block)):
        yield block


@pytest.mark.trust
@pytest.mark.parametrize("is_announced", [True, False])
def test_200_mb_leave_no_trace_at_any_form(tmp_path, is_announced):
    """The answer is 413 whether the size is announced or not; neither memory nor a file of the server grows with it."""
    with served(tmp_path) as (server, address, project, scratch):
        host = address.removeprefix("http://")
        ask = http.client.HTTPConnection(host, timeout=60)
        ask.request("GET", "/log")
        ask.getresponse().read()
        ask.close()
        before, entries = peak_memory(server), len(project.file.history())
        for path in FORMS:
            kind = {"Content-Type": "multipart/form-data; boundary=x"}
            head = b'--x\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
            size = {"Content-Length": str(len(head) + SIZE)} if is_announced else {}
            connection = http.client.HTTPConnection(host, timeout=60)
            connection.request("POST", path, body=iter([head, *pieces()]), headers={**kind, **size},
                               encode_chunked=not is_announced)  # fmt: skip
            answer = connection.getresponse()
            assert (answer.status, TOLD in answer.read().decode()) == (413, True), path
            connection.close()
        assert peak_memory(server) - before < 24, "far less than one file of 200 MB, five times"
        assert len(project.file.history()) == entries
        assert sum(file.stat().st_size for file in scratch.rglob("*") if file.is_file()) == 0


@pytest.mark.parametrize("form", ["log", "import"])
def test_a_person_who_chose_200_mb_reads_a_sentence(browser, large, tmp_path, form):
    with served(tmp_path) as (_, address, project, _):
        entries = len(project.file.history())
        page = browser.new_page(viewport={"width": 390, "height": 844})
        page.goto(address + {"log": "/log?unit=body+B", "import": "/import"}[form])
        page.set_input_files("input[type=file]", large)
        page.locator("form:has(input[type=file]) button:not(.quiet)").last.click()
        page.wait_for_load_state()
        assert TOLD in page.inner_text("main")
        page.close()
        assert len(project.file.history()) == entries
    assert large.stat().st_size == SIZE
