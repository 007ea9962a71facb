import subprocess
import sys
import threading
from pathlib import Path

import pytest

from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.records import Reading, Variant
from doe.model.setup import Setup
from doe.store import ProjectFile

pytestmark = [pytest.mark.trust, pytest.mark.slow]

SETUP = Setup("Writers", factors=[Factor("vents", low=0, high=6)], outcomes=[Outcome("bass")])

WRITER = """
import sys
from doe.model.records import Reading, Variant
from doe.store import ProjectFile

f = ProjectFile.open(sys.argv[1])
for turn in range(50):
    print(f.add_variant(Variant("any", {"vents": turn % 7}, note=sys.argv[2]), number_on=True).subject)
"""


def test_four_programs_write_fifty_variants_each_at_once(tmp_path: Path):
    """All 200 are there, each under the number its writer was told, and nobody saw an error."""
    path = tmp_path / "writers.duckdb"
    f = ProjectFile.create(path, SETUP)
    command = [sys.executable, "-c", WRITER, str(path)]
    programs = [
        subprocess.Popen([*command, f"writer {number}"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        for number in range(4)
    ]
    seen = 0
    while any(program.poll() is None for program in programs):
        count = len(f.variants())  # a reader in between is served too, and never sees less than before
        assert count >= seen
        seen = count
    outputs = [program.communicate() for program in programs]
    assert [program.returncode for program in programs] == [0, 0, 0, 0]
    assert [errors for _, errors in outputs] == ["", "", "", ""]
    by_name = {variant.name: variant.note for variant in f.variants()}
    assert set(by_name) == {str(number) for number in range(1, 201)}
    for number, (told, _) in enumerate(outputs):
        assert {by_name[name] for name in told.split()} == {f"writer {number}"}
    assert f.check() == []


def test_threads_of_one_program_share_the_file(tmp_path: Path):
    """A web app writes and reads from several threads; nothing is lost and nothing refused."""
    f = ProjectFile.create(tmp_path / "threads.duckdb", SETUP)
    f.add_variant(Variant("1", {"vents": 0}))
    failures: list[BaseException] = []

    def work(number: int) -> None:
        try:
            for turn in range(12):
                f.add_readings([Reading("1", "bass", float(turn), rater=f"rater {number}")])
                f.readings()
        except BaseException as err:
            failures.append(err)

    threads = [threading.Thread(target=work, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert len(f.readings()) == 48
    assert len({row["id"] for row in f.readings()}) == 48
