"""How a server is set up: where it listens, and what it lets in."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
"""Names by which this machine calls itself."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What `create_app` is told.

    Attributes
    ----------
    folder : Path
        Where new projects are made and others are looked for.
    key : str
        Access key; without one the pages are open to whoever reaches the address, which is loopback then.
    hosts : tuple of str
        Names and addresses under which the server may be called, without port; any other is refused (DNS rebinding).
    address : str
        Address of the first page, for links that are handed to raters; empty to use the one in the request.
    most_bytes : int
        Largest upload, in bytes.
    patience_s : float
        How long a page waits for an analysis before it shows that one is under way, in seconds.
    key_attempts : int
        Wrong access keys allowed a minute from one address.
    """

    folder: Path = field(default_factory=Path)
    key: str = ""
    hosts: tuple[str, ...] = LOOPBACK
    address: str = ""
    most_bytes: int = 32 * 1024 * 1024
    patience_s: float = 1.0
    key_attempts: int = 5
