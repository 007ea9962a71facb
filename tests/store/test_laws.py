"""Laws that hold for any sequence of changes."""

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from doe.model.errors import FettleError
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.planned import Run
from doe.model.records import Reading, Session, Unit, Variant
from doe.store import Entry, ProjectFile
from tests.store.radio import FACTORS, OUTCOMES, RADIO, SETTINGS
from tests.strategies import examples

few = st.integers(0, 4)
name = few.map(str)


def _setup_change(f: ProjectFile, which: int) -> Entry:
    """One of a few changes of the definitions, allowed or not as things stand."""
    changes = [
        ("factor", replace(FACTORS[0], high=8), "vents", None),
        ("factor", replace(FACTORS[0], high=3), "vents", None),
        ("factor", Factor("feet", kind="categorical", levels=["felt", "cork"]), None, "felt"),
        ("factor", None, "driver", None),
        ("outcome", None, "echo", None),
        ("outcome", Outcome("hum"), None, None),
        ("outcome", replace(OUTCOMES[0], name="low_end"), "bass", None),
        ("title", "Another", None, None),
    ]
    kind, value, known, was = changes[which % len(changes)]
    return f.change_setup(kind, value, name=known, was=was)


def _kept_runs(f: ProjectFile) -> list[Run]:
    plan = f.adopted_plan()
    return [] if plan is None else list(plan.runs)


def _change(f: ProjectFile, what: str, a: int, b: int) -> Entry:
    """Carry one change out; many will be refused, which is part of the law."""
    changes = {
        "unit": lambda: f.add_unit(Unit(str(a))),
        "retire": lambda: f.retire_unit(str(a)),
        "variant": lambda: f.add_variant(
            Variant(str(a), {**SETTINGS, "vents": b}, unit=str(b) if b < 2 else None, parent=str(b) if b > 2 else None)
        ),
        "plan": lambda: f.add_variant(Variant("x", {**SETTINGS, "vents": b}, status="planned"), number_on=True),
        "reference": lambda: f.add_variant(Variant(f"shop {a}")),
        "correct": lambda: f.correct_variant(str(a), settings={"wool": 5 * b}, note=f"note {b}", status="built"),
        "rename": lambda: f.correct_variant(str(a), name=str(b)),
        "withdraw": lambda: f.withdraw_variant(str(a)),
        "session": lambda: f.add_session(Session(str(a))),
        "read": lambda: f.add_readings([Reading(str(a), "bass", b / 3, session=str(b))]),
        "compare": lambda: f.add_readings([Reading(str(a), "nicer", 0.5, versus=str(b))]),
        "new value": lambda: f.correct_reading(a + 1, value=b),
        "no value": lambda: f.withdraw_reading(a + 1),
        "attach": lambda: f.attach(str(a), "photo.jpg", bytes([b])),
        "suggest": lambda: f.add_suggestion({"kind": "learn", "settings": {"vents": b}}),
        "adopt": lambda: f.adopt_plan({"kind": "full"}, [Run({**SETTINGS, "vents": v}) for v in range(b + 1)]),
        "edit plan": lambda: f.edit_plan({"kind": "edited"}, [*_kept_runs(f)[a:], Run({**SETTINGS, "vents": b})]),
        "build": lambda: f.build_planned(str(a), unit=str(b) if b < 2 else None),
        "abandon": lambda: f.abandon_plan(),
        "setup": lambda: _setup_change(f, 5 * a + b),
        "take back": lambda: f.take_back(5 * a + b + 1),
    }
    return changes[what]()


WHAT = ["variant"] * 4 + ["read"] * 3 + ["setup"] * 3 + ["take back"] * 4 + [
    "unit", "retire", "plan", "reference", "correct", "rename", "withdraw", "session", "compare", "new value", "no value",
    "attach", "suggest", "adopt", "adopt", "edit plan", "build", "build", "abandon",
]  # fmt: skip
steps = st.lists(st.tuples(st.sampled_from(WHAT), few, few), min_size=4, max_size=12)
slowly = settings(
    examples(8),
    suppress_health_check=[HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)


@pytest.mark.slow
@given(steps)
@settings(slowly)
def test_changes_are_whole_and_can_be_taken_back(sequence):
    """Refused: nothing changed. Done: sound, in the history, and taking it back and back again goes there and back."""
    with TemporaryDirectory() as folder:
        f = ProjectFile.create(Path(folder) / "a.duckdb", RADIO)
        before, told = f.fingerprint(), f.history()
        for what, a, b in sequence:
            try:
                entry = _change(f, what, a, b)
            except FettleError:
                assert (f.fingerprint(), f.history()) == (before, told)
                continue
            after = f.fingerprint()
            assert f.check() == []
            assert f.history()[-1] == entry
            assert [(old.id, old.summary) for old in f.history()[:-1]] == [(old.id, old.summary) for old in told]
            undone = f.take_back(entry.id)
            assert f.fingerprint() == before
            f.take_back(undone.id)
            assert f.fingerprint() == after
            before, told = after, f.history()


@pytest.mark.slow
@given(steps)
@settings(slowly)
def test_whatever_happened_an_export_holds_what_counts(sequence):
    """After corrections, withdrawals and take-backs too, the restored project has the same content and numbers."""
    with TemporaryDirectory() as folder:
        f = ProjectFile.create(Path(folder) / "a.duckdb", RADIO)
        for what, a, b in [("variant", 0, 1), ("variant", 1, 2), ("read", 0, 1), *sequence]:
            try:
                _change(f, what, a, b)
            except FettleError:
                continue
        back = ProjectFile.restore(Path(folder) / "back.duckdb", f.export(Path(folder) / "out"))
        assert back.fingerprint() == f.fingerprint()
        assert back.readings() == f.readings()
        assert back.units() == f.units()
        assert back.check() == []
