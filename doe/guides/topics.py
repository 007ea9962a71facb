"""Help topics: one page for each step of the job, in Markdown, with an example that works on the demo."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from doe.model.errors import UsageError, did_you_mean, listed

FOLDER = Path(__file__).parent / "help"
TOPICS = (
    "framing",
    "logging",
    "listening",
    "measuring",
    "verdicts",
    "tangled",
    "next-change",
    "plans",
    "settling",
    "care",
)
"""Every topic, in the order of the job."""
_LINK = re.compile(r"\[([^\]]+)\]\(([a-z-]+)\)")
_BEGINS = re.compile(r"- |\d+\. |[#|]")
"""How a line begins that does not go on with the one before."""


@dataclass(frozen=True, slots=True)
class Topic:
    """One help page.

    Attributes
    ----------
    key : str
        What it is asked for by, such as ``"next-change"``.
    title : str
        Its heading.
    text : str
        The whole page in Markdown, the heading included; links name other topics.
    """

    key: str
    title: str
    text: str

    def plain(self, *, is_joined: bool = False) -> str:
        """Return the page for a terminal: marks of Markdown taken off, examples set in, commands after a $.

        With `is_joined` each paragraph is one line, to be folded to any width.
        """
        lines: list[str] = []
        language: str | None = None
        is_open = False
        for line in self.text.splitlines():
            if line.startswith("```"):
                language = line.removeprefix("```") if language is None else None
            elif language is not None:
                lines.append(f"    {'$ ' if language == 'sh' else ''}{line}".rstrip())
            elif is_joined and is_open and line and not _BEGINS.match(line):
                lines[-1] += f" {_plain_line(line.strip())}"
            else:
                lines.append(_plain_line(line))
            is_open = language is None and bool(line) and not line.startswith(("```", "#"))
        return "\n".join(lines)


def _plain_line(line: str) -> str:
    return _LINK.sub(r"\1", line.lstrip("#").strip() if line.startswith("#") else line).replace("**", "")


def topic(key: str) -> Topic:
    """Return a help page.

    Raises
    ------
    UsageError
        If there is none of that name; the message suggests the nearest.
    """
    if key not in TOPICS:
        raise UsageError(
            f"There is no help topic '{key}'; there are {listed(TOPICS, 'and')}.{did_you_mean(key, TOPICS)}"
        )
    text = (FOLDER / f"{key}.md").read_text(encoding="utf-8")
    return Topic(key, text.splitlines()[0].removeprefix("# "), text)


def topics() -> tuple[Topic, ...]:
    """Return every help page, in the order of the job."""
    return tuple(topic(key) for key in TOPICS)
