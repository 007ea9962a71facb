"""Published effects of factorial, screening and surface cases, through `doe.analyse` as a user would call it."""

from __future__ import annotations

import itertools
from typing import Any

import pandas as pd

from doe.fit import Effects, analyse
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from tests.published.cases import case, row


def study(
    name: str, response: str, factors: list[str], terms: Any = None, *, block: str | None = None, keep: Any = None
) -> Effects:
    """Analyse one response of a case; every run is a build of its own."""
    data = case(name).data
    if keep is not None:
        data = data[keep(data)].reset_index(drop=True)
    readings = data[factors].copy()
    readings["variant"] = [f"run {place + 1}" for place in range(len(data))]
    readings["value"] = data[response].astype(float)
    if block is not None:
        readings["session"] = data[block].astype(str)
    return analyse(readings, [_factor(data, factor) for factor in factors], Outcome(response), terms)


def _factor(data: pd.DataFrame, name: str) -> Factor:
    column = data[name]
    if pd.api.types.is_numeric_dtype(column):
        return Factor(name, low=float(column.min()), high=float(column.max()))
    return Factor(name, kind="categorical", levels=sorted(column.unique()))


def all_terms(factors: list[str], order: int) -> list[str]:
    """All main effects and interactions up to an order."""
    return [":".join(names) for size in range(1, order + 1) for names in itertools.combinations(factors, size)]


def swings(effects: Effects) -> dict[str, float]:
    """Classical swings by term."""
    return dict(zip(effects.classical["term"], effects.classical["swing"], strict=True))


def _by_digits(
    name: str, response: str, factors: list[str], prefix: str, order: int, **how: Any
) -> list[dict[str, Any]]:
    """Check figures such as ``effect 12``, whose digits are places of factors."""
    published = case(name)
    found = swings(study(name, response, factors, all_terms(factors, order), **how))
    rows = []
    for known in published.known:
        label = known.what.removeprefix(prefix)
        if label == known.what or not label.isdigit() or len(label) > order:
            continue
        term = ":".join(factors[int(digit) - 1] for digit in label)
        rows.append(
            row(
                f"{name}: {known.what}",
                published.citation,
                known.value,
                found[term],
                known.tolerance or 1e-9,
                known.origin,
            )
        )
    return rows


def _by_letters(name: str, response: str, factors: list[str], prefix: str, order: int) -> list[dict[str, Any]]:
    """Check figures such as ``effect AC``, whose letters are factors."""
    published = case(name)
    found = swings(study(name, response, factors, all_terms(factors, order)))
    rows = []
    for known in published.known:
        label = known.what.removeprefix(prefix)
        if label != known.what and label.isalpha() and set(label) <= set(factors):
            rows.append(
                row(
                    f"{name}: {known.what}",
                    published.citation,
                    known.value,
                    found[":".join(label)],
                    known.tolerance or 1e-9,
                    known.origin,
                )
            )
    return rows


def _pilot_plant() -> list[dict[str, Any]]:
    published, factors = case("bhh_pilot_plant_2_3"), ["temperature", "concentration", "catalyst"]
    effects = study("bhh_pilot_plant_2_3", "yield", factors, all_terms(factors, 3))
    found, letters = swings(effects), {"T": "temperature", "C": "concentration", "K": "catalyst"}
    rows = []
    for known in published.known:
        label = known.what.split(" ")[0]
        if known.what.endswith(("main effect", "interaction")):
            term = ":".join(letters[letter] for letter in label)
            rows.append(
                row(
                    f"pilot plant: {known.what}",
                    published.citation,
                    known.value,
                    found[term],
                    known.tolerance or 0,
                    known.origin,
                )
            )
    error = float(effects.classical["se"].iloc[0])
    known = published.find("standard error of an effect")
    rows.append(
        row("pilot plant: standard error", published.citation, known.value, error, known.tolerance or 0, known.origin)
    )
    return rows


def _bicycle() -> list[dict[str, Any]]:
    published = case("bhh_bicycle_2_7_4")
    factors = ["seat", "dynamo", "handlebars", "gear", "raincoat", "breakfast", "tyres"]
    rows = []
    for number, word in ((1, "first fraction"), (2, "second fraction (gear column reversed)")):
        effects = study("bhh_bicycle_2_7_4", "time", factors, "main", keep=lambda data, n=number: data["fraction"] == n)
        for factor, ours in swings(effects).items():
            known = published.find(f"{word}: contrast {factor}")
            rows.append(
                row(f"bicycle: {known.what}", published.citation, known.value, ours, known.tolerance or 0, known.origin)
            )
    both = swings(study("bhh_bicycle_2_7_4", "time", factors, "main", block="fraction"))
    for what, factor in (
        ("combined: gear main effect free of two-factor interactions", "gear"),
        ("combined: dynamo + (strings without gear)", "dynamo"),
    ):
        known = published.find(what)
        rows.append(
            row(f"bicycle: {what}", published.citation, known.value, both[factor], known.tolerance or 0, known.origin)
        )
    return rows


def _blocks() -> list[dict[str, Any]]:
    published = case("r_npk")
    effects = study("r_npk", "yield", ["N", "P", "K"], "two-factor", block="block")
    table = effects.classical.set_index("term")
    rows = []
    for term in ("N", "P", "K", "N:P", "N:K", "P:K"):
        ratio = float((table.loc[term, "swing"] / table.loc[term, "se"]) ** 2)
        known = published.find(f"ANOVA {term}|F value")
        rows.append(
            row(
                f"npk in blocks: F of {term}",
                published.citation,
                known.value,
                ratio,
                known.tolerance or 0,
                known.origin,
            )
        )
    for term in ("N", "K"):
        known = published.find(f"ANOVA {term}|Pr(>F)")
        rows.append(
            row(
                f"npk in blocks: p of {term}",
                published.citation,
                known.value,
                float(table.loc[term, "p"]),
                known.tolerance or 0,
                known.origin,
            )
        )
    return rows


def _surface() -> list[dict[str, Any]]:
    """Coefficients on the coded scale of the source; ours are swings, so each is scaled back."""
    published = case("montgomery_ccd_yield")
    effects = study("montgomery_ccd_yield", "yield", ["x1", "x2"], "quadratic")
    half = case("montgomery_ccd_yield").data["x1"].max()
    table = effects.classical.set_index("term")
    scale = {
        "x1": 1 / (2 * half),
        "x2": 1 / (2 * half),
        "x1:x2": 1 / (2 * half**2),
        "x1^2": 1 / half**2,
        "x2^2": 1 / half**2,
    }
    rows = []
    for term, factor in scale.items():
        known = published.find(f"yield coefficient {term.replace(':', '')}")
        ours = float(table.loc[term, "swing"]) * factor
        rows.append(
            row(f"central composite: {known.what}", published.citation, known.value, ours, known.tolerance or 0)
        )
        known = published.find(f"yield coefficient standard error {term.replace(':', '')}")
        error = float(table.loc[term, "se"]) * factor
        rows.append(
            row(f"central composite: {known.what}", published.citation, known.value, error, known.tolerance or 0)
        )
    return rows


def _deposition() -> list[dict[str, Any]]:
    published = case("nist_cvd_rsm")
    effects = study(
        "nist_cvd_rsm",
        "uniformity",
        ["pressure_coded", "ratio_coded"],
        ["pressure_coded", "ratio_coded", "pressure_coded:ratio_coded"],
    )
    table = effects.classical.set_index("term")
    rows = []
    for term, name in (
        ("pressure_coded", "Pressure"),
        ("ratio_coded", "Ratio"),
        ("pressure_coded:ratio_coded", "Pressure*Ratio"),
    ):
        for column, word in (("swing", "estimate"), ("se", "SE")):
            known = published.find(f"Uniformity selected model {word} {name}")
            rows.append(
                row(
                    f"vapour deposition: {known.what}",
                    published.citation,
                    known.value,
                    float(table.loc[term, column]) / 2,
                    known.tolerance or 0,
                )
            )
    return rows


def _catapult() -> list[dict[str, Any]]:
    published = case("nist_catapult_2_5_1")
    names = {"h": "height", "s": "start", "b": "bands", "l": "length", "e": "stop"}
    factors = list(names.values())
    data = published.data.copy()
    data["stop"] = data["stop"].replace({62.0: 62.5})  # the source codes the middle stop as exactly half way
    readings = data[factors].assign(variant=[f"run {place}" for place in range(len(data))], value=data["distance"])
    effects = analyse(readings, [_factor(data, factor) for factor in factors], Outcome("distance"), "two-factor")
    table = effects.classical.set_index("term")
    rows = []
    for known in published.known:
        for word, column in (("full 2FI model estimate ", "swing"), ("full 2FI model SE ", "se")):
            label = known.what.removeprefix(word)
            if label != known.what and set(label) <= set(names):
                term = ":".join(sorted((names[letter] for letter in label), key=factors.index))
                ours = float(table.loc[term, column]) / 2
                rows.append(
                    row(
                        f"catapult: {known.what}",
                        published.citation,
                        known.value,
                        ours,
                        known.tolerance or 0,
                        known.origin,
                    )
                )
    return rows


def _eddy_current() -> list[dict[str, Any]]:
    published = case("nist_eddy_current_2_3")
    factors = ["turns_coded", "distance_coded", "gauge_coded"]
    found = swings(study("nist_eddy_current_2_3", "sensitivity", factors, all_terms(factors, 3)))
    rows = []
    for known in published.known:
        label = known.what.removeprefix("coefficient (half effect) ")
        if label != known.what:
            term = ":".join(factors[int(digit) - 1] for digit in label.replace("x", ""))
            rows.append(
                row(
                    f"eddy current: {known.what}",
                    published.citation,
                    known.value,
                    found[term] / 2,
                    known.tolerance or 0,
                )
            )
    known = published.find("model x1+x2: coefficient SE")
    table = study("nist_eddy_current_2_3", "sensitivity", factors, factors[:2]).classical
    rows.append(
        row(
            f"eddy current: {known.what}",
            published.citation,
            known.value,
            float(table["se"].iloc[0]) / 2,
            known.tolerance or 0,
        )
    )
    return rows


def rows() -> list[dict[str, Any]]:
    """Every published effect that `analyse` reproduces."""
    process = ["catalyst_charge", "temperature", "pressure", "concentration"]
    reactor = ["feed_rate", "catalyst", "agitation", "temperature", "concentration"]
    half = {"keep": lambda data: data["in_half_fraction"] == 1}
    return [
        *_pilot_plant(),
        *_by_digits("bhh_process_2_4", "conversion", process, "effect ", 4),
        *_by_digits("bhh_reactor_2_5_and_half", "reacted", reactor, "full factorial effect ", 3),
        *_by_digits("bhh_reactor_2_5_and_half", "reacted", reactor, "half fraction effect ", 2, **half),
        *_by_letters("montgomery_filtration_2_4", "rate", list("ABCD"), "effect ", 4),
        *_by_letters("injection_moulding_2_8_4", "shrinkage", list("ABCDEFGH"), "main effect ", 1),
        *_bicycle(),
        *_blocks(),
        *_surface(),
        *_deposition(),
        *_catapult(),
        *_eddy_current(),
    ]
