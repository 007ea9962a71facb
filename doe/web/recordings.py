"""Recordings of a variant, sent from where they were made: measured and kept as by ``fettle measure``."""

from __future__ import annotations

import os
from pathlib import Path
from tempfile import TemporaryDirectory

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.charts import text
from doe.model.errors import DataError, FettleError, listed
from doe.sheets.cautions import LISTENING
from doe.store.attachments import clean_name
from doe.web import urls
from doe.web.contexts import Field, FormPage
from doe.web.desk import Desk, View
from doe.web.forms import Posted, Sent
from doe.web.pages import AtDesk, VariantName, go_to, known_variant, page
from doe.web.readings import last_session, not_built
from doe.web.recipe_fields import KINDS

router = APIRouter(include_in_schema=False)

_CHOOSE_AGAIN = " Choose the recordings again: files are not kept when something is refused."


@router.get("/variants/{name:path}/recordings")
def show(request: Request, desk: AtDesk, name: VariantName) -> Response:
    """Show the form that takes recordings."""
    view = desk.view()
    found = known_variant(view.snapshot.variants, name)
    if found.status == "planned":
        return page(request, "form.html", not_built(found.name, "Recordings"))
    return page(request, "form.html", _form(view, found.name, {"session": last_session(view)}, ""))


@router.post("/variants/{name:path}/recordings")
def store(request: Request, sent: Sent, desk: AtDesk, name: VariantName) -> Response:
    """Measure what was sent, and keep it."""
    view = desk.view()
    variant = known_variant(view.snapshot.variants, name).name
    try:
        return go_to(desk.once(sent, lambda: _measured(desk, variant, sent)))
    except FettleError as err:
        values = {key: found[0] for key, found in sent.values.items()}
        again = _CHOOSE_AGAIN if sent.files.get("takes") else ""
        return page(request, "form.html", _form(view, variant, values, f"{err}{again}"), 422)


def _measured(desk: Desk, variant: str, sent: Posted) -> str:
    """Measure takes from files of their own, which are gone afterwards; the project keeps its copies."""
    takes = sent.files.get("takes", [])
    if not takes:
        raise DataError("No recording was chosen; choose one file for each take.")
    with TemporaryDirectory(prefix="fettle-") as folder:
        paths = []
        for place, (name, data) in enumerate(takes):
            paths.append(Path(folder) / str(place) / clean_name(name))
            paths[-1].parent.mkdir()
            paths[-1].write_bytes(data)
        try:
            done = desk.project.measure(
                variant, paths, session=sent.text("session") or None, rater=sent.text("rater") or None,
                note=sent.text("note"),
            )  # fmt: skip
        except FettleError as err:  # a person knows the file by its name, not by where it lay for a moment
            told = str(err)
            for place in range(len(paths)):
                told = told.replace(f"{Path(folder) / str(place)}{os.sep}", "")
            err.args = (told,)
            raise
    entry = done.entry.id if done.entry is not None else 0
    new = [desk.new_session(sent.text("session"))] if done.is_new_session else []
    desk.keep_said(entry, done.warnings, [*done.notes, *new])
    return urls.with_done(urls.variant(variant), entry)


def _form(view: View, variant: str, values: dict[str, str], error: str) -> FormPage:
    outcomes = [text.name(item.name) for item in view.snapshot.setup.outcomes if item.recipe]
    fields = (
        Field("takes", "Recordings", "files", accept=KINDS, error=error, is_needed=True,
              hint="One file for each take: put up anew, measured again. Sound as WAV, FLAC or AIFF; curves as text."),
        Field("session", "Session", value=values.get("session", ""), hint="One sitting under the same conditions."),
        Field("rater", "Measured by", value=values.get("rater", ""), hint="Such as the microphone."),
        Field("note", "Note", "long", values.get("note", "")),
    )  # fmt: skip
    told = f"Each file gives a reading of {listed(outcomes, 'and')}, and is kept with the project."
    nothing = (
        "No outcome of this project is computed from files yet. A recipe says how, such as the level of a band; choose one in "
        "the form of a measured outcome.",
        "Until then, type in what your own program shows.",
    )
    return FormPage(
        kicker=f"Variant {variant}",
        heading="Recordings",
        intro=(told,) if outcomes else nothing,
        action=urls.variant(variant, "recordings"),
        fields=fields if outcomes else (),
        button="Measure and keep them" if outcomes else "",
        back=urls.variant(variant) if outcomes else urls.readings(variant),
        back_label="Type readings in",
        ways=() if outcomes else _ways(view),
        cautions=(LISTENING,),
    )


def _ways(view: View) -> tuple[tuple[str, str], ...]:
    """Lead to the outcomes that could be given a recipe, to a new one, and to what all this is."""
    measured = [item.name for item in view.snapshot.setup.outcomes if item.kind == "measured"]
    own = tuple((urls.definition("outcome", name), f"Compute {text.name(name)} from recordings") for name in measured)
    return (
        *own,
        (urls.definition("outcome"), "A new outcome, computed from recordings"),
        (urls.help_page("measuring"), "How measuring recordings works"),
    )
