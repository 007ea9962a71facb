"""Imports run down the floors only; see the drawing in DEVELOPERS.md."""

import ast
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "doe"

FLOORS = {
    "model": 0,
    "store": 1,
    "signals": 1,
    "coding": 2,
    "grids": 2,
    "fit": 3,
    "plans": 3,
    "advise": 4,
    "project": 5,
    "measuring": 5,
    "planning": 5,
    "settling": 5,
    "rehearse": 5,
    "guides": 5,
    "sheets": 6,
    "charts": 6,
    "cli": 7,
    "web": 7,
}
ALLOWED_BESIDE = {
    ("sheets", "charts"),
    ("rehearse", "project"),
    ("project", "measuring"),
    ("project", "planning"),
    ("project", "settling"),
}
ONLY_IN = {
    "duckdb": {"store"},
    "plotly": {"charts", "sheets"},
    "fastapi": {"web"},
    "starlette": {"web"},
    "uvicorn": {"web"},
    "segno": {"web"},
    "markdown_it": {"web"},
    "PIL": {"web"},
    "pydantic": {"web"},
    "argparse": {"cli"},
}
ARRAY_ROOMS = {"fit", "plans", "advise", "coding", "grids"}
ENGINES = {"numpy", "scipy", "pandas", "statsmodels", "sklearn"}


def rooms():
    return sorted({path.relative_to(PACKAGE).parts[0].removesuffix(".py") for path in PACKAGE.rglob("*.py")})


@cache
def tree_of(path):
    return ast.parse(path.read_text(encoding="utf-8"))


def imports_of(path):
    """Return (module, line) of every import in a file, inside functions and TYPE_CHECKING blocks too."""
    found = []
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            found += [(alias.name, node.lineno) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno} has a relative import"
            found += [(f"{node.module}.{alias.name}", node.lineno) for alias in node.names]
    return found


@cache
def all_imports():
    """Return (room, module, where) of every import of the package."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).parts
        room = parts[0].removesuffix(".py")
        if room != "__init__":
            found += [(room, module, f"{path.relative_to(ROOT)}:{line}") for module, line in imports_of(path)]
    return tuple(found)


def test_every_room_stands_on_a_floor():
    assert [room for room in rooms() if room not in FLOORS and room != "__init__"] == []


def climbs(room, module):
    """Tell whether an import goes to a room that this one may not know."""
    if not module.startswith("doe."):
        return False
    other = module.split(".")[1]
    if other == room or (room, other) in ALLOWED_BESIDE:
        return False
    return other not in FLOORS or FLOORS[other] >= FLOORS[room]


def test_imports_run_down_the_floors():
    """A room imports itself and lower floors; the same floor only where the drawing has an arrow."""
    assert [f"{where} imports {module}" for room, module, where in all_imports() if climbs(room, module)] == []


@pytest.mark.parametrize(
    ("room", "module", "is_wrong"),
    [
        ("fit", "doe.model.factor.Factor", False),
        ("fit", "doe.store.ProjectFile", False),
        ("fit", "doe.plans.optimal", True),
        ("model", "doe.store.Entry", True),
        ("sheets", "doe.charts.figure", False),
        ("charts", "doe.sheets.report", True),
        ("cli", "doe.web.app", True),
        ("web", "doe.cli.main", True),
        ("cli", "doe.project.Project", False),
        ("project", "doe.sheets.report", True),
        ("fit", "numpy.linalg", False),
    ],
)
def test_the_check_itself_tells_right_from_wrong(room, module, is_wrong):
    assert climbs(room, module) is is_wrong


def test_the_check_sees_imports_inside_functions(tmp_path):
    path = tmp_path / "room.py"
    path.write_text("def f():\n    from doe.cli import main\n    import plotly.io as pio\n", encoding="utf-8")
    assert imports_of(path) == [("doe.cli.main", 2), ("plotly.io", 3)]


def test_the_array_rooms_never_see_the_store():
    """Engines take frames; they do not fetch them."""
    wrong = [
        where
        for room, module, where in all_imports()
        if room in ARRAY_ROOMS and module.split(".")[:2] in (["doe", "store"], ["doe", "signals"])
    ]
    assert wrong == []


@pytest.mark.slow
@pytest.mark.parametrize("library", sorted(ONLY_IN))
def test_a_library_stays_in_its_room(library):
    """SQL in the store, plotly in the charts (and its script in the sheets), each face its own framework."""
    wrong = [
        f"{where} imports {module}"
        for room, module, where in all_imports()
        if module.split(".")[0] == library and room not in ONLY_IN[library]
    ]
    assert wrong == []


def test_the_model_knows_no_engine_on_import():
    """Floor 0 imports no array library, except inside a function that is handed arrays."""
    wrong = []
    for path in sorted((PACKAGE / "model").rglob("*.py")):
        for node in tree_of(path).body:
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            wrong += [f"{path.name}:{node.lineno}" for name in names if name.split(".")[0] in ENGINES]
    assert wrong == []


def test_errors_and_wording_import_nothing_of_ours():
    for name in ("errors", "wording"):
        modules = [module for module, _ in imports_of(PACKAGE / "model" / f"{name}.py")]
        assert [module for module in modules if module.split(".")[0] == "doe"] == []


@pytest.mark.slow
def test_the_engines_know_no_clock_and_no_database():
    """Floors 2 to 4 are pure: what they return depends on what they are given."""
    banned = {"duckdb", "datetime", "time", "random", "sqlite3"}
    wrong = [
        f"{where} imports {module}"
        for room, module, where in all_imports()
        if room in ARRAY_ROOMS and module.split(".")[0] in banned
    ]
    assert wrong == []


def commands_named(tree):
    """Strings that name a command of ours, with their lines, but for docstrings and what errors tell the command line only."""
    apart = {id(word) for node in ast.walk(tree) if isinstance(node, ast.keyword) and node.arg == "command"
             for word in ast.walk(node.value)}  # fmt: skip
    apart |= {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    return [
        (node.value, node.lineno)
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and re.search(r"['`]fettle [a-z]", node.value)
        and id(node) not in apart
    ]


def test_below_the_faces_no_sentence_names_a_command():
    """A page, and whoever calls from Python, would be told to type what is not there; `FettleError.command` is for that."""
    for path in PACKAGE.rglob("*.py"):
        room = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
        if FLOORS.get(room, 7) < 7 and room not in ("guides", "sheets"):
            assert commands_named(tree_of(path)) == [], path
    wrong = ast.parse("""raise UsageError("No factor; 'fettle factor add' makes one.")""")
    right = ast.parse("""raise UsageError("No factor.", command="'fettle factor add' makes one")""")
    assert (len(commands_named(wrong)), commands_named(right)) == (1, [])


def test_there_is_no_room_for_odds_and_ends():
    assert [str(path) for path in PACKAGE.rglob("*.py") if path.stem in ("utils", "helpers", "common", "misc")] == []


@pytest.mark.slow
@pytest.mark.parametrize(
    ("statement", "absent"),
    [
        ("import doe", ["numpy", "pandas", "duckdb", "plotly", "scipy"]),
        ("import doe; doe.Factor, doe.Setup, doe.FettleError", ["numpy", "pandas", "duckdb"]),
        ("import doe.store", ["numpy", "pandas", "plotly"]),
        ("import doe.project", ["numpy", "pandas", "plotly", "scipy"]),
        ("import doe.fit, doe.advise", ["duckdb", "plotly", "statsmodels", "sklearn", "scipy.stats"]),
        ("import doe.charts", ["duckdb", "statsmodels", "sklearn", "doe.store"]),
    ],
)
def test_a_room_loads_no_more_than_it_says(statement, absent):
    """Checked in a process of its own, by what is loaded afterwards."""
    code = f"{statement}; import sys; print([name for name in {absent!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.strip() == "[]"
