"""What the templates are given: frozen records of finished text, shared by the report and the web pages.

Every field is ready to print. Templates choose and arrange; they do no arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass, field


def said(help_text: str) -> dict[str, str]:
    """Say what a field holds, for those who write templates."""
    return {"help": help_text}


@dataclass(frozen=True, slots=True)
class Picture:
    """One chart in both drawings."""

    id: str = field(metadata=said("id of the element, fixed by its place in the document"))
    title: str = field(metadata=said("the sentence that the chart supports"))
    alt: str = field(metadata=said("the same facts as text"))
    wide: str = field(metadata=said("plotly figure as JSON, safe inside a script element"))
    narrow: str = field(metadata=said("the drawing for a narrow screen, likewise"))
    height: int = field(metadata=said("height in pixels of the wide drawing, to keep its place"))


@dataclass(frozen=True, slots=True)
class EffectRow:
    """One term of an effect table."""

    term: str = field(metadata=said("term as people read it"))
    span: str = field(metadata=said("between which settings the swing is measured; may be empty"))
    swing: str = field(metadata=said("swing with its unit"))
    interval: str = field(metadata=said("95 % interval"))
    per_step: str = field(metadata=said("change per step; may be empty"))
    sure: str = field(metadata=said("probability that the term is active"))
    verdict: str = field(metadata=said("verdict, without what it is tangled with"))
    tangled_with: str = field(metadata=said("terms it cannot be told from; may be empty"))
    kind: str = field(metadata=said("class of the verdict: moves, small, open, tangled"))


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One check of an analysis."""

    check: str = field(metadata=said("what was looked at"))
    finding: str = field(metadata=said("what was found"))
    advice: str = field(metadata=said("what to do; may be empty"))
    word: str = field(metadata=said("fine, have a look, or wrong"))
    kind: str = field(metadata=said("class: fine, look, wrong"))


@dataclass(frozen=True, slots=True)
class Share:
    """One source of scatter."""

    source: str = field(metadata=said("unit, session, rater, ..."))
    sd: str = field(metadata=said("standard deviation with its unit"))
    share: str = field(metadata=said("share of the whole"))


@dataclass(frozen=True, slots=True)
class Answer:
    """What is known about one outcome."""

    id: str = field(metadata=said("id of its section"))
    name: str = field(metadata=said("outcome"))
    about: str = field(metadata=said("kind, unit and goal in a phrase"))
    basis: str = field(metadata=said("from how many readings of how many variants"))
    headline: str = field(metadata=said("the answer in one sentence, or why there is none"))
    refusal: str = field(metadata=said("why there is no analysis; empty where there is one"))
    effects: tuple[EffectRow, ...] = field(metadata=said("effect table, largest first"), default=())
    more: str = field(metadata=said("how many terms are left out; may be empty"), default="")
    pictures: tuple[Picture, ...] = field(metadata=said("effect chart, level means, interactions"), default=())
    checks: tuple[CheckRow, ...] = field(metadata=said("checks, worst first"), default=())
    scatter: tuple[Share, ...] = field(metadata=said("where the scatter comes from"), default=())
    notes: tuple[str, ...] = field(metadata=said("how far the claims can be leaned on"), default=())


@dataclass(frozen=True, slots=True)
class Now:
    """One outcome at the best variant."""

    outcome: str = field(metadata=said("outcome"))
    now: str = field(metadata=said("mean with its interval"))
    wanted: str = field(metadata=said("the goal in a few words"))


@dataclass(frozen=True, slots=True)
class Standing:
    """Where things stand."""

    best: str = field(metadata=said("which variant to keep, with its worth; or why none"))
    settings: str = field(metadata=said("its settings; may be empty"))
    outcomes: tuple[Now, ...] = field(metadata=said("each outcome there"))
    pictures: tuple[Picture, ...] = field(metadata=said("worth, and each outcome over the variants"))


@dataclass(frozen=True, slots=True)
class Expected:
    """What the next change should show in one outcome."""

    outcome: str = field(metadata=said("outcome"))
    expected: str = field(metadata=said("mean of its readings with its interval"))


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One suggested change."""

    kind: str = field(metadata=said("improve, learn, repeat or confirm"))
    what: str = field(metadata=said("first sentence: what to do"))
    why: str = field(metadata=said("the rest: why"))
    facts: tuple[tuple[str, str], ...] = field(metadata=said("name and value of what it takes and brings"))
    expected: tuple[Expected, ...] = field(metadata=said("what it should show"), default=())


@dataclass(frozen=True, slots=True)
class NextChange:
    """The next change."""

    refusal: str = field(metadata=said("why there is none; empty where there is one"))
    stop: str = field(metadata=said("what to do where nothing left is worth its bench time; may be empty"))
    first: Suggestion | None = field(metadata=said("worth most for its bench time"))
    others: tuple[Suggestion, ...] = field(metadata=said("what else to do in the same session, in this order"))
    cautions: tuple[str, ...] = field(metadata=said("the usual cautions for this kind of work"))
    picture: Picture | None = field(metadata=said("all candidates"), default=None)
    front: Picture | None = field(metadata=said("where one outcome is traded for another"), default=None)
    beside: tuple[str, ...] = field(
        metadata=said("what is cheaper, what other weights would choose, and what limits the advice"), default=()
    )
    track: Picture | None = field(metadata=said("what was predicted, and what came"), default=None)
    figures: str = field(metadata=said("the figures behind advice to stop; may be empty"), default="")

    @property
    def pictures(self) -> tuple[Picture, ...]:
        """Those that there are, in the order in which they are shown."""
        return tuple(chart for chart in (self.picture, self.front, self.track) if chart is not None)


@dataclass(frozen=True, slots=True)
class Ruled:
    """What was ruled out, and what stays open."""

    out: tuple[str, ...] = field(metadata=said("sentences on factors that are too small to matter"))
    still: tuple[str, ...] = field(metadata=said("sentences on factors of which nothing can be said yet"))


@dataclass(frozen=True, slots=True)
class Settled:
    """One settled version."""

    title: str = field(metadata=said("number and name"))
    about: str = field(metadata=said("which variant, from what, note"))
    settings: str = field(metadata=said("its settings"))
    room: str = field(metadata=said("what to hold and what not; may be empty"))
    expected: tuple[Expected, ...] = field(metadata=said("what to expect of a new build"))
    confirmed: tuple[str, ...] = field(metadata=said("how it was confirmed"))


@dataclass(frozen=True, slots=True)
class LogTable:
    """All variants."""

    headings: tuple[str, ...] = field(metadata=said("column names"))
    numeric: tuple[bool, ...] = field(metadata=said("whether a column holds numbers, set right"))
    rows: tuple[tuple[str, ...], ...] = field(metadata=said("cells"))


@dataclass(frozen=True, slots=True)
class Report:
    """The whole report."""

    title: str = field(metadata=said("what is tuned"))
    question: str = field(metadata=said("what is wrong, in the maker's words; may be empty"))
    counts: str = field(metadata=said("how much there is to go by"))
    answers: tuple[Answer, ...] = field(metadata=said("one per outcome"))
    ruled: Ruled = field(metadata=said("what was ruled out, and what stays open"))
    standing: Standing = field(metadata=said("where things stand"))
    settled: tuple[Settled, ...] = field(metadata=said("settled versions, the newest first"))
    next_change: NextChange = field(metadata=said("what to do next"))
    log: LogTable = field(metadata=said("all variants with settings and raw means"))
    unknown: tuple[str, ...] = field(metadata=said("what cannot be known"))
    methods: tuple[str, ...] = field(metadata=said("how the numbers were made, with sources"))
    fingerprint: str = field(metadata=said("hash of the content"))
    last_reading: str = field(metadata=said("when the last reading was taken"))
    version: str = field(metadata=said("version that wrote it"))
    css: str = field(metadata=said("style sheet"))
    script: str = field(metadata=said("script that draws the charts"))
    plotly: str = field(metadata=said("plotly.js"))
    settings: str = field(metadata=said("palette and chart options as JSON"))
