"""The tabletop radio: an invented project whose truth is written down here, so that the answer can be checked.

A community workshop stacks birch rings into small radios. The bass booms and speech echoes, and for three weeks
somebody changed one thing after another on five bodies. Run this file to write `radio/setup.toml` and `radio/log.csv`
beside it; the same seed gives the same bytes.

What is true (and what an analysis should find, within its intervals):

- bass: the driver decides it. Paper +3.9 dB, poly +0.4 dB, bamboo -1.6 dB. Each vent adds 0.03 dB: over all six less
  than a fifth of what anyone cares about. Rings, wool and feet do nothing.
- echo: the inner air decides it (`rings * 42 - wool * 2.1` cm3, so fewer rings and more wool are the same thing):
  3.3 grades from 180 to 504 cm3. Driver, vents and feet do nothing.
- decay: the inner air again, 48 ms from 180 to 504 cm3; the bamboo driver takes off 2 ms, each vent 0.2 ms.
"""

from __future__ import annotations

from pathlib import Path

from bench import Settings, Step, Truth, keep_log, write

SEED = 20260303

DRIVER_BASS = {"paper": 3.9, "poly": 0.4, "bamboo": -1.6}
VENT_BASS = 0.03
ECHO_LEAST, ECHO_MOST = 1.9, 5.2
DECAY_LEAST, DECAY_MOST = 58.0, 106.0
LISTENERS = {"Ines": -0.4, "Tomas": 0.1, "Wren": 0.3}
REFERENCE = "shop radio"


def inner_air(settings: Settings) -> float:
    """Air left in the body, cm3."""
    return settings["rings"] * 42 - settings["wool"] * 2.1


def share_of_air(settings: Settings) -> float:
    """0 at 180 cm3, 1 at 504 cm3."""
    return (inner_air(settings) - 180) / (504 - 180)


def bass(settings: Settings) -> float:
    """Bass level, dB re mid-band."""
    return DRIVER_BASS[settings["driver"]] + VENT_BASS * settings["vents"]


def echo(settings: Settings) -> float:
    """Speech echo, grade."""
    return ECHO_LEAST + (ECHO_MOST - ECHO_LEAST) * share_of_air(settings)


def decay(settings: Settings) -> float:
    """Decay time, ms."""
    bamboo = 2.0 if settings["driver"] == "bamboo" else 0.0
    return DECAY_LEAST + (DECAY_MOST - DECAY_LEAST) * share_of_air(settings) - bamboo - 0.2 * settings["vents"]


TRUTHS = (
    Truth("bass", bass, 1.2, build_sd=0.3, session_sd=0.3, reading_sd=0.25, rounds=2),
    Truth("decay", decay, 84.0, build_sd=2.0, session_sd=1.5, reading_sd=2.0, rounds=2, digits=0),
    Truth("echo", echo, 3.1, build_sd=0.15, session_sd=0.2, reading_sd=0.35, raters=LISTENERS, rounds=2, grades=(1, 7)),
)

DATES = {
    "evening 1": "2026-03-03 19:30",
    "evening 2": "2026-03-06 19:30",
    "evening 3": "2026-03-10 19:30",
    "evening 4": "2026-03-13 19:30",
    "evening 5": "2026-03-17 19:30",
    "evening 6": "2026-03-20 19:30",
}

A, B, C, D, E = "body A", "body B", "body C", "body D", "body E"

# One change or two at a time, vents only ever drilled, rings fixed per body; the shop radio heard every evening.
HISTORY = (
    Step("evening 1", None, note="reference"),
    Step("evening 1", A, {"vents": 0, "rings": 9, "wool": 0, "driver": "paper", "feet": "felt"}, "first one, booms"),
    Step("evening 1", A, {"vents": 2}, "drilled two vents, no better"),
    Step("evening 1", A, {"wool": 30}, "some wool, speech clearer"),
    Step("evening 2", None, note="reference"),
    Step("evening 2", A, note="the last one again"),
    Step("evening 2", B, {"vents": 6, "rings": 11, "wool": 10, "driver": "paper", "feet": "cork"}, "new, all vents"),
    Step("evening 2", B, {"driver": "bamboo"}, "bass gone, too thin"),
    Step("evening 2", A, {"driver": "poly", "feet": "cork"}),
    Step("evening 3", None, note="reference"),
    Step("evening 3", B, note="again"),
    Step("evening 3", C, {"vents": 0, "rings": 7, "wool": 0, "driver": "bamboo", "feet": "felt"}, "a low body"),
    Step("evening 3", B, {"wool": 45, "feet": "felt"}),
    Step("evening 3", D, {"vents": 5, "rings": 8, "wool": 15, "driver": "paper", "feet": "felt"}, "five vents, booms"),
    Step("evening 3", C, {"wool": 25, "feet": "cork"}),
    Step("evening 4", None, note="reference"),
    Step("evening 4", C, note="again"),
    Step("evening 4", D, {"driver": "poly"}),
    Step("evening 4", C, {"driver": "paper"}, "booms again"),
    Step("evening 4", E, {"vents": 0, "rings": 12, "wool": 20, "driver": "poly", "feet": "felt"}, "the tallest"),
    Step("evening 4", A, {"wool": 60}, "stuffed full"),
    Step("evening 5", None, note="reference"),
    Step("evening 5", E, {"driver": "paper", "feet": "cork"}),
    Step("evening 5", C, {"vents": 4}, "four vents at once"),
    Step("evening 5", B, {"driver": "poly"}, "bass about right"),
    Step("evening 5", A, {"driver": "bamboo", "feet": "felt"}),
    Step("evening 6", None, note="reference"),
    Step("evening 6", B, note="the best so far, again"),
    Step("evening 6", E, {"wool": 0, "driver": "bamboo"}),
    Step("evening 6", D, {"driver": "bamboo", "feet": "cork"}),
    Step("evening 6", C, {"driver": "poly", "feet": "felt"}),
    Step("evening 6", B, {"wool": 10, "feet": "cork"}, "took the wool out again, echo back"),
)

COLUMNS = (
    "variant", "unit", "parent", "vents", "rings", "wool", "driver", "feet",
    "session", "when", "order", "rater", "bass", "decay", "echo", "note",
)  # fmt: skip

SETUP = """\
title = "Tabletop radio"
question = "The bass booms and speech echoes. Which of the changes is to blame, and what should we try next?"

[effort]
new_unit_minutes = 150
session_minutes = 15
reading_minutes = 6
new_unit_price = 14

[[factor]]
name = "vents"
kind = "count"
low = 0
high = 6
way = "up"                     # drilled holes stay
minutes = 12
note = "8 mm holes in the back, drilled with the driver out. Eye protection; clamp the body."

[[factor]]
name = "rings"
kind = "count"
low = 7
high = 12
way = "rebuild"                # glued: another height is another body
note = "Birch rings, 12 mm each, glued in a stack."

[[factor]]
name = "wool"
kind = "continuous"
low = 0
high = 60
step = 5
unit = "%"
minutes = 8
note = "Share of the cavity that is stuffed."

[[factor]]
name = "driver"
kind = "categorical"
levels = ["paper", "poly", "bamboo"]
minutes = 25
prices = { paper = 6, poly = 9, bamboo = 12 }

[[factor]]
name = "feet"
kind = "categorical"
levels = ["felt", "cork"]
minutes = 3

[[outcome]]
name = "bass"
kind = "measured"
unit = "dB"
goal = "hit"
target = 0
worst = 6
matters = 1.0
note = "Level from 60 to 120 Hz, dB re 500 to 2000 Hz, microphone at 50 cm, put back between takes."

[[outcome]]
name = "echo"
kind = "rated"
scale = [1, 7]
goal = "lower"
best = 1
worst = 6
matters = 0.5
note = "1: as if outdoors. 7: as if in a stairwell. The same minute of speech, quiet."

[[outcome]]
name = "decay"
kind = "measured"
unit = "ms"
goal = "lower"
best = 50
worst = 120
matters = 8

[[derived]]
name = "inner_air"
expression = "rings * 42 - wool * 2.1"
unit = "cm3"

[[limit]]
rule = "inner_air >= 180"
note = "the driver's magnet needs the room"
"""


def main(folder: Path = Path(__file__).parent / "radio") -> None:
    """Write the two files of the demo."""
    write(folder, SETUP, COLUMNS, keep_log(HISTORY, TRUTHS, DATES, REFERENCE, SEED))


if __name__ == "__main__":
    main()
