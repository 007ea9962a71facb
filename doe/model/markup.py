"""How results show themselves in a notebook: the look of the report's tables, no scripts, everything escaped."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape

# Twice the class, so that it outweighs a notebook's own rules for tables. Colours are the page's, light or dark.
_STYLE = (
    ".fettle.fettle table{border-collapse:collapse;border:0;margin:.5rem 0;font-variant-numeric:tabular-nums}"
    ".fettle.fettle caption{caption-side:top;text-align:left;font:600 1.15em Georgia,serif;color:inherit;padding:.2rem 0}"
    ".fettle.fettle tr{background:none}"
    ".fettle.fettle :is(th,td){text-align:left;vertical-align:top;padding:.3rem .9rem .3rem 0;border:0;"
    "border-bottom:1px solid color-mix(in srgb,currentColor 25%,transparent)}"
    ".fettle.fettle thead th{font-size:.88em;border-bottom-color:currentColor}"
    ".fettle.fettle .n{text-align:right}"
    ".fettle.fettle .head{font:600 1.15em Georgia,serif;margin:.3rem 0}"
)
_NUMBER = re.compile(r"[<>+-]?\d[\d.]*( %)?|-")


def shown(*parts: str) -> str:
    """Set finished parts in the frame that carries the look."""
    return f'<div class="fettle"><style>{_STYLE}</style>{"".join(parts)}</div>'


def headline(text: str) -> str:
    """Return the answer in one sentence; nothing for an empty one."""
    return f'<p class="head">{escape(text)}</p>' if text else ""


def paragraphs(lines: Iterable[str], *, is_small: bool = False) -> str:
    """Return one paragraph for each line."""
    opened, closed = ("<p><small>", "</small></p>") if is_small else ("<p>", "</p>")
    return "".join(f"{opened}{escape(line)}{closed}" for line in lines)


def listing(lines: Iterable[str], *, is_ranked: bool = False) -> str:
    """Return a list; a ranked one is numbered."""
    kind = "ol" if is_ranked else "ul"
    return f"<{kind}>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</{kind}>"


def table(headings: Sequence[object], rows: Iterable[Sequence[object]]) -> str:
    """Return a table of finished text, columns of numbers to the right.

    Parameters
    ----------
    headings : sequence
        One per column.
    rows : iterable of sequence
        One cell per column; rounded and worded by `doe.model.wording` before.
    """
    cells = [[str(cell) for cell in row] for row in rows]
    is_number = [bool(cells) and all(_NUMBER.fullmatch(row[place]) for row in cells) for place in range(len(headings))]
    head = "".join(_cell("th", str(name), right) for name, right in zip(headings, is_number, strict=True))
    body = "".join(
        f"<tr>{''.join(_cell('td', text, right) for text, right in zip(row, is_number, strict=True))}</tr>"
        for row in cells
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def facts(title: str, pairs: Iterable[tuple[str, str]]) -> str:
    """Return a table of names and what they are, under a title."""
    rows = "".join(f"<tr><th>{escape(name)}</th><td>{escape(text or '-')}</td></tr>" for name, text in pairs)
    return f"<table><caption>{escape(title)}</caption><tbody>{rows}</tbody></table>"


def _cell(kind: str, text: str, is_right: bool) -> str:
    right = ' class="n"' if is_right else ""
    return f"<{kind}{right}>{escape(text)}</{kind}>"
