"""Run a command as someone whom the rights of files bind."""

import os
import shutil

import pytest


def bound(call: list[str]) -> list[str]:
    """Return the command, without the power of root to write and read anywhere (capabilities(7), CAP_DAC_OVERRIDE)."""
    if os.geteuid() != 0:
        return call
    if shutil.which("setpriv") is None:
        pytest.skip("root may write anywhere, and setpriv is not at hand")
    taken = "-dac_override,-dac_read_search"
    return ["setpriv", f"--inh-caps={taken}", f"--bounding-set={taken}", *call]
