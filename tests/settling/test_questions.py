"""What a project is asked on the way to a settled version."""

from __future__ import annotations

import shutil

import numpy as np
import pandas as pd
import pytest

from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.limit import Derived
from doe.model.outcome import Outcome
from doe.model.records import Reading, Unit, Variant
from doe.model.setup import Setup
from doe.project import Project
from doe.settling.raters import who_should_read
from doe.store import ProjectFile
from tests.refusing import refused

SETUP = Setup(
    title="Fan",
    factors=(
        Factor("gap", low=0, high=10, step=1, unit="mm", way="rebuild"),
        Factor("felt", low=0, high=5, step=1, unit="mm", minutes=4),
    ),
    outcomes=(
        Outcome("noise", unit="dB", goal="lower", best=0, worst=60, matters=2.0),
        Outcome("whine", kind="rated", scale=(1, 7), goal="lower", best=1, worst=7, matters=1.0),
    ),
    derived=(Derived("air", "gap - felt", "mm"),),
)


@pytest.fixture
def tmp_path(desk):
    """The folder that is used again and again."""
    return desk


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Truth: 1.5 dB and 0.3 grades a mm of air (gap less felt); 'fresh' is built as the truth says."""
    rng = np.random.default_rng(7)
    path = tmp_path_factory.mktemp("fan") / "fan.duckdb"
    file = ProjectFile.create(path, SETUP)
    readings = []
    plan = [(int(rng.integers(1, 11)), int(rng.integers(0, 2)) * int(rng.integers(0, 6))) for _ in range(18)] + [
        (3, 0),
        (3, 0),
    ]
    for place, (gap, felt) in enumerate(plan):
        name = str(place) if place < 18 else f"fresh {place - 17}"
        file.add_variant(
            Variant(name, {"gap": float(gap), "felt": float(min(felt, gap))}, unit=f"fan {place}"),
            new_unit=Unit(f"fan {place}"),
        )
        air = gap - min(felt, gap)
        build = rng.normal(0, 0.2)
        readings += [Reading(name, "noise", 30 + 1.5 * air + build + rng.normal(0, 0.2)) for _ in range(3)]
        readings += [
            Reading(name, "whine", float(np.clip(round(2 + 0.3 * air + rng.normal(0, 0.4)), 1, 7)), rater=rater)
            for rater in ("Ann", "Bo", "Cy")
            for _ in range(3)
        ]
    file.add_readings(readings)
    return path


@pytest.fixture
def project(made, tmp_path):
    return Project.open(shutil.copy(made, tmp_path / "fan.duckdb"))


@pytest.mark.slow
def test_a_settled_version_holds_promise_room_and_confirmation(project):
    version, entry = project.keep_version(
        "quiet fan", builds=["fresh 1", "fresh 2"], through="air", note="for the desk"
    )
    assert entry.kind == "settled"
    assert (version.number, version.variant, version.settings) == (1, "fresh 1", {"gap": 3.0, "felt": 0.0})
    expected = {row["outcome"]: row for row in version.evidence["expected"]}
    assert expected["noise"]["low"] < 34.5 < expected["noise"]["high"]
    confirmed = version.evidence["confirmation"]
    assert confirmed["builds"] == ["fresh 1", "fresh 2"]
    assert {row["verdict"] for row in confirmed["rows"]} <= {"kept its promise", "not yet known"}
    gap = next(row for row in version.evidence["tolerances"]["rows"] if row["factor"] == "gap")
    assert 3.0 < gap["high"] < 3.0 + 2.0 / 1.5
    assert project.file.check() == []


@pytest.mark.slow
def test_a_confirmation_of_other_settings_is_refused(project):
    other = next(item.name for item in project.file.variants() if dict(item.settings) != {"gap": 3.0, "felt": 0.0})
    with pytest.raises(DataError, match="has other settings than the builds fresh 1"):
        project.keep_version("odd", other, builds=["fresh 1"])
    assert project.versions() == []


@pytest.mark.slow
def test_names_that_are_not_there_are_refused(project):
    with refused(UsageError, "'aire' is no derived quantity of this project; there is only air. Did you mean 'air'?"):
        project.tolerances("fresh 1", through="aire")
    there = f"{', '.join(map(str, range(11)))} and others up to fresh 2"
    with refused(DataError, f"There is no variant 'fresh'; there are {there}. Did you mean 'fresh 2'?"):
        project.plan_confirmation("fresh")
    with refused(DataError, "Nothing is settled yet."):
        project.version()


def test_a_blind_session_covers_rated_outcomes_and_hides_which_is_which(project):
    session, _ = project.prepare_confirmation(["Fresh 1", "fresh 2"], ["Ann", "Bo", "ann"], beside=["0"], rounds=2)
    assert session.outcomes == ("whine",)
    assert [sheet.rater for sheet in session.sheets] == ["Ann", "Bo"]  # capitals make no other person
    assert len({sample.code for sample in session.samples}) == 6
    assert {len(sheet.trials) for sheet in session.sheets} == {6}
    with refused(UsageError, "Name at least one rater."):
        project.prepare_confirmation(["fresh 1"], [])
    with refused(UsageError, "rounds is 0; it must be a whole number from 1."):
        project.prepare_confirmation(["fresh 1"], ["Ann"], rounds=0)  # orders of no samples were drawn without end
    with refused(UsageError, "Name at least one fresh build."):
        project.prepare_confirmation([], ["Ann"])
    with refused(UsageError, "26 samples are too many for ears; at most 24 in one session."):
        project.prepare_confirmation(["fresh 1", "fresh 2"], ["Ann"], rounds=13)


@pytest.mark.slow
def test_versions_are_compared_after_a_factor_came_late(project):
    """What the settled variants had of it is what they were given when it became a factor."""
    project.keep_version("one", "fresh 1")
    other = next(item.name for item in project.file.variants() if item.settings["gap"] > 6)
    project.keep_version("two", other)
    project.file.change_setup("factor", Factor("feet", kind="categorical", levels=["felt", "cork"]), was="felt")
    found = project.compare_versions(1, 2).set_index("outcome")
    assert found.loc["noise", "verdict"] in ("worse", "can't tell yet")
    with refused(UsageError, "There is no version 3; there are 1 and 2."):
        project.compare_versions(1, 3)


def test_without_rated_outcomes_there_is_nothing_to_judge_blind(tmp_path):
    bare = Project.create(tmp_path / "bare.duckdb", Setup(factors=SETUP.factors, outcomes=SETUP.outcomes[:1]))
    with pytest.raises(DataError, match="No outcome is rated by people"):
        bare.prepare_confirmation(["1"], ["Ann"])


def test_a_plan_says_who_should_read_the_fresh_builds():
    """Those who read before; where a reading names nobody, and in a comparison, it does not matter who."""
    readings = pd.DataFrame(
        [
            ("echo", "Ann"),
            ("echo", "Ben"),
            ("hum", "Ann"),
            ("hum", "Ben"),
            ("bass", None),
            ("bass", "Ann"),
            ("clear", "Ann"),
        ],
        columns=["outcome", "rater"],
    )
    outcomes = [Outcome(name) for name in ("echo", "hum", "bass")] + [Outcome("clear", kind="compared")]
    assert who_should_read(readings, outcomes, ["echo", "hum", "bass", "clear"]) == [
        "Have echo and hum of the fresh builds read by who read other variants: Ann or Ben. Of what only a newcomer reads "
        "nothing is known."
    ]
