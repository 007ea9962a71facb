import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request

import pytest

from tests.cli.running import environment, heed_ctrl_c


def test_a_port_that_is_no_port_or_taken_is_told(fettle, rig):
    done = fettle("serve", "--port", "99999")
    assert (done.code, done.err.splitlines()[0]) == (2, "--port is '99999'; it must be a whole number from 0 to 65535.")
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        done = fettle("serve", "--port", taken.getsockname()[1])
    assert done.code == 1
    assert "choose another with --port NUMBER" in done.err


def test_a_project_that_is_named_must_be_there(fettle):
    done = fettle("serve", "--project", "nothing.duckdb", "--port", "0")
    assert done.code == 1
    assert "does not exist" in done.err


@pytest.mark.trust
@pytest.mark.slow
@pytest.mark.parametrize("is_lan", [False, True])
def test_the_real_server_answers_and_asks_for_the_key_on_a_network(rig, is_lan):
    words = ["serve", "--port", "0", *(["--lan"] if is_lan else [])]
    call = [sys.executable, "-m", "doe.cli.main", *words]
    server = subprocess.Popen(call, cwd=rig.parent, env=environment(), stdout=subprocess.PIPE, text=True)
    try:
        first = server.stdout.readline()
        port = first.split("://", 1)[1].split(":", 1)[1].split()[0]
        key = server.stdout.readline().partition(": ")[2].strip() if is_lan else ""
        page = urllib.request.urlopen(f"http://127.0.0.1:{port}/variants", timeout=20)
        text = page.read().decode()
        assert ("Access key" in text) is is_lan
        assert ("What came from what" in text) is not is_lan
        if is_lan:
            opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
            opened = opener.open(f"http://127.0.0.1:{port}/enter?key={key}", timeout=20)
            assert "Bench time" in opened.read().decode()
            with pytest.raises(urllib.error.HTTPError, match="401"):
                urllib.request.urlopen(f"http://127.0.0.1:{port}/api/variants", timeout=20)
    finally:
        server.terminate()
        server.wait(timeout=20)
        server.stdout.close()


@pytest.mark.trust
@pytest.mark.slow
@pytest.mark.parametrize(
    ("stop", "said"), [(signal.SIGINT, "Stopped; what was acknowledged is stored.\n"), (signal.SIGTERM, "")]
)
def test_the_server_stops_without_a_fuss_though_a_page_is_open(rig, stop, said):
    """An open page listens for changes without end; stopping takes no traceback, and not the time after which it is cut off."""
    call = [sys.executable, "-m", "doe.cli.main", "serve", "--port", "0"]
    server = subprocess.Popen(
        call, cwd=rig.parent, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=heed_ctrl_c,
    )  # fmt: skip
    port = server.stdout.readline().split("://", 1)[1].split(":", 1)[1].split()[0]
    page = urllib.request.urlopen(f"http://127.0.0.1:{port}/live", timeout=20)
    assert page.readline() == b"retry: 2000\n"
    server.send_signal(stop)
    _, err = server.communicate(timeout=20)
    page.close()
    assert err == said
