from __future__ import annotations

from doe.model.records import Variant
from doe.model.told import told_variants


def test_a_comparison_counts_on_both_sides_and_in_no_mean() -> None:
    readings = [
        {"variant": "1", "outcome": "bass", "value": 4.0, "versus": None},
        {"variant": "1", "outcome": "bass", "value": 3.0, "versus": None},
        {"variant": "1", "outcome": "nicer", "value": 1.0, "versus": "2"},
    ]
    told = told_variants([Variant("1", {"wool": 20}), Variant("2", {"wool": 0}), Variant("3")], readings)
    assert [(one["variant"], one["readings"], one["means"]) for one in told] == [
        ("1", 3, {"bass": 3.5}),
        ("2", 1, {}),
        ("3", 0, {}),
    ]
