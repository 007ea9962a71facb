"""What the pages' templates are given: frozen records of finished text, as in `doe.sheets.contexts`."""

from __future__ import annotations

from dataclasses import dataclass, field

from doe.sheets.contexts import Answer, LogTable, NextChange, Standing, said


@dataclass(frozen=True, slots=True)
class NavItem:
    """One page in the navigation."""

    label: str = field(metadata=said("its name"))
    href: str = field(metadata=said("address"))
    is_here: bool = field(metadata=said("whether it is the page shown"))


@dataclass(frozen=True, slots=True)
class Notice:
    """What was just stored."""

    text: str = field(metadata=said("one sentence"))
    undo: str = field(metadata=said("address that takes it back; may be empty"), default="")
    doubts: tuple[str, ...] = field(metadata=said("what in it looks like a slip, or stands against it"), default=())
    is_earlier: bool = field(metadata=said("whether its form was changed and sent again since"), default=False)


@dataclass(frozen=True, slots=True)
class Frame:
    """What every page of the app is set in."""

    title: str = field(metadata=said("title of the project, or of the app"))
    counts: str = field(metadata=said("how much there is; may be empty"))
    nav: tuple[NavItem, ...] = field(metadata=said("pages; empty without a project"))
    notice: Notice | None = field(metadata=said("what was just stored"))
    token: str = field(metadata=said("token of the caller's forms"))
    once: str = field(metadata=said("token of this showing of the form"))
    entry: int = field(metadata=said("last entry of the journal"))
    version: str = field(metadata=said("version of the program"))


@dataclass(frozen=True, slots=True)
class Choice:
    """One choice of a field."""

    value: str = field(metadata=said("what is sent"))
    label: str = field(metadata=said("what is shown"))
    is_chosen: bool = field(metadata=said("whether it is chosen"), default=False)
    is_off: bool = field(metadata=said("whether it cannot be chosen"), default=False)


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form."""

    name: str = field(metadata=said("what is sent"))
    label: str = field(metadata=said("what is shown"))
    kind: str = field(metadata=said("number, text, long, choice, list, many, files"), default="text")
    value: str = field(metadata=said("what stands in it"), default="")
    unit: str = field(metadata=said("unit behind it"), default="")
    hint: str = field(metadata=said("help below it"), default="")
    error: str = field(metadata=said("why it was not taken"), default="")
    choices: tuple[Choice, ...] = field(metadata=said("of a choice"), default=())
    step: str = field(metadata=said("of the plus and minus buttons; empty without"), default="")
    low: str = field(metadata=said("where minus ends"), default="")
    high: str = field(metadata=said("where plus ends"), default="")
    was: str = field(metadata=said("what it started from, to show what changed"), default="")
    is_needed: bool = field(metadata=said("whether it must be filled"), default=False)
    accept: str = field(metadata=said("endings of the files it takes"), default="")
    when: str = field(
        metadata=said("choices of a list that ask for it, as 'goal=raise lower', or '*' for any"), default=""
    )


@dataclass(frozen=True, slots=True)
class FaultPage:
    """What went wrong."""

    heading: str = field(metadata=said("in a few words"))
    sentence: str = field(metadata=said("one sentence"))
    way_on: str = field(metadata=said("address to go on from"))
    way_on_label: str = field(metadata=said("what that leads to"))
    typed: tuple[tuple[str, str], ...] = field(metadata=said("what was typed, so that it is not lost"), default=())


@dataclass(frozen=True, slots=True)
class EnterPage:
    """The access key is asked for."""

    error: str = field(metadata=said("why the last one was not taken"))


@dataclass(frozen=True, slots=True)
class Waiting:
    """How far the analysis is."""

    is_working: bool = field(metadata=said("whether one is under way"))
    step: str = field(metadata=said("what is worked on"))
    trouble: str = field(metadata=said("why there is none; may be empty"))
    is_stale: bool = field(metadata=said("whether what is shown is of an earlier log"))


@dataclass(frozen=True, slots=True)
class Settled:
    """The terms that share a verdict."""

    verdict: str = field(metadata=said("verdict in words"))
    kind: str = field(metadata=said("class of the verdict"))
    terms: tuple[str, ...] = field(metadata=said("what it is about, as 'driver on bass'"))


@dataclass(frozen=True, slots=True)
class BenchPage:
    """Where things stand."""

    question: str = field(metadata=said("what is wrong, in the maker's words"))
    steps: tuple[tuple[str, str, bool], ...] = field(metadata=said("first steps: text, address, whether done"))
    standing: Standing | None = field(metadata=said("best variant"))
    settled: tuple[Settled, ...] = field(metadata=said("what is answered, by verdict"))
    next_change: NextChange | None = field(metadata=said("what to do next"))
    planned: tuple[tuple[str, str, str], ...] = field(metadata=said("planned variants: name, what, address"))
    hours: str = field(metadata=said("bench time spent"))
    waiting: Waiting = field(metadata=said("how far the analysis is"))
    recent: tuple[tuple[str, str], ...] = field(metadata=said("latest entries: when, what"))


@dataclass(frozen=True, slots=True)
class MovesPage:
    """What moves the outcomes."""

    tabs: tuple[NavItem, ...] = field(metadata=said("one per outcome"))
    answer: Answer | None = field(metadata=said("about the chosen one"))
    terms: str = field(metadata=said("that it is by; empty where whatever may act was searched"))
    step: str = field(metadata=said("what is being worked out by them; may be empty"))
    ask: Field | None = field(metadata=said("where other terms are asked for; None without outcomes"))
    through: tuple[NavItem, ...] = field(
        metadata=said("derived quantities that can be asked for in the place of their parts")
    )
    here: str = field(metadata=said("address of the answer by whatever may act"))
    readings: str = field(metadata=said("address of its raw readings"))
    waiting: Waiting = field(metadata=said("how far the analysis is"))
    settings: str = field(metadata=said("palette and chart options as JSON"))


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One reading."""

    number: int = field(metadata=said("its number"))
    variant: str = field(metadata=said("of which variant"))
    variant_href: str = field(metadata=said("address of the variant"))
    outcome: str = field(metadata=said("outcome"))
    value: str = field(metadata=said("value as read"))
    about: str = field(metadata=said("session, rater, place, when"))
    note: str = field(metadata=said("free text"))
    correct: str = field(metadata=said("address of its correction"))


@dataclass(frozen=True, slots=True)
class ReadingsOfOutcome:
    """Raw readings of one outcome."""

    outcome: str = field(metadata=said("outcome"))
    about: str = field(metadata=said("kind, unit and goal"))
    rows: tuple[ReadingRow, ...] = field(metadata=said("in the order in which they came"))
    back: str = field(metadata=said("address of the analysis"))


@dataclass(frozen=True, slots=True)
class Predicted:
    """What settings should give in one outcome."""

    outcome: str = field(metadata=said("outcome"))
    expected: str = field(metadata=said("mean with its interval"))
    build: str = field(metadata=said("range of one further build"))
    best: str = field(metadata=said("the same of the best variant; may be empty"))


@dataclass(frozen=True, slots=True)
class WhatIfPage:
    """A prediction on demand."""

    fields: tuple[Field, ...] = field(metadata=said("one per factor"))
    rows: tuple[Predicted, ...] = field(metadata=said("one per outcome"))
    effort: tuple[str, ...] = field(metadata=said("how to get there, cheapest first"))
    problem: str = field(metadata=said("why there is no prediction"))
    waiting: Waiting = field(metadata=said("how far the analysis is"))


@dataclass(frozen=True, slots=True)
class NextPage:
    """The next change."""

    next_change: NextChange | None = field(metadata=said("advice in words"))
    told: str = field(metadata=said("what is looked at only, in half a sentence; may be empty"))
    step: str = field(metadata=said("what is being worked out for that; may be empty"))
    ask: tuple[Field, ...] = field(metadata=said("form that says what there is for the next change"))
    is_asked: bool = field(metadata=said("whether something was said there"))
    is_refused: bool = field(metadata=said("whether something of it could not be read"))
    hidden: tuple[tuple[str, str], ...] = field(metadata=said("what was said, for the forms of the suggestions"))
    offers: tuple[Offer, ...] = field(metadata=said("what can be done with each suggestion"))
    aside: tuple[tuple[str, str], ...] = field(metadata=said("suggestions set aside, and why"))
    planned: tuple[tuple[str, str, str], ...] = field(metadata=said("planned variants: name, what, address"))
    waiting: Waiting = field(metadata=said("how far the analysis is"))
    error: str = field(metadata=said("why the last answer was not taken"))
    settings: str = field(metadata=said("palette and chart options as JSON"))


@dataclass(frozen=True, slots=True)
class Offer:
    """One suggestion with its buttons."""

    place: int = field(metadata=said("from 1"))
    mark: str = field(metadata=said("which suggestion it is, whatever its place"))
    kind: str = field(metadata=said("improve, learn, repeat or confirm"))
    what: str = field(metadata=said("what to do"))
    why: str = field(metadata=said("why"))
    facts: tuple[tuple[str, str], ...] = field(metadata=said("name and value"))
    steps: tuple[str, ...] = field(metadata=said("bench steps"))
    existing: str = field(metadata=said("address where it goes on with a variant that is there; empty for a new one"))
    going_on: str = field(metadata=said("what is done there; empty for a new one"))
    typed: str = field(metadata=said("why not, as it was typed"), default="")
    error: str = field(metadata=said("why that was not kept"), default="")


@dataclass(frozen=True, slots=True)
class LogPage:
    """The form that logs a variant."""

    units: tuple[NavItem, ...] = field(metadata=said("where it was made"))
    heading: str = field(metadata=said("what is about to be logged"))
    start: str = field(metadata=said("what it starts from, in words"))
    hidden: tuple[tuple[str, str], ...] = field(metadata=said("hidden fields"))
    before: tuple[Field, ...] = field(metadata=said("fields above the factors: new unit, starting variant"))
    fields: tuple[Field, ...] = field(metadata=said("one per factor"))
    after: tuple[Field, ...] = field(metadata=said("effort, note, label"))
    error: str = field(metadata=said("what stands in the way as a whole"))
    photo_error: str = field(metadata=said("why a photo was not taken"))
    can_log: bool = field(metadata=said("whether there are factors"))
    cautions: tuple[str, ...] = field(metadata=said("the usual cautions"))
    draft: str = field(metadata=said("name under which the browser keeps the draft"))
    retire: str = field(metadata=said("unit that may be retired here; may be empty"))


@dataclass(frozen=True, slots=True)
class FormPage:
    """A plain form on a page of its own."""

    kicker: str = field(metadata=said("where one is"))
    heading: str = field(metadata=said("what the form does"))
    intro: tuple[str, ...] = field(metadata=said("sentences before it"))
    action: str = field(metadata=said("where it is sent"))
    fields: tuple[Field, ...] = field(metadata=said("its fields"))
    button: str = field(metadata=said("what the button says"))
    hidden: tuple[tuple[str, str], ...] = field(metadata=said("hidden fields"), default=())
    error: str = field(metadata=said("what stands in the way as a whole"), default="")
    back: str = field(metadata=said("address to leave by"), default="")
    back_label: str = field(
        metadata=said("what stands on the link there, where there is nothing to send"), default="Back"
    )
    remove: tuple[tuple[str, str, str], ...] = field(
        metadata=said("further buttons: address, text, name to send"), default=()
    )
    conflict: tuple[tuple[str, str, str], ...] = field(
        metadata=said("what two people wrote: field, theirs, yours"), default=()
    )
    cautions: tuple[str, ...] = field(metadata=said("the usual cautions"), default=())
    draft: str = field(metadata=said("name under which the browser keeps the draft"), default="")
    done: tuple[str, ...] = field(metadata=said("what was stored so far, in words"), default=())
    ways: tuple[tuple[str, str], ...] = field(
        metadata=said("further addresses to go on to, and what they lead to"),
        default=(),
    )


@dataclass(frozen=True, slots=True)
class Branch:
    """One line of the lineage."""

    name: str = field(metadata=said("variant"))
    href: str = field(metadata=said("its page"))
    what: str = field(metadata=said("what was changed"))
    depth: int = field(metadata=said("how many changes away from a first build, at most 12"))
    mark: str = field(metadata=said("planned, reference, best or empty"))


@dataclass(frozen=True, slots=True)
class VariantsPage:
    """All variants."""

    log: LogTable = field(metadata=said("table"))
    hrefs: tuple[str, ...] = field(metadata=said("page of each row"))
    marks: tuple[str, ...] = field(metadata=said("planned, reference, best or empty"))
    lineage: tuple[Branch, ...] = field(metadata=said("as a tree, flattened"))
    fields: tuple[Field, ...] = field(metadata=said("the two to compare"))
    earlier: str = field(metadata=said("address of earlier variants; may be empty"))
    latest: str = field(metadata=said("address of the latest ones; empty if they are shown"))


@dataclass(frozen=True, slots=True)
class ComparePage:
    """The difference of two variants."""

    heading: str = field(metadata=said("how far they are apart"))
    names: tuple[str, str] = field(metadata=said("the two"))
    fields: tuple[Field, ...] = field(metadata=said("the two to compare"))
    settings: tuple[tuple[str, str, str, bool], ...] = field(
        metadata=said("factor, first, second, whether they differ")
    )
    outcomes: tuple[tuple[str, str, str], ...] = field(
        metadata=said("outcome, first, second: adjusted means; of a reference object what was read")
    )
    notes: tuple[str, ...] = field(metadata=said("how the means were made, or why there are none"))


@dataclass(frozen=True, slots=True)
class VariantPage:
    """One variant."""

    name: str = field(metadata=said("its label"))
    status: str = field(metadata=said("planned, reference, best or empty"))
    facts: tuple[tuple[str, str], ...] = field(metadata=said("unit, parent, when, effort"))
    settings: tuple[tuple[str, str, str], ...] = field(metadata=said("factor, setting, what it was before"))
    note: str = field(metadata=said("free text"))
    doubt: str = field(metadata=said("why it cannot have been built so on its unit; may be empty"))
    photos: tuple[tuple[str, str], ...] = field(metadata=said("address and text"))
    readings: tuple[ReadingRow, ...] = field(metadata=said("all readings"))
    steps: tuple[str, ...] = field(metadata=said("bench steps of a planned one"))
    built_fields: tuple[Field, ...] = field(metadata=said("what is told when a planned one is built"))
    photo_error: str = field(metadata=said("why a photo was not taken"))
    error: str = field(metadata=said("why the last thing was not done"))
    cautions: tuple[str, ...] = field(metadata=said("the usual cautions"))


@dataclass(frozen=True, slots=True)
class HistoryRow:
    """One entry of the journal."""

    number: int = field(metadata=said("its number"))
    when: str = field(metadata=said("when"))
    kind: str = field(metadata=said("what was done"))
    summary: str = field(metadata=said("one line"))
    undone: str = field(metadata=said("by which entry it was taken back; may be empty"))
    can_undo: bool = field(metadata=said("whether it may be taken back"))


@dataclass(frozen=True, slots=True)
class HistoryPage:
    """The journal."""

    rows: tuple[HistoryRow, ...] = field(metadata=said("latest first"))
    older: str = field(metadata=said("address of earlier entries; may be empty"))
    error: str = field(metadata=said("why an entry was not taken back"))


@dataclass(frozen=True, slots=True)
class Defined:
    """One definition in a list."""

    name: str = field(metadata=said("what it goes by"))
    about: str = field(metadata=said("in a phrase"))
    slip: str = field(metadata=said("what in it may be a slip; empty where nothing is"))
    href: str = field(metadata=said("address of its form"))


@dataclass(frozen=True, slots=True)
class SetupPage:
    """All definitions."""

    question: str = field(metadata=said("what is wrong"))
    groups: tuple[tuple[str, str, tuple[Defined, ...], str, str], ...] = field(
        metadata=said("heading, what it is for, definitions, address of a new one, what its button says")
    )
    effort: tuple[tuple[str, str, str], ...] = field(metadata=said("name, value, and what in it looks like a slip"))
    path: str = field(metadata=said("name of the project file"))


@dataclass(frozen=True, slots=True)
class StartPage:
    """The beginning of a project."""

    sets: tuple[tuple[str, str, str, tuple[str, ...]], ...] = field(
        metadata=said("starter sets: key, name, what is in it, cautions")
    )
    demos: tuple[tuple[str, str, str], ...] = field(metadata=said("invented projects: key, name, what it is"))
    others: tuple[str, ...] = field(metadata=said("project files in the folder"))
    fields: tuple[Field, ...] = field(metadata=said("title and question"))
    error: str = field(metadata=said("why it was not made"))
    chosen: str = field(metadata=said("key of the set that is marked"))
    folder: str = field(metadata=said("name of the folder"))


@dataclass(frozen=True, slots=True)
class SheetCell:
    """One cell of a spreadsheet as it was uploaded."""

    text: str = field(metadata=said("as it stands"))
    problem: str = field(metadata=said("what is wrong with it; may be empty"))


@dataclass(frozen=True, slots=True)
class ImportPage:
    """A spreadsheet on its way in."""

    fields: tuple[Field, ...] = field(metadata=said("one for each heading: what it is here"))
    rows: tuple[tuple[int, tuple[SheetCell, ...]], ...] = field(metadata=said("line number and cells"))
    headings: tuple[str, ...] = field(metadata=said("as they stand in the file"))
    problems: tuple[str, ...] = field(metadata=said("what stands in the way, line by line"))
    notes: tuple[str, ...] = field(metadata=said("what was decided while reading"))
    verdict: str = field(metadata=said("whether it can be stored, and what it holds"))
    doubts: tuple[str, ...] = field(metadata=said("why one should look at the columns before it is stored"))
    can_store: bool = field(metadata=said("whether it can be stored"))
    sheet: str = field(metadata=said("token of the kept file; empty before one is chosen"))
    name: str = field(metadata=said("name of the file"))
    error: str = field(metadata=said("why it cannot be read at all"))
    more: str = field(metadata=said("how many lines are not shown; may be empty"))
    missing: str = field(metadata=said("what has to be defined before a column can be one; may be empty"), default="")


@dataclass(frozen=True, slots=True)
class SessionRow:
    """One session in the list."""

    name: str = field(metadata=said("its label"))
    about: str = field(metadata=said("when, readings, raters"))
    href: str = field(metadata=said("its page; empty where there is none"))
    state: str = field(metadata=said("under way, closed or empty"))


@dataclass(frozen=True, slots=True)
class SessionsPage:
    """All sessions."""

    rows: tuple[SessionRow, ...] = field(metadata=said("latest first"))
    can_prepare: str = field(metadata=said("why none can be prepared; empty if one can"))


@dataclass(frozen=True, slots=True)
class RaterRow:
    """One rater of a session."""

    name: str = field(metadata=said("who"))
    done: str = field(metadata=said("how far"))
    link: str = field(metadata=said("the rater's own page"))
    picture: str = field(metadata=said("address of the QR code"))


@dataclass(frozen=True, slots=True)
class SessionPage:
    """One prepared session."""

    name: str = field(metadata=said("its label"))
    number: int = field(metadata=said("its number"))
    about: str = field(metadata=said("what is judged, and how many samples"))
    note: str = field(metadata=said("free text"))
    is_closed: bool = field(metadata=said("whether it is closed"))
    raters: tuple[RaterRow, ...] = field(metadata=said("raters with their links"))
    order: tuple[tuple[str, str], ...] = field(metadata=said("rater and order of the codes"))
    codes: tuple[tuple[str, str], ...] = field(metadata=said("code and variant, where they are shown"))
    repeatability: tuple[tuple[str, str, str], ...] = field(metadata=said("rater, outcome, finding; once closed"))
    is_compared: bool = field(metadata=said("whether pairs are compared, of which none is repeated"))
    grades: tuple[tuple[str, ...], ...] = field(metadata=said("all grades, once closed"))
    headings: tuple[str, ...] = field(metadata=said("of the grades"))
    cautions: tuple[str, ...] = field(metadata=said("safe listening and level matching"))
    error: str = field(metadata=said("why the last thing was not done"))
    can_close: str = field(metadata=said("what closing means, with what is missing"))


@dataclass(frozen=True, slots=True)
class Scale:
    """One outcome to judge."""

    name: str = field(metadata=said("what is sent"))
    label: str = field(metadata=said("what is judged"))
    hint: str = field(metadata=said("how to judge it"))
    low: str = field(metadata=said("label of the low end; may be empty"))
    high: str = field(metadata=said("label of the high end; may be empty"))
    choices: tuple[Choice, ...] = field(metadata=said("grades to tap; empty where a number is typed"))
    value: str = field(metadata=said("what was typed"))
    error: str = field(metadata=said("why it was not taken"))


@dataclass(frozen=True, slots=True)
class ListenPage:
    """A rater's page; holds no variant, setting or other rater."""

    session: str = field(metadata=said("what the session is called"))
    rater: str = field(metadata=said("whose page it is"))
    state: str = field(metadata=said("judge, done, closed, or late where something came after it was closed"))
    codes: tuple[str, ...] = field(metadata=said("code of the sample, or of the two"))
    scales: tuple[Scale, ...] = field(metadata=said("what to judge"))
    progress: str = field(metadata=said("how far"))
    place: int = field(metadata=said("place in the order, from 1"))
    back: str = field(metadata=said("address of the judgement before; may be empty"))
    action: str = field(metadata=said("where it is sent"))
    token: str = field(metadata=said("token of the form"))
    sounds: tuple[tuple[str, str, bool], ...] = field(
        metadata=said("recordings: code, address, whether it is the one to be judged")
    )
    cautions: tuple[str, ...] = field(metadata=said("safe listening"))
    note: str = field(metadata=said("remark that was typed"))
    note_error: str = field(metadata=said("why it was not taken"))
    word: str = field(metadata=said("why this place is shown and not the one asked for; may be empty"))
    late: tuple[tuple[str, str], ...] = field(metadata=said("what came too late to be stored: name and what was said"))


@dataclass(frozen=True, slots=True)
class ApiPage:
    """The JSON interface, for people."""

    routes: tuple[tuple[str, str, str], ...] = field(metadata=said("method, address, what it does"))
    description: str = field(metadata=said("address of the OpenAPI document"))


@dataclass(frozen=True, slots=True)
class HelpPage:
    """A help topic, or the list of them."""

    title: str = field(metadata=said("heading of the topic; empty for the list"))
    body: str = field(metadata=said("the page as HTML made from our own text, heading left out"))
    topics: tuple[tuple[str, str, bool], ...] = field(metadata=said("title, address, and whether it is the one shown"))


@dataclass(frozen=True, slots=True)
class RecipeRow:
    """One way to compute an outcome from a file."""

    name: str = field(metadata=said("its name"))
    about: str = field(metadata=said("what it measures"))
    keys: tuple[tuple[str, str], ...] = field(metadata=said("key, and what it is"))


@dataclass(frozen=True, slots=True)
class RecipesPage:
    """How outcomes can be computed from recordings."""

    used: tuple[tuple[str, str, str], ...] = field(metadata=said("outcomes with a recipe: name, address, what it does"))
    can_compute: bool = field(metadata=said("whether readings were computed, so that they could be again"))
    error: str = field(metadata=said("why nothing was computed again"))
    recipes: tuple[RecipeRow, ...] = field(metadata=said("all of them"))


@dataclass(frozen=True, slots=True)
class IdeaRow:
    """One thing that is usually tried."""

    factor: str = field(metadata=said("the project's factor that carries it out; may be empty"))
    what: str = field(metadata=said("the change"))
    cost: str = field(metadata=said("bench time, and whether it can be taken back; may be empty"))
    why: str = field(metadata=said("the physics in one line"))
    source: str = field(metadata=said("where that is published"))


@dataclass(frozen=True, slots=True)
class SymptomPage:
    """What is tried against a symptom, or the list of symptoms."""

    name: str = field(metadata=said("the symptom; empty for the list"))
    told: str = field(metadata=said("what is meant"))
    check: str = field(metadata=said("what to make sure of first"))
    caution: str = field(metadata=said("what to beware of; may be empty"))
    here: tuple[IdeaRow, ...] = field(metadata=said("for the project's factors, cheapest first"))
    seldom: tuple[IdeaRow, ...] = field(metadata=said("the project's factors that seldom help"))
    elsewhere: tuple[IdeaRow, ...] = field(metadata=said("what no factor of the project can carry out"))
    symptoms: tuple[tuple[str, str, str, bool], ...] = field(
        metadata=said("name, meaning, address, and whether it is the one shown")
    )


@dataclass(frozen=True, slots=True)
class EstimatePage:
    """What should come of something by theory, or the list of estimates."""

    name: str = field(metadata=said("the estimate; empty for the list"), default="")
    about: str = field(metadata=said("what it works out"), default="")
    address: str = field(metadata=said("where it is worked out"), default="")
    fields: tuple[Field, ...] = field(metadata=said("what it takes"), default=())
    figures: tuple[tuple[str, str], ...] = field(metadata=said("what came of it: name, value"), default=())
    formulas: tuple[str, ...] = field(metadata=said("how that was computed"), default=())
    source: str = field(metadata=said("where the formulas are published"), default="")
    trust: str = field(metadata=said("how far to trust it"), default="")
    error: str = field(metadata=said("why nothing came of it"), default="")
    missing: str = field(metadata=said("what is still needed"), default="")
    estimates: tuple[tuple[str, str, str, bool], ...] = field(
        metadata=said("name, meaning, address, and whether it is the one shown"), default=()
    )
