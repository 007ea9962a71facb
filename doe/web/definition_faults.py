"""Refused definitions: the field that a sentence of the model is about, in the words of the page."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from doe.model.errors import DataError, FettleError
from doe.model.numbers import read_number, without_unit

_EMPTY_RULE = "A rule is empty"
_WHERE_WANTED = "say from where to where it is wanted"


class NotRead(DataError):  # noqa: N818 - it is the list of them that a form shows
    """Fields that hold nothing that can be read.

    Parameters
    ----------
    errors : mapping of str to str
        Field and sentence.
    """

    def __init__(self, errors: Mapping[str, str]) -> None:
        self.errors = errors
        super().__init__(" ".join(errors.values()))


def pinned(kind: str, error: FettleError | None, typed: Mapping[str, str]) -> dict[str, str]:
    """Return a sentence by the fields that it is about though it does not begin with their names; empty where it does.

    Parameters
    ----------
    kind : str
        What is defined.
    error : FettleError or None
        Why it was not stored.
    typed : mapping of str to str
        The form.
    """
    if error is None or isinstance(error, NotRead) or kind not in _PINNED:
        return {}
    return _PINNED[kind](str(error), typed)


def _of_factor(sentence: str, typed: Mapping[str, str]) -> dict[str, str]:
    if " is a count: " in sentence:
        broken = [name for name in ("low", "high", "step") if _number(typed, name) % 1]
        return {name: f"{name.capitalize()} is '{typed[name]}'; a count takes whole numbers only." for name in broken}
    if "give both low and high" in sentence:
        return {name: sentence for name in ("low", "high") if not typed.get(name)}
    if "say what it was before" in sentence:
        return {"was": "What it was until now is empty; the variants on record need it, so say what they all had."}
    if "can be expected of it" in sentence:
        return {"kind": sentence}
    signs = {
        "two different levels": "levels",
        ": level '": "levels",
        ": price of ": "prices",
        ": the range ": "high",
        "has no order, so its way": "way",
    }
    return _signed(sentence, signs) or _misfit(sentence, typed) or _of_name(sentence)


def _misfit(sentence: str, typed: Mapping[str, str]) -> dict[str, str]:
    """Put a variant on record that the factor no longer fits at the end of the range that is in its way."""
    found = re.match(rf"(?:Variant|Unit) .*?: {re.escape(typed.get('name', ''))} is '?([^;]*?)'?;", sentence)
    if not found:
        return {}
    if typed.get("kind") in ("ordered", "categorical"):
        return {"levels": sentence}
    try:
        value = read_number(found[1], "")
    except DataError:
        return {"kind": sentence}
    if value < _number(typed, "low"):
        return {"low": sentence}
    return {"high" if value > _number(typed, "high") else "step": sentence}


def _of_outcome(sentence: str, typed: Mapping[str, str]) -> dict[str, str]:
    if of_recipe := _of_recipe(sentence):
        return of_recipe
    if "give the scale from low to high" in sentence:
        field = "scale_high" if typed.get("scale_low") and not typed.get("scale_high") else "scale_low"
        return {field: sentence.replace("such as scale = [1, 7]", "such as from 1 to 7")}
    if "give one best and one worst value" in sentence:
        empty = [name for name in ("best", "worst") if not typed.get(name)]
        return dict.fromkeys(empty or ["worst"], sentence)
    if "give low and high" in sentence:
        told = sentence.replace("give low and high", _WHERE_WANTED)
        return {name: told for name in ("low", "high") if not typed.get(name)}
    if " not fit, since " in sentence:
        unfit = re.findall(r"\b(best|worst|target|low|high)\b", sentence.partition(" not fit, ")[0].partition(": ")[2])
        return dict.fromkeys(unfit, f"It does not fit, since {sentence.partition(' not fit, since ')[2]}")
    if " beyond its scale from " in sentence:
        beyond = re.findall(r"\b(best|worst|target|low|high) \(", sentence)
        return dict.fromkeys(beyond, f"It lies {sentence.partition(' lie')[2].removeprefix('s ').strip()}")
    if re.match(r"Reading \d+: ", sentence):
        return {"scale_high" if typed.get("kind") == "rated" else "kind": sentence}
    signs = {"give target": "target", "give worst": "worst", ": worst (": "worst"}
    return _signed(sentence, signs) or _of_name(sentence)


def _of_recipe(sentence: str) -> dict[str, str]:
    """Return what a sentence says of a recipe by the field that it is about; empty if it is about another."""
    if "only measured outcomes are computed from files" in sentence:
        return {"from": sentence}
    found = re.search(r": (Recipe '.*|from is .*)$", sentence, re.DOTALL)
    if found is None:
        return {}
    return {"from" if found[1].startswith("from") else "keys": found[1]}


def _of_limit(sentence: str, _: Mapping[str, str]) -> dict[str, str]:
    if sentence.endswith("take another name."):
        return {"rule": "This limit is defined already; change that one, or write another rule."}
    return {"rule": sentence} if sentence.startswith(("Limit ", "A rule ", "'", "No settings keep")) else {}


def _of_derived(sentence: str, typed: Mapping[str, str]) -> dict[str, str]:
    own = f"Derived quantity '{typed.get('name', '')}'"
    if sentence.startswith(_EMPTY_RULE):
        return {"expression": "Expression is empty; write one such as 'rings * 42 - wool * 2.1'."}
    if sentence.startswith("A rule "):
        return {"expression": sentence.replace("A rule ", "Expression ", 1)}
    if sentence.startswith(("'", "No settings keep", f"{own}: ", f"{own} is a comparison")):
        return {"expression": sentence}
    if sentence.startswith(own) and ("must be" in sentence or "is a word" in sentence):
        return {"name": sentence}
    return _of_name(sentence) or ({"expression": sentence} if sentence.startswith("Limit ") else {})


def _of_expectation(sentence: str, _: Mapping[str, str]) -> dict[str, str]:
    if sentence.endswith("take another name."):
        return {"factor": "That is expected already; change that one, or choose another factor or outcome."}
    signs = {
        "Something is expected of": "factor",
        "is expected twice": "factor",
        "is expected to act on": "outcome",
        "can be expected of it": "effect",
        "What is expected of": "effect",
        "The size expected of": "size",
        "leave the size out": "size",
    }
    return _signed(sentence, signs)


def _of_name(sentence: str) -> dict[str, str]:
    """Put at the name what is about a name that is taken, or about rules that need the one there was."""
    signs = ("has the name of something", "is defined twice", "which is no factor", "which is no outcome")
    return {"name": sentence} if any(sign in sentence for sign in signs) else {}


def _signed(sentence: str, signs: Mapping[str, str]) -> dict[str, str]:
    return next(({field: sentence} for sign, field in signs.items() if sign in sentence), {})


def _number(typed: Mapping[str, str], name: str) -> float:
    """Return a number of the form that could be read; 0 for an empty one."""
    return read_number(without_unit(typed[name], typed.get("unit", "")), name) if typed.get(name) else 0.0


_PINNED: dict[str, Callable[[str, Mapping[str, str]], dict[str, str]]] = {
    "factor": _of_factor,
    "outcome": _of_outcome,
    "limit": _of_limit,
    "derived": _of_derived,
    "expectation": _of_expectation,
}
