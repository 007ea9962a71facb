"""How the command line is run in tests."""

import os
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from tests.bound import bound

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Done:
    """What a command left behind."""

    code: int
    out: str
    err: str


def environment(**more):
    kept = {name: value for name, value in os.environ.items() if not name.startswith("FETTLE_")}
    return {**kept, "PYTHONPATH": str(ROOT), "NO_COLOR": "1", **more}


def command(*words, cwd, may_write_anywhere=True, **options):
    """Run the real command in a process of its own."""
    call = [sys.executable, "-m", "doe.cli.main", *map(str, words)]
    call = call if may_write_anywhere else bound(call)
    options = {"env": environment(), "encoding": "utf-8", **options}
    done = subprocess.run(call, capture_output=True, cwd=cwd, timeout=120, check=False, **options)
    return Done(done.returncode, done.stdout, done.stderr)


def heed_ctrl_c():
    """Run in a new process before its program: listen to Ctrl-C even where the tests run behind a shell's ``&``."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
