"""The command line's entrance: find the command, run it, and turn every failure into a sentence and an exit code."""

from __future__ import annotations

import contextlib
import io
import os
import sys
import traceback
import warnings
from collections.abc import Sequence

from doe.cli.chosen import with_way_back
from doe.cli.commands import COMMANDS, NAMES, OTHER_WORDS, find, overview
from doe.cli.screen import heading, note, refusal, room, say
from doe.model.errors import FettleError, NoVariant, UsageError, did_you_mean
from doe.model.version import version

DONE, PROBLEM, WRONG_USAGE, STOPPED = 0, 1, 2, 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        What was typed after ``fettle``.

    Returns
    -------
    int
        0 done, 1 a problem in the project or the data, 2 wrong usage.
    """
    _forgive_encodings()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # many small matrices: threads only get in each other's way
    if not sys.warnoptions:
        warnings.simplefilter(
            "ignore"
        )  # a library's warning is no sentence for a user; the tests turn them into errors
    words = list(sys.argv[1:] if arguments is None else arguments)
    try:
        _run(words)
        sys.stdout.flush()
    except UsageError as err:
        note(f"{refusal(err)}\n{_where_help_is(words)}")
        return WRONG_USAGE
    except FettleError as err:
        note(refusal(err))
        return PROBLEM
    except KeyboardInterrupt:
        note("Stopped; what was acknowledged is stored.")
        return STOPPED
    except BrokenPipeError:
        _silence_stdout()
        return DONE
    except OSError as err:
        note(_system_refusal(err))
        return PROBLEM
    except SystemExit as err:  # argparse ends --help this way
        return int(err.code or 0)
    except Exception as err:
        note(_own_fault(err))
        return PROBLEM
    return DONE


def _run(words: list[str]) -> None:
    words, project = _leading_project(words)
    if words[:1] == ["help"]:
        if words[1:] and find(words[1]) is None:
            _teach(words[1])
            return
        words = [*words[1:], "--help"]
    if not words or words[0] in ("--help", "-h"):
        say(overview())
        return
    if words[0] == "--version":
        say(f"fettle {version()}")
        return
    command = find(words[0])
    if command is None:
        what = "option" if words[0].startswith("-") else "command"
        raise UsageError(f"fettle has no {what} '{words[0]}'.{_meant(words[0])}")
    rest, action = words[1:], ""
    if command.actions:
        if rest[:1] in (["--help"], ["-h"]):
            say(command.help())
            return
        action, rest = command.action_of(rest)
    chosen = command.parser(action).parse_args([*rest, *project])
    try:
        chosen.run(chosen)
    except NoVariant as err:
        raise with_way_back(getattr(chosen, "project", None), err) from None


def _meant(word: str) -> str:
    """Say which command was meant: one that goes by another word, an action of one, or one that is spelled nearly so."""
    if word in OTHER_WORDS:
        return f" {OTHER_WORDS[word]} does that."
    owners = [command.name for command in COMMANDS if word in command.actions]
    return f" 'fettle {owners[0]} {word}' does that." if len(owners) == 1 else did_you_mean(word, NAMES)


def _teach(name: str) -> None:
    """Print a help page.

    Raises
    ------
    UsageError
        If that is neither a topic nor a command.
    """
    from doe.guides.topics import TOPICS, topic

    if name not in TOPICS:
        raise UsageError(f"There is no help on '{name}'.{did_you_mean(name, (*TOPICS, *NAMES))}")
    title, _, rest = topic(name).plain(is_joined=room(sys.stdout) > 0).partition("\n")
    say(f"{heading(title)}\n{rest}")


def _leading_project(words: list[str]) -> tuple[list[str], list[str]]:
    """Take ``--project FILE`` off the front, where some people like to write it."""
    if words and words[0] == "--project":
        if len(words) < 2:
            raise UsageError("--project needs a value after it.")
        return words[2:], words[:2]
    if words and words[0].startswith("--project="):
        return words[1:], words[:1]
    return words, []


def _where_help_is(words: Sequence[str]) -> str:
    place = next((place for place, word in enumerate(words) if word in NAMES), None)
    if place is None:
        return "'fettle --help' lists the commands."
    command, after = find(words[place]), words[place + 1 : place + 2]
    assert command is not None  # it is one of NAMES
    action = f" {after[0]}" if after and after[0] in command.actions else ""
    return f"'fettle {command.name}{action} --help' shows what it takes."


def _system_refusal(err: OSError) -> str:
    what = f"'{err.filename}' cannot be used" if err.filename else "The system refused"
    return f"{what}: {(err.strerror or str(err)).lower()}."


def _own_fault(err: Exception) -> str:
    if os.environ.get("FETTLE_DEBUG"):
        return "".join(traceback.format_exception(err))
    return (
        f"Fettle met a fault of its own ({type(err).__name__}: {err}); what was acknowledged is stored. "
        "Set FETTLE_DEBUG=1 and repeat the command to see where, for a report of the fault."
    )


def _forgive_encodings() -> None:
    """Let a terminal that cannot show a sign show a stand-in for it instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _silence_stdout() -> None:
    """Keep Python from complaining at exit that the reader of a pipe has gone."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main())
