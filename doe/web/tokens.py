"""Who is calling: a signed cookie, the token of a form, and how often a key may be guessed."""

from __future__ import annotations

import hmac
import secrets
import time
from collections import defaultdict, deque
from hashlib import sha256

COOKIE = "fettle"
_WINDOW_S = 60.0
_MOST_CALLERS = 10_000


class Tokens:
    """Signs and checks with a secret that lives as long as the server.

    Parameters
    ----------
    key : str
        The access key; empty where none is asked for.
    attempts : int
        Wrong keys allowed a minute from one address; eight times as many from all addresses together.
    """

    def __init__(self, key: str, attempts: int) -> None:
        self._secret = secrets.token_bytes(32)
        self._key = key
        self._attempts = attempts
        self._wrong: dict[str, deque[float]] = defaultdict(deque)

    @property
    def needs_key(self) -> bool:
        """Whether an access key is asked for."""
        return bool(self._key)

    def new_cookie(self, *, is_open: bool) -> str:
        """Return the content of a new cookie; an open one has passed the key."""
        name = f"{secrets.token_urlsafe(12)}.{int(is_open)}"
        return f"{name}.{self._sign('cookie', name)}"

    def read_cookie(self, content: str) -> tuple[str, bool]:
        """Return the caller's id and whether the key was passed; an empty id if the cookie is none of ours."""
        name, _, mark = content.rpartition(".")
        caller, _, is_open = name.rpartition(".")
        if not caller or not hmac.compare_digest(mark.encode(), self._sign("cookie", name).encode()):
            return "", False
        return caller, is_open == "1"

    def form_token(self, caller: str) -> str:
        """Return the token that the forms of one caller carry."""
        return self._sign("form", caller)

    def is_form_token(self, caller: str, token: str) -> bool:
        """Tell whether a form was made for this caller."""
        return hmac.compare_digest(token.encode(), self.form_token(caller).encode())

    def is_key(self, typed: str) -> bool:
        """Compare an access key by its letters and digits alone, in the same time whatever is wrong with it."""
        return hmac.compare_digest(_bare(typed), _bare(self._key))

    def may_try(self, address: str) -> bool:
        """Tell whether this address may try another key now."""
        since = time.monotonic() - _WINDOW_S
        for tries in (self._wrong[address], self._wrong["*"]):
            while tries and tries[0] < since:
                tries.popleft()
        return len(self._wrong[address]) < self._attempts and len(self._wrong["*"]) < 8 * self._attempts

    def count_wrong(self, address: str) -> None:
        """Count a wrong key."""
        if len(self._wrong) > _MOST_CALLERS:
            self._wrong = defaultdict(deque, {"*": self._wrong["*"]})  # the count of all stays
        for name in (address, "*"):
            self._wrong[name].append(time.monotonic())

    def _sign(self, purpose: str, text: str) -> str:
        return hmac.new(self._secret, f"{purpose}:{text}".encode(), sha256).hexdigest()[:40]


def _bare(key: str) -> bytes:
    """Return what counts of a key, whichever way a phone spelled it: no case, no hyphens, no blanks."""
    return "".join(letter for letter in key.casefold() if letter.isalnum()).encode()
