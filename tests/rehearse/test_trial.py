"""Pairing two engines on benches kept for tuning."""

import math

import pandas as pd
import pytest

from doe.model.errors import UsageError
from doe.rehearse.benches import bench
from doe.rehearse.run import GOOD, play
from doe.rehearse.strategies import Advised
from doe.rehearse.trial import main, minutes_to_right, paired


def plays(minutes):
    return pd.DataFrame(
        [(family, seed, time) for (family, seed), time in minutes.items()], columns=["family", "seed", "minutes"]
    )


def test_pairs_are_made_bench_by_bench_and_by_family():
    """By hand: differences of -100 and -20 in one family, 0 in the other; what only one engine played is left out."""
    new = plays({("main", 1): 200.0, ("main", 2): 300.0, ("curved", 1): 1440.0, ("curved", 9): 5.0})
    old = plays({("main", 2): 320.0, ("main", 1): 300.0, ("curved", 1): 1440.0})
    found = paired(new, old).set_index("family")
    assert found.loc["main", ["benches", "minutes", "difference", "out_of_time"]].tolist() == [2, 250.0, -60.0, 0]
    assert found.loc["main", "error"] == pytest.approx(40.0)
    assert found.loc["all", ["benches", "difference", "out_of_time", "out_of_time_old"]].tolist() == [3, -40.0, 1, 1]
    assert found.loc["all", "error"] == pytest.approx(math.sqrt(((60**2 + 20**2 + 40**2) / 2) / 3))


@pytest.mark.slow
def test_a_bench_is_played_until_the_first_right_declaration_and_no_further():
    """The whole play takes the same steps up to there."""
    whole = play(bench("main", 3), Advised(), 12.0)
    right = [entry["minutes"] for entry in whole.trace if entry["share"] >= GOOD]
    assert right
    assert right[0] < whole.trace[-1]["minutes"]
    short = play(bench("main", 3), Advised(), 12.0, until_right=True)
    assert short.trace == whole.trace[: len(short.trace)]
    assert minutes_to_right("main", 3, 12.0)["minutes"] == short.trace[-1]["minutes"] == right[0]
    assert minutes_to_right("main", 3, 0.1)["minutes"] == pytest.approx(6.0)


def test_seeds_that_are_reported_on_are_refused(tmp_path):
    with pytest.raises(UsageError, match="Seeds from 5000 on are reported on, never tuned on; end below"):
        main(["4990", "5000", str(tmp_path / "new.csv")])


def test_what_was_played_is_not_played_again_and_is_paired(tmp_path, capsys):
    families = ("main", "interaction", "curved", "together", "noisy")
    for name, time in (("new", 400.0), ("old", 500.0)):
        plays({(family, 7): time for family in families}).to_csv(tmp_path / f"{name}.csv", index=False)
    main(["7", "7", str(tmp_path / "new.csv")])
    assert capsys.readouterr().out == "5 benches, 6 h 40 min on average.\n"
    main(["7", "7", str(tmp_path / "new.csv"), str(tmp_path / "old.csv")])
    assert capsys.readouterr().out.splitlines()[-1].split()[:4] == ["all", "5", "400.0", "-100.0"]


def test_files_without_a_common_bench_are_refused():
    with pytest.raises(UsageError, match="no bench in common; play the seeds of the earlier one"):
        paired(plays({("main", 1): 200.0}), plays({("main", 2): 300.0}))
