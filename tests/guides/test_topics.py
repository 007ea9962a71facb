import re
import shlex
import shutil
from pathlib import Path

import pytest

from doe.cli.commands import NAMES, find
from doe.cli.main import main
from doe.guides.topics import FOLDER, TOPICS, topic, topics
from doe.model.errors import UsageError
from doe.project import Project
from tests.refusing import refused

EXAMPLES = Path(__file__).parents[2] / "examples"
_FENCED = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def blocks(text):
    """Fenced blocks as (language, content), in order; an answer has no language."""
    return [(found[1], found[2]) for found in _FENCED.finditer(text)]


def commands(text):
    return [line for language, content in blocks(text) if language == "sh" for line in content.splitlines()]


def test_each_topic_has_a_page_and_each_page_a_topic():
    assert sorted(path.stem for path in FOLDER.glob("*.md")) == sorted(TOPICS)
    assert not set(TOPICS) & set(NAMES)


@pytest.mark.parametrize("page", topics(), ids=lambda page: page.key)
def test_each_page_teaches_one_step_with_an_example_and_its_limits(page):
    """A title, a worked example, when not to trust the result, and links that lead somewhere."""
    heads = [line for line in _FENCED.sub("", page.text).splitlines() if line.startswith("#")]
    assert heads == [f"# {page.title}", "## Worked example", "## When not to trust it"]
    assert blocks(page.text)
    assert len(re.findall(r"^- ", page.text.split("## When not to trust it")[1], re.MULTILINE)) >= 2
    links = re.findall(r"\]\(([^)]*)\)", page.text)
    assert links
    assert set(links) <= set(TOPICS)
    assert max(len(line) for line in page.text.splitlines()) <= 128


@pytest.mark.parametrize("page", topics(), ids=lambda page: page.key)
def test_each_command_of_a_page_can_be_read(page):
    """Whole lines by the command's own parser; what stands in a sentence names a command, and an action that it has."""
    for line in commands(page.text):
        words = shlex.split(line)
        assert words[0] == "fettle"
        command, rest, action = find(words[1]), words[2:], ""
        if command.actions:
            action, rest = command.action_of(rest)
        command.parser(action).parse_args(rest)
    for said in re.findall(r"`fettle ([a-z][^`]*)`", _FENCED.sub("", page.text)):
        words = said.split()
        command = find(words[0])
        assert command is not None, said
        assert not command.actions or words[1] in command.actions, said
        options = {
            option for name in command.actions or ("",) for option in command.parser(name)._option_string_actions
        }
        assert {word for word in words if word.startswith("--")} <= options, said


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The radio demo as `fettle demo` makes it, with the two recordings that a page measures."""
    folder = tmp_path_factory.mktemp("help") / "demo"
    folder.mkdir()
    project = Project.create(folder / "radio.duckdb", EXAMPLES / "radio" / "setup.toml")
    project.import_log(EXAMPLES / "radio" / "log.csv")
    shutil.copy(EXAMPLES / "radio" / "setup.toml", folder / "setup.toml")
    for name in ("tap1.txt", "tap2.txt"):
        shutil.copy(EXAMPLES / "ukulele" / name, folder / name)
    return folder


def missing_lines(quoted, printed):
    """Quoted lines that are not in what was printed, in order; `...` stands for anything."""
    missing, at = [], 0
    for line in quoted.splitlines():
        if line in ("...", ""):
            continue
        found = printed.find(line, at)
        if found < 0:
            missing.append(line)
        else:
            at = found + len(line)
    return missing


@pytest.mark.slow
@pytest.mark.parametrize("page", topics(), ids=lambda page: page.key)
def test_the_worked_example_prints_what_the_page_quotes(page, demo, tmp_path, monkeypatch, capsys):
    """Run in order, on the demo or on a project that the page begins; figures in the text come from there, too."""
    work = tmp_path / "work"
    shutil.copytree(demo, work)
    if commands(page.text)[:1] and commands(page.text)[0].startswith("fettle init"):
        (work / "radio.duckdb").unlink()  # the page begins a project of its own
    monkeypatch.chdir(work)
    monkeypatch.delenv("FETTLE_PROJECT", raising=False)
    printed = everything = ""
    names: dict[str, object] = {}
    for language, content in blocks(page.text):
        if language == "":
            assert missing_lines(content, printed) == [], printed
            continue
        capsys.readouterr()
        if language == "python":
            exec(compile(content, f"{page.key}.md", "exec"), names)
        else:
            for line in content.splitlines():
                assert main(shlex.split(line)[1:]) == 0, line
        printed = capsys.readouterr().out
        everything += content + printed
    stated = set(re.findall(r"\d+\.\d+", _FENCED.sub("", page.text)))
    assert sorted(number for number in stated if number not in everything) == []


def test_a_quotation_that_has_rotted_would_be_found():
    printed = "Echo follows wool.\nwool +1.2\nrings +0.3\n"
    assert missing_lines("Echo follows wool.\n...\nrings +0.3\n", printed) == []
    assert missing_lines("wool +1.3\n", printed) == ["wool +1.3"]
    assert missing_lines("rings +0.3\nwool +1.2\n", printed) == ["wool +1.2"]


def test_a_page_reads_well_in_a_terminal():
    text = topic("verdicts").plain()
    assert text.startswith("Reading the verdicts\n\n")
    assert "\n    $ fettle analyse echo\n" in text
    assert not re.search(r"^#|```|\*\*|\]\(", text, re.MULTILINE)


def test_an_unknown_topic_is_refused_with_the_nearest():
    names = "framing, logging, listening, measuring, verdicts, tangled, next-change, plans, settling and care"
    with refused(UsageError, f"There is no help topic 'plan'; there are {names}. Did you mean 'plans'?"):
        topic("plan")
