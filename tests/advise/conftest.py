import pytest

from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.outcome import Outcome


@pytest.fixture
def factors():
    return (
        Factor("vents", kind="count", low=0, high=6, way="up", minutes=12),
        Factor("rings", kind="count", low=7, high=12, way="rebuild"),
        Factor("wool", kind="continuous", low=0, high=60, step=5, unit="%", minutes=8),
        Factor(
            "driver",
            kind="categorical",
            levels=["paper", "poly", "bamboo"],
            minutes=25,
            prices={"bamboo": 40, "poly": 15},
        ),
    )


@pytest.fixture
def outcomes():
    return (
        Outcome("bass", kind="measured", unit="dB", goal="hit", target=0, worst=6, matters=1.0),
        Outcome("echo", kind="rated", scale=(1, 7), goal="lower", best=1, worst=6, matters=0.5),
    )


@pytest.fixture
def effort():
    return Effort(new_unit_minutes=150, session_minutes=15, reading_minutes=6, new_unit_price=20)
