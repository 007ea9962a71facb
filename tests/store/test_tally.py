from collections import Counter

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from doe.model.records import Reading
from doe.store import ProjectFile
from tests.strategies import examples

sittings = st.sampled_from([None, "Tuesday", "Friday"])
judges = st.sampled_from(["", "Ann", "Bo"])
taken = st.one_of(
    st.builds(Reading, st.sampled_from("12"), st.just("bass"), st.floats(-9, 9), session=sittings, rater=judges),
    st.builds(Reading, st.just("1"), st.just("nicer"), st.sampled_from([0, 0.5, 1]), versus=st.just("2"), rater=judges),
)


@pytest.mark.slow
@settings(examples(10), suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(taken, min_size=1, max_size=6), st.integers(0, 5))
def test_the_tally_says_what_counting_the_readings_would(radio: ProjectFile, new: list[Reading], place: int):
    """Whatever was stored, withdrawn and taken back: counted one by one from the list, or in the database."""
    radio.add_readings(new)
    radio.withdraw_reading(radio.readings()[place % len(radio.readings())]["id"])
    rows, tally = radio.readings(), radio.tally()
    values: dict[tuple[str, str], list[float]] = {}
    for row in rows:
        for variant in filter(None, (row["variant"], row["versus"])):
            values.setdefault((variant, row["outcome"]), []).append(row["value"])
    assert tally.of_variant == {
        key: (len(found), pytest.approx(sum(found) / len(found), abs=1e-12)) for key, found in values.items()
    }
    assert {name: count for name, (count, _) in tally.of_session.items()} == Counter(row["session"] for row in rows)
    assert list(tally.raters) == list(dict.fromkeys(row["rater"] for row in rows if row["rater"]))
    assert tally.last == (rows[-1] if rows else None)


def test_readings_of_a_variant_are_those_in_which_it_takes_part(radio: ProjectFile):
    radio.add_readings([Reading("1", "nicer", 1, versus="2"), Reading("1", "bass", 2.0)])
    every = radio.readings()
    for name in ("1", "2"):
        assert radio.readings(variant=name) == [row for row in every if name in (row["variant"], row["versus"])]
    assert radio.readings(number=every[1]["id"]) == [every[1]]
    assert radio.readings(number=999) == []


def test_a_project_without_readings_has_an_empty_tally(tmp_path):
    tally = ProjectFile.create(tmp_path / "new.duckdb").tally()
    assert (tally.of_variant, tally.of_session, tally.raters, tally.last) == ({}, {}, (), None)
