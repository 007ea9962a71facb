"""Standards' tables: bands, weightings, exposure limits."""

from __future__ import annotations

import math

import numpy as np
import pytest

from doe.signals import bands, safety
from doe.signals.weighting import weighting_db
from tests.published.cases import case
from tests.published.verification_signals import band_rows, safety_rows, weighting_rows

pytestmark = pytest.mark.published


def met(rows):
    """Compare each row; the message of a failure shows source, figures and difference."""
    for row in rows:
        told = (
            f"{row['check']}: {row['published']} in {row['source']}, ours {row['ours']}, off by {row['difference']:.3g}"
        )
        assert row["difference"] <= row["tolerance"], told
    return max(row["difference"] / row["tolerance"] for row in rows if row["tolerance"])


def test_mid_and_edge_frequencies_are_those_of_the_standard():
    """IEC 61260-1:2014, sec. 5.2-5.6 and annex E: to the digits printed."""
    assert met(band_rows()) <= 1.0


def test_each_band_ends_where_the_next_begins():
    """IEC 61260-1:2014, formulas (4) and (5): f2 of a band is f1 of the next."""
    for fraction in (1, 2, 3, 6, 12, 24):
        run = bands.bands_between(16, 20_000, fraction)
        assert np.max(np.abs(run.high[:-1] / run.low[1:] - 1)) < 1e-12


def test_even_fractions_have_no_band_in_the_middle_of_1_khz():
    """IEC 61260-1:2014, formula (3): with an even number of bands an octave, 1 kHz is an edge."""
    run = bands.bands_between(500, 2000, 2)
    assert np.min(np.abs(run.high - 1000)) < 1e-9


def test_weightings_are_those_of_the_standard_by_formula_and_by_filter():
    """IEC 61672-1:2013, table 3: within 0.05 dB (its rounding) by formula, within 0.1 dB by filter up to 8 kHz."""
    assert met(weighting_rows()) <= 1.0


def test_normalising_constants_are_those_of_the_standard():
    """IEC 61672-1:2013, annex E: A1000 = -2.000 dB and C1000 = -0.062 dB (*from memory*)."""
    from doe.signals import weighting

    published = case("a_weighting_table").value("normalising constants A1000, C1000 (dB)")
    ours = [float(weighting._formula_db(np.array([1000.0]), name)[0]) for name in ("A", "C")]
    assert np.abs(np.subtract(ours, published)).max() <= 0.0006, ours


def test_weighting_is_nothing_at_1_khz():
    """IEC 61672-1:2013, 5.5.8: 0 dB at 1 kHz."""
    assert [float(weighting_db(np.array([1000.0]), name)[0]) for name in ("A", "C", "Z")] == [0.0, 0.0, 0.0]


def test_exposure_times_are_those_of_the_recommendations():
    """ITU-T H.870 (03/2022), clause 7.1; NIOSH 98-126 (1998), table 1-1."""
    assert met(safety_rows()) <= 1.0


def test_dose_of_a_day_as_an_average_level():
    """NIOSH 98-126, 1.1.3: 100 % is 85 dB(A), 200 % is 88.01 dB(A) by TWA = 10 log10(dose) + 85."""
    published = case("safe_listening_limits").value("NIOSH dose 100% equals TWA (dBA), dose 200% equals TWA (dBA)")
    doses = [safety.daily_dose({85: 8}), safety.daily_dose({88: 4, 91: 2})]
    assert np.abs(np.subtract([10 * math.log10(dose) + 85 for dose in doses], published)).max() < 5e-5


def test_share_of_a_week_used_by_two_hours_a_day_at_85():
    """H.870 mode 1: 14 h at 85 dB(A) against 40 h at 80 dB(A), equal energy."""
    published = case("safe_listening_limits").value(
        "weekly allowance used by 2 h/day, 7 days at 85 dBA under mode 1 (fraction)"
    )
    assert 14 / safety.weekly_hours(85) == pytest.approx(published, abs=1e-12)


def test_the_caution_quotes_the_same_limits():
    """What is shown to people says what is computed."""
    for part in ("80 dB(A) for 40 h a week", "H.870", "85 dB(A) for 8 h a day", "NIOSH REL", "75 dB(A)"):
        assert part in safety.DOSE_CAUTION
    assert "start quiet" in safety.SWEEP_CAUTION and "never play a sweep at level on the ears" in safety.SWEEP_CAUTION
