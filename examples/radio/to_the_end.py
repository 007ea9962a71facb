"""The tabletop radio driven to its end: from the log of three weeks to version 1 with its build sheet.

Run it with a folder: ``python examples/radio/to_the_end.py radio-settled``. It prints every command before what it says, so
that the same can be typed. Nothing is measured here: the fresh builds are simulated by the truth at the top of `radio.py`,
with its scatter from build to build, session to session and reading to reading, from one seed.

The story:

1. Of what was built, variant 21 is best: a low body of 7 rings, a quarter stuffed with wool. Wool sheds, so it is to go.
2. Wool takes air away, and so do fewer rings: `inner_air = rings * 42 - wool * 2.1`. Without wool the same air asks for 5.75
   rings; the list of things to try ended at 7. What must give is that range, and a body of 6 rings is allowed.
3. Two bodies of 6 rings without wool are built, measured, and judged blind beside the shop radio.
4. They keep the promise, so the first is settled as version 1, with a build sheet and the report.

The truth of the equivalent: 252 cm3 instead of 241.5, so echo 2.63 instead of 2.53, decay 67.9 ms instead of 66.3 ms.
"""

from __future__ import annotations

import io
import random
import shlex
import sys
from pathlib import Path

from PIL import Image, ImageDraw

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

import radio  # noqa: E402 - the script of the log lies one folder up

from doe.cli.main import main as fettle  # noqa: E402
from doe.model.listening import Judgement  # noqa: E402
from doe.project import Project  # noqa: E402

SEED = 20260324
ROUNDS = 8
SESSION = "evening 7"
FRESH = ("body F", "body G")


def command(*words: str) -> None:
    """Show a command and run it."""
    print(f"\n$ fettle {shlex.join(words)}", flush=True)
    if fettle(list(words)) != 0:
        raise SystemExit(1)


def drawing(rings: int) -> bytes:
    """Draw the body from the side, in the place of a photo."""
    picture = Image.new("RGB", (480, 360), "#f4efe4")
    pen = ImageDraw.Draw(picture)
    for ring in range(rings):
        top = 300 - 34 * (ring + 1)
        pen.rectangle([130, top, 350, top + 31], fill="#d9b98a", outline="#5b4636", width=2)
    pen.rectangle([150, 300, 190, 312], fill="#5b4636")
    pen.rectangle([290, 300, 330, 312], fill="#5b4636")
    pen.text((20, 20), f"{rings} rings, seen from the side (drawn, not photographed)", fill="#1e2a33")
    stream = io.BytesIO()
    picture.save(stream, "PNG")
    return stream.getvalue()


def main(folder: Path) -> None:
    """Drive the radio to its end."""
    folder.mkdir(parents=True)
    file = folder / "radio.duckdb"
    here = ["--project", str(file)]
    command("init", str(file), "--setup", str(HERE / "setup.toml"))
    command("import", str(HERE / "log.csv"), *here)
    command("analyse", "echo", *here)
    command("settle", "find", *here)
    command("factor", "change", "rings", "--low", "6", *here)
    command("settle", "find", *here)
    command("settle", "plan", *here)
    build(Project.open(file), here)
    listen(Project.open(file))
    names = [variant_on(Project.open(file), unit) for unit in FRESH]
    command("settle", "confirm", *names, "--through", "inner_air", *here)
    built = [word for name in names for word in ("--build", name)]
    command("settle", "keep", names[0], "--name", "kitchen radio", *built, "--through", "inner_air", *here)
    command("settle", "tolerance", names[0], "--through", "inner_air", *here)
    command("settle", "sheet", *here)
    command("report", *here)


def build(project: Project, here: list[str]) -> None:
    """Build the equivalent twice, each on a body of its own, with a picture."""
    settings = project.settle().best
    for unit in FRESH:
        words = [f"{name}={value if isinstance(value, str) else int(value)}" for name, value in settings.items()]
        picture = Path(here[1]).parent / f"{unit.replace(' ', '-')}.png"
        picture.write_bytes(drawing(int(settings["rings"])))
        command("log", *words, "--new-unit", unit, "--photo", str(picture), "--note", "no wool, one ring less", *here)


def variant_on(project: Project, unit: str) -> str:
    """Return the variant that a unit carries."""
    return next(str(item.variant) for item in project.file.units() if item.name == unit)


def listen(project: Project) -> None:
    """Measure and judge the fresh builds and the shop radio, as the truth and its scatter give it."""
    rng = random.Random(SEED)
    names = [variant_on(project, unit) for unit in FRESH]
    settings = {item.name: dict(item.settings) for item in project.file.variants()}
    bodies = {(name, truth.name): rng.gauss(0, truth.build_sd) for name in names for truth in radio.TRUTHS}
    evening = {truth.name: rng.gauss(0, truth.session_sd) for truth in radio.TRUTHS}

    def reading(truth: radio.Truth, variant: str, rater: str = "") -> float:
        known = settings[variant]
        centre = truth.mean(known) + bodies[variant, truth.name] if known else truth.reference
        return truth.shown(centre + evening[truth.name] + truth.raters.get(rater, 0.0) + rng.gauss(0, truth.reading_sd))

    measured = [truth for truth in radio.TRUTHS if not truth.raters]
    for place, name in enumerate([radio.REFERENCE, *names], start=1):
        values = [(truth.name, reading(truth, name)) for _ in range(ROUNDS) for truth in measured]
        project.read(name, values, session=SESSION, order=place)
    blind, _ = project.prepare_confirmation(
        names, list(radio.LISTENERS), beside=[radio.REFERENCE], rounds=ROUNDS, name=f"{SESSION}, blind"
    )
    number = project.file.prepared_sessions()[-1].id
    (rated,) = (truth for truth in radio.TRUTHS if truth.raters)
    for sheet in blind.sheets:  # grades are drawn by variant, since the blind order is another one in every run
        grades = {
            name: [reading(rated, name, sheet.rater) for _ in range(ROUNDS)] for name in (radio.REFERENCE, *names)
        }
        for place, (code,) in enumerate(sheet.trials, start=1):
            grade = grades[blind.variant_of(code)].pop()
            project.file.judge(number, Judgement(sheet.rater, place, {rated.name: grade}))
    project.file.close_session(number)
    print(
        f"\nRead {len(names)} bodies and the {radio.REFERENCE}, {ROUNDS} rounds each; echo judged blind by {len(blind.sheets)}."
    )


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "radio-settled"))
