import errno
import os
import socket

import pytest

from doe.model.errors import StoreError
from doe.web.serve import _listening
from tests.refusing import refused


@pytest.mark.parametrize("shares_ports", [False, True])
def test_a_port_is_never_taken_from_a_program_that_listens_there(shares_ports, monkeypatch):
    """Where the system would hand it over (Microsoft, "Using SO_REUSEADDR and SO_EXCLUSIVEADDRUSE"), nobody asks it to."""
    monkeypatch.setattr("doe.web.serve._SHARES_PORTS", shares_ports)
    with _listening("127.0.0.1", 0) as made:
        assert bool(made.getsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR)) is not shares_ports
        port, why = made.getsockname()[1], os.strerror(errno.EADDRINUSE).lower()
        with refused(StoreError, f"Port {port} cannot be used ({why}); choose another with --port NUMBER."):
            _listening("127.0.0.1", port)
