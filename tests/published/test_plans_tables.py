"""Fractions, handbook plans and optimal plans against what their sources print; the figures are in `verification_plans`."""

import pytest

from tests.published import verification_plans

pytestmark = pytest.mark.published


def missed(rows):
    return [
        f"{row['check']}: {row['published']} / {row['ours']}"
        for row in rows
        if not row["difference"] <= row["tolerance"]
    ]


@pytest.mark.slow
def test_resolution_and_word_lengths_of_every_tabulated_fraction():
    """Box, Hunter & Hunter 1978, table 12.15 (resolution); Chen, Sun & Wu 1993 (word lengths); from memory."""
    rows = verification_plans.word_rows()
    assert len(rows) == len(verification_plans.RESOLUTIONS) + len(verification_plans.WORDS) + 5
    assert missed(rows) == []


@pytest.mark.slow
def test_exact_d_optimal_plans_of_the_two_factor_quadratic():
    """Box & Draper 1971 for six runs; every plan on the 3 x 3 grid tried for 6 to 12; Farrell, Kiefer & Walbran 1967."""
    assert missed(verification_plans.optimal_rows()) == []


def test_handbook_plans_come_out_run_for_run():
    """Box, Hunter & Hunter 1978 (reactor, bicycle, injection moulding); NIST/SEMATECH e-Handbook (catapult, vapour
    deposition); Montgomery, Example 11.2 (yield).
    """
    assert missed(verification_plans.handbook_rows()) == []


def test_catalogue_plans_match_the_literature():
    """Plackett & Burman 1946; Box & Behnken 1960; Jones & Nachtsheim 2011."""
    assert missed(verification_plans.catalogue_rows()) == []


def test_power_matches_a_general_library():
    """Statsmodels TTestPower, noncentral t, to 6 digits."""
    assert missed(verification_plans.power_rows()) == []


@pytest.mark.slow
def test_optimal_plans_are_at_least_as_efficient_as_handbook_plans():
    """Same runs, region and model: D and mean variance of prediction no worse."""
    assert missed(verification_plans.efficiency_rows()) == []
