import re

import pytest

from doe.guides.starters import BLANK, FOLDER, KEYS, starter, starters
from doe.measuring import check_setup
from doe.measuring.check import check_outcome, unit_warning
from doe.model.errors import UsageError
from doe.model.expression import Expression
from doe.project import Project
from doe.signals.estimates import estimate
from tests.refusing import refused

MARKS = {"common practice, no source", "geometry"}
PLAIN = {"title", "question", "name", "told", "kind", "levels", "unit", "goal", "scale", "from", "factor", "outcome"}
"""Keys whose lines name things and state no fact; `note` and `rule` are told apart below."""


def lines_of(key):
    return (FOLDER / f"{key}.toml").read_text(encoding="utf-8").splitlines()


def sources_of(key):
    """Names in the list at the head of the file."""
    lines = lines_of(key)
    head = lines[lines.index("# Sources") + 1 :]
    listing = head[: next(place for place, line in enumerate(head) if not line.startswith("#"))]
    return [line[2:].split(":")[0] for line in listing]


def mark_of(line):
    """The comment that ends a line, outside quotes; None without one."""
    bare = re.sub(r'"(?:[^"\\]|\\.)*"', '""', line)
    return bare.split("#", 1)[1].strip() if "#" in bare else None


def facts(key):
    """Every line that states a fact of the trade: numbers, ways, effects, formulas, and cautions."""
    for number, line in enumerate(lines_of(key), start=1):
        name = line.split("=")[0].strip()
        is_caution = line.startswith('    "')
        if is_caution or ("=" in line and not line.startswith(("#", "[")) and name not in {*PLAIN, "note", "rule"}):
            yield number, line
        if name == "cautions":
            assert line == "cautions = ["


@pytest.mark.parametrize("key", KEYS)
def test_every_line_that_states_a_fact_names_its_source(key):
    """A source from the list at the head, closed geometry, or an open 'common practice, no source'."""
    allowed = {*MARKS, *sources_of(key)}
    found = [(number, line) for number, line in facts(key) if not line.startswith("cautions = [")]
    assert len(found) > 30
    assert [(number, line) for number, line in found if mark_of(line) not in allowed] == []


@pytest.mark.parametrize("key", KEYS)
def test_every_limit_is_backed_by_its_note(key):
    """The rule is the maker's; the note after it says why, with a source."""
    allowed = {*MARKS, *sources_of(key)}
    lines = lines_of(key)
    starts = [place for place, line in enumerate(lines) if line == "[[limit]]"]
    assert starts
    for start in starts:
        note = next(line for line in lines[start:] if line.startswith("note"))
        assert mark_of(note) in allowed


@pytest.mark.parametrize("key", KEYS)
def test_every_source_in_the_list_is_used(key):
    used = {mark_of(line) for line in lines_of(key) if not line.startswith("#")}
    assert [name for name in sources_of(key) if name not in used] == []


def test_a_line_without_a_mark_would_be_found():
    assert mark_of('note = "a # in quotes"') is None
    assert mark_of("low = 2  # common practice, no source") == "common practice, no source"


@pytest.mark.parametrize("key", KEYS)
def test_recipes_can_be_used_and_give_the_outcomes_unit(key):
    setup = starter(key).setup
    check_setup(setup)
    computed = [outcome for outcome in setup.outcomes if outcome.recipe]
    assert computed
    for outcome in computed:
        assert unit_warning(outcome, check_outcome(outcome).unit) == ""


@pytest.mark.parametrize("key", KEYS)
def test_a_set_holds_what_a_project_needs(key):
    """Factors that can move, an outcome with a goal and what matters, a derived quantity, a limit, expectations, cautions."""
    found = starter(key)
    setup = found.setup
    assert all(factor.minutes or factor.way == "rebuild" for factor in setup.factors)
    assert all(factor.note for factor in setup.factors)
    assert all(outcome.note for outcome in setup.outcomes)
    assert all(outcome.matters for outcome in setup.outcomes if outcome.goal)
    assert {outcome.kind for outcome in setup.outcomes if outcome.goal} == {"measured", "rated"}
    assert setup.derived
    assert setup.limits
    assert len(setup.expectations) >= 4
    assert all(item.note for item in setup.expectations)
    assert len(found.cautions) >= 3


@pytest.mark.parametrize("key", KEYS)
def test_an_expected_size_is_worth_having_and_within_the_goal(key):
    """A mild prior: no less than what matters, no more than from worst to best."""
    setup = starter(key).setup
    outcomes = {outcome.name: outcome for outcome in setup.outcomes}
    for item in setup.expectations:
        if item.size is None:
            continue
        outcome = outcomes[item.outcome]
        best = outcome.target if outcome.goal == "hit" else outcome.best
        assert outcome.matters <= item.size <= abs(best - outcome.worst)


@pytest.mark.slow
@pytest.mark.parametrize("key", KEYS)
def test_a_new_project_gets_first_suggestions(key, tmp_path, monkeypatch, capsys):
    """What `fettle next` says before anything was built: builds that keep the limits, with their bench time."""
    from doe.cli.main import main

    monkeypatch.chdir(tmp_path)
    assert main(["init", "begun", "--starter", key]) == 0
    assert "Take care" in capsys.readouterr().out
    assert main(["next", "--count", "2", "--json"]) == 0
    project = Project.open(tmp_path / "begun.duckdb")
    assert project.setup == starter(key).setup
    kept = project.file.suggestions()
    assert len(kept) == 2
    for suggestion in kept:
        assert suggestion["minutes"] > 0
        assert all(
            limit.expression.evaluate({**suggestion["settings"], **_derived(project, suggestion["settings"])})
            for limit in project.setup.limits
        )


def _derived(project, settings):
    values = dict(settings)
    for quantity in project.setup.derived:
        values[quantity.name] = quantity.parsed.evaluate(values)
    return values


def test_the_tuning_of_the_box_is_that_of_a_resonator():
    """Against `estimate helmholtz`, whose formula is checked against published figures: 3 l, port 35 mm by 80 mm."""
    tuning = Expression(starter("loudspeaker").setup.derived[0].expression)
    expected = estimate("helmholtz", {"volume_cm3": 3000, "radius_mm": 17.5, "length_mm": 80, "outer_end": "free"})
    assert tuning.evaluate({"volume": 3, "port_length": 80}) == pytest.approx(expected.value, rel=0.01)


def test_the_level_goes_with_fifty_times_the_logarithm_of_the_speed():
    """The expected size of the fan's set against the fan law that its note states."""
    import math

    setup = starter("fan").setup
    speed = next(factor for factor in setup.factors if factor.name == "speed")
    size = next(item.size for item in setup.expectations if item.name == "speed on noise_level")
    assert size == pytest.approx(50 * math.log10(speed.high / speed.low), abs=0.1)


def test_an_unknown_set_is_refused_with_the_nearest_name():
    known = "loudspeaker, ear-cup, plucked, fan, enclosure or blank"
    with refused(UsageError, f"There is no starter set 'ear_cup'; it must be {known}. Did you mean 'ear-cup'?"):
        starter("ear_cup")


def test_the_blank_set_comes_first_and_is_empty():
    first, *others = starters()
    assert (first.key, first.setup.factors, first.cautions) == (BLANK, (), ())
    assert tuple(item.key for item in others) == KEYS
