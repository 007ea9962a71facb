"""A small setup that the tests of the store share: the tabletop radio, with a limit and a derived quantity."""

from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.outcome import Outcome
from doe.model.setup import Setup

FACTORS = (
    Factor("vents", kind="count", low=0, high=6, way="up", minutes=12),
    Factor("rings", kind="count", low=7, high=12, way="rebuild"),
    Factor("wool", low=0, high=60, step=5, unit="%", minutes=8, prices={}),
    Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"], prices={"bamboo": 18.5}),
)
OUTCOMES = (
    Outcome("bass", unit="dB", goal="hit", target=0, worst=6, matters=1.0, recipe={"from": "band_level", "low": 60}),
    Outcome("echo", kind="rated", scale=(1, 7), goal="lower", best=1, worst=6, matters=0.5),
    Outcome("nicer", kind="compared"),
)
RADIO = Setup(
    title="Tabletop radio",
    question="The bass is thin, and speech echoes.",
    factors=FACTORS,
    outcomes=OUTCOMES,
    effort=Effort(150, 15, 6),
    limits=[Limit("air >= 180", note="the driver needs air")],
    derived=[Derived("air", "rings * 42 - wool * 2.1", unit="cm3")],
)
SETTINGS = {"vents": 2, "rings": 9, "wool": 20.0, "driver": "poly"}
