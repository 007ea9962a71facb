"""The form that prepares a session: who judges what, and the codes and orders drawn for it."""

from __future__ import annotations

import secrets
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from doe.charts import text
from doe.model.errors import DataError, FettleError, UsageError, listed
from doe.model.listening import PreparedSession, RaterSheet, Sample, check_rater
from doe.model.outcome import Outcome
from doe.model.records import changed_since
from doe.model.setup import Setup
from doe.sheets.cautions import LISTENING
from doe.web import urls
from doe.web.contexts import Choice, Field, FormPage
from doe.web.desk import View
from doe.web.forms import Posted, at_most, marked

LEVEL = (
    "Match the level of all samples first, by ear or better with a meter at the listening place: the louder one sounds better "
    "for no reason of its own."
)
_MOST_WRITTEN = {"low_end": 60, "high_end": 60, "note": 2000}
_CALLED = {"low_end": "The low end", "high_end": "The high end", "note": "The note"}
_REFERENCE = "A reference object belongs here too: hidden among the others it carries the mood of the day."
_MOST_SAMPLES = 40
_MOST_RATERS = 30
_MOST_PAIRED = 8


def obstacle(view: View) -> str:
    """Say why no session can be prepared, if so."""
    if not _judged(view.snapshot.setup):
        return "No outcome is rated or compared by people yet; add one in the set-up."
    heard = _heard(view)
    if len(heard) < 2:
        return "A session needs at least two variants that are built."
    if len(heard) - len(_lost(view)) < 2:
        return "A session needs at least two variants that can be put out; the units of the others have been changed since."
    return ""


def _judged(setup: Setup) -> list[Outcome]:
    return [item for item in setup.outcomes if item.kind != "measured"]


def _heard(view: View) -> list[str]:
    return [item.name for item in view.snapshot.variants if item.status == "built"]


def gone_of(view: View, names: Collection[str]) -> list[str]:
    """List those of some variants that their unit no longer is, so that they cannot be put out."""
    here = view.snapshot
    return [item.name for item in here.variants if item.name in names and changed_since(item, here.units) is not None]


def cannot_be_put_out(gone: Sequence[str]) -> str:
    """Say of variants that their unit is no longer what they were."""
    if len(gone) == 1:
        return f"Variant {gone[0]} cannot be put out: its unit has been changed since."
    return f"Variants {listed(gone, 'and')} cannot be put out: their units have been changed since."


def _can_play(view: View) -> bool:
    return len(view.recorded) > 1


def _lost(view: View) -> list[str]:
    """List the variants that cannot be judged in any way: changed since, and without a recording that could be played."""
    gone = gone_of(view, _heard(view))
    return [name for name in gone if not (_can_play(view) and name in view.recorded)]


def session_form(view: View, values: Mapping[str, Sequence[str]], errors: Mapping[str, str], error: str) -> FormPage:
    """Return the form as it is shown.

    Parameters
    ----------
    view : View
        What the project holds.
    values : mapping of str to sequence of str
        What stands in the fields.
    errors : mapping of str to str
        What is wrong, by field.
    error : str
        What is wrong as a whole.
    """
    fields = _fields(view, values, errors)
    return FormPage(
        kicker="Sessions",
        heading="Prepare a blind session",
        intro=(
            "Each variant gets a three-digit code. Each rater gets a link of their own, which shows codes and nothing else, in "
            "an order balanced so that neither place nor neighbour favours anyone.",
        ),
        action=urls.session_new(),
        fields=tuple(fields) if not obstacle(view) else (),
        button="Prepare it" if not obstacle(view) else "",
        error=error or obstacle(view),
        back=urls.sessions(),
        cautions=(LEVEL, LISTENING),
        draft="session",
    )


def _fields(view: View, values: Mapping[str, Sequence[str]], errors: Mapping[str, str]) -> list[Field]:
    """Return the fields of the form."""
    setup = view.snapshot.setup

    def first(name: str) -> str:
        return next(iter(values.get(name, [""])), "")

    def many(name: str, names: Sequence[str]) -> tuple[Choice, ...]:
        return tuple(Choice(item, text.name(item), item in values.get(name, ())) for item in names)

    def _written(name: str, label: str, kind: str = "text", hint: str = "") -> Field:
        return Field(name, label, kind, first(name), hint=hint, error=errors.get(name, ""))

    judged = _judged(setup)
    return [
        Field("name", "What it is called", value=first("name"), error=errors.get("name", ""), is_needed=True),
        Field(
            "outcomes",
            "What is judged",
            "many",
            hint="Rated outcomes on one sample at a time, or one comparison of two.",
            error=errors.get("outcomes", ""),
            choices=many("outcomes", [item.name for item in judged]),
        ),
        Field(
            "variants",
            "Variants to be judged",
            "many",
            hint=" ".join([*_left_out(view), _REFERENCE]),
            error=errors.get("variants", ""),
            choices=_offered(view, values.get("variants", ())),
        ),
        Field(
            "twice",
            "Hidden repeats: those judged a second time under another code",
            "many",
            hint="One or two are enough to see how well each person repeats.",
            error=errors.get("twice", ""),
            choices=tuple(item for item in _offered(view, values.get("twice", ())) if not item.is_off),
        ),
        Field(
            "raters",
            "Raters, one on each line",
            "long",
            first("raters"),
            error=errors.get("raters", ""),
            is_needed=True,
        ),
        _written("low_end", "Low end of the scale is called", hint="Such as: not at all."),
        _written("high_end", "High end is called", hint="Such as: very much."),
        *_playing(view, values, errors),
        _written("note", "Room, level, programme", "long"),
    ]


def _offered(view: View, chosen: Sequence[str]) -> tuple[Choice, ...]:
    """Return the variants to choose from: those that can be put out, those that can only be played, the others struck out."""
    heard = _heard(view)
    gone, lost = gone_of(view, heard), _lost(view)
    standing = [Choice(name, name, name in chosen) for name in heard if name not in gone]
    played = [
        Choice(name, f"{name}: its unit has been changed since", name in chosen) for name in gone if name not in lost
    ]
    return (*standing, *played, *(Choice(name, name, name in chosen, is_off=True) for name in lost))


def _left_out(view: View) -> list[str]:
    """Say which variants are struck out, and why."""
    lost = _lost(view)
    return [cannot_be_put_out(lost)] if lost else []


def _playing(view: View, values: Mapping[str, Sequence[str]], errors: Mapping[str, str]) -> list[Field]:
    """Return the field that offers playback, where there is something to play."""
    if not _can_play(view):
        return []
    choice = Choice("yes", "Play the kept recordings on the raters' pages", "yes" in values.get("plays", ()))
    recorded = [item.name for item in view.snapshot.variants if item.name in view.recorded]
    hint = f"Aligned, at matched loudness, under their codes. Recorded: {listed(recorded, 'and')}."
    return [Field("plays", "Playback", "many", hint=hint, error=errors.get("plays", ""), choices=(choice,))]


def read_session(view: View, sent: Posted, errors: dict[str, str]) -> PreparedSession:
    """Make codes, sheets and orders out of the form.

    Raises
    ------
    DataError
        If something is missing; each is told at its field.
    """
    from doe.measuring import playback  # scipy

    setup = view.snapshot.setup
    outcomes = [item for item in _judged(setup) if item.name in sent.many("outcomes")]
    heard = _heard(view)
    chosen = [name for name in heard if name in sent.many("variants")]
    twice = [name for name in heard if name in sent.many("twice")]
    spelled: dict[str, str] = {}
    for line in sent.text("raters").split("\n"):
        if line.strip():
            spelled.setdefault(line.strip().casefold(), line.strip())
    raters = list(spelled.values())
    _check_form(sent, outcomes, chosen, twice, raters, errors)
    plays = bool(sent.many("plays"))
    gone = [] if plays else gone_of(view, chosen)
    if gone and "variants" not in errors:
        errors["variants"] = f"{cannot_be_put_out(gone)} {_instead(view, gone)}"
    if plays and not errors:
        try:
            playback(view.project.file, chosen)
        except FettleError as err:
            errors["plays"] = str(err)
    if errors:
        raise DataError(marked(len(errors), "prepared"))
    samples, sheets = _arranged([*chosen, *twice], raters, outcomes[0].kind == "compared")
    low, high = sent.text("low_end"), sent.text("high_end")
    ends = {item.name: (low, high) for item in outcomes if item.kind == "rated" and (low or high)}
    names = [item.name for item in outcomes]
    return PreparedSession(sent.text("name"), names, samples, sheets, ends, sent.text("note"), plays=plays)


def _instead(view: View, gone: Sequence[str]) -> str:
    it, recording = ("it", "its recording") if len(gone) == 1 else ("them", "their recordings")
    if _can_play(view) and all(name in view.recorded for name in gone):
        return f"Play {recording} instead, or leave {it} out."
    return f"Leave {it} out."


def _check_form(
    sent: Posted,
    outcomes: Sequence[Outcome],
    chosen: Sequence[str],
    twice: Sequence[str],
    raters: Sequence[str],
    errors: dict[str, str],
) -> None:
    compared = [item for item in outcomes if item.kind == "compared"]
    for field, most in _MOST_WRITTEN.items():
        try:
            at_most(sent.text(field), _CALLED[field], most)
        except DataError as err:
            errors[field] = str(err)
    if not sent.text("name"):
        errors["name"] = "What it is called is empty; it must be a label, such as 'Tuesday evening'."
    if not outcomes:
        errors["outcomes"] = "Nothing is chosen; choose at least one outcome."
    elif compared and len(outcomes) > 1:
        errors["outcomes"] = f"{compared[0].name} compares two variants; it must be the only outcome of its session."
    if len(chosen) < 2:
        errors["variants"] = "Fewer than two variants are chosen; choose those that are to be judged."
    elif len(chosen) + len(twice) > _MOST_SAMPLES:
        errors["variants"] = f"{len(chosen) + len(twice)} samples are too many for ears; at most {_MOST_SAMPLES}."
    elif compared and len(chosen) > _MOST_PAIRED:
        errors["variants"] = f"{len(chosen)} variants make too many pairs; at most {_MOST_PAIRED} can be compared."
    stray = next((name for name in twice if name not in chosen), None)
    if compared and twice:
        errors["twice"] = "A comparison has no hidden repeats; leave them out."
    elif stray is not None:
        errors["twice"] = f"Variant {stray} is to be judged twice but is not among the variants above."
    if unfit := _unfit_name(raters):
        errors["raters"] = unfit
    if not 1 <= len(raters) <= _MOST_RATERS:
        errors["raters"] = f"There are {len(raters)} raters; there must be 1 to {_MOST_RATERS}, one on each line."


def _unfit_name(raters: Sequence[str]) -> str:
    """Say which rater has no name that could stand in the log, if one has not."""
    for rater in raters:
        try:
            check_rater(rater)
        except UsageError as err:
            return str(err)
    return ""


def _arranged(
    variants: Sequence[str], raters: Sequence[str], is_compared: bool
) -> tuple[list[Sample], list[RaterSheet]]:
    """Draw the codes and each rater's order; the seed is drawn here, since a guessable one would not be blind."""
    from numpy.random import default_rng

    from doe.advise.listening import balanced_pairs, orders_apart, three_digit_codes

    rng = default_rng(secrets.randbits(128))
    codes = three_digit_codes(len(variants), rng)
    orders: Sequence[Any] = (
        balanced_pairs(len(variants), len(raters), rng)
        if is_compared
        else [[(place,) for place in order] for order in orders_apart(variants, len(raters), rng)]
    )
    samples = [Sample(code, variant) for code, variant in zip(codes, variants, strict=True)]
    sheets = [
        RaterSheet(rater, secrets.token_urlsafe(12), [tuple(codes[place] for place in trial) for trial in order])
        for rater, order in zip(raters, orders, strict=True)
    ]
    return sorted(samples, key=lambda sample: sample.code), sheets
