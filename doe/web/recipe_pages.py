"""Recipes: how outcomes can be computed from recordings, and what was computed by another one before."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.charts import text
from doe.model.errors import DataError, FettleError
from doe.model.typed_recipe import write_value
from doe.model.wording import counted, spaced
from doe.signals.recipe_keys import REQUIRED, Key
from doe.signals.recipes import RECIPES, Recipe, plain_settings
from doe.web import urls
from doe.web.contexts import RecipeRow, RecipesPage
from doe.web.desk import Desk
from doe.web.forms import Sent
from doe.web.pages import AtDesk, go_to, page

router = APIRouter(include_in_schema=False)


@router.get("/recipes")
def show(request: Request, desk: AtDesk) -> Response:
    """List the recipes with their keys, and what this project computes by them."""
    return _shown(request, desk)


@router.post("/recipes/again")
def again(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Compute readings anew from their kept recordings, where the recipe is another one by now."""

    def do() -> str:
        done = desk.project.measure_again()
        if done.entry is None:
            raise DataError("Every reading is computed as its outcome says by now, so nothing is stored.")
        desk.keep_said(done.entry.id, done.warnings, done.notes)
        return urls.with_done(urls.recipes(), done.entry.id)

    try:
        return go_to(desk.once(sent, do))
    except FettleError as err:
        return _shown(request, desk, str(err), 422)


def _shown(request: Request, desk: Desk, error: str = "", status: int = 200) -> Response:
    outcomes = [item for item in desk.view().snapshot.setup.outcomes if item.recipe]
    computed = [row["outcome"] for row in desk.project.file.computations()]
    used = tuple(
        (
            text.name(item.name),
            urls.definition("outcome", item.name),
            f"by {item.recipe.get('from')}, {counted(computed.count(item.name), 'reading')} so far",
        )
        for item in outcomes
    )
    can_compute = any(item.name in computed for item in outcomes)
    context = RecipesPage(used, can_compute, error, tuple(_row(item) for item in RECIPES.values()))
    return page(request, "recipes.html", context, status)


def _row(recipe: Recipe) -> RecipeRow:
    keys = tuple((key.name, _given(key)) for key in recipe.keys)
    unit = f" Its values are in {recipe.unit}." if recipe.unit and recipe.unit not in recipe.help else ""
    return RecipeRow(spaced(recipe.name), f"{recipe.help}{unit}", keys)


def _given(key: Key) -> str:
    """Say what a key is, and what it is when it is left out."""
    if key.default is REQUIRED:
        return f"{key.help}; it is needed"
    plain = plain_settings({key.name: key.default})[key.name]
    return key.help if plain is None else f"{key.help}; {write_value(plain)} if left out"
