"""What is said against the figures of a decay, word for word."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from doe.signals.backward_energy import Energy
from doe.signals.decay import Decay
from doe.signals.decay_findings import late_findings, range_findings, shape_findings, truncation_findings
from doe.signals.noise_floor import Floor
from doe.signals.slopes import TwoSlopes
from doe.signals.straight import Straight

PLAIN = Decay("body", None, None, 0.1, 0.1, 0.1, 3.0, 9.0, 0.7, 0.05, 60.0, 0.0, None, np.zeros(1), np.zeros(1))
WHERE = "body, all frequencies"

FLOOR = Floor(noise=0.1, stop=100, rate=1.0, level=1.0, is_reached=True)
ENERGY = Energy(np.repeat([101.0, 99.0], [60, 40]), 200.0, FLOOR, 1000.0)
"""The tail holds 1: 20 dB above it until 59 ms, and a little less from then on."""


def said(findings):
    return [(finding.about, finding.text) for finding in findings]


def test_nothing_stands_against_a_clean_decay():
    assert range_findings(PLAIN) == shape_findings(PLAIN) == truncation_findings(PLAIN, ENERGY) == []
    assert shape_findings(replace(PLAIN, bend_percent=10.0)) == []


def test_what_has_too_little_range_is_named():
    """ISO 3382-1:2009, 5.3.3: the noise 10 dB below the range, so 20, 35 and 45 dB in all."""
    found = range_findings(replace(PLAIN, range_db=35.0, edt_s=None, t30_s=None))
    assert said(found) == [
        ("edt", f"{WHERE}: EDT cannot be read; the sound is gone within a few samples."),
        ("t30", f"{WHERE}: T30 cannot be read; the decay stands 35 dB out of the noise, and 45 dB are needed."),
    ]
    (leans,) = range_findings(replace(PLAIN, range_db=40.0))
    assert leans.text == (
        f"{WHERE}: T30 leans on noise compensation; the decay stands 40 dB out of the noise, and 45 dB are needed."
    )


@pytest.mark.parametrize(("height_sd", "told"), [(None, "several dB"), (0.1, "0.9 dB"), (0.005, None)])
def test_what_comes_late_is_off_by_twice_the_error_of_the_line(height_sd, told):
    """The line turns one over its rate after the limit, where only its height counts: 2 x 4.343 x 0.1 dB = 0.87 dB."""
    line = None if height_sd is None else Straight(10.0, 0.0, 0.18, height_sd, 1.0, 1e-3)
    text = f"{WHERE}: after 80 ms the decay is near the noise or below it; C80 rests on how it would go on, and may be off by "
    assert said(late_findings(PLAIN, ENERGY, line)) == ([("c80", f"{text}{told}.")] if told else [])


def test_a_ratio_without_an_end_cannot_be_read():
    (found,) = late_findings(replace(PLAIN, c50_db=None, c80_db=9.0), replace(ENERGY, after=np.full(100, 101.0)), None)
    assert (found.about, found.text) == (
        "c50", f"{WHERE}: C50 cannot be read; nothing that can be measured is left after 50 ms."
    )  # fmt: skip


def test_what_one_decay_time_does_not_describe_is_said():
    """ISO 3382-2:2008, 7.1 (*from memory*): 0.88 sqrt((1 + 1.9 / 10) / 10) = 30 % where bandwidth times decay time is 10."""
    bent = replace(PLAIN, bend_percent=12.0, band=(100.0, 200.0))
    scatters = (
        "body, 100 to 200 Hz: bandwidth times decay time is only 10; one take scatters by about 30 %, so take several, or a "
        "wider band."
    )
    assert said(shape_findings(bent)) == [
        ("shape", "body, 100 to 200 Hz: the decay is not straight; T30 is 12 % longer than T20."), ("shape", scatters)
    ]  # fmt: skip
    two = replace(bent, band=None, slopes=TwoSlopes(0.1, 0.5, -20.0, 0.05, -30.0))
    assert said(shape_findings(two)) == [
        ("shape", f"{WHERE}: the decay has two slopes, 0.1 s and then 0.5 s; one decay time does not describe it.")
    ]


def test_a_recording_that_ends_early_is_said_to():
    (found,) = truncation_findings(PLAIN, replace(ENERGY, floor=replace(FLOOR, is_reached=False)))
    assert (found.about, found.text) == (
        "all", f"{WHERE}: the decay is truncated, the recording ends before it reaches the noise; record longer."
    )  # fmt: skip
