"""The desk fan: a second invented project, away from sound engineering, whose truth is written down here.

A library lends desk fans that its members repair. The replacement impellers are printed, and the fan whines. Run this
file to write `fan/setup.toml` and `fan/log.csv` beside it; the same seed gives the same bytes.

What is true:

- airflow: pitch raises it up to 36 degrees and the blades stall beyond, so the curve bends (132 m3/h at the top); the
  tip gap leaks 9 m3/h for each millimetre. Blades, hub and liner do nothing worth having.
- noise: each degree of pitch adds 0.22 dB; foam takes off 0.5 dB at a tip gap of 1 mm but 3.5 dB at 4 mm (an
  interaction: foam works only where air spills over the tips). Felt is half as good as foam.
- whine: few blades whine. 5.6 grades at 3 blades, 2.4 at 9. Nothing else matters.
"""

from __future__ import annotations

from pathlib import Path

from bench import Settings, Step, Truth, keep_log, write

SEED = 1

BEST_PITCH, BEST_AIRFLOW, STALL = 36.0, 132.0, 0.11
LEAK_PER_MM = 9.0
NOISE_FLAT, NOISE_PER_DEGREE = 36.0, 0.22
LINER_SHARE = {"none": 0.0, "foam": 1.0, "felt": 0.5}
LINER_AT_1_MM, LINER_PER_MM = 0.5, 1.0
WHINE_3_BLADES, WHINE_PER_BLADE = 5.6, -3.2 / 6
LISTENERS = {"Odile": -0.3, "Bram": 0.0, "Yuki": 0.3}
REFERENCE = "old steel fan"


def airflow(settings: Settings) -> float:
    """Airflow at 50 cm, m3/h."""
    return BEST_AIRFLOW - STALL * (settings["pitch"] - BEST_PITCH) ** 2 - LEAK_PER_MM * (settings["tip_gap"] - 1)


def noise(settings: Settings) -> float:
    """Noise level at 1 m, dB(A)."""
    liner = LINER_SHARE[settings["liner"]] * (LINER_AT_1_MM + LINER_PER_MM * (settings["tip_gap"] - 1))
    return NOISE_FLAT + NOISE_PER_DEGREE * settings["pitch"] - liner


def whine(settings: Settings) -> float:
    """Whine, grade."""
    return WHINE_3_BLADES + WHINE_PER_BLADE * (settings["blades"] - 3)


TRUTHS = (
    Truth("airflow", airflow, 118.0, build_sd=2.0, session_sd=1.0, reading_sd=1.5, rounds=2, digits=0),
    Truth("noise", noise, 46.0, build_sd=0.4, session_sd=0.3, reading_sd=0.3, rounds=2),
    Truth("whine", whine, 3.4, build_sd=0.2, session_sd=0.2, reading_sd=0.4, raters=LISTENERS, grades=(1, 7)),
)

DATES = {
    "Saturday 1": "2026-04-11 10:00",
    "Saturday 2": "2026-04-18 10:00",
    "Saturday 3": "2026-04-25 10:00",
    "Saturday 4": "2026-05-02 10:00",
    "Saturday 5": "2026-05-09 10:00",
}

P = [f"print {number}" for number in range(10)]

# Blades, pitch and hub are printed in; tips can only be sanded shorter; liners come and go.
HISTORY = (
    Step("Saturday 1", None, note="reference"),
    Step("Saturday 1", P[1], {"blades": 3, "pitch": 20, "tip_gap": 1.0, "hub": "small", "liner": "none"}, "as it came"),
    Step("Saturday 1", P[1], {"tip_gap": 2.5}, "sanded, less air"),
    Step("Saturday 1", P[1], {"liner": "foam"}),
    Step("Saturday 1", P[2], {"blades": 5, "pitch": 30, "tip_gap": 1.0, "hub": "large", "liner": "none"}, "more air"),
    Step("Saturday 2", None, note="reference"),
    Step("Saturday 2", P[2], note="again"),
    Step("Saturday 2", P[2], {"liner": "felt"}),
    Step("Saturday 2", P[3], {"blades": 7, "pitch": 45, "tip_gap": 1.5, "hub": "medium", "liner": "felt"}, "too steep"),
    Step("Saturday 2", P[3], {"tip_gap": 3.5, "liner": "foam"}),
    Step("Saturday 2", P[1], {"tip_gap": 4.0}),
    Step("Saturday 3", None, note="reference"),
    Step("Saturday 3", P[4], {"blades": 9, "pitch": 35, "tip_gap": 2.0, "hub": "small", "liner": "none"}, "calm"),
    Step("Saturday 3", P[4], {"liner": "foam"}),
    Step("Saturday 3", P[5], {"blades": 4, "pitch": 40, "tip_gap": 1.0, "hub": "large", "liner": "foam"}, "whines"),
    Step("Saturday 3", P[3], note="again"),
    Step("Saturday 3", P[2], {"tip_gap": 3.0, "liner": "none"}),
    Step("Saturday 4", None, note="reference"),
    Step("Saturday 4", P[6], {"blades": 8, "pitch": 20, "tip_gap": 3.5, "hub": "medium", "liner": "none"}),
    Step("Saturday 4", P[6], {"liner": "felt"}),
    Step("Saturday 4", P[5], {"tip_gap": 2.5, "liner": "none"}),
    Step("Saturday 4", P[4], {"tip_gap": 4.0}, "sanded right down, foam stays"),
    Step("Saturday 5", None, note="reference"),
    Step("Saturday 5", P[4], note="again"),
    Step("Saturday 5", P[7], {"blades": 6, "pitch": 15, "tip_gap": 1.5, "hub": "large", "liner": "foam"}, "no air"),
    Step("Saturday 5", P[8], {"blades": 3, "pitch": 35, "tip_gap": 2.0, "hub": "medium", "liner": "felt"}),
    Step("Saturday 5", P[9], {"blades": 9, "pitch": 45, "tip_gap": 1.0, "hub": "small", "liner": "none"}),
)

COLUMNS = (
    "variant", "unit", "parent", "blades", "pitch", "tip_gap", "hub", "liner",
    "session", "when", "order", "rater", "airflow", "noise", "whine", "note",
)  # fmt: skip

SETUP = """\
title = "Desk fan"
question = "The printed impeller whines, and the draught is weak. What makes it quiet without losing air?"

[effort]
new_unit_minutes = 45          # at the bench; the printer works alone
session_minutes = 10
reading_minutes = 8
new_unit_price = 2

[[factor]]
name = "blades"
kind = "count"
low = 3
high = 9
way = "rebuild"

[[factor]]
name = "pitch"
kind = "continuous"
low = 15
high = 45
step = 5
unit = "deg"
way = "rebuild"

[[factor]]
name = "tip_gap"
kind = "continuous"
low = 1
high = 4
step = 0.5
unit = "mm"
way = "up"                     # tips can be sanded shorter, never longer
minutes = 15
note = "Sand outdoors with a mask; guard back on before switching on."

[[factor]]
name = "hub"
kind = "ordered"
levels = ["small", "medium", "large"]
way = "rebuild"

[[factor]]
name = "liner"
kind = "categorical"
levels = ["none", "foam", "felt"]
minutes = 6

[[outcome]]
name = "airflow"
kind = "measured"
unit = "m3/h"
goal = "raise"
best = 130
worst = 60
matters = 6

[[outcome]]
name = "noise"
kind = "measured"
unit = "dB(A)"
goal = "lower"
best = 38
worst = 48
matters = 1.0

[[outcome]]
name = "whine"
kind = "rated"
scale = [1, 7]
goal = "lower"
best = 1
worst = 6
matters = 0.6
note = "1: only air. 7: cannot stay in the room."
"""


def main(folder: Path = Path(__file__).parent / "fan") -> None:
    """Write the two files of the demo."""
    write(folder, SETUP, COLUMNS, keep_log(HISTORY, TRUTHS, DATES, REFERENCE, SEED))


if __name__ == "__main__":
    main()
