import json
import os
import re
import signal
import subprocess
import sys
import time

import pytest

from doe.cli import progress
from tests.cli.running import command, environment, heed_ctrl_c
from tests.cli.test_next_without_enough import SETUP


@pytest.fixture
def here(tmp_path):
    (tmp_path / "setup.toml").write_text(SETUP, encoding="utf-8")
    return tmp_path


@pytest.mark.slow
def test_a_setup_file_is_rehearsed_without_a_project(here):
    """Sentences on standard output, the assumptions beside them; no bar where nobody watches."""
    done = command("rehearse", "--setup", "setup.toml", "--benches", "2", "--hours", "3", "--compare", cwd=here)
    assert done.code == 0
    head, kept, *sizes, blank, title, _, columns = done.out.split("\n")[:7]
    assert re.match(r"(\d of|In none of) 2 rehearsals", head)
    assert kept.startswith("The variant kept at the end was that good in ")
    assert sizes == ["No effect of the sizes tried would be seen with a chance of 80 % on bass and echo."]
    assert (blank, title) == ("", "Other ways of working, on the same benches:")
    assert columns.startswith("way of working")
    assert done.out.count("of worth\n") == 8
    assert done.err == (
        "Each rehearsal begins with one unit, its settings drawn. Each reading scatters by 10 % of its outcome's range; "
        "--scatter sets it.\n"
    )
    assert [path.name for path in here.iterdir()] == ["setup.toml"]


@pytest.mark.slow
def test_a_project_is_rehearsed_from_its_unit_and_stays_as_it_is(here, fettle):
    fettle("init", "radio", "--setup", "setup.toml")
    fettle("log", "vents=1", "wool=20", "--new-unit", "body A")
    before = (here / "radio.duckdb").read_bytes()
    words = ["rehearse", "--benches", "2", "--hours", "2", "--seed", "4", "--json"]
    told = json.loads(command(*words, cwd=here).out)
    assert [row["seed"] for row in told["plays"]] == [4, 5]
    assert {"headline", "smallest", "effects", "rivals", "notes"} <= set(told)
    assert (here / "radio.duckdb").read_bytes() == before
    assert json.loads(command(*words, cwd=here).out) == told
    assert "begins with unit body A as it is now" in fettle("rehearse", "--benches", "1", "--hours", "1").err


@pytest.mark.slow
@pytest.mark.trust
def test_ctrl_c_keeps_what_is_done(here):
    """The whole group of processes is interrupted, as a terminal does it, once the bar tells of a first bench."""
    code = (
        "import doe.cli.progress, sys\n"
        "def told(self, share, words):\n"
        "    print(words.split()[0], file=sys.stderr, flush=True)\n"
        "doe.cli.progress.Progress.__call__ = told\n"
        "from doe.cli.main import main\n"
        "sys.exit(main(['rehearse', '--setup', 'setup.toml', '--benches', '400', '--hours', '2']))"
    )
    options = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, "start_new_session": True}
    call = [sys.executable, "-c", code]
    at_work = subprocess.Popen(call, cwd=here, env=environment(), preexec_fn=heed_ctrl_c, **options)
    assert at_work.stderr.readline() == "1\n"
    time.sleep(0.2)
    os.killpg(at_work.pid, signal.SIGINT)
    out, err = at_work.communicate(timeout=60)
    assert at_work.returncode == 0
    played = int(re.search(r"Note: Stopped early: this is about the (\d+) of 400 benches that were played\.", out)[1])
    assert 1 <= played < 400
    assert "Traceback" not in err


@pytest.mark.slow
@pytest.mark.trust
def test_ctrl_c_while_processes_start_leaves_no_traceback(here):
    """Each process that plays is told at its first breath, as early as Ctrl-C can reach it."""
    code = (
        "import os, signal, sys\n"
        "import joblib.externals.loky.backend.popen_loky_posix as started\n"
        "spawn = started.Popen._launch\n"
        "def told(self, process):\n"
        "    spawn(self, process)\n"
        "    os.kill(self.pid, signal.SIGINT)\n"
        "started.Popen._launch = told\n"
        "from doe.cli.main import main\n"
        "sys.exit(main(['rehearse', '--setup', 'setup.toml', '--benches', '2', '--hours', '1']))"
    )
    options = {"capture_output": True, "text": True, "timeout": 120, "check": False}
    done = subprocess.run([sys.executable, "-c", code], cwd=here, env=environment(), preexec_fn=heed_ctrl_c, **options)
    assert done.returncode == 0
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (["--benches", "0"], 2, "--benches is '0'; it must be a whole number from 1."),
        (["--benches", "5000"], 2, "benches is 5000; it must be a whole number from 1 to 1000."),
        (["--hours", "0"], 2, "hours is 0; it must be a number above 0."),
        (["--scatter", "0"], 2, "scatter is 0 %; it must be a share above 0 and below 100 %, such as 10 %."),
        (["--setup", "none.toml"], 1, "There is no setup file 'none.toml'."),
        (["--project", "radio"], 2, "--setup does not go with --project; give one of them."),
    ],
)
def test_what_cannot_be_rehearsed_is_told(here, fettle, words, code, sentence):
    done = fettle("rehearse", *([] if "--setup" in words else ["--setup", "setup.toml"]), *words)
    assert (done.code, done.out) == (code, "")
    assert done.err.startswith(f"{sentence}\n")


def test_goals_are_needed(here, fettle):
    fettle("init", "--title", "Fan")
    fettle("factor", "add", "gap", "--low", "1", "--high", "4")
    fettle("outcome", "add", "flow")
    assert fettle("rehearse").err.startswith(
        "No measured or rated outcome has a goal, so there is nothing to rehearse; set a goal on one; "
        "'fettle outcome change NAME --goal GOAL' does that.\n"
    )


def test_readings_that_take_no_time_are_refused(here, fettle):
    """They would never use up the hours, and the rehearsal would have no end."""
    fettle("init", "--title", "Kite")
    fettle("factor", "add", "tail", "--low", "0", "--high", "3", "--minutes", "5")
    fettle("factor", "add", "cloth", "--kind", "categorical", "--levels", "silk", "paper", "--minutes", "3")
    fettle("outcome", "add", "height", "--goal", "raise", "--best", "50", "--worst", "0")
    done = fettle("rehearse", "--benches", "1", "--hours", "1")
    assert done.code != 0
    assert done.err.startswith(
        "Nothing says how long a round of readings or a session takes, so readings would never use up the hours; say so with "
        "'fettle effort --reading-minutes MINUTES'.\n"
    )


def test_the_bar_is_drawn_on_a_terminal_only(monkeypatch, capsys):
    """It says how far the work is and what an interruption keeps, and is gone when the work is done."""
    with progress.Progress("what is done", patience_s=0) as tell:
        tell(0.5, "1 of 2 benches")
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    with progress.Progress("what is done", patience_s=0) as tell:
        tell(0.5, "1 of 2 benches")
    drawn, wiped = capsys.readouterr().err.split("\r")[1:3]
    assert drawn == "############............ 50 %  1 of 2 benches  (Ctrl-C keeps what is done)"
    assert wiped == " " * len(drawn)


def test_a_limit_that_nothing_can_keep_is_named(here, fettle):
    with (here / "setup.toml").open("a", encoding="utf-8") as file:
        file.write('[[limit]]\nrule = "vents > 20"\n')
    done = fettle("rehearse", "--setup", "setup.toml", "--benches", "2", "--hours", "5")
    said = (
        "setup.toml: No settings keep the limit 'vents > 20' within the factors' ranges; loosen it or widen a range.\n"
    )
    assert (done.code, done.out, done.err) == (1, "", said)
