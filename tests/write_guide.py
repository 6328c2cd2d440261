"""Write the pages of the guide that are made from the code, and say which of them changed.

    python tests/write_guide.py

options.md has every command with its options, from the command line itself; interface.md
every function, with what it answers.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from pathlib import Path

import click

from corpusreg import answers, cli
from corpusreg.session import Session

GUIDE = Path(__file__).parents[1] / "reports" / "guide"
MADE = "Made by `python tests/write_guide.py`; what is written into this page is lost."


def options() -> str:
    """Every command, what it does, and its options."""
    pages = ["# Commands and options", MADE]
    for words, command in _commands(cli.app, ("corpusreg",)):
        ctx = click.Context(command, info_name=" ".join(words))
        usage = " ".join([*words, *command.collect_usage_pieces(ctx)])
        pages.append(f"## {' '.join(words[1:])}\n\n{_flat(command.help)}\n\n    {usage}")
        rows = [
            record
            for parameter in command.get_params(ctx)
            if isinstance(parameter, click.Option) and "--help" not in parameter.opts
            for record in [parameter.get_help_record(ctx)]
            if record
        ]
        if rows:
            table = ["| option | what it does |", "|---|---|"]
            table += [
                f"| `{name.replace('|', chr(92) + '|')}` | {_flat(text)} |"
                for name, text in rows
            ]
            pages.append("\n".join(table))
    return "\n\n".join(pages) + "\n"


def _commands(
    command: click.Command, words: tuple[str, ...]
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    alone = not isinstance(command, click.Group) or command.invoke_without_command
    if alone and len(words) > 1:
        yield words, command
    if isinstance(command, click.Group):
        for name, inner in command.commands.items():
            yield from _commands(inner, (*words, name))


def interface() -> str:
    """Methods of a session, which are also functions of the package, and the answers."""
    pages = [
        "# The Python interface",
        MADE,
        "Every function is a method of `corpusreg.Session` and also a function of `corpusreg`, "
        "with a session of its own.",
    ]
    for name, method in vars(Session).items():
        if not name.startswith("_") and inspect.isfunction(method):
            pages += _told(f"## {name}", name, method)
    pages.append("# Answers")
    for name in answers.__all__:
        kind = getattr(answers, name)
        pages.append(f"## {name}\n\n{inspect.getdoc(kind)}")
        for member, value in vars(kind).items():
            method = value if inspect.isfunction(value) else None
            if method and not member.startswith("_") and inspect.getdoc(method):
                pages += _told("", member, method)
    return "\n\n".join(page for page in pages if page) + "\n"


def _told(heading: str, name: str, method: object) -> list[str]:
    signature = str(inspect.signature(method))  # type: ignore[arg-type]
    signature = re.sub(r"\(self(, )?", "(", re.sub(r"(: |-> )'([^']*)'", r"\1\2", signature))
    return [heading, f"```\n{name}{signature}\n```", inspect.getdoc(method) or ""]


def _flat(text: str | None) -> str:
    return re.sub(r"\s+", " ", text or "").strip()


PAGES = {"options.md": options, "interface.md": interface}


def main() -> None:
    """Rewrite the pages."""
    for name, made in PAGES.items():
        path = GUIDE / name
        old = path.read_text(encoding="utf-8") if path.is_file() else ""
        new = made()
        path.write_text(new, encoding="utf-8")
        print(f"{path}: {'as before' if old == new else 'changed'}")


if __name__ == "__main__":
    main()
