import shlex

import pytest

from doe.cli.commands import COMMANDS, NAMES, find, overview
from doe.cli.reference import FILE, parsers_of, reference_text
from doe.guides.topics import topics
from tests.cli.running import command

PARSERS = {parser.prog: parser for command in COMMANDS for parser in parsers_of(command)}


def test_the_written_reference_is_what_the_commands_say():
    """After a change of options: python -m doe.cli.reference."""
    assert FILE.read_text(encoding="utf-8") == reference_text()


@pytest.mark.parametrize("prog", PARSERS)
def test_every_option_explains_itself(prog):
    parser = PARSERS[prog]
    assert [action.dest for action in parser._actions if not action.help] == []
    assert parser.description and parser.description.endswith(".")


@pytest.mark.parametrize("prog", PARSERS)
def test_every_command_knows_its_project(prog):
    assert "--project" in PARSERS[prog]._option_string_actions


@pytest.mark.parametrize("prog", PARSERS)
def test_help_ends_with_examples_that_the_command_takes(prog):
    """An example that the parser refuses would mislead."""
    parser = PARSERS[prog]
    head, *examples = parser.epilog.splitlines()
    assert head == "Examples:"
    assert parser.format_help().endswith(parser.epilog + "\n")
    for example in examples:
        words = shlex.split(example)
        assert example.strip().startswith(prog.removesuffix(" list"))
        parser.parse_args(words[len(prog.split()) :])


@pytest.mark.parametrize(
    "name",
    [
        "analyse",
        "next",
        "variants",
        "show",
        "history",
        "import",
        "check",
        "effort",
        "log",
        "read",
        "measure",
        "estimate",
        "symptom",
    ],
)
def test_commands_that_tell_something_tell_it_as_json_too(name):
    assert "--json" in find(name).parser()._option_string_actions


@pytest.mark.parametrize("name", [command.name for command in COMMANDS if command.actions])
def test_lists_are_told_as_json_too(name):
    assert "--json" in find(name).parser("list")._option_string_actions


def test_the_overview_names_every_command_once(fettle):
    lines = [line.split()[0] for line in overview().splitlines() if line.startswith("  ") and "--" not in line]
    assert [name for name in lines if name != "fettle"] == list(NAMES)
    for words in ([], ["--help"], ["help"]):
        done = fettle(*words)
        assert (done.code, done.out, done.err) == (0, overview() + "\n", "")


@pytest.mark.parametrize("words", [["log", "--help"], ["help", "log"], ["factor", "--help"], ["help", "factor"]])
def test_help_goes_to_standard_output(fettle, words):
    done = fettle(*words)
    assert (done.code, done.err) == (0, "")
    assert done.out.startswith(f"Usage: fettle {words[1] if words[0] == 'help' else words[0]} ")
    assert "Examples:\n" in done.out


def test_no_line_of_help_is_too_wide():
    assert [line for line in reference_text().splitlines() if len(line) > 120] == []


def test_the_version_is_told(fettle):
    done = fettle("--version")
    assert done.code == 0
    assert done.out.startswith("fettle ")


def test_the_real_command_needs_no_project_for_help(tmp_path):
    done = command("read", "--help", cwd=tmp_path)
    assert (done.code, done.err) == (0, "")
    assert done.out.startswith("Usage: fettle read ")


def test_topics_are_listed_and_taught(fettle):
    """`fettle help` names every topic, `fettle help TOPIC` prints its page; a slip is answered with the nearest."""
    listed = fettle("help").out
    for page in topics():
        assert page.key in listed
        assert fettle("help", page.key).out == page.plain() + "\n"
    done = fettle("help", "verdict")
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("There is no help on 'verdict'. Did you mean 'verdicts'?\n")
