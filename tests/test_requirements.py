"""What the project says it needs is what the tests have passed with."""

import re
import sys
import tomllib
from pathlib import Path

from tests.test_layering import all_imports

TOP = Path(__file__).parent.parent


def test_no_library_is_promised_that_is_older_than_those_tried():
    """With pandas 2.2, DuckDB 1.2, FastAPI 0.110 and threadpoolctl 3.1, once allowed, tests fail."""
    asked = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    tried = re.findall(r"^([\w-]+)==(\S+)$", (TOP / "tests/oldest.txt").read_text(encoding="utf-8"), re.MULTILINE)
    assert asked == [f"{name}>={version}" for name, version in tried]


def test_every_library_that_is_imported_is_asked_for():
    known_by = {"sklearn": "scikit-learn", "PIL": "pillow", "markdown_it": "markdown-it-py"}
    brought_by = {"pydantic": "fastapi", "markupsafe": "jinja2"}
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = [*project["dependencies"], *project["optional-dependencies"]["export"]]
    asked = {re.split("[>=]", line)[0] for line in lines}
    foreign = {module.split(".")[0] for _, module, _ in all_imports()} - set(sys.stdlib_module_names) - {"doe"}
    assert {known_by.get(name, brought_by.get(name, name)) for name in foreign} <= asked
