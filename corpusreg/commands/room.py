"""The command 'room'."""

from __future__ import annotations

import argparse
import contextlib
import signal
from typing import Any

from corpusreg.commands.building import positive
from corpusreg.commands.common import command

__all__ = ["add_room"]


def add_room(commands: Any) -> None:
    """Add the command."""
    room = command(commands, "room", "in a browser: reports, drafts, versions, handouts")
    room.add_argument(
        "--port", type=positive, default=0, metavar="N", help="where (default: a free port)"
    )
    room.add_argument(
        "--no-browser", action="store_true", help="only say where it is, open no browser"
    )
    room.set_defaults(run=_room)


def _room(options: argparse.Namespace) -> int:
    from corpusreg.room.serve import serve

    # Being asked to end is an end like Ctrl-C: what was given is removed.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    with contextlib.suppress(KeyboardInterrupt):
        serve(options.port, browser=not options.no_browser, on_open=_say_where)
    print("\nClosed. What was given has been removed.")
    return 0


def _say_where(address: str) -> None:
    print(f"Open at {address} for this computer only; Ctrl-C closes it.", flush=True)
