import json
import os
import pty
import subprocess
import sys
from datetime import datetime

import numpy as np
import pandas as pd
import pytest

from doe.cli import look, screen
from doe.cli.main import main
from tests.cli.running import command, environment


def test_data_and_hints_go_different_ways(rig):
    """What a pipe would carry on is the answer alone."""
    done = command("read", "1", "bass=4", "--session", "Tusday", cwd=rig.parent)
    assert "Tusday" in done.err
    assert done.out.startswith("Stored: variant 1, session Tusday:")
    assert "Did you mean" not in done.out


def in_terminal(words, cwd, **more):
    """Run the real command with a terminal for standard output."""
    own, theirs = pty.openpty()
    call = [sys.executable, "-m", "doe.cli.main", *words]
    kept = {name: value for name, value in environment().items() if name != "NO_COLOR"}
    subprocess.run(
        call, stdout=theirs, stderr=subprocess.DEVNULL, cwd=cwd, env={**kept, "TERM": "xterm", **more}, check=True
    )
    os.close(theirs)
    seen = os.read(own, 65536)
    os.close(own)
    return seen


@pytest.mark.skipif(sys.platform == "win32", reason="needs a terminal")
def test_bold_headings_are_for_terminals_and_can_be_turned_off(rig):
    """No control characters in a pipe, none with NO_COLOR (https://no-color.org), none on a dumb terminal."""
    assert b"\x1b[1munit" in in_terminal(["unit"], rig.parent)
    assert b"\x1b" not in in_terminal(["unit"], rig.parent, NO_COLOR="1")
    assert b"\x1b" not in in_terminal(["unit"], rig.parent, TERM="dumb")
    assert "\x1b" not in command("unit", cwd=rig.parent, env=environment(NO_COLOR="")).out


def test_a_terminal_without_the_sign_shows_a_stand_in(rig):
    """A name outside the terminal's alphabet must not stop a command."""
    env = environment(PYTHONIOENCODING="ascii")
    done = command("log", "vents=3", "--unit", "body A", "--note", "schön", "--name", "Größe", cwd=rig.parent, env=env)
    assert (done.code, "variant Gr??e on" in done.out) == (0, True)
    assert "Größe" in command("variants", cwd=rig.parent, env=environment(PYTHONIOENCODING="utf-8")).out


def test_a_reader_that_has_gone_is_no_failure(rig):
    """As in ``fettle history | head -1``: the pipe is closed before the answer is written."""
    call = [sys.executable, "-m", "doe.cli.main", "history"]
    with subprocess.Popen(
        call, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=rig.parent, env=environment()
    ) as process:
        process.stdout.close()
        assert (process.stderr.read(), process.wait()) == (b"", 0)


def test_a_fault_of_our_own_is_told_without_a_traceback(rig, fettle, monkeypatch):
    """Exit code 1, one sentence, and how to see more."""

    def broken(options):
        raise KeyError("wool")

    monkeypatch.setattr(look, "run_variants", broken)
    done = fettle("variants")
    assert (done.code, done.out) == (1, "")
    assert done.err == (
        "Fettle met a fault of its own (KeyError: 'wool'); what was acknowledged is stored. Set FETTLE_DEBUG=1 and repeat "
        "the command to see where, for a report of the fault.\n"
    )
    monkeypatch.setenv("FETTLE_DEBUG", "1")
    assert "Traceback" in fettle("variants").err


@pytest.mark.parametrize(
    ("fault", "code", "sentence"),
    [
        (KeyboardInterrupt(), 130, "Stopped; what was acknowledged is stored."),
        (PermissionError(13, "Permission denied", "x.html"), 1, "'x.html' cannot be used: permission denied."),
        (OSError("disk on fire"), 1, "The system refused: disk on fire."),
    ],
)
def test_interruptions_and_the_system_are_told_in_a_sentence(rig, fettle, monkeypatch, fault, code, sentence):
    def broken(options):
        raise fault

    monkeypatch.setattr(look, "run_variants", broken)
    done = fettle("variants")
    assert (done.code, done.out, done.err) == (code, "", f"{sentence}\n")


def test_main_reads_the_command_line_when_given_nothing(rig, monkeypatch, capsys):
    monkeypatch.chdir(rig.parent)
    monkeypatch.setattr(sys, "argv", ["fettle", "unit"])
    assert main() == 0
    assert capsys.readouterr().out.startswith("unit    carries")


def test_json_keeps_every_digit_and_turns_what_is_missing_into_null():
    """Binary floating point survives the round trip; frames, arrays' scalars and dates become plain."""
    frame = pd.DataFrame(
        {
            "x": [0.1 + 0.2, np.nan, np.inf],
            "n": pd.array([1, None, 3], dtype="Int64"),
            "when": [datetime(2026, 3, 3), pd.NaT, None],
            "text": ["a", None, "c"],
        }
    )
    told = json.loads(json.dumps(screen.plain({"rows": frame, "k": np.int64(3), "b": np.bool_(True)}), allow_nan=False))
    assert told == {
        "rows": [
            {"x": 0.30000000000000004, "n": 1, "when": "2026-03-03T00:00:00", "text": "a"},
            {"x": None, "n": None, "when": None, "text": None},
            {"x": None, "n": 3, "when": None, "text": "c"},
        ],
        "k": 3,
        "b": True,
    }


def test_a_table_sets_numbers_to_the_right_and_text_to_the_left():
    assert (
        screen.table(("name", "n"), [("a", 1), ("bcd", 20.5), ("e", None)])
        == "name     n\na        1\nbcd   20.5\ne        -"
    )
