"""What stands around ``fettle measure``: the sweep to be played, the list of recipes, and drawings."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from doe.cli.chosen import open_project
from doe.cli.measure import tell
from doe.cli.screen import note, print_json, say, table
from doe.model.errors import UsageError, did_you_mean, listed
from doe.model.typed_recipe import write_value
from doe.model.wording import cell_text, rounded

if TYPE_CHECKING:
    from doe.signals.recipe_keys import Key
    from doe.signals.recipes import Recipe


def sweep(options: Namespace) -> None:
    """Write a sweep, with the cautions that belong to it."""
    from doe.signals.safety import CAUTIONS
    from doe.signals.sweep import Sweep, write_sweep

    path, start = Path(options.sweep), Sweep()
    made = Sweep(
        start.start_hz if options.from_hz is None else options.from_hz,
        start.stop_hz if options.to_hz is None else options.to_hz,
        start.seconds if options.seconds is None else options.seconds,
    )
    if path.exists() and not options.replace:
        raise UsageError(f"{path} exists already; give another name, or say --replace.")
    rate = options.rate or 48_000
    write_sweep(path, made, rate=rate, replace=options.replace)
    say(
        f"Written: {path}, a sweep from {rounded(made.start_hz)} to {rounded(made.stop_hz)} Hz in {rounded(made.seconds)} s "
        f"at {rate} Hz, between silences."
    )
    for text in CAUTIONS:
        say(text)
    say("Start the recording first, then the sweep; let it run on for 2 s after the end. Save it as WAV or FLAC.")
    if made != start:
        numbers = write_value([made.start_hz, made.stop_hz, made.seconds])  # in full, as it is to be typed
        say(f"Tell the recipes which sweep it was: sweep = [{numbers}].")


def recipes(options: Namespace) -> None:
    """List the recipes, or what one of them may be given."""
    from doe.signals.recipes import RECIPES

    if options.recipes == "":
        rows = [{"recipe": item.name, "unit": item.unit, "what": item.help} for item in RECIPES.values()]
        if options.json:
            print_json(rows)
            return
        say(table(("recipe", "unit", "what it measures"), [tuple(row.values()) for row in rows]))
        say("\n'fettle measure --recipes NAME' lists the keys of one.")
        return
    if options.recipes not in RECIPES:
        hint = did_you_mean(options.recipes, RECIPES)
        raise UsageError(f"--recipes is '{options.recipes}'; a recipe is one of {listed(RECIPES)}.{hint}")
    _one_recipe(RECIPES[options.recipes], options)


def _one_recipe(recipe: Recipe, options: Namespace) -> None:
    from doe.signals.recipe_keys import REQUIRED
    from doe.signals.recipes import plain_settings

    plain = plain_settings({key.name: None if key.default is REQUIRED else key.default for key in recipe.keys})
    keys = [
        {"key": key.name, "is_needed": key.default is REQUIRED, "default": plain[key.name], "what": key.help}
        for key in recipe.keys
    ]
    if options.json:
        print_json(
            {"recipe": recipe.name, "version": recipe.version, "unit": recipe.unit, "what": recipe.help, "keys": keys}
        )
        return
    unit = f", in {recipe.unit}" if recipe.unit else ""
    say(f"{recipe.name} (version {recipe.version}{unit}): {recipe.help}\n")
    rows = [(row["key"], "needed" if row["is_needed"] else _default(row["default"]), row["what"]) for row in keys]
    say(table(("key", "default", "what it is"), rows))
    say(f'\nIn the setup file: from = "{recipe.name}" and its keys, among the lines of an outcome.')
    say(f"In a project: fettle outcome change NAME --from {recipe.name}{_example(recipe.keys)}")


def _default(value: Any) -> str:
    if isinstance(value, list):
        return f"[{', '.join(map(_default, value))}]"
    if value is None:
        return "-"
    return cell_text(value)


def _example(keys: Sequence[Key]) -> str:
    from doe.signals.recipe_keys import REQUIRED

    values = {"band": "40,150", "to_band": "300,1000"}
    needed = [f"{key.name}={values.get(key.name, '...')}" for key in keys if key.default is REQUIRED]
    return f" --with {' '.join(needed)}" if needed else ""


def check_plot(options: Namespace) -> None:
    """Refuse a drawing that could not be written, before anything is stored.

    Raises
    ------
    UsageError
        If the ending is not one of those that can be written.
    StoreError
        If the file exists and may not be replaced.
    """
    from doe.charts.export import check_target

    check_target(Path(options.plot), replace=options.replace)


def draw(options: Namespace) -> None:
    """Draw files, kept takes, or both."""
    from doe.charts import figure, write_figure
    from doe.measuring.pictures import picture

    check_plot(options)
    project = open_project(options.project)
    made = picture(
        project.file, options.files, options.kept or (), options.outcome or (), options.plot_what or "response"
    )
    path = write_figure(figure(made.result, **made.options), Path(options.plot), replace=options.replace)
    if not options.files:
        tell(made.warnings)
    note(f"Drawn: {path}.")
