import pandas as pd

from doe.model.records import Reading, Variant
from doe.store import ProjectFile
from tests.store.radio import SETTINGS


def test_readings_stand_beside_the_settings_of_their_variant(radio: ProjectFile):
    """Columns and types hold whatever is in them; a reference object has no settings; the unit is the variant's."""
    frame = radio.readings_frame()
    assert list(frame.columns) == [
        "id", "variant", "outcome", "value", "versus", "session", "rater", "order", "unit", "when", "note",
        "vents", "rings", "wool", "driver", "versus vents", "versus rings", "versus wool", "versus driver",
    ]  # fmt: skip
    assert frame["versus vents"].dropna().tolist() == [2]  # of the second of two that were compared
    assert frame["vents"].tolist()[:2] == [2, 4]
    assert frame.loc[2, ["vents", "rings", "wool", "driver"]].isna().all()
    assert frame["unit"].tolist()[:2] == ["A", "A"]
    assert frame["order"].tolist()[:2] == [1, 2]
    types = {name: str(kind) for name, kind in frame.dtypes.items()}
    assert types["variant"] == types["driver"] == types["versus"] == "str"
    assert (types["value"], types["order"], types["when"]) == ("float64", "Int64", "datetime64[us]")


def test_counts_are_whole_numbers_where_nothing_is_missing(radio: ProjectFile):
    assert str(radio.variants_frame()["vents"].dtype) == "float64"
    radio.take_back(6)
    radio.withdraw_variant("shop")
    assert str(radio.variants_frame()["vents"].dtype) == "int64"


def test_an_empty_project_has_the_same_columns(empty: ProjectFile):
    """Whoever works on the frames need not ask whether anything was logged yet."""
    factors = ["vents", "rings", "wool", "driver"]
    for frame in (empty.readings_frame(), empty.variants_frame(), empty.units_frame()):
        assert len(frame) == 0
        assert list(frame.columns)[-4:] == factors
    assert empty.readings_frame()["value"].dtype == "float64"


def test_variants_and_units_as_frames(radio: ProjectFile):
    variants = radio.variants_frame().set_index("variant")
    assert variants.loc["2", "parent"] == "1"
    assert variants.loc["2", "minutes"] == 20
    assert pd.isna(variants.loc["1", "parent"])
    assert radio.units_frame().loc[0, ["unit", "variant", "vents"]].tolist() == ["A", "2", 4]


def test_a_level_that_looks_like_nothing_stays_a_level(radio: ProjectFile):
    """'NA' or 'None' as a rater's or level's name is text."""
    radio.add_variant(Variant("NA", SETTINGS))
    radio.add_readings([Reading("NA", "bass", 1.0, rater="None")])
    last = radio.readings_frame().iloc[-1]
    assert (last["variant"], last["rater"]) == ("NA", "None")
