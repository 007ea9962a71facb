"""The real server in a thread of the test, and a real Chromium at it."""

from __future__ import annotations

import shutil
import socket
import threading
import time

import uvicorn

from doe.guides.demos import demo_folder
from doe.project import Project
from doe.web import Settings, create_app

CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
             "--disable-background-networking", "--disable-component-update", "--disable-sync"]  # fmt: skip


def radio_in(folder):
    """Make a project of the radio's log in a folder."""
    source = demo_folder("radio")
    project = Project.create(folder / "radio.duckdb", source / "setup.toml")
    project.import_log(source / "log.csv")
    return project


class Served:
    """The app of a project, listening on a free port until it is stopped."""

    def __init__(self, project, folder, **settings):
        listening = socket.socket()
        listening.bind(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{listening.getsockname()[1]}"
        self.app = create_app(project, Settings(folder=folder, **settings))
        config = uvicorn.Config(self.app, log_level="error", timeout_graceful_shutdown=1)
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [listening]}, daemon=True)

    def __enter__(self):
        self._thread.start()
        for _ in range(200):
            if self._server.started:
                return self
            time.sleep(0.02)
        raise RuntimeError("the server did not start")

    def __exit__(self, *_):
        self._server.should_exit = True
        self.app.state.is_closing = True
        self._thread.join(timeout=5)
