"""How an outcome is computed from a file, as fields of its form: a recipe from the list, and its keys one a line."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from doe.model.errors import FettleError, UsageError
from doe.model.outcome import Outcome
from doe.model.typed_recipe import read_keys, write_keys
from doe.model.wording import spaced
from doe.store import ProjectFile
from doe.web.contexts import Choice, Field
from doe.web.definition_faults import NotRead

NONE = "none: readings are typed in"
FILES = "recipe_files"
KINDS = ".wav,.flac,.aif,.aiff,.frd,.txt,.csv"
"""Ends of the names of files that are measured, or that a recipe measures with."""
_FILES_HINT = (
    "Only where a key needs one, such as microphone = mic.txt: the microphone's curve, a reference, a calibrator's tone or the "
    "silence. It is kept with the project; the newest of a name counts."
)
CHOOSE_AGAIN = " Choose the files again: they are not kept when something is refused."
_KEYS_HINT = (
    "One on each line, such as band = 40, 150. Which keys each recipe takes is listed on the page of recipes, below; "
    "a key left out is as told there."
)


def recipe_fields(values: Mapping[str, str], made: Callable[..., Field]) -> tuple[Field, ...]:
    """Return the two fields; `made` makes one of a form's fields from its name and label."""
    from doe.signals.recipes import RECIPES  # numpy

    chosen = values.get("from", "")
    names = dict.fromkeys([*RECIPES, *([chosen] if chosen else [])])
    choices = (Choice("", NONE, not chosen), *(Choice(name, spaced(name), name == chosen) for name in names))
    hint = "Of a measured outcome: each recording that you bring becomes a reading by itself."
    return (
        made("from", "Computed from a recording by", "list", hint, choices=choices, when="kind=measured"),
        made("keys", "Keys of that recipe", "long", _KEYS_HINT, when="from=*"),
        made(FILES, "Files that its keys name", "files", _FILES_HINT, accept=KINDS, when="from=*"),
    )


def sent_files(file: ProjectFile, outcome: Outcome, sent: Sequence[tuple[str, bytes]]) -> list[tuple[str, bytes]]:
    """Return the files that came with the form and are to be kept.

    Raises
    ------
    NotRead
        If one is not named by the recipe, or is nothing that it could use.
    """
    if not sent:
        return []
    from doe.measuring.recipe_files import new_files  # numpy

    try:
        return new_files(file, outcome.recipe, sent)
    except FettleError as err:
        raise NotRead({FILES: f"{err}{CHOOSE_AGAIN}"}) from None


def typed_recipe(outcome: Outcome) -> dict[str, str]:
    """Return a recipe as it would be typed."""
    return {"from": str(outcome.recipe.get("from", "")), "keys": write_keys(outcome.recipe)}


def read_recipe(typed: Mapping[str, str]) -> dict[str, Any]:
    """Return the recipe that was typed; empty where none was chosen.

    Raises
    ------
    NotRead
        If a line is no key, or there are keys without a recipe.
    """
    name, lines = typed.get("from", ""), typed.get("keys", "")
    try:
        keys = read_keys(lines)
    except UsageError as err:
        raise NotRead({"keys": str(err)}) from None
    if keys and not name:
        raise NotRead({"keys": "There are keys but no recipe; choose one above, or empty this."})
    return {"from": name, **keys} if name else {}
