import numpy as np
import pytest

from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.rehearse.truth import Effect, Scatter, Together, Truth

WOOL = Factor("wool", low=0, high=60, step=5)
VENTS = Factor("vents", kind="count", low=0, high=6)
DRIVER = Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"])
QUIET = Scatter(build=0.0, session=0.0, rater=0.0, reading=0.0)


@pytest.mark.parametrize("shape", ["line", "peak", "saturating", "step"])
def test_the_size_of_an_effect_is_its_largest_difference(shape):
    fine = np.linspace(0, 60, 4001)
    values = Effect(WOOL, shape, -3.0, 0.2).at(fine)
    assert (values.min(), values.max()) == pytest.approx((-1.5, 1.5), rel=1e-3)


@pytest.mark.parametrize(("shape", "steepest"), [("step", 42.0), ("saturating", 0.0)])
def test_a_step_lies_at_its_place_and_what_saturates_rises_at_once(shape, steepest):
    fine = np.linspace(0, 60, 601)
    rises = np.diff(Effect(WOOL, shape, 4.0, 0.4).at(fine))
    assert (rises > 0).all()
    assert fine[rises.argmax()] == pytest.approx(steepest, abs=0.11)


def test_a_line_rises_from_low_to_high_and_a_peak_has_its_top_at_its_place():
    np.testing.assert_allclose(Effect(WOOL, "line", 4.0).at([0, 30, 60]), [-2, 0, 2])
    fine = np.linspace(0, 60, 601)
    assert fine[Effect(WOOL, "peak", 4.0, 0.5).at(fine).argmax()] == pytest.approx(45)


def test_levels_have_the_values_written_down():
    effect = Effect(DRIVER, "levels", 2.0, values=(-0.5, 0.5, 0.0))
    np.testing.assert_allclose(effect.at(["poly", "paper", "bamboo"]), [1.0, -1.0, 0.0])


def test_an_interaction_vanishes_at_the_middle_and_is_its_size_between_corners():
    pair = Together(Effect(WOOL, "line", 5.0), Effect(VENTS, "line", -2.0), 3.0)
    values = pair.at({"wool": [0, 60, 0, 60, 30], "vents": [0, 0, 6, 6, 1]})
    np.testing.assert_allclose(values, [1.5, -1.5, -1.5, 1.5, 0], atol=1e-12)


def test_the_terms_needed_are_listed_with_their_swings():
    truth = Truth(
        Outcome("bass", goal="raise", worst=0, best=10, matters=1.0),
        5.0,
        (
            Effect(WOOL, "peak", 4.0, 0.0),
            Effect(VENTS, "line", 0.6),
            Effect(DRIVER, "levels", 3.0, values=(-0.5, 0.5, 0.0)),
        ),
        (Together(Effect(WOOL, "line", 1.0), Effect(VENTS, "line", 1.0), 2.0),),
        QUIET,
    )
    assert truth.term_swings == pytest.approx({"wool": 4, "vents": 0.6, "driver": 3, "wool:vents": 2, "wool^2": 4})
    assert truth.sizeable_terms == ("wool", "driver", "wool:vents", "wool^2")
    assert truth.active == {"wool", "vents", "driver"}


def test_without_scatter_a_reading_is_the_truth_and_a_grade_is_whole_and_on_the_scale():
    rng = np.random.default_rng(1)
    measured = Truth(Outcome("bass", goal="raise", worst=0, best=1), 0.0, (), (), QUIET)
    assert measured.read(3.3, 0.5, -0.2, 0.5, rng) == pytest.approx(3.6)
    rated = Truth(Outcome("echo", kind="rated", scale=(1, 7), goal="lower"), 0.0, (), (), QUIET)
    assert (rated.read(3.3, 0.0, 0.0, 0.5, rng), rated.read(9.0, 0.0, 0.0, 0.5, rng)) == (3.0, 7.0)


def test_scatter_has_the_sizes_written_down():
    """Standard deviation of many readings, and the share of outliers beyond three of it."""
    scatter = Scatter(build=0, session=0, rater=0, reading=0.5, outlier_chance=0.1, outlier_size=20)
    truth = Truth(Outcome("bass", goal="raise", worst=0, best=1), 0.0, (), (), scatter)
    rng = np.random.default_rng(2)
    values = np.array([truth.read(0.0, 0.0, 0.0, 0.5, rng) for _ in range(4000)])
    assert np.mean(np.abs(values) > 5) == pytest.approx(0.1, abs=0.02)
    assert values[np.abs(values) < 5].std() == pytest.approx(0.5, rel=0.05)


def test_drift_runs_from_the_first_to_the_last_reading():
    truth = Truth(Outcome("bass", goal="raise", worst=0, best=1), 0.0, (), (), Scatter(0, 0, 0, 0, drift=2.0))
    rng = np.random.default_rng(1)
    assert [truth.read(0.0, 0.0, 0.0, part, rng) for part in (0.0, 0.5, 1.0)] == [-1, 0, 1]
