from __future__ import annotations

from doe.model.change import check_limits
from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.setup import Setup
from tests.refusing import refused


def test_a_broken_limit_is_told_though_another_quantity_has_no_number_there() -> None:
    setup = Setup(
        factors=[Factor("rings", "count", low=7, high=12), Factor("wool", low=0, high=60)],
        limits=[Limit("air >= 300")],
        derived=[Derived("air", "rings * 42"), Derived("per_wool", "1 / wool")],
    )
    with refused(DataError, "These settings break the limit 'air >= 300': air = 294."):
        check_limits({"rings": 7, "wool": 0.0}, setup)
