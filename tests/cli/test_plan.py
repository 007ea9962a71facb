import csv
import json
import os
import pty
import re
import select
import shlex
import signal
import subprocess
import sys
import time

import numpy as np
import pandas as pd
import pytest

from doe.cli.plan_text import in_options
from doe.project import Project
from doe.store import ProjectFile
from tests.cli.running import command, environment, heed_ctrl_c

HELP = "'fettle {} --help' shows what it takes.\n"
QUICK = ("--kind", "d-optimal", "--starts", "20", "--scatter", "0.5", "--matters", "1")


def refused(done, code, sentence, help_for="plan"):
    """Check that a command was refused with exactly this text."""
    assert (done.err, done.code, done.out) == (f"{sentence}\n{HELP.format(help_for) if code == 2 else ''}", code, "")


@pytest.fixture
def planned(rig, fettle):
    """The rig with an adopted plan of eight runs, variants 4 to 11."""
    assert fettle("plan", "--runs", "8", *QUICK, "--adopt").code == 0
    return rig


def test_the_runs_of_a_plan_are_told_though_it_cannot_be_judged_any_more(planned, fettle):
    """Why not was all that was told; they can be put right."""
    fettle("limit", "add", "wool < 60")
    done = fettle("plan", "--csv", "runs.csv")
    assert done.code == 2
    assert re.match(
        r"D-optimal plan, 8 runs, .*: 0 of 8 built\.\n\norder  variant  status .*\n +1  4 +planned ", done.out
    )
    assert re.match(r"Written: runs.csv\.\nRun \d breaks the limit 'wool < 60'; change it, or loosen", done.err)
    runs = planned.with_name("runs.csv")
    runs.write_text(runs.read_text().replace(",60.0,", ",55.0,"), encoding="utf-8")
    assert fettle("plan", "--edit", "runs.csv").code == 0


def test_a_plan_is_told_and_nothing_is_stored(rig, fettle):
    before = ProjectFile.open(rig).fingerprint()
    done = fettle("plan", "--runs", "8", *QUICK)
    assert done.code == 0
    assert done.out.startswith("D-optimal plan, 8 runs, 4 factors, 4 units.\n")
    assert "would be seen by a t test (5 %) with a chance of 80 %" in done.out
    assert re.search(r"^order  unit   vents  rings  wool  driver$", done.out, re.MULTILINE)
    assert done.err == "Nothing is stored; add --adopt to keep this plan, or --csv FILE to edit it first.\n"
    assert ProjectFile.open(rig).fingerprint() == before


def test_json_tells_the_plan_in_full(rig, fettle):
    made = json.loads(fettle("plan", "--runs", "8", *QUICK, "--json").out)
    assert {
        "kind",
        "headline",
        "runs",
        "confounded",
        "precision",
        "efficiency",
        "apart",
        "facts",
        "notes",
        "seed",
    } <= set(made)
    assert (made["kind"], len(made["runs"]), made["seed"]) == ("d-optimal", 8, 1)
    assert {row["term"] for row in made["precision"]} == {"vents", "rings", "wool", "driver"}
    assert made["scatter"] == 0.5


def test_runs_alone_compare_the_plans_that_fit(rig, fettle):
    """One is recommended in words, with what it cannot tell apart, how sure it is, and its price."""
    done = fettle("plan", "--runs", "8", "--scatter", "0.5", "--matters", "1")
    assert done.code == 0
    assert done.out.startswith("Take this one: ")
    assert "\nAll plans that fit:\n" in done.out
    assert re.search(r"It takes .* at the bench, with \d new units?, readings included\.", done.out)
    chosen = json.loads(fettle("plan", "--runs", "8", "--scatter", "0.5", "--matters", "1", "--json").out)
    assert {"headline", "reason", "plans", "left_out", "recommended"} <= set(chosen)
    assert done.out.startswith(chosen["headline"])
    assert [row["is_recommended"] for row in chosen["plans"]] == [True] + [False] * (len(chosen["plans"]) - 1)
    assert len(chosen["recommended"]["runs"]) == chosen["plans"][0]["runs"] <= 8


@pytest.mark.slow
def test_hours_are_kept(rig, fettle):
    chosen = json.loads(fettle("plan", "--hours", "11", "--scatter", "0.5", "--matters", "1", "--json").out)
    assert all(row["hours"] <= 11 for row in chosen["plans"])
    assert chosen["plans"] and chosen["left_out"]


def test_an_adopted_plan_is_shown_routed_and_built(planned, fettle):
    shown = fettle("plan", "--scatter", "0.5", "--matters", "1")
    assert shown.out.startswith("D-optimal plan, 8 runs, 4 factors, 4 units: 0 of 8 built.\n")
    assert "planned" in shown.out
    routed = json.loads(fettle("route", "--json").out)
    assert sorted(step["variant"] for step in routed["steps"]) == sorted(str(number) for number in range(4, 12))
    logged = fettle("log", "--planned", "4", "--new-unit")
    assert logged.out.startswith("Stored: variant 4 on the new unit body C, as planned:\n")
    assert fettle("plan", "--scatter", "0.5").out.startswith(
        "D-optimal plan, 8 runs, 4 factors, 4 units: 1 of 8 built.\n"
    )
    listed = fettle("variants").out.splitlines()
    assert listed[0].split()[-2:] == ["readings", "status"]
    assert [("planned" in line) for line in listed[1:]] == [False] * 4 + [True] * 7


def test_the_next_step_that_a_route_prints_is_built_as_printed(planned, fettle):
    """On the unit that the route means, a new one too; and the steps that come later on that unit go on from it."""
    done = fettle("route", "--new-units", "5")
    steps = json.loads(fettle("route", "--new-units", "5", "--json").out)["steps"]
    first = steps[0]
    typed, later = re.search(r"Next: build step 1, then log it with '(.*?)'(.*)\.\n", done.err).groups()
    words = shlex.split(typed)
    assert words[:4] == ["fettle", "log", "--planned", first["variant"]]
    new = first["unit"].startswith("new ")
    assert (words[4], words[5]) == ("--new-unit" if new else "--unit", first["unit"])
    assert later == (f'; what is built on it later, with --unit "{first["unit"]}"' if new else "")
    assert fettle(*words[1:]).code == 0
    second = next((step for step in steps[1:] if step["unit"] == first["unit"]), None)
    assert second is not None
    assert fettle("log", "--planned", second["variant"], "--unit", second["unit"]).code == 0
    units = {variant.name: variant.unit for variant in ProjectFile.open(planned).variants()}
    assert units[first["variant"]] == units[second["variant"]] == first["unit"]
    assert "--new-unit NAME" in fettle("plan", "--scatter", "0.5").err


def test_what_is_adopted_can_be_taken_back(rig, fettle):
    before = ProjectFile.open(rig).fingerprint()
    done = fettle("plan", "--runs", "8", *QUICK, "--adopt")
    entry = re.search(r"Take it back with 'fettle undo (\d+)'\.\n$", done.out)[1]
    assert "Adopted a plan (D-optimal plan, 8 runs, 4 factors, 4 units): variants 4 to 11." in done.out
    assert fettle("undo", entry).code == 0
    assert ProjectFile.open(rig).fingerprint() == before


def test_a_plan_is_abandoned_and_history_shows_it(planned, fettle):
    done = fettle("plan", "--abandon")
    assert done.out.startswith("Abandoned the plan: 8 runs not built, 0 built.\nTake it back with 'fettle undo ")
    assert "abandoned the plan" in fettle("history").out
    assert fettle("variants").out.count("planned") == 0


def test_a_plan_is_edited_in_a_spreadsheet(planned, fettle, tmp_path):
    """Written as CSV, one run taken out and one changed, read back and judged again."""
    assert fettle("plan", "--csv", "plan.csv", "--scatter", "0.5").code == 0
    rows = list(csv.DictReader((tmp_path / "plan.csv").open(encoding="utf-8")))
    rows[1]["wool"] = "30.0"
    with (tmp_path / "plan.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows[:-1])
    done = fettle("plan", "--edit", "plan.csv", "--scatter", "0.5")
    assert "Edited the plan: 1 run changed, 1 run taken out." in done.out
    table = ProjectFile.open(planned).adopted_plan()
    assert len(table.runs) == 7
    assert table.runs[1].settings["wool"] == 30.0


def test_a_table_of_ones_own_is_adopted(rig, fettle, tmp_path):
    """Where no plan is adopted, an edited table becomes one; the model is judged on it."""
    fettle("plan", "--runs", "8", *QUICK, "--csv", "mine.csv")
    done = fettle("plan", "--edit", "mine.csv", "--scatter", "0.5")
    assert done.out.startswith("Plan as edited, 8 runs, 4 factors, 4 units.\n")
    assert "Adopted a plan (Plan as edited, 8 runs, 4 factors, 4 units): variants 4 to 11." in done.out


def test_the_plan_and_the_route_are_drawn(planned, fettle, tmp_path):
    for chart in ("precision", "correlations", "prediction"):
        done = fettle("plan", "--scatter", "0.5", "--plot", f"{chart}.html", "--chart", chart)
        assert f"Drawn: {chart}.html." in done.err
    assert "Drawn: route.html." in fettle("route", "--plot", "route.html").err
    for name in ("precision", "correlations", "prediction", "route"):
        assert 'role="img"' in (tmp_path / f"{name}.html").read_text(encoding="utf-8")


def test_a_route_says_per_unit_what_to_do_and_what_is_proven(planned, fettle):
    done = fettle("route")
    assert done.code == 0
    assert re.match(
        r"8 variants on \d new units: .* at the bench, and 50 min of readings, one round each\.\n", done.out
    )
    assert re.search(r"^new 1, to be made: ", done.out, re.MULTILINE)
    assert re.search(r"^Note: No route takes fewer than ", done.out, re.MULTILINE)
    assert re.search(r"^rings +fixed on each unit; units are taken in random order +0 ", done.out, re.MULTILINE)
    found = json.loads(fettle("route", "--json").out)
    keys = {"headline", "steps", "units", "randomised", "minutes", "least_minutes", "bound", "is_proven", "new_units"}
    assert keys | {"reading_minutes", "shuffle", "notes"} == set(found)
    assert found["is_proven"] is True
    assert found["minutes"] == found["least_minutes"] == found["bound"]


def test_shuffling_shows_both_prices(planned, fettle):
    done = fettle("route", "--shuffle", "0.3")
    assert re.search(r"^Note: Shuffled: .* instead of .*, .* more\.$", done.out, re.MULTILINE)
    found = json.loads(fettle("route", "--shuffle", "0.3", "--json").out)
    assert found["least_minutes"] <= found["minutes"] <= 1.3 * found["least_minutes"] + 1e-6


def test_a_table_of_settings_is_routed(rig, fettle, tmp_path):
    (tmp_path / "want.csv").write_text("variant;vents;rings;wool;driver\nfirst;3;9;30;paper\nsecond;4;11;0;poly\n")
    found = json.loads(fettle("route", "want.csv", "--new-units", "0", "--json").out)
    assert [(step["unit"], step["variant"]) for step in sorted(found["steps"], key=lambda step: step["variant"])] == [
        ("body A", "first"),
        ("body B", "second"),
    ]


BAD = [
    (
        "plan --runs 7 --model two-factor",
        2,
        (
            "7 runs cannot settle the 15 unknowns of the model (the mean, 14 effects); ask for at least 15 runs, "
            "--kind bayesian or --model main, which has 6."
        ),
    ),
    (
        "plan --runs 3",
        2,
        (
            "No plan of 4 factors fits into 3 runs: the main effects alone are 6 unknowns, so ask for 7 runs or "
            "more, or plan with fewer factors."
        ),
    ),
    (
        "plan --hours 0",
        2,
        "--hours is 0; it must be a number above 0.",
    ),
    (
        "plan --runs 8 --matters 0",
        2,
        "--matters is 0.0; it must be more than 0.",
    ),
    (
        "plan --scatter -1",
        2,
        "--scatter is -1.0; it must be more than 0.",
    ),
    (
        "plan --kind fractoin",
        2,
        (
            "--kind is 'fractoin'; it must be d-optimal, i-optimal, bayesian, full, fraction, plackett-burman, "
            "fold-over, definitive, central-composite, face-centred, box-behnken, latin-hypercube or maximin. Did"
            " you mean 'fraction'?"
        ),
    ),
    (
        "plan --kind fraction",
        2,
        "driver has 3 levels, and a two-level fraction takes two of each factor; use --kind d-optimal.",
    ),
    (
        "plan --runs 12 --blocks 2 --session-runs 5",
        2,
        "12 runs in 2 blocks make blocks of 6, but a session holds 5; use --blocks 3.",
    ),
    (
        "plan --runs 12 --blocks 20",
        2,
        "--blocks is 20; with 12 runs it must be 1 to 6.",
    ),
    (
        "plan --runs 8 --units 1",
        2,
        "--units is 1; the terms that only change with a rebuild need 2, and 8 runs can use 8 at most.",
    ),
    (
        "plan --runs 8 --fold vents",
        2,
        "--fold belongs to --kind fold-over, not to 'd-optimal'.",
    ),
    (
        "plan --runs 8 --model ventz",
        2,
        "Term 'ventz' uses 'ventz', which is no factor. Did you mean 'vents'?",
    ),
    (
        "plan --runs 1000000",
        2,
        "--runs is 1000000; it must be a whole number from 1 to 1000.",
    ),
    (
        "plan --runs 0",
        2,
        "--runs is '0'; it must be a whole number from 1.",
    ),
    (
        "plan --outcome bas",
        2,
        "There is no outcome 'bas'; there are bass, echo and clarity. Did you mean 'bass'?",
    ),
    (
        "plan --hours 5 --kind full",
        2,
        "--hours compares plans of every kind, so --kind does not go with it; give --runs instead.",
    ),
    (
        "plan --abandon --runs 3",
        2,
        "--runs does not go with --abandon; it belongs to a new plan.",
    ),
    (
        "plan --adopt --abandon",
        2,
        "--abandon does not go with --adopt; give one of them.",
    ),
    (
        "plan --chart precision",
        2,
        "--chart says what --plot draws, so it needs --plot FILE.",
    ),
    (
        "plan --plot x.pdf",
        2,
        "'x.pdf' must end in .html, .png or .svg.",
    ),
    (
        "plan --csv x.txt",
        2,
        "'x.txt' must end in .csv.",
    ),
    (
        "plan --csv rig.duckdb/x.csv --runs 8 --kind full",
        2,
        "A full plan of 4 factors has 24 runs, not 8; leave --runs out, or use --kind d-optimal.",
    ),
    (
        "plan --abandon",
        1,
        "No plan is adopted, or the last one is built; 'fettle plan --runs COUNT --adopt' adopts one.",
    ),
    (
        "plan --edit none.csv",
        1,
        "none.csv cannot be read: no such file or directory.",
    ),
    (
        "log --planned 9",
        1,
        "There is no planned variant '9'; no variant is planned.",
    ),
]


@pytest.mark.usefixtures("unharmed")
@pytest.mark.parametrize(("words", "code", "sentence"), BAD)
def test_a_plan_that_cannot_be_is_refused_in_a_sentence(rig, fettle, words, code, sentence):
    refused(fettle(*words.split()), code, sentence, words.split()[0])


@pytest.mark.usefixtures("unharmed")
@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (
            "route",
            1,
            "Nothing is planned: adopt a plan first, or give a table of settings; "
            "'fettle plan --runs COUNT --adopt' adopts one.",
        ),
        ("route none.csv", 1, "none.csv cannot be read: no such file or directory."),
        ("route --shuffle -1", 2, "--shuffle is '-1'; it must be a number from 0."),
        ("route --new-units -1", 2, "--new-units is '-1'; it must be a whole number from 0."),
    ],
)
def test_a_route_that_cannot_be_is_refused_in_a_sentence(rig, fettle, words, code, sentence):
    refused(fettle(*words.split()), code, sentence, "route")


@pytest.mark.parametrize(
    ("rule", "sentence"),
    [
        (
            "driver != 'bamboo'",
            (
                "driver cannot be bamboo: no such settings keep 'driver != 'bamboo''; plan with paper and poly, or "
                "loosen the limit."
            ),
        ),
        (
            "wool <= 1 and wool >= 0",
            "wool cannot vary: 'inner_air >= 180' and 'wool <= 1 and wool >= 0' leave it at 0; loosen the limit.",
        ),
    ],
)
@pytest.mark.parametrize("words", ["--runs 10 --kind d-optimal", "--runs 10", "--hours 30"])
def test_limits_that_leave_no_plan_are_named(tmp_path, fettle, rule, sentence, words):
    """Also where plans are compared: not the number of runs is to blame."""
    from tests.cli.conftest import SETUP

    (tmp_path / "setup.toml").write_text(f'{SETUP}[[limit]]\nrule = "{rule}"\n', encoding="utf-8")
    assert fettle("init", "fresh", "--setup", "setup.toml").code == 0
    refused(fettle("plan", *words.split()), 2, sentence)


def test_a_variant_that_the_units_cannot_become_is_named(rig, tmp_path, fettle):
    (tmp_path / "want.csv").write_text("vents,rings,wool,driver\n0,8,0,paper\n")
    done = fettle("route", "want.csv", "--new-units", "0")
    assert (done.code, done.out) == (2, "")
    assert done.err.endswith(HELP.format("route"))


def test_settings_off_the_range_are_listed_by_cell(rig, tmp_path, fettle):
    (tmp_path / "want.csv").write_text("vents,rings,wool,driver\n9,8,0,paper\n")
    said = (
        "want.csv was not imported, nothing was stored: 1 cell to put right.\n"
        "  line 2, column 'vents': '9' - must be a whole number from 0 to 6"
    )
    refused(fettle("route", "want.csv"), 1, said)
    refused(fettle("plan", "--edit", "want.csv"), 1, said)


def test_a_second_plan_waits(planned, fettle):
    said = (
        "A plan is being built already (D-optimal plan, 8 runs, 4 factors, 4 "
        "units: 0 of 8 built); abandon it first; 'fettle plan --abandon' does that."
    )
    refused(fettle("plan", "--runs", "8", *QUICK, "--adopt"), 1, said)


def test_arguments_become_options():
    """Sentences of the planning functions name arguments; at the command line they are options."""
    said = "runs is 3; use kind='d-optimal' with session_runs=4, leave blocks out, or give existing=."
    assert (
        in_options(said)
        == "--runs is 3; use --kind d-optimal with --session-runs 4, leave --blocks out, or give --beside-log."
    )


@pytest.mark.trust
@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            "plan --runs 24 --model two-factor --starts 1000000 --scatter 0.5 --matters 1",
            "this is the best plan reached so far.",
        ),
        ("plan --hours 60 --scatter 0.5 --matters 1", "The comparison was stopped; "),
    ],
)
def test_ctrl_c_keeps_the_best_plan_so_far(rig, words, said):
    """The real command, interrupted while its bar says that it is searching: exit code 0, and it says so."""
    code, out, bar = interrupted(rig, words.split())
    assert code == 0
    assert said in out
    assert "Ctrl-C keeps the best so far" in bar


@pytest.mark.trust
@pytest.mark.parametrize("watched_s", [0.1, 0.6, 1.0])
def test_ctrl_c_keeps_the_best_route_so_far(rig, watched_s):
    """Of 80 variants drawn at random, all for one unit: their route takes minutes to prove, so there is something to stop."""
    rng = np.random.default_rng(1)
    factors = Project.open(rig).setup.factors
    rows = [{one.name: one.grid(3)[rng.integers(len(one.grid(3)))] for one in factors} for _ in range(80)]
    pd.DataFrame(rows).assign(rings=rows[0]["rings"]).to_csv(rig.parent / "many.csv", index=False)
    code, out, bar = interrupted(rig, ["route", "many.csv", "--seconds", "2"], watched_s)
    assert code == 0
    assert "The search was stopped; this is the best route reached so far." in out
    assert "looking for a shorter route  (Ctrl-C keeps the best so far)" in bar
    took, least = re.search(r"The shortest route found takes (.*); none can take fewer than (.*)\.", out).groups()
    assert took != least


def interrupted(rig, words, watched_s=2.0):
    """Run a command with a terminal as its standard error, and press Ctrl-C once the bar has been drawn for a while."""
    master, slave = pty.openpty()
    call = [sys.executable, "-m", "doe.cli.main", *words]
    options = {
        "env": environment(),
        "stdout": subprocess.PIPE,
        "stderr": slave,
        "text": True,
        "preexec_fn": heed_ctrl_c,
    }
    run = subprocess.Popen(call, cwd=rig.parent, **options)
    os.close(slave)
    bar, begun, drawn = "", time.monotonic(), None
    while time.monotonic() - begun < 60 and (drawn is None or time.monotonic() - drawn < watched_s):
        if select.select([master], [], [], 0.2)[0]:
            bar += os.read(master, 4096).decode()
        if drawn is None and "Ctrl-C" in bar:
            drawn = time.monotonic()
    run.send_signal(signal.SIGINT)
    out, _ = run.communicate(timeout=60)
    os.close(master)
    return run.returncode, out, bar


def test_no_bar_is_drawn_where_nobody_watches(rig):
    """Standard error is a pipe here: nothing but sentences."""
    done = command(
        "plan", "--runs", "20", "--model", "two-factor", "--kind", "d-optimal", "--scatter", "1", cwd=rig.parent
    )
    assert done.code == 0
    assert "\r" not in done.err
    assert "%" not in done.err
