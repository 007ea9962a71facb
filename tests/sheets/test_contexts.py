from dataclasses import fields, is_dataclass

import pytest
from jinja2 import meta

from doe.sheets import contexts
from doe.sheets.render import TEMPLATES, environment, render

CLASSES = [item for item in vars(contexts).values() if is_dataclass(item)]


@pytest.mark.parametrize("kind", CLASSES, ids=lambda kind: kind.__name__)
def test_every_field_says_what_it_holds(kind):
    """Those who write templates read it there."""
    assert all(item.metadata["help"] for item in fields(kind))


def names_used() -> set[str]:
    """Top-level names that the report and its partials use and do not set themselves."""
    used: set[str] = set()
    for path in set(TEMPLATES.glob("*.html")) - {TEMPLATES / "build_sheet.html"}:
        used |= meta.find_undeclared_variables(environment().parse(path.read_text(encoding="utf-8")))
    return used - {"item", "chart", "above", "loop"}


def test_report_uses_exactly_the_fields_it_is_given():
    """A field nobody prints, or a name nobody gives, fails here."""
    assert names_used() == {item.name for item in fields(contexts.Report)}


def test_the_build_sheet_uses_exactly_the_fields_it_is_given():
    from doe.sheets.build_sheet import Sheet

    page = (TEMPLATES / "build_sheet.html").read_text(encoding="utf-8")
    assert meta.find_undeclared_variables(environment().parse(page)) == {item.name for item in fields(Sheet)}


def test_templates_do_no_arithmetic():
    """Numbers arrive as text; a template that adds, scales or formats is a second source of numbers."""
    from jinja2 import nodes

    sums = (nodes.Add, nodes.Sub, nodes.Mul, nodes.Div, nodes.FloorDiv, nodes.Mod, nodes.Pow)
    for path in TEMPLATES.glob("*.html"):
        tree = environment().parse(path.read_text(encoding="utf-8"))
        assert not list(tree.find_all(sums)), path.name
        assert {node.name for node in tree.find_all(nodes.Filter)} <= {"safe"}, path.name


def test_only_finished_scripts_and_styles_skip_escaping():
    """What a person typed is never marked safe."""
    import re

    marked = {
        name
        for path in TEMPLATES.glob("*.html")
        for name in re.findall(r"([\w.]+)\s*\|\s*safe", path.read_text(encoding="utf-8"))
    }
    assert marked == {"css", "script", "plotly", "settings", "chart.wide", "chart.narrow"}


def test_unknown_name_in_a_template_is_an_error():
    from jinja2 import UndefinedError

    with pytest.raises(UndefinedError):
        render("report.html", contexts.Share("a", "b", "c"))
