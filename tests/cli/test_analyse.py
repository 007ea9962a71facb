import json
import re

import pytest

import doe
from doe.cli import analyse, screen
from doe.store import ProjectFile

FACTORS = '[[factor]]\nname = "heat"\nlow = 0\nhigh = 10\n[[factor]]\nname = "time"\nlow = 1\nhigh = 5\n'
OUTCOMES = '[[outcome]]\nname = "grip"\nunit = "N"\nmatters = 2\n[[outcome]]\nname = "gloss"\n'
LOG = """\
variant,heat,time,grip
1,0,1,10.2
2,10,1,30.1
3,0,5,9.7
4,10,5,30.4
5,0,1,9.9
6,10,1,29.8
7,0,5,10.3
8,10,5,29.6
"""


@pytest.fixture
def bench(tmp_path, fettle):
    """A two-level project, each of four settings built twice: heat adds 20 N, time nothing."""
    (tmp_path / "setup.toml").write_text(FACTORS + OUTCOMES, encoding="utf-8")
    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8")
    assert fettle("init", "bench", "--setup", "setup.toml").code == 0
    assert fettle("import", "log.csv").code == 0
    return tmp_path / "bench.duckdb"


def test_the_answer_is_told_and_the_outcome_without_readings_beside_it(bench, fettle):
    """Grip is answered on standard output; gloss, which nobody read, on standard error."""
    done = fettle("analyse")
    assert done.code == 0
    assert done.out.startswith("Grip follows heat; time is too small to matter.\n\nterm")
    assert re.search(r"^heat +0 to 10 +\+(19|20)\.\d+ N \(", done.out, re.M)
    assert done.err == "gloss was left out: There is no reading of gloss yet; take one with 'fettle read'.\n"


def test_a_narrow_terminal_gets_the_table_in_columns_that_fit(bench, fettle, monkeypatch):
    """Rows used to be folded as if they were sentences, so that no column stood below its heading."""
    wide = fettle("analyse", "grip").out
    for module in (screen, analyse):
        monkeypatch.setattr(module, "room", lambda stream: 48)
    out = fettle("analyse", "grip").out
    assert max(map(len, out.splitlines())) <= 48 < max(map(len, wide.splitlines()[2:6]))
    assert [line.split()[:2] for line in out.splitlines()[2:5]] == [["term", "from"], ["heat", "0"], ["time", "1"]]
    assert "term  verdict\nheat  moves it\ntime  too small to matter\n" in out
    for word in wide.split():
        assert word.strip("-") in out
    monkeypatch.setattr(analyse, "room", lambda stream: 90)
    monkeypatch.setattr(screen, "room", lambda stream: 90)
    assert fettle("analyse", "grip").out.splitlines()[2:6] == wide.splitlines()[2:6]


def test_a_named_outcome_that_cannot_be_answered_is_a_failure(bench, fettle):
    done = fettle("analyse", "gloss")
    assert (done.code, done.out) == (1, "")
    fettle("read", "1", "gloss=3")
    done = fettle("analyse", "gloss")
    said = "Only one variant has a reading of gloss; effects need at least two that differ.\n"
    assert (done.code, done.out, done.err) == (1, "", said)


def test_terms_may_be_a_model_or_a_list(bench, fettle):
    """The classical table holds exactly the terms asked for."""
    for words, terms in {"main": ["heat", "time"], "heat": ["heat"], "heat,heat:time": ["heat", "heat:time"]}.items():
        told = json.loads(fettle("analyse", "grip", "--terms", words, "--json").out)
        assert [row["term"] for row in told[0]["classical"]] == terms
    done = fettle("analyse", "grip", "--terms", "heat,tine")
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("Term 'tine' uses 'tine', which is no factor. Did you mean 'time'?\n")


def test_json_holds_exactly_what_the_python_interface_gives(bench, fettle):
    """Full precision: the numbers survive a round trip through text."""
    told = json.loads(fettle("analyse", "grip", "--json").out)
    effects = doe.open(bench).analyse("grip")
    assert [row["swing"] for row in told[0]["table"]] == effects.to_frame()["swing"].tolist()
    assert set(told[0]) == set(effects.to_tables())
    assert (told[0]["outcome"], told[0]["n_readings"], told[0]["unit"]) == ("grip", 8, "N")
    everything = json.loads(fettle("analyse", "--json").out)
    assert everything[1] == {
        "outcome": "gloss",
        "refused": "There is no reading of gloss yet; take one with 'fettle read'.",
    }


def test_the_effects_of_a_two_level_plan_are_the_differences_of_means(bench, fettle):
    """Closed form: a swing by least squares is the mean at high less the mean at low; its error from the pooled scatter."""
    told = json.loads(fettle("analyse", "grip", "--terms", "main", "--json").out)
    classical = {row["term"]: row for row in told[0]["classical"]}
    high, low = (30.1 + 30.4 + 29.8 + 29.6) / 4, (10.2 + 9.7 + 9.9 + 10.3) / 4
    assert classical["heat"]["swing"] == pytest.approx(high - low, rel=1e-9)
    assert classical["time"]["swing"] == pytest.approx(
        (9.7 + 30.4 + 10.3 + 29.6 - 10.2 - 30.1 - 9.9 - 29.8) / 4, rel=1e-6
    )


def test_a_chart_goes_to_a_file_and_never_over_another(bench, fettle):
    done = fettle("analyse", "grip", "--plot", "grip.html")
    assert (done.code, done.err) == (0, "Drawn: grip.html.\n")
    page = (bench.parent / "grip.html").read_text(encoding="utf-8")
    assert "Grip follows heat" in page
    assert fettle("analyse", "grip", "--plot", "grip.html").code == 1
    assert fettle("analyse", "grip", "--plot", "grip.html", "--replace").code == 0
    done = fettle("analyse", "grip", "--plot", "grip.gif")
    assert (done.code, done.err.splitlines()[0]) == (2, "'grip.gif' must end in .html, .png or .svg.")


def test_analysing_changes_nothing(bench, fettle):
    before = ProjectFile.open(bench).fingerprint()
    fettle("analyse")
    assert ProjectFile.open(bench).fingerprint() == before
