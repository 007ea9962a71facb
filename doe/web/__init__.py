"""Floor 7: the web pages: read the request, call one service, render."""

from doe.web.app import create_app
from doe.web.settings import Settings

__all__ = ["Settings", "create_app"]
