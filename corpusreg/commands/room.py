"""The command 'room'."""

from __future__ import annotations

import argparse
import contextlib
import signal
from typing import Any

from corpusreg.commands.building import positive
from corpusreg.commands.common import command

__all__ = ["add_room"]

# Ctrl-C, being asked to end, a terminal or console that is closed.
_ENDINGS = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")


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

    for name in _ENDINGS:
        found = getattr(signal, name, None)
        # What is ignored from outside, as by nohup, stays so.
        if found is not None and signal.getsignal(found) != signal.SIG_IGN:
            signal.signal(found, _end)
    with contextlib.suppress(KeyboardInterrupt):
        serve(options.port, browser=not options.no_browser, on_open=_say_where)
    with contextlib.suppress(OSError):  # the terminal may be what was closed
        print("\nClosed. What was given has been removed.", flush=True)
    return 0


def _end(*_: object) -> None:
    """End as Ctrl-C does, once: nothing interrupts the removal of what was given."""
    for name in _ENDINGS:
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    raise KeyboardInterrupt


def _say_where(address: str) -> None:
    print(f"Open at {address} for this computer only; Ctrl-C closes it.", flush=True)
