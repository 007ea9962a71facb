"""Options of an outcome's definition that say how it is computed from a file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from doe.cli.parser import NOTHING, once
from doe.model.errors import UsageError
from doe.model.outcome import Outcome
from doe.model.typed_recipe import read_value


def with_recipe(outcome: Outcome, name: str | None, keys: Sequence[tuple[str, str]] | None) -> Outcome:
    """Return an outcome with the recipe that was typed, checked; unchanged where none was.

    Parameters
    ----------
    outcome : Outcome
        With the recipe it had before; another name drops the keys of that.
    name : str, optional
        Of the recipe; the word that empties a field takes it away.
    keys : sequence of (str, str), optional
        Its keys as typed; the word that empties a field takes one away.

    Raises
    ------
    UsageError
        If there are keys without a recipe, or the recipe cannot be used.
    """
    if name is None and not keys:
        return outcome
    if name == NOTHING:
        if keys:
            raise UsageError("--with does not go with --from none; give one of them.")
        return replace(outcome, recipe={})
    if name is None and not outcome.recipe:
        raise UsageError(f"--with has keys, but {outcome.name} has no recipe; name it with --from.")
    recipe = dict(outcome.recipe) if name in (None, outcome.recipe.get("from")) else {"from": name}
    for key, text in once(keys).items():
        recipe.pop(key, None)
        if text != NOTHING:
            recipe[key] = read_value(text)
    made = replace(outcome, recipe=recipe)
    from doe.measuring import check_outcome  # scipy takes longer than any other definition

    check_outcome(made)
    return made
