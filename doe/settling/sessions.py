"""A blind session in which fresh builds are judged beside something that was judged before."""

from __future__ import annotations

import secrets
from collections.abc import Sequence

import numpy as np

from doe.advise.listening import balanced_orders, three_digit_codes
from doe.model.change import find_variant
from doe.model.errors import DataError, UsageError
from doe.model.given import check_whole
from doe.model.listening import PreparedSession, RaterSheet, Sample
from doe.model.outcome import Outcome
from doe.model.records import Variant
from doe.store.readings import as_spelled

MOST_SAMPLES = 24


def confirmation_session(
    name: str,
    outcomes: Sequence[Outcome],
    known: Sequence[Variant],
    builds: Sequence[str],
    beside: Sequence[str],
    raters: Sequence[str],
    rounds: int,
) -> PreparedSession:
    """Give every sample a code of its own, repeats too, and every rater an order of their own.

    The codes and orders are drawn here without a seed, since a guessable one would not be blind.

    Raises
    ------
    UsageError
        If there is no rater or build, `rounds` is no whole number from 1, or the samples are too many for ears.
    DataError
        If no outcome is rated, or a variant is unknown.
    """
    rated = [outcome.name for outcome in outcomes if outcome.kind == "rated"]
    if not rated:
        raise DataError(
            "No outcome is rated by people, so there is nothing to judge blind; measure the fresh builds instead."
        )
    if not raters:
        raise UsageError("Name at least one rater.", command="--rater NAME names one")
    if not builds:
        raise UsageError("Name at least one fresh build.")
    named = [find_variant(one, known).name for one in (*builds, *beside)]
    variants = list(dict.fromkeys(named)) * check_whole("rounds", rounds, 1)
    if len(variants) > MOST_SAMPLES:
        raise UsageError(f"{len(variants)} samples are too many for ears; at most {MOST_SAMPLES} in one session.")
    rng = np.random.default_rng(secrets.randbits(128))
    codes = three_digit_codes(len(variants), rng)
    samples = sorted(
        (Sample(code, variant) for code, variant in zip(codes, variants, strict=True)), key=lambda one: one.code
    )
    spelled: dict[str, str] = {}
    who = list(dict.fromkeys(as_spelled(rater, spelled) for rater in raters))
    sheets = [
        RaterSheet(rater, secrets.token_urlsafe(12), [(codes[place],) for place in order])
        for rater, order in zip(who, balanced_orders(len(variants), len(who), rng), strict=True)
    ]
    return PreparedSession(
        name, rated, samples, sheets, note="Fresh builds beside what was judged before. Start quiet."
    )
