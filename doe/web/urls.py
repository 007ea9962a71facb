"""Every address of the app; templates and handlers make links here only."""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import quote, unquote, urlencode


def _with(path: str, **query: object) -> str:
    given = {name: str(value) for name, value in query.items() if value not in (None, "")}
    return f"{path}?{urlencode(given)}" if given else path


def _part(text: object) -> str:
    """Return text as one part of a path; the router undoes it."""
    return quote(str(text), safe="")


def _label(name: str) -> str:
    """Return a variant's name as one part of a path, whatever it is called.

    A slash stays hidden until `variant_at` looks, or ``x/readings`` would be the readings of x; a browser drops the parts
    ``.`` and ``..`` from any path.
    """
    return _part(name.replace("%", "%25").replace("/", "%2F") if name.strip(".") else name.replace(".", "%2E"))


def variant_at(part: str) -> str:
    """Return the variant whose name stands in a path; addresses on paper have their slashes bare."""
    return unquote(part)


def static(name: str) -> str:
    """Return the address of a style sheet, script or picture of ours."""
    return f"/static/{name}"


def with_done(address: str, entry: int) -> str:
    """Return an address that tells on arrival what was stored, and how to take it back."""
    bare, mark, fragment = address.partition("#")
    return f"{bare}{'&' if '?' in bare else '?'}done={entry}{mark}{fragment}"


def as_earlier(address: str) -> str:
    """Return an address that tells on arrival that what was stored are the earlier values of a form that was sent twice."""
    bare, mark, fragment = address.partition("#")
    return f"{bare}{'&' if '?' in bare else '?'}earlier=yes{mark}{fragment}"


def bench() -> str:
    """Return the first page."""
    return "/"


def enter() -> str:
    """Return the page that asks for the access key."""
    return "/enter"


def start(kind: str = "") -> str:
    """Return the page on which a project begins; `kind` is what to begin with."""
    return f"/start/{_part(kind)}" if kind else "/start"


def help_page(topic: str = "") -> str:
    """Return a help page, or the list of them."""
    return f"/help/{_part(topic)}" if topic else "/help"


def symptom(name: str = "") -> str:
    """Return what is tried against a symptom, or the list of them."""
    return f"/symptoms/{_part(name)}" if name else "/symptoms"


def estimates(name: str = "") -> str:
    """Return what works an estimate out, or the list of them."""
    return f"/estimates/{_part(name)}" if name else "/estimates"


def log(unit: str | None = None, start: str | None = None, again: bool = False) -> str:
    """Return the form that logs a variant on a unit, or from a variant."""
    return _with("/log", unit=unit, start=start, again="yes" if again else None)


def log_reference() -> str:
    """Return the form that logs a reference object."""
    return "/log/reference"


def log_unit() -> str:
    """Return where a unit is retired."""
    return "/log/unit"


def readings(variant: str, session: str | None = None, rater: str | None = None) -> str:
    """Return the form that takes readings of a variant."""
    return _with(f"/variants/{_label(variant)}/readings", session=session, rater=rater)


def variants() -> str:
    """Return the list of variants."""
    return "/variants"


def variant(name: str, action: str = "") -> str:
    """Return the page of a variant, or one of its actions: correct, withdraw, built, recordings."""
    return f"/variants/{_label(name)}" + (f"/{action}" if action else "")


def compare(first: str = "", second: str = "") -> str:
    """Return the difference of two variants."""
    return _with("/compare", a=first, b=second)


def reading(number: int, action: str) -> str:
    """Return where a reading is corrected or withdrawn."""
    return f"/readings/{number}/{action}"


def photo(digest: str) -> str:
    """Return the address of a photo."""
    return f"/photos/{digest}"


def sessions() -> str:
    """Return the list of sessions."""
    return "/sessions"


def session_new() -> str:
    """Return the form that prepares a session."""
    return "/sessions/new"


def session(number: int, action: str = "") -> str:
    """Return the page of a prepared session, or one of its actions: codes, close, drop."""
    return f"/sessions/{number}" + (f"/{action}" if action else "")


def listen(key: str, place: int | None = None, *, is_again: bool = False, judged: int | None = None) -> str:
    """Return a rater's own page: where it goes on, or one place of its order, judged for the first time or once more.

    `judged` is a place that was asked for but is judged already, so that the page can say so.
    """
    return _with(f"/listen/{_part(key)}", place=place, again="yes" if is_again else None, judged=judged)


def listen_sound(key: str, code: str) -> str:
    """Return a recording under its code."""
    return f"/listen/{_part(key)}/{_part(code)}.wav"


def listen_code(key: str) -> str:
    """Return the picture that leads a phone to a rater's page."""
    return f"/sessions/link/{_part(key)}.svg"


def moves(outcome: str = "", terms: str = "") -> str:
    """Return what moves an outcome, by the terms that are asked for."""
    return _with(f"/moves/{_part(outcome)}" if outcome else "/moves", terms=terms)


def moves_readings(outcome: str) -> str:
    """Return the raw readings of an outcome."""
    return f"/moves/{_part(outcome)}/readings"


def what_if() -> str:
    """Return the page that predicts settings."""
    return "/what-if"


def next_change(action: str = "", asked: Iterable[tuple[str, str]] = ()) -> str:
    """Return the next change, with what there is for it, or one of its actions: take, aside."""
    return f"/next/{action}" if action else _with("/next", **dict(asked))


def plan(action: str = "", asked: Iterable[tuple[str, str]] = ()) -> str:
    """Return the plan, what was asked of it, or one of its actions: adopt, abandon, stop."""
    return f"/plan/{action}" if action else _with("/plan", **dict(asked))


def rehearse(action: str = "", asked: Iterable[tuple[str, str]] = ()) -> str:
    """Return the rehearsal, what was asked of it, or its action: stop."""
    return f"/rehearse/{action}" if action else _with("/rehearse", **dict(asked))


def route(action: str = "") -> str:
    """Return the route, or its action: built."""
    return "/route" + (f"/{action}" if action else "")


def settle(action: str = "") -> str:
    """Return the page that settles, or its action: keep."""
    return "/settle" + (f"/{action}" if action else "")


def settle_sheet(number: int) -> str:
    """Return the build sheet of a settled version."""
    return f"/settle/{number}/sheet.html"


def history(entry: int = 0) -> str:
    """Return the journal, from one entry on backwards where it is given."""
    return f"/history?before={entry + 1}" if entry else "/history"


def undo(entry: int) -> str:
    """Return where an entry is taken back."""
    return f"/history/{entry}/undo"


def setup() -> str:
    """Return the definitions."""
    return "/setup"


def definition(kind: str, name: str | None = None) -> str:
    """Return the form of one definition; without a name, of a new one."""
    return _with(f"/setup/{_part(kind)}", name=name)


def definition_remove(kind: str) -> str:
    """Return where a definition is removed."""
    return f"/setup/{_part(kind)}/remove"


def recipes() -> str:
    """Return the list of recipes that compute outcomes from recordings."""
    return "/recipes"


def recipes_again() -> str:
    """Return where readings are computed again."""
    return "/recipes/again"


def import_log() -> str:
    """Return the form that brings a spreadsheet in."""
    return "/import"


def import_store() -> str:
    """Return where a looked-at spreadsheet is stored."""
    return "/import/store"


def report() -> str:
    """Return the report as a file."""
    return "/report.html"


def export(kind: str) -> str:
    """Return the log as a file (csv), or the whole project (xlsx)."""
    return f"/export.{kind}"


def backup() -> str:
    """Return a copy of the project with its photos and recordings, packed."""
    return "/backup.zip"


def thinking(action: str) -> str:
    """Return where the analysis under way is cancelled."""
    return f"/thinking/{action}"


def live() -> str:
    """Return the stream of changes."""
    return "/live"


def api() -> str:
    """Return the page about the JSON interface."""
    return "/api"


def openapi() -> str:
    """Return its description."""
    return "/api/openapi.json"
