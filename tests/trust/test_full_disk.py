import subprocess
import sys
from pathlib import Path

import pytest

from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.records import Variant
from doe.model.setup import Setup
from doe.store import ProjectFile

pytestmark = pytest.mark.trust

WRITER = """
import resource, sys
from doe.model.errors import StoreError
from doe.model.records import Reading
from doe.store import ProjectFile

f = ProjectFile.open(sys.argv[1])
room = int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
try:
    for turn in range(40):
        f.add_readings([Reading("1", "bass", float(turn), note="x" * 100) for _ in range(10)])
        print("stored", flush=True)
except StoreError as err:
    print(err, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on file sizes")
@pytest.mark.parametrize("room", [0, 500, 5_000, 50_000])
def test_without_room_to_write_nothing_acknowledged_is_lost(tmp_path: Path, room: int):
    """A write that finds no room (here: a limit on file sizes) is one sentence; the file holds all that was stored before."""
    f = ProjectFile.create(
        tmp_path / "a.duckdb", Setup(factors=[Factor("vents", low=0, high=6)], outcomes=[Outcome("bass")])
    )
    f.add_variant(Variant("1", {"vents": 1}))
    command = [sys.executable, "-c", WRITER, str(f.path), str(room)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    told = done.stdout.splitlines()
    assert told[-1].startswith(f"{f.path} could not be used, and nothing was changed: there is no room left to write. ")
    assert done.stderr == ""
    assert len(f.readings()) == 10 * (len(told) - 1)
    assert f.check() == []
    f.add_variant(Variant("2", {"vents": 2}))
