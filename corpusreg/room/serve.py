"""The server of the room: on this computer only, with no log, until it is stopped."""

from __future__ import annotations

import socket
import threading
import webbrowser
from collections.abc import Callable
from typing import Any

from werkzeug.serving import WSGIRequestHandler, make_server

from corpusreg.room.app import room
from corpusreg.room.desk import Desk
from corpusreg.session import Session
from corpusreg.system.errors import UsageError

__all__ = ["serve"]

_HERE = "127.0.0.1"


class _Handler(WSGIRequestHandler):
    """One request; says nothing on the terminal and little of itself to others."""

    timeout = 120  # seconds for which a connection may be silent
    server_version, sys_version = "corpusreg", ""

    def log(self, *_: Any) -> None:
        """Write no log."""


def serve(port: int, *, browser: bool, on_open: Callable[[str], None]) -> None:
    """Keep the room open until it is interrupted; everything given is removed then.

    port: 0 for any that is free. browser: whether to open one. on_open: told the address.
    Raises UsageError where the port cannot be had.
    """
    with _listening(port) as listening, Desk() as desk:
        port = listening.getsockname()[1]
        server = make_server(
            _HERE, port, room(desk, port), threaded=True, request_handler=_Handler,
            fd=listening.fileno(),
        )  # fmt: skip
        if Session().reference_state()["ok"]:
            desk.warm()
        address = f"http://{_HERE}:{port}/"
        on_open(address)
        if browser:
            # A browser in the terminal would hold the room up before it serves.
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
        server.serve_forever()


def _listening(port: int) -> socket.socket:
    """A socket at a port of this computer."""
    found = socket.socket()
    try:
        found.bind((_HERE, port))
        found.listen(64)
    except (OSError, OverflowError) as error:
        found.close()
        why = getattr(error, "strerror", None) or "from 1 to 65535"
        raise UsageError(f"port {port}: cannot be had ({why}); leave out --port") from error
    return found
