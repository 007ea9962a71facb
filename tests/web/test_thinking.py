from threading import Event

import pytest

from doe.model.errors import DataError
from doe.web.thinking import Thinker


class Gated(Thinker):
    """Works out a word for each state of the log, once it is let."""

    def __init__(self):
        super().__init__()
        self.gate = Event()

    def _think(self, project):
        assert self.gate.wait(10)
        if isinstance(project, Exception):
            raise project
        return project


@pytest.fixture
def thinker(monkeypatch):
    monkeypatch.setattr("doe.web.thinking._HEAD_START_S", 0.0)
    made = Gated()
    yield made
    made.gate.set()
    made._pool.shutdown()


def test_an_older_answer_is_shown_at_once_while_a_newer_one_is_worked_out(thinker):
    """However patient the page is; the same log is not looked at again."""
    thinker.gate.set()
    first = thinker.ask("old", 1, 10.0)
    assert (first.thought, first.is_fresh, first.is_working) == ("old", True, False)
    thinker.gate.clear()
    endless = float("inf")
    meanwhile = thinker.ask("new", 2, endless)
    assert (meanwhile.thought, meanwhile.is_fresh, meanwhile.is_working, meanwhile.trouble) == ("old", False, True, "")
    assert thinker.last(2).thought == "old" and not thinker.last(2).is_fresh
    thinker.gate.set()
    thinker._job.result(10)
    again = thinker.ask("never asked", 2, endless)
    assert (again.thought, again.is_fresh, again.is_working) == ("new", True, False)


def test_a_refusal_is_told_until_the_log_changes_or_it_is_asked_again(thinker):
    thinker.gate.set()
    refused = thinker.ask(DataError("No reading yet."), 1, 10.0)
    assert (refused.thought, refused.is_working, refused.trouble) == (None, False, "No reading yet.")
    assert thinker.ask("better", 1, 10.0).trouble == "No reading yet."
    thinker.again()
    assert thinker.ask("better", 1, 10.0).thought == "better"
