"""How a test says that something is refused: with this class, and with this whole sentence."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from doe.model.errors import FettleError

if TYPE_CHECKING:
    from pytest import RaisesExc


def refused(kind: type[FettleError], message: str) -> RaisesExc[FettleError]:
    """Expect exactly this message; a match on its first words would let a wrong list of what is allowed pass."""
    return pytest.raises(kind, match=rf"\A{re.escape(message)}\Z")
