from pathlib import Path

import pandas as pd
import pytest

from doe.rehearse.benchmark import OWN, TEXTBOOK, complete, main, missing, play_on, write_section
from doe.rehearse.nature import FAMILIES
from doe.rehearse.run import CHANCE_BANDS, STRATEGIES, one_row
from doe.rehearse.summaries import FRONTIER, OURS

HOME = Path(__file__).parents[2]
QUICK = [
    "one factor at a time",
    "random variants",
    "cheapest random change",
    "screening plan",
    "sequential simplex",
]


def test_only_what_is_missing_is_played_seed_by_seed():
    done = pd.DataFrame([("main", 7, "a"), ("nothing", 7, "b")], columns=["family", "seed", "strategy"])
    waiting = list(missing(done, [7, 8], ["a", "b"]))
    assert ("main", 7, "a") not in waiting
    assert ("main", 7, "b") in waiting
    assert len(waiting) == 2 * 6 * 2 - 2
    assert [seed for _, seed, _ in waiting] == sorted(seed for _, seed, _ in waiting)


def test_seeds_that_one_strategy_has_not_played_everywhere_are_left_out_and_the_frontier_may_lag_behind():
    rows = [(family, seed, name) for family in FAMILIES for seed in (1, 2, 3) for name in ("a", "b")]
    rows = [row for row in rows if row != ("noisy", 3, "b")] + [("main", 1, FRONTIER)]
    kept = complete(pd.DataFrame(rows, columns=["family", "seed", "strategy"]), ["a", FRONTIER, "b"])
    assert set(kept["seed"]) == {1, 2}
    assert len(kept) == 2 * 2 * len(FAMILIES) + 1


def test_the_section_replaces_its_older_self_and_nothing_else(tmp_path):
    report = tmp_path / "benchmarks.md"
    report.write_text(
        "# Benchmarks\n\n## Speed\n\nfast\n\n## Rehearsals: old\n\n12\n\n### Part\n\n13\n\n## More\n\nstays\n"
    )
    for _ in range(2):
        write_section(report, "## Rehearsals: new\n\n99\n")
    text = report.read_text()
    assert text.count("## Rehearsals: new") == 1
    assert "old" not in text
    assert "13" not in text
    assert text.index("fast") < text.index("99") < text.index("stays")


@pytest.mark.slow
def test_plays_are_kept_and_not_made_twice(tmp_path):
    kept = tmp_path / "plays.csv"
    first = play_on(kept, [3], ["random variants"], minutes=5, jobs=1, hours=2)
    assert len(first) == 6
    changed = pd.read_csv(kept).assign(minutes=-1.0)
    changed.to_csv(kept, index=False)
    assert (play_on(kept, [3], ["random variants"], minutes=5, jobs=1, hours=2)["minutes"] == -1.0).all()


def test_a_new_file_of_plays_begins_with_those_of_the_textbook_strategies(tmp_path, monkeypatch):
    monkeypatch.chdir(HOME)
    kept, report = tmp_path / "new" / "plays.csv", tmp_path / "benchmarks.md"
    main(["1", "0", str(kept), str(report)])
    assert kept.read_bytes() == TEXTBOOK.read_bytes()
    assert not report.exists()  # ours has not been played
    waiting = list(missing(pd.read_csv(kept), range(5000, 5100), list(STRATEGIES)))
    assert {name for _, _, name in waiting} == {"advised", FRONTIER}
    assert len(waiting) == 2 * 6 * 100


def test_what_ours_and_the_frontier_played_stands_beside_the_report(tmp_path):
    """Their plays are made up here: those of one factor at a time under their names, without a claim."""
    textbook = pd.read_csv(HOME / TEXTBOOK)
    counted = [
        "claimed",
        "claimed_rightly",
        "real",
        "real_claimed",
        "twin_claimed",
        "twin_claimed_at_start",
        "stated",
        "held",
    ]
    counted += [f"{what}_{band}" for what in ("chances", "told", "came") for band in CHANCE_BANDS]
    nothing = dict.fromkeys(counted, 0.0)
    borrowed = textbook[(textbook["strategy"] == "one factor at a time") & (textbook["seed"] == 5000)].assign(**nothing)
    own = pd.concat([borrowed.assign(strategy=name) for name in (OURS, FRONTIER)])
    kept, report = tmp_path / "plays.csv", tmp_path / "benchmarks.md"
    pd.concat([textbook, own]).to_csv(kept, index=False)
    main(["1", "0", str(kept), str(report)])
    written = pd.read_csv(tmp_path / OWN)
    assert written.groupby("strategy").size().to_dict() == {OURS: 6, FRONTIER: 6}
    assert sorted(written["minutes"]) == sorted(own["minutes"])
    assert "## Rehearsal" in report.read_text()


@pytest.mark.parametrize("strategy", QUICK)
def test_textbook_plays_on_file_are_what_is_played(strategy):
    kept = pd.read_csv(HOME / TEXTBOOK)
    for family in FAMILIES:
        mine = kept[(kept["family"] == family) & (kept["seed"] == 5007) & (kept["strategy"] == strategy)]
        assert len(mine) == 1
        played = one_row(family, 5007, strategy)
        for name in ("minutes", "regret", "variants"):
            assert played[name] == pytest.approx(mine[name].item(), abs=1e-9), (family, name)
        assert played["reached"] == mine["reached"].item()
