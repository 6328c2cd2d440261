"""The command 'profiles' for the command line."""

from __future__ import annotations

import argparse
import json
from typing import Any

from corpusreg.commands.common import command

__all__ = ["add_profiles"]


def add_profiles(commands: Any) -> None:
    """Add the command."""
    profiles = command(
        commands, "profiles", "kinds of register use among the measured works, where there are"
    )
    profiles.add_argument("--json", action="store_true", help="print JSON")
    profiles.set_defaults(run=_profiles)


def _profiles(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.text.outputs.profile_text import profiles_text

    found = workflow.profiles()
    print(json.dumps(found, indent=1) if options.json else profiles_text(found))
    return 0
