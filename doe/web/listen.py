"""A rater's own page: codes and scales, and nothing that could tell what stands behind a code."""

from __future__ import annotations

from collections.abc import Mapping
from hmac import compare_digest

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from doe.charts import text
from doe.model.errors import DataError, FettleError
from doe.model.listening import Judgement, RaterSheet
from doe.model.outcome import Outcome
from doe.model.wording import counted, exact
from doe.sheets.cautions import LISTENING
from doe.store.listening import KeptSession
from doe.web import urls
from doe.web.contexts import Choice, ListenPage, Scale
from doe.web.desk import Desk
from doe.web.factor_fields import whole_grades
from doe.web.faults import Refused
from doe.web.forms import Posted, SentBlind, at_most
from doe.web.pages import AtDesk, go_to, plain_page
from doe.web.tokens import Tokens

router = APIRouter(include_in_schema=False)
MOST_REMARK = 500


@router.get("/listen/{key}")
def show(request: Request, desk: AtDesk, key: str, place: int = 0, again: str = "", judged: int = 0) -> Response:
    """Show what is to be judged next at an address of its own, or a place judged before to whoever wants to change it.

    A browser that goes back to the address of a judged place is led on: were two samples shown at one address, it might put
    the grade of the last one on the next.
    """
    kept, sheet = sheet_of(desk, key)
    said, present = _said(kept, sheet.rater), _present(kept, sheet)
    is_to_judge = 1 <= place <= len(sheet.trials) and (bool(again) or place not in said)
    if kept.session.is_closed or is_to_judge or place == present:
        return _shown(request, desk, kept, sheet, place, {}, {}, judged=judged)
    return go_to(urls.listen(key, present or None, judged=place if place in said and present else None))


def sheet_of(desk: Desk, key: str) -> tuple[KeptSession, RaterSheet]:
    """Return the session and sheet behind a secret.

    Raises
    ------
    HTTPException
        404 if there is none.
    """
    for item in desk.view().prepared:
        for sheet in item.session.sheets:
            if compare_digest(sheet.key.encode(), key.encode()):
                return item, sheet
    raise HTTPException(404)


def _said(kept: KeptSession, rater: str) -> dict[int, Judgement]:
    return {item.place: item for _, _, item in kept.judgements if item.rater == rater}


def _present(kept: KeptSession, sheet: RaterSheet) -> int:
    """Return the first place that is not judged yet; 0 where all are."""
    said = _said(kept, sheet.rater)
    return next((place for place in range(1, len(sheet.trials) + 1) if place not in said), 0)


def _shown(
    request: Request,
    desk: Desk,
    kept: KeptSession,
    sheet: RaterSheet,
    place: int,
    typed: Mapping[str, str],
    errors: Mapping[str, str],
    status: int = 200,
    *,
    judged: int = 0,
    late: tuple[tuple[str, str], ...] = (),
) -> Response:
    said, total = _said(kept, sheet.rater), len(sheet.trials)
    at = place if 1 <= place <= total else _present(kept, sheet)
    state = "closed" if kept.session.is_closed else ("judge" if at else "done")
    trial = sheet.trials[at - 1] if at and state == "judge" else ()
    before = said.get(at)
    tokens: Tokens = request.app.state.tokens
    last = at - 1 if at else total
    context = ListenPage(
        session=kept.session.name,
        rater=sheet.rater,
        state="late" if late else state,
        codes=trial,
        scales=_scales(desk, kept, trial, before, typed, errors) if trial else (),
        progress=f"{len(said)} of {counted(total, _what(sheet))} judged",
        place=at,
        back=urls.listen(sheet.key, last, is_again=True) if last >= 1 and last in said and state != "closed" else "",
        action=urls.listen(sheet.key),
        token=tokens.form_token(sheet.key),
        sounds=_sounds(kept, sheet, trial, said),
        cautions=(LISTENING,),
        note=typed.get("note", before.note if before is not None else ""),
        note_error=errors.get("note", ""),
        word=_led_on(sheet, judged) if judged in said and state == "judge" else "",
        late=late,
    )
    return plain_page("listen.html", context, status)


def _what(sheet: RaterSheet) -> str:
    return "sample" if len(sheet.trials[0]) == 1 else "pair"


def _led_on(sheet: RaterSheet, judged: int) -> str:
    """Say why it is not the place asked for that is shown."""
    what = _what(sheet)
    return f"{what.capitalize()} {' and '.join(sheet.trials[judged - 1])} is judged already; this {what} comes next."


def _sounds(
    kept: KeptSession, sheet: RaterSheet, trial: tuple[str, ...], said: Mapping[int, Judgement]
) -> tuple[tuple[str, str, bool], ...]:
    """List what can be played: the sample in question first, then those judged before, to compare with."""
    if not kept.session.plays or not trial:
        return ()
    before = [code for place in sorted(said, reverse=True) for code in sheet.trials[place - 1]]
    codes = [code for code in dict.fromkeys([*trial, *before]) if kept.session.variant_of(code)]
    return tuple((code, urls.listen_sound(sheet.key, code), code in trial) for code in codes)


def _scales(
    desk: Desk,
    kept: KeptSession,
    trial: tuple[str, ...],
    before: Judgement | None,
    typed: Mapping[str, str],
    errors: Mapping[str, str],
) -> tuple[Scale, ...]:
    outcomes = {item.name: item for item in desk.view().snapshot.setup.outcomes}
    found = []
    for name in kept.session.outcomes:
        if name not in outcomes:
            continue
        value = typed.get(f"o.{name}", _as_typed(before, outcomes[name]))
        low, high = kept.session.ends.get(name, ("", ""))
        found.append(
            Scale(
                name=f"o.{name}",
                label=text.name(name),
                hint=outcomes[name].note if len(trial) == 1 else f"Which of the two is better in {text.name(name)}?",
                low=low,
                high=high,
                choices=_choices(outcomes[name], trial, value),
                value=value,
                error=errors.get(name, ""),
            )
        )
    return tuple(found)


def _as_typed(before: Judgement | None, outcome: Outcome) -> str:
    if before is None or outcome.name not in before.values:
        return ""
    value = before.values[outcome.name]
    return {1.0: "first", 0.0: "second"}.get(value, "tie") if outcome.kind == "compared" else exact(value)


def _choices(outcome: Outcome, trial: tuple[str, ...], value: str) -> tuple[Choice, ...]:
    if len(trial) == 2:
        named = (("first", trial[0]), ("tie", "no difference"), ("second", trial[1]))
        return tuple(Choice(word, label, word == value) for word, label in named)
    return tuple(Choice(grade, grade, grade == value) for grade in whole_grades(outcome))


@router.post("/listen/{key}")
def judge(request: Request, sent: SentBlind, desk: AtDesk, key: str) -> Response:
    """Take one judgement in."""
    kept, sheet = sheet_of(desk, key)
    tokens: Tokens = request.app.state.tokens
    if not tokens.is_form_token(key, sent.text("token")):
        raise Refused(403, "This page was shown before the server was last started; reload it and judge again.")
    typed = {name: values[0] for name, values in sent.values.items()}
    place = int(sent.text("place")) if sent.text("place").isdecimal() and len(sent.text("place")) < 6 else 0
    if kept.session.is_closed:
        return _too_late(request, desk, kept, sheet, place, typed)
    errors: dict[str, str] = {}
    try:
        remark = at_most(sent.text("note"), "remark", MOST_REMARK)
        values = _values(desk, kept, sent, errors)
        desk.project.file.judge(kept.id, Judgement(sheet.rater, place, values, remark))
    except FettleError as err:
        kept, sheet = sheet_of(desk, key)
        if kept.session.is_closed:  # while this was on its way
            return _too_late(request, desk, kept, sheet, place, typed)
        if not errors:
            errors["note" if str(err).startswith("remark ") else kept.session.outcomes[0]] = str(err)
        return _shown(request, desk, kept, sheet, place, typed, errors, 422)
    return go_to(urls.listen(key, _present(*sheet_of(desk, key)) or None))


def _too_late(
    request: Request, desk: Desk, kept: KeptSession, sheet: RaterSheet, place: int, typed: Mapping[str, str]
) -> Response:
    """Say that a judgement is not stored, and show it so that it can be handed over."""
    trial = sheet.trials[place - 1] if 1 <= place <= len(sheet.trials) else ()
    scales = _scales(desk, kept, trial, None, typed, {})
    rows = [(_what(sheet).capitalize(), " and ".join(trial))]
    rows += [(item.label, next((it.label for it in item.choices if it.is_chosen), item.value)) for item in scales]
    rows.append(("Remark", typed.get("note", "")))
    late = tuple((name, told or "-") for name, told in rows)
    return _shown(request, desk, kept, sheet, 0, {}, {}, 409, late=late)


def _values(desk: Desk, kept: KeptSession, sent: Posted, errors: dict[str, str]) -> dict[str, float]:
    """Read what was judged.

    Raises
    ------
    DataError
        If a value is missing or off its scale; each is told at its field.
    """
    values = {}
    for outcome in desk.view().snapshot.setup.outcomes:
        if outcome.name not in kept.session.outcomes:
            continue
        try:
            values[outcome.name] = outcome.read(sent.text(f"o.{outcome.name}"))
        except DataError as err:
            errors[outcome.name] = str(err) if sent.text(f"o.{outcome.name}") else "Nothing is chosen yet."
    if errors:
        raise DataError("Not everything is judged yet.")
    return values
