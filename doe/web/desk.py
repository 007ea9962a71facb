"""The project that is open, what is known of it now, and one writer at a time."""

from __future__ import annotations

import secrets
from collections import OrderedDict, deque
from collections.abc import Callable, Hashable, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from threading import Lock, RLock
from typing import Any

from doe.model.slips import new_session
from doe.project import Project
from doe.sheets.contexts import LogTable
from doe.sheets.log import log_of_rows
from doe.store import Entry
from doe.store.listening import KeptSession
from doe.store.snapshot import Snapshot
from doe.store.tally import Tally
from doe.web.faults import NoProject, SentOtherwise
from doe.web.forms import Posted
from doe.web.settings import Settings
from doe.web.thinking import Thinker

_REMEMBERED = 2000
_MOST_SHEETS = 8
_MOST_OFFERS = 60
_MOST_SOUNDS = 2


class View:
    """What a project held at one moment; each part is read when it is first asked for.

    Parameters
    ----------
    project : Project
        Whose records they are.
    """

    def __init__(self, project: Project) -> None:
        self.project = project
        self._readings_of: dict[str, list[dict[str, Any]]] = {}

    @cached_property
    def snapshot(self) -> Snapshot:
        """Definitions, units, variants and sessions."""
        return self.project.snapshot()

    @cached_property
    def readings(self) -> list[dict[str, Any]]:
        """All readings, one by one; where numbers will do, `tally` has them far sooner."""
        return self.project.file.readings()

    @cached_property
    def tally(self) -> Tally:
        """How many readings there are of what, in which sessions and by whom."""
        return self.project.file.tally()

    def readings_of(self, variant: str) -> list[dict[str, Any]]:
        """Return the readings in which a variant takes part."""
        if variant not in self._readings_of:
            self._readings_of[variant] = self.project.file.readings(variant=variant)
        return self._readings_of[variant]

    @cached_property
    def history(self) -> list[Entry]:
        """The journal."""
        return self.project.file.history()

    @cached_property
    def attachments(self) -> list[dict[str, Any]]:
        """All attachments."""
        return self.project.file.attachments()

    @cached_property
    def suggestions(self) -> list[dict[str, Any]]:
        """Advice on record."""
        return self.project.file.suggestions()

    @cached_property
    def log(self) -> LogTable:
        """The log as a table."""
        variants = (
            {"variant": item.name, "unit": item.unit, "parent": item.parent, "status": item.status, **item.settings}
            for item in self.snapshot.variants
        )
        return log_of_rows(self.snapshot.setup, variants, self.tally.of_variant)

    @cached_property
    def prepared(self) -> list[KeptSession]:
        """The prepared sessions."""
        return self.project.file.prepared_sessions()

    @cached_property
    def recorded(self) -> frozenset[str]:
        """Variants of which a recording is kept."""
        if not self.attachments:
            return frozenset()
        from doe.measuring import recordings_of  # scipy

        return frozenset(recordings_of(self.project.file))

    @property
    def last_entry(self) -> int:
        """Number of the last entry of the journal."""
        return self.history[-1].id if self.history else 0


class Desk:
    """The open project of one server.

    Parameters
    ----------
    path : Path or None
        The project file; None until one is started.
    settings : Settings
        Of the server.

    Raises
    ------
    StoreError
        If there is no such project.
    """

    openings: deque[str]
    """Random marks of the projects that were open, the present one last; forms shown for another one are refused."""

    def __init__(self, path: Path | None, settings: Settings) -> None:
        self.settings = settings
        self.thinker = Thinker()
        self._project = Project.open(path) if path is not None else None
        self.openings = deque([secrets.token_urlsafe(12)], maxlen=20)
        self._view: tuple[object, View] | None = None
        self._writing, self._viewing, self._sounding = RLock(), Lock(), Lock()
        self._sounds: OrderedDict[Hashable, dict[str, bytes]] = OrderedDict()
        self._done: OrderedDict[str, tuple[str, str]] = OrderedDict()
        self._offers: OrderedDict[str, Mapping[str, Any]] = OrderedDict()
        self._sheets: OrderedDict[str, tuple[str, bytes]] = OrderedDict()
        self._said: OrderedDict[int, tuple[Sequence[str], Sequence[str]]] = OrderedDict()

    @property
    def is_open(self) -> bool:
        """Whether there is a project."""
        return self._project is not None

    @property
    def project(self) -> Project:
        """The open project.

        Raises
        ------
        NoProject
            If none was started yet.
        """
        if self._project is None:
            raise NoProject
        return self._project

    def open(self, project: Project) -> None:
        """Turn to another project."""
        with self._writing, self._viewing:
            self.thinker.cancel()
            self._project, self._view = project, None
            self._said.clear()
            self.openings.append(secrets.token_urlsafe(12))
            self.thinker = Thinker()

    def view(self) -> View:
        """Return what the project holds now; read anew only if its file changed."""
        project = self.project
        mark = _mark_of(project.path)  # of this one, though another may be opened meanwhile
        with self._viewing:
            if self._view is None or self._view[0] != mark:
                self._view = (mark, View(project))
            return self._view[1]

    def mark(self) -> object:
        """Return something that differs whenever the project's file does."""
        return _mark_of(self.project.path)

    def once(self, sent: Posted, action: Callable[[], str]) -> str:
        """Do what a form asks for, unless this very form was done before.

        Parameters
        ----------
        sent : Posted
            The form; its token tells copies of the same showing.
        action : callable
            Does it and returns the address to go to; nothing is remembered if it raises.

        Returns
        -------
        str
            The address, the same for every copy of the form.

        Raises
        ------
        SentOtherwise
            If the form was done before with other values, which were stored then.
        """
        with self._writing:
            if not sent.once:  # no form of ours lacks one, so it cannot tell copies apart
                return action()
            if sent.once in self._done:
                content, address = self._done[sent.once]
                if content != sent.content:
                    raise SentOtherwise(address)
                return address
            address = action()
            self._done[sent.once] = sent.content, address
            while len(self._done) > _REMEMBERED:
                self._done.popitem(last=False)
            return address

    def keep_said(self, entry: int, warnings: Sequence[str], notes: Sequence[str]) -> None:
        """Remember what is to be said beside an entry, which stands nowhere in the project."""
        self._said[entry] = warnings, notes
        while len(self._said) > _REMEMBERED:
            self._said.popitem(last=False)

    def new_session(self, name: str) -> str:
        """Say that a session is new, and which one may have been meant."""
        return new_session(name, [item.name for item in self.project.file.sessions()])

    def said(self, entry: int) -> tuple[Sequence[str], Sequence[str]]:
        """Return warnings and notes of an entry, none where nothing is remembered."""
        return self._said.get(entry, ((), ()))

    def keep_offer(self, mark: str, row: Mapping[str, Any]) -> None:
        """Remember a suggestion that was shown, so that it can be taken though the log went on meanwhile."""
        self._offers[mark] = row
        while len(self._offers) > _MOST_OFFERS:
            self._offers.popitem(last=False)

    def offer(self, mark: str) -> Mapping[str, Any]:
        """Return a suggestion that was shown.

        Raises
        ------
        LookupError
            If it never was, or too long ago.
        """
        return self._offers[mark]

    def sounds(self, session: Hashable, make: Callable[[], dict[str, bytes]]) -> dict[str, bytes]:
        """Return the recordings of a session, made once and kept until other sessions push them out."""
        with self._sounding:
            if session not in self._sounds:
                self._sounds[session] = make()
                while len(self._sounds) > _MOST_SOUNDS:
                    self._sounds.popitem(last=False)
            return self._sounds[session]

    def keep_sheet(self, name: str, data: bytes) -> str:
        """Keep an uploaded spreadsheet until it is stored or pushed out by others, and return its token."""
        token = secrets.token_urlsafe(12)
        self._sheets[token] = (name, data)
        while len(self._sheets) > _MOST_SHEETS:
            self._sheets.popitem(last=False)
        return token

    def sheet(self, token: str) -> tuple[str, bytes] | None:
        """Return a kept spreadsheet, if it is still here."""
        return self._sheets.get(token)


def _mark_of(path: Path) -> object:
    found: list[object] = []
    for file in (path, path.with_name(path.name + ".wal")):
        try:
            stat = file.stat()
            found.append((stat.st_mtime_ns, stat.st_size, stat.st_ino))
        except OSError:
            found.append(None)
    return (str(path), *found)
