import html
from types import SimpleNamespace

from doe.web.bench import settled


def test_terms_are_sorted_by_verdict_over_all_outcomes():
    """What moves anything comes first, what is too small last; a verdict that no term has is left out."""

    def answer(name, *rows):
        terms = [SimpleNamespace(term=term, kind=kind, tangled_with=other) for term, kind, other in rows]
        return SimpleNamespace(name=name, effects=terms)

    found = settled(
        (
            answer("bass", ("wool", "small", ""), ("vents", "tangled", "rings"), ("driver", "moves", "")),
            answer("echo", ("wool", "moves", "")),
        )
    )
    assert [(group.verdict, group.kind, group.terms) for group in found] == [
        ("Moves it", "moves", ("driver on bass", "wool on echo")),
        ("Tangled", "tangled", ("vents on bass (with rings)",)),
        ("Too small to matter", "small", ("wool on bass",)),
    ]


def test_the_last_five_entries_that_count_are_shown(visitor, project):
    """Those taken back give room to those before them."""
    for entry in (6, 5):  # what was read; the undoing of both counts
        project.file.take_back(entry)
    lately = html.unescape(visitor.get("/").html.partition("Lately")[2])
    entries = project.file.history()
    assert [entry.id for entry in entries if f"<bdi>{entry.summary}</bdi>" in lately] == [2, 3, 4, 7, 8]
