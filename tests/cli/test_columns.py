"""Tables and sentences on a narrow terminal: nothing is lost, nothing is cut, and no line is longer than there is room."""

import itertools
import re
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.cli import main, parser, screen
from doe.cli.columns import folded, laid_out
from doe.guides.topics import TOPICS, topic

_CELLS = st.text("ab 1", max_size=60).map(lambda text: " ".join(text.split()))


@given(
    st.integers(1, 6).flatmap(
        lambda count: st.lists(st.lists(_CELLS, min_size=count, max_size=count), min_size=2, max_size=5)
    ),
    st.integers(60, 100),
)
def test_every_word_of_a_table_is_there_and_fits(rows, room):
    blocks = laid_out(rows, [False] * len(rows[0]), room)
    told = "".join("".join(line.split()) for lines in blocks for line in lines)
    assert all(told.count(sign) >= sum(cell.count(sign) for row in rows for cell in row) for sign in "ab1")
    if len(rows[0]) > 1 or max(len(cell) for row in rows for cell in row) <= room:
        assert max(len(line) for lines in blocks for line in lines) <= room
    (whole,) = laid_out(rows, [False] * len(rows[0]))
    assert len(whole) == len(rows)


def test_a_name_wider_than_its_column_is_broken_and_a_command_is_not():
    name, command = "a" * 70 + ".csv", "'fettle log --planned 26 --new-unit \"a unit with a name of many words\"'"
    (lines,) = laid_out([["entry", "what"], ["2", f"imported 3 variants from {name}"]], [True, False], 60)
    assert max(map(len, lines)) <= 60
    assert "".join(line[7:] for line in lines[2:]) == name
    (lines,) = laid_out([["entry", "what"], ["2", f"type {command} next"]], [True, False], 60)
    assert any(command in line for line in lines)


def test_a_table_without_room_goes_on_below_with_its_first_column():
    rows = [["variant", *("abcdef"[place] * 20 for place in range(6))], ["12", *map(str, range(6))]]
    blocks = laid_out(rows, [False, *[True] * 6], 60)
    assert [lines[0].split() for lines in blocks] == [
        ["variant", "a" * 20, "b" * 20],
        ["variant", "c" * 20, "d" * 20],
        ["variant", "e" * 20, "f" * 20],
    ]
    assert [lines[1].split() for lines in blocks] == [["12", "0", "1"], ["12", "2", "3"], ["12", "4", "5"]]


def test_what_goes_on_below_leaves_out_rows_in_which_it_says_nothing():
    rows = [["variant", "a" * 30, "note"], ["1", "5", ""], ["2", "6", "drilled"], ["3", "-", "-"]]
    first, below = laid_out(rows, [False, True, False], 40)
    assert len(first) == 4
    assert below == ["variant  note", "2        drilled"]
    (whole,) = laid_out(rows, [False, True, False], 60)
    assert len(whole) == 4


def test_sentences_are_folded_between_words_and_commands_stay_whole():
    text = "Next: build step 1, then log it with 'fettle log --planned 26 --new-unit \"new 2\"'; and go on."
    assert folded(text, 50).split("\n") == [
        "Next: build step 1, then log it with",
        "'fettle log --planned 26 --new-unit \"new 2\"'; and",
        "go on.",
    ]
    assert folded(f"  {text}", 70).split("\n")[1].startswith("  '")
    assert folded(text, 0) == text


@pytest.mark.parametrize("mark", ["- ", "  10. ", "  route     ", "  --project FILE  "])
def test_further_lines_of_a_list_item_stand_below_its_text(mark):
    assert folded(f"{mark}{'word ' * 12}", 44).split("\n")[1].startswith(" " * len(mark) + "word")


def test_bold_takes_no_room():
    heading = "\033[1m" + "word " * 15 + "words\033[0m"  # 80 characters are seen
    assert folded(heading, 80) == heading
    assert folded(heading, 79).split("\n") == ["\033[1m" + "word " * 14 + "word", "words\033[0m"]


def test_a_line_that_is_a_command_stays_whole():
    text = "A line of some length follows here:\n    $ fettle import log.csv --map Try=variant\n  fettle log vents=4 --unit C"
    assert folded(text, 30).split("\n") == ["A line of some length follows", "here:", *text.split("\n")[1:]]


@pytest.mark.parametrize("key", TOPICS)
def test_help_pages_flow_on_a_terminal(fettle, monkeypatch, key):
    """Each paragraph is folded as a whole: no line could take the word that begins the next of the same paragraph."""
    monkeypatch.setattr(screen, "room", lambda stream: 80 if stream is sys.stdout else 0)
    monkeypatch.setattr(main, "room", lambda stream: 80)
    out = fettle("help", key).out
    assert out.split() == topic(key).plain().split()
    lines = out.splitlines()
    for line, following in itertools.pairwise(lines):
        if line and following and not re.match(r"    |- |[0-9]+\. ", following):
            assert len(line) + 1 + len(re.match(r"\s*(`fettle [^`]*`\S*|\S+)", following)[1]) > 80, line


def test_the_help_of_a_command_fits_a_terminal(fettle, monkeypatch):
    wide = fettle("correct", "--help").out
    for module in (screen, parser):
        monkeypatch.setattr(module, "room", lambda stream: 80)
    out = fettle("correct", "--help").out
    assert out.split() == wide.split()
    assert max(map(len, out.splitlines())) <= 80 < max(map(len, wide.splitlines()))
    assert " " * 30 + "project in this folder\n" in out


def test_what_a_command_does_is_told_in_one_paragraph_on_a_terminal(fettle, monkeypatch):
    for module in (screen, parser):
        monkeypatch.setattr(module, "room", lambda stream: 80)
    assert (
        "minutes: of everything planned, or of a table of settings. Steps that only go\none way are kept, "
        in fettle("route", "--help").out
    )


@pytest.mark.parametrize(("columns", "lines"), [(80, 8), (0, 5)])
def test_the_history_fits_a_terminal_and_stays_one_line_an_entry_elsewhere(rig, fettle, monkeypatch, columns, lines):
    assert fettle("log", "vents=5", "wool=20", "driver=bamboo", "--unit", "body A").code == 0
    monkeypatch.setattr(screen, "room", lambda stream: columns)
    out = fettle("history", "--last", "4").out
    assert len(out.splitlines()) == lines
    assert not columns or max(map(len, out.splitlines())) <= columns
