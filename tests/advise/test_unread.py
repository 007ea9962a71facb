"""A unit that stands changed and unread is read before it is changed again, where that pays."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from doe.advise import recommend
from doe.advise.choose import choose, unread_before
from doe.advise.log import Log, read_log
from doe.advise.question import ask
from doe.advise.situation import look, with_unread
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.records import Unit
from tests.advise.test_few_sessions import AIRFLOW, FACTORS, NOISE, log

EFFORT = Effort(new_unit_minutes=180, session_minutes=10, reading_minutes=2)
UNITS = [
    Unit("A", {"blades": 5, "pitch": 40, "gap": 4.0, "liner": "foam", "speed": "low"}),
    Unit("B", {"blades": 7, "pitch": 35, "gap": 4.0, "liner": "foam", "speed": "high"}),
]
"""A as it was read last; B with another pitch and a wider gap than any of its readings are of."""


@pytest.fixture(scope="module")
def frame():
    return log(10, "Me", 1)


def advise(frame, **asked):
    return recommend(frame, FACTORS, (AIRFLOW, NOISE), units=UNITS, effort=EFFORT, unit="B", **asked)


def test_in_a_session_of_several_it_is_read_first(frame):
    first, second = advise(frame, count=2).table["reason"]
    assert first.startswith("Read unit B as it stands")
    assert second.startswith("Then, on unit B change")


def test_before_a_single_change_it_is_said(frame):
    """Two minutes of reading, as the session is begun for the change anyhow."""
    advice = advise(frame)
    assert advice.table["reason"][0].startswith("On unit B change")
    (note,) = [note for note in advice.notes if "as it stands" in note]
    assert note.startswith(
        "Unit B has not been read as it stands. Doing so before it is changed takes 2 min more, and is "
    )


def test_it_pays_where_it_brings_as_much_a_minute(frame):
    """Judged by the same gain over minutes to the same power as all moves, the session's own minutes left out of both."""
    question = ask(FACTORS, (AIRFLOW, NOISE), effort=EFFORT, unit="B")
    (choice,) = choose(
        question, look(question, frame, UNITS, np.random.default_rng(1)), np.random.default_rng(1)
    ).choices
    value, minutes = choice.judged.value, choice.minutes - EFFORT.session_minutes
    found = unread_before(choice, EFFORT)
    rate = value / minutes**0.85
    assert rate[found.place] >= rate[choice.place]
    assert choice.moves.build_minutes[found.place] == 0
    assert found.share == pytest.approx(value[found.place] / value[choice.place])
    assert unread_before(choice, replace(EFFORT, reading_minutes=20)) is None


def test_what_stands_unread_is_looked_at_once(frame):
    """Also where it is among the builds worth a close look; a limit that it breaks rules it out."""
    found = look(ask(FACTORS, (AIRFLOW, NOISE), unit="B"), frame, UNITS, np.random.default_rng(1))
    state, limited = (
        found.reach.space.code(UNITS[1].settings)[None],
        replace(found.reach.space, limits=(Limit("gap < 4"),)),
    )
    for codes in (state[:0], state):
        assert with_unread(codes, found.reach, found.carried).tolist() == state.tolist()
    assert not len(with_unread(state[:0], replace(found.reach, space=limited), found.carried))


def test_what_is_read_already_is_not_said_to_be_unread(frame):
    advice = recommend(frame, FACTORS, (AIRFLOW, NOISE), units=UNITS[:1], effort=EFFORT, unit="A")
    assert not any("as it stands" in note for note in advice.notes)


def test_what_was_built_alike_on_another_unit_is_not_what_was_read():
    """Readings of variant 1 are of unit A; B was built to the same settings, as variant 2 or without a name, and is unread."""
    state = {"gap": 2.0}
    known = Log({"1": state}, (), {}, {"1": "A"})
    assert known.carried(Unit("A", state, "1")) == "1"
    assert known.carried(Unit("A", state)) == "1"
    assert known.carried(Unit("B", state, "2")) is None
    assert known.carried(Unit("B", state)) is None
    assert known.carried(Unit("A", {"gap": 3.0}, "1")) is None
    assert Log({"1": state}, (), {}, {}).carried(Unit("B", state)) == "1"  # nothing says where it was read


def test_what_a_log_without_a_value_states_is_known_and_not_read():
    """Variant 3 stands on unit 1 by the last row, but only 1 and the reference have a value, each in an outcome of its own."""
    rows = [("1", 1, "noise", 40.0, 2.0), ("lamp", None, "glare", 3.0, None), ("3", 1, "noise", None, 4.0)]
    frame = pd.DataFrame(rows, columns=["variant", "unit", "outcome", "value", "gap"])
    known = read_log(frame, [Factor("gap", low=0, high=8)], None)
    assert known.variants == {"1": {"gap": 2.0}}
    assert known.homes == {"1": "1"}
    assert known.outcomes == {"noise"}
    (unit,) = known.units
    assert (unit.name, dict(unit.settings), known.carried(unit)) == ("1", {"gap": 4.0}, None)
    bare = read_log(frame.assign(value=np.nan, rater="Ann"), [Factor("gap", low=0, high=8)], None)
    assert (bare.variants, bare.raters, bare.homes, bare.outcomes) == ({}, {}, {}, frozenset())


def test_a_round_gives_as_many_readings_as_usually_rate():
    """Echo by 3, 3 and 1 in a session, Ann twice in one of them; bass by nobody that is named."""
    raters = [("1", "a", "ABC"), ("1", "b", "ABCA"), ("2", "b", "A")]
    rows = [(variant, session, "echo", rater) for variant, session, names in raters for rater in names]
    rows += [("1", "a", "bass", None), ("2", "b", "bass", None)]
    frame = pd.DataFrame(rows, columns=["variant", "session", "outcome", "rater"]).assign(value=1.0, gap=2.0)
    assert read_log(frame, [Factor("gap", low=0, high=8)], []).raters == {"echo": 3, "bass": 1}
