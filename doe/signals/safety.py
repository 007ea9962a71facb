"""Care for ears: the sentences that stand wherever a sweep is written or played, and the exposure rules behind them."""

from __future__ import annotations

from typing import Literal

from doe.model.errors import UsageError

Mode = Literal["adults", "sensitive"]

SWEEP_CAUTION = (
    "Caution: start quiet and raise the level slowly; never play a sweep at level on the ears - not in headphones, not "
    "with an ear at the loudspeaker. A sweep can also harm a loudspeaker at its lowest frequencies."
)
DOSE_CAUTION = (
    "Limits: 80 dB(A) for 40 h a week (WHO-ITU H.870; 75 dB(A) for children and sensitive people) and 85 dB(A) for 8 h "
    "a day at work (NIOSH REL); 3 dB more halve the time. Local rules and a hearing professional come first."
)
CAUTIONS = (SWEEP_CAUTION, DOSE_CAUTION)
"""What `write_sweep` and any page that plays one must show."""

_WEEK_DBA: dict[str, float] = {"adults": 80.0, "sensitive": 75.0}
_WEEK_HOURS = 40.0
_DAY_DBA, _DAY_HOURS, _EXCHANGE_DB = 85.0, 8.0, 3.0


def weekly_hours(level_dba: float, mode: Mode = "adults") -> float:
    """Return the hours a week in which a steady level uses up the weekly dose.

    Raises
    ------
    UsageError
        If the mode is unknown.

    Notes
    -----
    Recommendation ITU-T H.870 (03/2022, with WHO), clause 7.1: 80 dB(A) (adults) or 75 dB(A) (sensitive users, children)
    for 40 h a week, equal energy - so that 83 dB(A) gives 20.05 h, not 20.
    """
    if mode not in _WEEK_DBA:
        raise UsageError(f"mode is '{mode}'; it must be adults or sensitive.")
    return float(_WEEK_HOURS * 10.0 ** ((_WEEK_DBA[mode] - level_dba) / 10.0))


def daily_hours(level_dba: float) -> float:
    """Return the hours a day at work that a steady level allows.

    Notes
    -----
    NIOSH publication 98-126 (1998), 1.1.2 and Table 1-1: 85 dB(A) for 8 h, halved for each 3 dB.
    """
    return float(_DAY_HOURS * 2.0 ** ((_DAY_DBA - level_dba) / _EXCHANGE_DB))


def daily_dose(hours_at_level: dict[float, float]) -> float:
    """Return the share of a day's allowance that exposures use up; 1.0 is all of it (NIOSH 98-126, 1.1.3).

    Parameters
    ----------
    hours_at_level : dict of float to float
        Hours by level in dB(A).
    """
    return sum(hours / daily_hours(level) for level, hours in hours_at_level.items())
