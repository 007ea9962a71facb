"""Scatter that the factors hide: found by rank, said, and never left to where a search happens to start."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.coding import Coding
from doe.fit import analyse, reml
from doe.fit.hidden import TAKEN_AS, factors_between, hidden_notes, hidden_sources
from doe.fit.origins import origin_of
from doe.fit.reml import Grouping
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.wording import CANT_TELL, MOVES
from tests.fit.logs import table_alone
from tests.strategies import examples

FACTORS = (
    Factor("rings", kind="count", low=0, high=2, way="rebuild"),
    Factor("wool", kind="count", low=0, high=2),
    Factor("vents", kind="count", low=0, high=2),
)
CODING = Coding(FACTORS)
BASS = Outcome("bass", goal="hit", target=0, worst=6, matters=1.0)
BUILD, READING = 0.1, 0.4


def log(rings, *, rings_effect=0.0, unit_sd=0.0, seed=1, n_variants=12):
    """Twelve variants, three readings each, spread over units with the given rings; only wool acts beside, by 1 a step."""
    rng = np.random.default_rng(seed)
    own = unit_sd * rng.standard_normal(len(rings))
    rows = []
    for variant in range(n_variants):
        unit = variant % len(rings)
        chosen = {"rings": rings[unit], "wool": int(rng.integers(3)), "vents": int(rng.integers(3))}
        value = rings_effect * rings[unit] + chosen["wool"] + own[unit] + BUILD * rng.standard_normal()
        for session in "xyz":
            read = value + READING * rng.standard_normal()
            rows.append({"variant": str(variant), "outcome": "bass", "value": read, "unit": f"unit {unit}",
                         "session": session, **chosen})  # fmt: skip
    return pd.DataFrame(rows)


def units_note(effects):
    return [note for note in effects.notes if "units differ by themselves" in note]


@examples(150)
@given(
    st.lists(st.integers(0, 3), min_size=6, max_size=10),
    st.lists(st.lists(st.integers(0, 2), min_size=10, max_size=10), min_size=0, max_size=4),
    st.booleans(),
)
def test_a_source_is_hidden_where_its_columns_add_nothing_to_the_rank(groups, columns, is_slope):
    """Against numpy's rank of the fixed effects with and without the source."""
    n_rows = len(groups)
    X = np.column_stack([np.ones(n_rows), *(np.array(column[:n_rows], dtype=float) for column in columns)])
    index = np.unique(groups, return_inverse=True)[1]
    place = np.linspace(-1, 1, n_rows) if is_slope else np.ones(n_rows)
    source = Grouping("unit", index, index.max() + 1, place[:, None] if is_slope else None)
    u, s, _ = np.linalg.svd(X, full_matrices=False)
    basis = u[:, s > 1e-9 * s[0]]
    Z = np.eye(source.size)[index] * place[:, None]
    adds_nothing = np.linalg.matrix_rank(np.column_stack([X, Z])) == np.linalg.matrix_rank(X)
    assert (hidden_sources(basis, [source]) == ("unit",)) == adds_nothing


def test_adjusted_builds_do_not_depend_on_where_the_search_starts(monkeypatch):
    origin = origin_of(log((0, 2), rings_effect=1.0), CODING, BASS)
    matrix = CODING.matrix(origin.evidence.settings, CODING.terms(["rings", "wool"]))
    totals = []
    for first in (0.003, 0.1, 3.0):
        monkeypatch.setattr(reml, "_FIRST_RATIO", first)
        scatter = origin.scatter(CODING, matrix)
        assert scatter.hidden == ("unit",)
        totals.append(scatter.builds.total)
    for total in totals[1:]:
        np.testing.assert_allclose(total, totals[0], rtol=0.02, atol=1e-4)


def test_a_hidden_source_scatters_as_half_a_reading():
    """Two builds of one unit share its offset, so that their covariance is the units' variance."""
    origin = origin_of(log((0, 2)), CODING, BASS)
    matrix = CODING.matrix(origin.evidence.settings, CODING.terms("main"))
    scatter = origin.scatter(CODING, matrix)
    shared = (
        scatter.builds.total[0, 2] - scatter.builds.total[0, 1]
    )  # builds 0 and 2 stand on unit 0, build 1 on unit 1
    assert shared == pytest.approx(TAKEN_AS * scatter.reading_sd**2, rel=1e-3)


def test_the_classical_table_is_that_of_readings_without_units():
    """What cannot be estimated is left out, and the note says so."""
    frame = log((0, 2), rings_effect=1.0)
    terms = ["rings", "wool"]
    effects = analyse(frame, FACTORS, BASS, terms=terms)
    pd.testing.assert_frame_equal(
        effects.classical, analyse(frame.drop(columns="unit"), FACTORS, BASS, terms=terms).classical
    )
    (note,) = units_note(effects)
    assert "the classical table takes all for alike" in note
    assert "unit" not in effects.variance["source"].tolist()


def test_the_note_names_the_factor_and_what_would_show_it():
    (note,) = units_note(analyse(log((0, 2)), FACTORS, BASS))
    assert note == (
        "Rings changed only from unit to unit, so what it does cannot be told from how units differ by themselves; "
        "verdicts allow for half the scatter of a reading. Build one of these settings on a second unit to see it."
    )


@pytest.mark.parametrize("rings", [(0, 2), (0, 1, 2), (0, 0, 1)])
def test_what_changed_from_unit_to_unit_only_is_named(rings):
    """Rings by unit, wool and vents at random within; then wool as rings, and both are named."""
    frame = log(rings)
    for tied, names, they in (
        (frame, ["rings"], "it does"),
        (frame.assign(wool=frame["rings"]), ["rings", "wool"], "they do"),
    ):
        evidence = origin_of(tied, CODING, BASS).evidence
        assert factors_between("unit", evidence) == names
        (note,) = hidden_notes({"unit"}, (), evidence, tied=False)
        assert note.startswith(
            f"{' and '.join(names)} changed only from unit to unit, so what {they} cannot be told from "
        )


@pytest.mark.parametrize("n_variants", [4, 5, 6, 9])
def test_the_note_does_not_wait_for_a_long_log(n_variants):
    """Whatever else is supported, and however few builds there are, the two cannot be told apart."""
    for seed in range(10):
        frame = log((0, 2), rings_effect=0.4, unit_sd=0.1, seed=seed, n_variants=n_variants)
        assert len(units_note(analyse(frame, FACTORS, BASS))) == 1


def test_a_table_that_hides_what_verdicts_do_not_says_so():
    """Squares and pairs take three units up; the verdicts' few terms leave their scatter to be seen."""
    effects = analyse(log((0, 1, 2), unit_sd=0.8, seed=3), FACTORS, BASS, terms="quadratic")
    assert "unit" not in effects.variance["source"].tolist()
    (note,) = units_note(effects)
    assert "the classical table takes all for alike" in note
    assert "verdicts" not in note


@pytest.mark.parametrize("unnamed", [["11"], ["10", "11"], ["3", "6", "8"]])
def test_variants_that_name_no_unit_hide_nothing_from_the_note(unnamed):
    """They have no offset, rather than one that they all share."""
    frame = log((0, 2), unit_sd=0.4)
    frame.loc[frame["variant"].isin(unnamed), "unit"] = None
    assert len(units_note(analyse(frame, FACTORS, BASS))) == 1
    origin = origin_of(frame, CODING, BASS)
    (unit,) = [source for source in origin.sources if source.name == "unit"]
    assert unit.size == 2
    assert (unit.covariates[:, 0] == 0).sum() == 3 * len(unnamed)


def test_a_hidden_rater_may_differ_by_a_whole_reading():
    """Where two raters judged no variant in common, their difference is bounded, and the note says by what."""
    frame = log((0, 2), rings_effect=1.0).drop(columns="unit")
    frame["rater"] = np.where(frame["rings"] == 0, "ann", "bob")
    effects = analyse(frame, FACTORS, BASS)
    origin = origin_of(frame, CODING, BASS)
    scatter = origin.scatter(CODING, CODING.matrix(origin.evidence.settings, CODING.terms("main")))
    offset = scatter.builds.reading[0, 2] - scatter.builds.reading[0, 1]  # builds 0 and 2 are ann's, build 1 is bob's
    assert offset == pytest.approx(scatter.reading_sd**2, rel=0.02)
    (note,) = [note for note in effects.notes if "raters" in note]
    assert note.startswith("Rings changed only together with the rater, so what it does cannot be told from how raters")
    assert "verdicts allow for a whole reading's scatter" in note


@pytest.mark.parametrize("rings", [(0, 2, 2), (0, 1, 1, 2)])
def test_units_alike_in_their_settings_show_their_scatter(rings):
    """What the note asks for helps."""
    frame = log(rings, rings_effect=1.0)
    assert units_note(analyse(frame, FACTORS, BASS)) == []
    origin = origin_of(frame, CODING, BASS)
    matrix = CODING.matrix(origin.evidence.settings, CODING.terms("main"))
    assert origin.scatter(CODING, matrix).hidden == ()


def test_a_factor_tied_to_the_session_is_said_once():
    frame = log((0, 2), rings_effect=1.0).drop(columns="session").rename(columns={"unit": "session"})
    effects = analyse(frame, FACTORS, BASS)
    said = [note for note in effects.notes if "session" in note]
    assert said == [
        "The classical table takes all sessions for alike.",
        "Rings changed only together with the session; repeat one setting in another session.",
    ]
    assert effects.table.set_index("term").loc["rings", "tangled_with"] == "session"


@pytest.mark.slow
@pytest.mark.parametrize("rings", [(0, 2), (0, 1, 2)])
def test_an_idle_factor_is_not_claimed_for_what_its_units_do(rings):
    """Truth: rings do nothing, and units differ by half a reading's scatter, as verdicts allow for; 100 logs."""
    found = 0
    for seed in range(100):
        table = table_alone(log(rings, unit_sd=READING / 2, seed=seed), FACTORS, BASS).table.set_index("term")
        found += table.loc["rings", "verdict"] == MOVES
    assert found <= 5


@pytest.mark.slow
def test_a_large_effect_is_claimed_all_the_same():
    """Truth: rings do 2 from end to end, five times a reading's scatter; units differ by half of that scatter."""
    found = 0
    for seed in range(40):
        frame = log((0, 2), rings_effect=1.0, unit_sd=READING / 2, seed=seed)
        table = table_alone(frame, FACTORS, BASS).table.set_index("term")
        found += table.loc["rings", "verdict"] == MOVES
    assert found / 40 >= 0.9


def two_builds(luck):
    """Truth: rings raise the bass by 1.2, 1 matters, readings scatter by 0.3, four of each; the second build has this luck."""
    rng = np.random.default_rng(5)
    return pd.DataFrame(
        [
            {"variant": str(place), "outcome": "bass", "value": value + 0.3 * rng.standard_normal(), "rings": rings}
            for place, (rings, value) in enumerate(((7, 0.0), (12, 1.2 + luck)))
            for _ in range(4)
        ]
    )


def test_what_two_builds_differ_by_is_not_called_too_small():
    """However little: of 60 logs whose builds scatter by what matters it was said in 18 % where 1.2 times as much acts."""
    factors = [Factor("rings", kind="count", low=7, high=12, way="rebuild")]
    found = analyse(two_builds(-1.2), factors, Outcome("bass", goal="raise", best=8, worst=-8, matters=1.0))
    assert found.table["verdict"].tolist() == [CANT_TELL]
    assert (
        "How builds of the same settings differ is not known from this log: the factors could be all that these 2 differ by, "
        "so nothing is called too small. Build one of these settings once more to see it."
    ) in found.notes


def test_builds_of_the_same_settings_show_how_builds_differ():
    factors = [Factor("rings", kind="count", low=7, high=12, way="rebuild")]
    again = two_builds(0.3).assign(variant=lambda rows: "more " + rows["variant"])
    found = analyse(pd.concat([two_builds(0.0), again]), factors, Outcome("bass", matters=1.0))
    assert not any("is not known from this log" in note for note in found.notes)
