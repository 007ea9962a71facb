"""Published logs through the commands: init, import, analyse. No cell of `data.csv` is edited by hand."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from functools import cache
from io import StringIO
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from doe.cli.main import main
from tests.published.cases import FOLDER, case
from tests.published.verification_effects import all_terms

MAPPINGS: dict[str, Any] = tomllib.loads((FOLDER / "cases.toml").read_text(encoding="utf-8"))

pytestmark = [pytest.mark.published, pytest.mark.slow]


def _fettle(*words: str) -> str:
    """Run a command in this process and return what it printed."""
    with redirect_stdout(StringIO()) as out, redirect_stderr(StringIO()) as err:
        code = main(words)
    assert code == 0, err.getvalue()
    return out.getvalue()


@pytest.fixture(scope="module")
def imported(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Give the project of a case; each is imported once."""

    @cache
    def project(name: str) -> Path:
        made = tmp_path_factory.mktemp(name) / "case"
        _fettle("init", str(made), "--setup", str(FOLDER / name / "setup.toml"))
        mapping = [f"{theirs}={ours}" for theirs, ours in MAPPINGS[name]["map"].items()]
        here = ["--project", f"{made}.duckdb"]
        _fettle("import", str(FOLDER / name / "data.csv"), *(["--map", *mapping] if mapping else []), *here)
        return made.with_suffix(".duckdb")

    return project


def _classical(project: Path, outcome: str, terms: list[str]) -> dict[str, dict[str, float]]:
    printed = json.loads(_fettle("analyse", outcome, "--terms", ",".join(terms), "--json", "--project", str(project)))
    return {row["term"]: row for row in printed[0]["classical"]}


@pytest.mark.parametrize("name", sorted(MAPPINGS))
def test_every_case_imports_as_it_stands(name: str, imported: Callable[[str], Path], tmp_path: Path):
    """All readings arrive: one per filled outcome cell of the data, with its value."""
    _fettle("export", str(tmp_path / "tables"), "--kind", "csv", "--project", str(imported(name)))
    setup = tomllib.loads((FOLDER / name / "setup.toml").read_text(encoding="utf-8"))
    readings = pd.read_csv(tmp_path / "tables" / "readings.csv")
    for outcome in setup["outcome"]:
        ours = readings.loc[readings["outcome"] == outcome["name"], "value"]
        theirs = case(name).data[outcome["name"]].dropna()
        assert sorted(ours) == pytest.approx(sorted(theirs))


@pytest.mark.parametrize(
    ("name", "outcome", "factors", "prefix", "order"),
    [
        (
            "bhh_process_2_4",
            "conversion",
            ["catalyst_charge", "temperature", "pressure", "concentration"],
            "effect ",
            4,
        ),
        (
            "bhh_reactor_2_5_and_half",
            "reacted",
            ["feed_rate", "catalyst", "agitation", "temperature", "concentration"],
            "full factorial effect ",
            3,
        ),
    ],
)
def test_factorial_effects_by_digits(
    name: str, outcome: str, factors: list[str], prefix: str, order: int, imported: Callable[[str], Path]
):
    """Box, Hunter & Hunter 1978, the tables named in case.json, to the printed digits."""
    found = _classical(imported(name), outcome, all_terms(factors, order))
    compared = 0
    for known in case(name).known:
        label = known.what.removeprefix(prefix)
        if label != known.what and label.isdigit() and len(label) <= order:
            term = ":".join(factors[int(digit) - 1] for digit in label)
            assert found[term]["swing"] == pytest.approx(known.value, abs=known.tolerance or 1e-9), known.what
            compared += 1
    assert compared >= 15


def test_filtration_effects_by_letters(imported: Callable[[str], Path]):
    """Montgomery, Example 6.2: effects as printed."""
    name = "montgomery_filtration_2_4"
    found = _classical(imported(name), "rate", all_terms(list("ABCD"), 4))
    for known in case(name).known:
        label = known.what.removeprefix("effect ")
        if label != known.what and label.isalpha() and set(label) <= set("ABCD"):
            assert found[":".join(label)]["swing"] == pytest.approx(known.value, abs=known.tolerance or 1e-9)


def test_pilot_plant_effects(imported: Callable[[str], Path]):
    """Box, Hunter & Hunter 1978, Table 10.4: temperature 23, concentration -5, temperature with catalyst 10; error 1.4."""
    found = _classical(
        imported("bhh_pilot_plant_2_3"), "yield", all_terms(["temperature", "concentration", "catalyst"], 3)
    )
    assert found["temperature"]["swing"] == pytest.approx(23)
    assert found["concentration"]["swing"] == pytest.approx(-5)
    assert found["catalyst"]["swing"] == pytest.approx(1.5)
    assert found["temperature:catalyst"]["swing"] == pytest.approx(10)
    assert found["temperature"]["se"] == pytest.approx(1.4, abs=0.05)


def test_screening_main_effects(imported: Callable[[str], Path]):
    """Injection moulding 2^(8-4), Box, Hunter & Hunter 1978, Table 12.11: main effects to one decimal."""
    name = "injection_moulding_2_8_4"
    found = _classical(imported(name), "shrinkage", list("ABCDEFGH"))
    for letter in "ABCDEFGH":
        known = case(name).find(f"main effect {letter}")
        assert found[letter]["swing"] == pytest.approx(known.value, abs=known.tolerance)


def test_two_fractions_together(imported: Callable[[str], Path]):
    """Bicycle 2^(7-4) with one column reversed, Box, Hunter & Hunter 1978, sec. 12.5: gear 23.9, dynamo 11.1."""
    name = "bhh_bicycle_2_7_4"
    factors = ["seat", "dynamo", "handlebars", "gear", "raincoat", "breakfast", "tyres"]
    found = _classical(imported(name), "time", factors)
    assert found["gear"]["swing"] == pytest.approx(23.875, abs=1e-6)
    assert found["dynamo"]["swing"] == pytest.approx(11.125, abs=1e-6)


def test_blocks_are_taken_out(imported: Callable[[str], Path]):
    """Peas in six blocks (MASS 4th ed., p. 165): F of N, P, K and their pairs."""
    found = _classical(imported("r_npk"), "yield", all_terms(["N", "P", "K"], 2))
    for term in ("N", "P", "K", "N:P", "N:K", "P:K"):
        known = case("r_npk").find(f"ANOVA {term}|F value")
        assert (found[term]["swing"] / found[term]["se"]) ** 2 == pytest.approx(known.value, abs=known.tolerance)


def test_eddy_current_coefficients(imported: Callable[[str], Path]):
    """NIST e-Handbook 5.6.1: coefficients are half our swings."""
    name = "nist_eddy_current_2_3"
    factors = ["turns", "distance", "gauge"]
    found = _classical(imported(name), "sensitivity", all_terms(factors, 3))
    for known in case(name).known:
        label = known.what.removeprefix("coefficient (half effect) ")
        if label != known.what:
            term = ":".join(factors[int(digit) - 1] for digit in label.replace("x", ""))
            assert found[term]["swing"] / 2 == pytest.approx(known.value, abs=known.tolerance)


def test_ceramic_sums_of_squares(imported: Callable[[str], Path]):
    """NIST e-Handbook 5.4.7.1: with 32 orthogonal runs a term's sum of squares is 8 times its squared swing."""
    name = "nist_ceramic_2_5"
    factors = ["speed", "rate", "grit", "direction", "batch"]
    found = _classical(imported(name), "strength", all_terms(factors, 3))
    compared = 0
    for known in case(name).known:
        label = known.what.removeprefix("sum of squares ")
        if label != known.what and label.isdigit():
            term = ":".join(factors[int(digit) - 1] for digit in label)
            assert 8 * found[term]["swing"] ** 2 == pytest.approx(known.value, abs=known.tolerance)
            compared += 1
    assert compared == 25
