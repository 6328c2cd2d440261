"""The command line: arguments in, one call of a session, text out.

Built on click, which costs a third of the time that a quarter of a second leaves for
`--help`; typer, with what it imports, takes all of it. What draws on a terminal is in
`terminal` and imported when something is printed.
"""

from __future__ import annotations

import codecs
import contextlib
import functools
import os
import re
import shlex
import signal
import sys
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from corpusreg import __version__
from corpusreg.measures.definitions import MEASURES
from corpusreg.session import Session
from corpusreg.system import settings
from corpusreg.system.errors import CorpusregError, UsageError
from corpusreg.system.isolate import StoppedError
from corpusreg.system.phrases import did_you_mean
from corpusreg.system.writing import unwritable
from corpusreg.terminal import (
    Stages,
    on_screen,
    print_answer,
    print_rows,
    print_text,
    say,
    waiting,
)
from corpusreg.text.tabular import wrap

if TYPE_CHECKING:
    from corpusreg.building.corpora import CorpusChange
    from corpusreg.corpus.corpora import Entry

__all__ = ["app", "main"]

_ABOUT = """\
How a piece uses musical space, high and low: how wide it ranges, how much it moves,
where it stays and where it shifts, and where that places it among open scores.

\b
First steps:
  corpusreg demo                    what the answers look like
  corpusreg compare my-song.mxl     a piece of your own (MusicXML, kern, ABC, MIDI, MEI)

'corpusreg COMMAND --help' says more about a command."""
_MEASURES = "\b\nmeasures:\n" + "\n".join(f"  {m.name:<18}{m.title}" for m in MEASURES)
_TIERS = ("noncommercial", "reserved")
_TABLES = (".csv", ".json", ".parquet")
_COMPLETE = "_CORPUSREG_COMPLETE"
# Signs of our own text where a terminal cannot show them.
_PLAIN = str.maketrans({"–": "-", "♭": "b", "♯": "#"})
_INTERRUPTED = 130
# Ctrl-C, being asked to end, a terminal or console that is closed.
_ENDINGS = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
# Whether a file may be read is said where it is read, with what to do about it.
_FILE = click.Path(path_type=Path, readable=False)


class _NewFile(click.Path):
    """A file to be written: that its folder is there is known before anything is measured."""

    def convert(self, value: Any, param: Any, ctx: Any) -> Any:
        path = Path(str(super().convert(value, param, ctx)))
        if path.is_dir():
            raise CorpusregError(unwritable(path, "it is a folder"))
        if not path.parent.is_dir():
            raise CorpusregError(unwritable(path, "there is no such folder"))
        return path


_NEW = _NewFile(path_type=Path, readable=False)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code (0 done, 1 failed, 2 wrong usage)."""
    _plain_output()
    # Threads that no command needs, and with which no child could be a copy (`isolate`).
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        with on_screen():
            code = app.main(
                None if arguments is None else list(map(str, arguments)),
                prog_name="corpusreg",
                standalone_mode=False,
                complete_var=_COMPLETE,
            )
            sys.stdout.flush()
    except click.ClickException as error:
        say(_one_line(error))
        return 2
    except CorpusregError as error:
        say(error)
        return 2 if isinstance(error, UsageError) else 1
    except (KeyboardInterrupt, click.Abort):
        say("stopped; what was finished is kept")
        return _INTERRUPTED
    except BrokenPipeError:
        # The reader of our output has gone; nothing more can be said to it, and
        # Python would try once more at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    return code if isinstance(code, int) else 0


def _one_line(error: click.ClickException) -> str:
    if isinstance(error, click.NoSuchOption):
        options = error.ctx.command.get_params(error.ctx) if error.ctx else []
        known = [name for each in options for name in each.opts if name.startswith("--")]
        message = f"no option '{error.option_name}'{did_you_mean(error.option_name, known)}"
    else:
        message = error.format_message().rstrip(".")
        message = message[:1].lower() + message[1:]
    context = getattr(error, "ctx", None)
    return f"{message}; see '{context.command_path if context else 'corpusreg'} --help'"


def _plain_output() -> None:
    """Let letters that a terminal cannot show fall back to their plain form."""

    def plain(error: UnicodeError) -> tuple[str, int]:
        if not isinstance(error, UnicodeEncodeError):
            raise error
        piece = error.object[error.start : error.end].translate(_PLAIN)
        piece = unicodedata.normalize("NFKD", piece)
        return piece.encode("ascii", "ignore").decode() or "?", error.end

    codecs.register_error("plain", plain)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="plain")


# --- how commands are made ----------------------------------------------------------------


class _Named(click.Group):
    """Commands in the order in which they are written; a mistyped one names the nearest."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if self.get_command(ctx, name) is None and not name.startswith("-"):
            near = did_you_mean(name, self.commands)
            every = near or f"; there are {', '.join(self.commands)}"
            ctx.fail(f"no command '{name}'{every}")
        return super().resolve_command(ctx, args)


class _Choice(click.Choice[str]):
    """One of a few words; a mistyped one names the nearest."""

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str | None:
        return None

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> str:
        known = [str(each) for each in self.choices]
        if value in known:
            return str(value)
        name = param.opts[0] if param else ""
        near = did_you_mean(str(value), known)
        raise click.UsageError(f"{name} '{value}' is not one of {', '.join(known)}{near}", ctx)


_SETTINGS: dict[str, Any] = {
    "help_option_names": ["-h", "--help"],
    "max_content_width": 120,
}


@click.group(
    cls=_Named, help=_ABOUT, context_settings=_SETTINGS, invoke_without_command=True,
    subcommand_metavar="COMMAND ...",
)  # fmt: skip
@click.version_option(__version__, message="corpusreg %(version)s")
@click.pass_context
def app(ctx: click.Context) -> None:
    """All commands; without one their list."""
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


_Function = Callable[..., Any]
_Decorator = Callable[[Any], Any]


def _command(
    name: str, words: str, *, of: click.Group | None = None, after: str = ""
) -> _Decorator:
    """Add a function as a command; words: what it does, as listed."""
    words = f"{words[:1].upper()}{words[1:]}."
    return (of or app).command(name, help=words, short_help=words, epilog=after or None)


def _option(*names: str, **given: Any) -> _Decorator:
    return click.option(*names, **given)


def _flag(name: str, words: str) -> _Decorator:
    return click.option(name, is_flag=True, help=words)


_JSON = _flag("--json", "print JSON")
_CSV = _flag("--csv", "print comma-separated values, for a spreadsheet")
_TRUST = _option(
    "--trust",
    is_flag=True,
    expose_value=False,
    callback=lambda ctx, param, given: settings.trust() if given else None,
    help="run LilyPond sources without a sandbox: they are programs and can do anything that "
    "you can do, so only for scores whose writers you trust",
)
_NUMBER = _option(
    "--number", metavar="N", help="which piece of a file that holds several, by its number"
)
_RANGES = _option(
    "--ranges",
    type=_FILE,
    metavar="FILE.csv",
    help="your own ranges, which replace or join those of the table",
)
_COHORT = _option(
    "--cohort",
    metavar="NAME=VALUE",
    help="compare with these works only, as in ensemble=piano,period=romantic",
)
_WORKERS = _option(
    "--workers",
    type=click.IntRange(min=1),
    metavar="N",
    help="how many processes measure at once (default: one for each processor)",
)
_LICENCE = _option(
    "--licence",
    "tiers",
    type=_Choice(_TIERS),
    metavar="TIER",
    multiple=True,
    help="also bundled works, and added corpora, that are noncommercial or reserved (you must "
    "have the right to use them); may be given twice",
)


def _piece(name: str = "piece", metavar: str = "PIECE") -> _Decorator:
    return click.argument(name, type=_FILE, metavar=metavar)


def _form(json: bool, csv: bool, to: Path | None) -> str | Path:
    """The form that was asked for: 'json', 'csv', '' for reading, or a file."""
    if json + csv + (to is not None) > 1:
        raise UsageError("--csv, --json and --to are forms of one answer; choose one")
    if to is not None and to.suffix.lower() not in _TABLES:
        raise UsageError(f"{to}: a table ends in {', '.join(_TABLES)}; name it so")
    return to or ("json" if json else "csv" if csv else "")


def _tabled(function: _Function) -> Any:
    """Options for a table as text, CSV, JSON or Parquet; the function gets its `form`."""

    @functools.wraps(function)
    def run(*given: Any, json: bool, csv: bool, to: Path | None, **named: Any) -> Any:
        return function(*given, form=_form(json, csv, to), **named)

    found: Any = run
    for option in (
        _option("--to", type=_NEW, metavar="FILE",
                help="write the table, into a file that ends in .csv, .json or .parquet"),
        _JSON,
        _CSV,
    ):  # fmt: skip
        found = option(found)
    return found


def _parted(to: Iterable[Path]) -> tuple[Path | None, tuple[Path, ...]]:
    """A table among what is to be written, by its ending, and the rest."""
    tables = [each for each in to if each.suffix.lower() in _TABLES]
    if len(tables) > 1:
        raise UsageError(f"{tables[1]}: one table at a time; name one")
    return next(iter(tables), None), tuple(each for each in to if each not in tables)


def _name_written(table: Path | None, others: Iterable[Path]) -> None:
    """Name what was written beside a table; without one the answer itself names it."""
    for each in others if table else ():
        print(each)


def _words(text: str | None) -> list[str]:
    """Names that stand with commas or spaces between them."""
    return [word for word in re.split(r"[,\s]+", text or "") if word]


def _session(ranges: Path | None = None) -> Session:
    return Session(ranges=ranges)


def _beside(file: Path | None, make: Callable[[Path], Iterable[str] | None]) -> int:
    """Make the file that was asked for beside an answer, where one was, and tell its remarks.

    Where that is stopped it is told, and costs the answer nothing: 1 is returned, else 0.
    """
    try:
        for remark in (file and make(file)) or ():
            say(f"{file}: {remark}")
    except StoppedError as error:
        say(error)
        return 1
    return 0


# --- a piece of music ---------------------------------------------------------------------


@_command("compare", "say what a piece does with register, and how it compares")
@click.argument("pieces", nargs=-1, required=True, type=_FILE, metavar="PIECE...")
@_COHORT
@_flag("--as-written", "read it once through, without its repeats")
@_RANGES
@_option(
    "--report",
    type=_NEW,
    metavar="FILE",
    help="write a page to read and hand out, into a file that ends in .html or .pdf",
)
@_option(
    "--paper",
    type=_Choice(("a4", "letter")),
    metavar="a4|letter",
    help="paper size of the report (default for PDF: a4)",
)
@_option(
    "--against",
    type=_FILE,
    metavar="EARLIER",
    help="an earlier draft of the piece: what changed, and where",
)
@_NUMBER
@_flag("--full", "print everything; as a table, all measures of each piece")
@_tabled
@_TRUST
def _compare(
    pieces: tuple[Path, ...],
    cohort: str | None,
    as_written: bool,
    ranges: Path | None,
    report: Path | None,
    paper: str | None,
    against: Path | None,
    number: str | None,
    full: bool,
    form: str | Path,
) -> int:
    from corpusreg.comparison.compared import one_draft, some_readable

    brief = not (full or report or form)
    if report:
        from corpusreg.documents.layout import check_ending

        check_ending(report)
    elif paper:
        raise UsageError("--paper is for a report; add --report FILE.pdf or FILE.html")
    one_draft(pieces, against)
    some_readable([*pieces, *([against] if against else [])])
    with _session(ranges) as session:
        _with_reference(session)
        with waiting("Reading and measuring"):
            found = session.compare_all(
                list(pieces),
                cohort,
                as_written=as_written,
                against=against,
                depth="first" if brief else "all",
                number=number,
                full=full,
            )
        stopped, unread = 0, len(found.failures)
        if report and found.comparisons:
            with waiting("Writing the report"):
                stopped = _beside(report, lambda file: found.report(file, paper))
        if form:
            print_answer(found, form)
        elif report and found.comparisons and not stopped:
            works = len(found.comparisons) - (len(found.failures) - unread)
            print(f"{report}: {'a piece' if works == 1 else f'{works} pieces'}")
        elif found.comparisons:
            print_text(found.text)
    for failure in found.failures:
        say(failure)
    return 1 if found.failures or stopped else 0


@_command("map", "draw where a piece sounds, bar by bar")
@_piece()
@click.argument("other", type=_FILE, required=False, metavar="[OTHER]")
@_option(
    "--to",
    required=True,
    type=_NEW,
    metavar="FILE",
    help="the picture, which ends in .svg, .png or .pdf",
)
@_option("--part", metavar="NAME", help="name or number of a part")
@_NUMBER
@_flag("--wide", "wide, for a projector (16:9)")
def _map(
    piece: Path, other: Path | None, to: Path, part: str | None, number: str | None, wide: bool
) -> int:
    with _session() as session:
        for path in session.draw_map(piece, to, other, part=part, wide=wide, number=number):
            print(path)
    return 0


@_command("contrast", "write a piece in other registers, to hear against it")
@_piece()
@_option("--bars", metavar="A-B", help="printed bar numbers (default: all)")
@_option(
    "--how",
    type=_Choice(("settled", "narrow", "open")),
    metavar="WAY",
    default="settled",
    help="settled (each entry in the register before it, the default), narrow or open",
)
@_option(
    "--to",
    type=_NEW,
    multiple=True,
    metavar="FILE",
    help="write it, as .musicxml or .mid, or the table, as .csv, .json or .parquet; may be "
    "given several times",
)
@_option(
    "--report",
    type=_NEW,
    metavar="FILE",
    help="a page with both maps, to hear (.html), or to print (.pdf)",
)
@_NUMBER
@_RANGES
@_JSON
@_CSV
def _contrast(
    piece: Path,
    bars: str | None,
    how: Any,
    to: tuple[Path, ...],
    report: Path | None,
    number: str | None,
    ranges: Path | None,
    json: bool,
    csv: bool,
) -> int:
    from corpusreg.documents.layout import check_ending

    table, scores = _parted(to)
    form = _form(json, csv, table)
    if report:
        check_ending(report)
    with _session(ranges) as session:
        found = session.contrast(piece, how, bars=bars, to=scores, number=number)
    stopped = _beside(report, found.report)
    print_answer(found, form)
    _name_written(table, scores)
    return stopped


@_command("revise", "offer small changes toward what you want")
@_piece()
@_option(
    "--toward",
    required=True,
    metavar="INTENTION",
    help="as in 'clear before 24', 'hold bass until 24', 'lift drone at 24', 'lighter', 'move "
    "more', 'move more at 24', 'narrower in 9-16', 'give bassoon in 9-16', or what 'examples' "
    "prints: 'shift as in WORK bar 24'",
)
@_option(
    "--to",
    type=_FILE,
    multiple=True,
    metavar="FOLDER",
    help="write the options there; or the table, into a file that ends in .csv, .json or "
    ".parquet; may be given twice",
)
@_COHORT
@_NUMBER
@_RANGES
@_JSON
@_CSV
def _revise(
    piece: Path,
    toward: str,
    to: tuple[Path, ...],
    cohort: str | None,
    number: str | None,
    ranges: Path | None,
    json: bool,
    csv: bool,
) -> int:
    from corpusreg.comparison.compared import some_readable
    from corpusreg.revision.intentions import intention

    table, folders = _parted(to)
    form = _form(json, csv, table)
    if len(folders) > 1:
        raise UsageError(f"{folders[1]}: the options go to one folder; name one")
    intention(toward)  # what it says is seen before anything is built
    some_readable([piece])
    with _session(ranges) as session:
        _with_reference(session)
        with waiting("Looking for changes"):
            found = session.revise(
                piece, toward, to=next(iter(folders), None), cohort=cohort, number=number
            )
    print_answer(found, form)
    _name_written(table, folders)
    return 0


@_command("heights", "say how high a passage lies on each instrument")
@_piece()
@_option("--bars", required=True, metavar="A-B", help="printed bar numbers, as in 5-8")
@_option("--part", metavar="NAME", help="name or number of a part, where there are several")
@_option(
    "--on",
    metavar="A,B",
    help="instruments, as in flute,bassoon (default: those of the piece)",
)
@_option(
    "--level",
    type=_Choice(("student", "professional")),
    metavar="LEVEL",
    help="student or professional (default: both of them)",
)
@_NUMBER
@_RANGES
@_option(
    "--picture",
    type=_NEW,
    metavar="FILE",
    help="draw it too, into a file that ends in .png, .svg or .pdf",
)
@_tabled
def _heights(
    piece: Path,
    bars: str,
    part: str | None,
    on: str | None,
    level: Any,
    number: str | None,
    ranges: Path | None,
    picture: Path | None,
    form: str | Path,
) -> int:
    if picture:
        from corpusreg.documents.figures.heights import check_picture

        check_picture(picture)
    names = [name.strip() for name in (on or "").split(",") if name.strip()]
    with _session(ranges) as session:
        found = session.heights(piece, bars, part=part, on=names, level=level, number=number)
    stopped = _beside(picture, found.draw)
    print_answer(found, form)
    return stopped


@_command("ranges", "list the ranges of instruments, and their sources")
@click.argument("instrument", required=False, metavar="[INSTRUMENT]")
@_RANGES
@_tabled
def _ranges(instrument: str | None, ranges: Path | None, form: str | Path) -> int:
    print_answer(_session(ranges).ranges(instrument), form)
    return 0


# --- a class ------------------------------------------------------------------------------


@_command("handout", "make sheets for a class, and one for its teacher")
@_piece("folder", "CLASS_FOLDER")
@_option("--to", type=_FILE, required=True, metavar="OUT_FOLDER", help="where the sheets go")
@_option("--measures", metavar="A,B", help="measures to show, as in span,shift_rate")
@_option(
    "--roster",
    type=_FILE,
    metavar="FILE.csv",
    help="who wrote which piece, a table with the columns file, name, code",
)
@_flag("--codes", "print the roster's codes and keep names out")
@_option(
    "--paper",
    type=_Choice(("a4", "letter")),
    metavar="a4|letter",
    default="a4",
    help="size of the sheets",
)
@_COHORT
@_option(
    "--asked",
    metavar="WHAT",
    help="the task set for everyone, as in withheld_bass:16 or shift:2",
)
@_option("--save", type=_NEW, metavar="FILE", help="save the class, as in NAME.class.json")
@_option("--earlier", type=_FILE, metavar="FILE", help="a class saved before, to compare with")
@_option(
    "--workers",
    type=click.IntRange(min=1),
    default=2,
    metavar="N",
    help="processes at once (default 2)",
)
def _handout(
    folder: Path,
    to: Path,
    measures: str | None,
    roster: Path | None,
    codes: bool,
    paper: Any,
    cohort: str | None,
    asked: str | None,
    save: Path | None,
    earlier: Path | None,
    workers: int,
) -> int:
    from corpusreg.comparison.class_file import Settings, saved
    from corpusreg.comparison.class_piece import assignment
    from corpusreg.comparison.compared import some_readable

    if not folder.is_file():
        some_readable([folder])
    device, _, more = (asked or "").partition(":")
    own = Settings(asked=assignment(device, more, more)) if asked else None
    names: Any = _words(measures) or None
    with _session() as session:
        _with_reference(session)
        before = session.open_class(earlier) if earlier else None
        with waiting("Measuring the pieces and setting the sheets") as told:
            made = session.make_handout(
                folder, to, roster,
                measures=names, codes=codes, paper=paper, cohort=cohort, workers=workers,
                settings=own, earlier=before, on_piece=told,
            )  # fmt: skip
    if save:
        saved(made.saved, save)
    sheets = "1 sheet" if made.pieces == 1 else f"{made.pieces} sheets"
    print(f"{to}: {sheets}, an overview, and a sheet for the teacher")
    for line in (*made.remarks, *made.problems):
        say(line)
    return 1 if made.problems else 0


@_command("room", "open it all in a browser: class, reports, handouts")
@_option(
    "--port",
    type=click.IntRange(min=1),
    default=None,
    metavar="N",
    help="its port (default: a free one)",
)
@_flag("--no-browser", "print the address only, and open no browser")
def _room(port: int | None, no_browser: bool) -> int:
    from corpusreg.room.app import serve

    for name in _ENDINGS:
        found = getattr(signal, name, None)
        # What is ignored from outside, as by nohup, stays so.
        if found is not None and signal.getsignal(found) != signal.SIG_IGN:
            signal.signal(found, _end)
    with contextlib.suppress(KeyboardInterrupt):
        serve(port or 0, browser=not no_browser, on_open=_say_where)
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


@_command("demo", "compare the eight pieces of an invented class")
@_WORKERS
@_LICENCE
def _demo(workers: int | None, tiers: tuple[str, ...]) -> int:
    from corpusreg.demonstration import measured_text

    with _session() as session:
        _with_reference(session, workers=workers, tiers=tiers)
        with waiting("Reading and measuring"):
            text = session.demo()
    print_text(text)
    sys.stdout.flush()
    with Stages() as stages:
        told = measured_text(workers=workers, on_progress=stages.measured)
    print(f"\n{told}")
    return 0


# --- the repertoire -----------------------------------------------------------------------


@_command("profiles", "list groups of works that use register alike")
@_tabled
def _profiles(form: str | Path) -> int:
    with _session() as session:
        print_answer(session.profiles(), form)
    return 0


@_command("examples", "find passages to learn from")
@click.argument("kind", required=False, metavar="[KIND]")
@_option(
    "--library",
    type=_FILE,
    metavar="FILE.csv",
    help="show the passages of a table that 'examples all --to FILE.csv' wrote and you edited: "
    "take rows out, write in the column note, add rows of your own (kind and title at least)",
)
@_option("--ensemble", metavar="NAME", help="only works for this ensemble")
@_option("--period", metavar="NAME", help="only works of this period")
@_option(
    "--difficulty",
    metavar="LEVEL",
    help="easy, middle or hard: by range and notes a bar among works for the same ensemble",
)
@_option("--licence", metavar="TIER", help="only scores of this licence tier, such as open")
@_option(
    "--count",
    type=int,
    metavar="N",
    help="how many (default: 5, and 200 of KIND 'all')",
)
@_option(
    "--report",
    type=_NEW,
    metavar="FILE",
    help="write a page, into a file that ends in .html or .pdf",
)
@_tabled
def _examples(
    kind: Any,
    library: Path | None,
    ensemble: str | None,
    period: str | None,
    difficulty: Any,
    licence: Any,
    count: int | None,
    report: Path | None,
    form: str | Path,
) -> int:
    from corpusreg.documents.layout import check_ending

    if form and report:
        raise UsageError("--report and the form of a table are two answers; choose one")
    chosen = (kind, ensemble, period, difficulty, licence, count)
    if library and any(each is not None for each in chosen):
        raise UsageError("--library shows a table as it is; leave KIND and the filters out")
    with _session() as session:
        if report:
            check_ending(report)
        if library:
            found = session.library(library)
            for failure in found.failures:
                say(failure)
        elif kind is None:
            print_answer(session.example_kinds(), form)
            return 0
        else:
            found = session.examples(
                kind, ensemble=ensemble, period=period, difficulty=difficulty,
                licence=licence, count=count,
            )  # fmt: skip
        passages = found.result.passages
        if report and passages:
            for remark in found.report(report):
                say(f"{report}: {remark}")
            print(f"{report}: {len(passages)} passages")
        else:
            print_answer(found, form)
    return 0 if passages else 1


@_command("table", "show a measure by period, ensemble, composer or corpus", after=_MEASURES)
@click.argument("measure", metavar="MEASURE")
@_option("--by", required=True, metavar="GROUP", help="period, ensemble, composer or corpus")
@_tabled
def _table(measure: Any, by: Any, form: str | Path) -> int:
    with _session() as session:
        print_answer(session.table(measure, by), form)
    return 0


@_command("periods", "say what differs between periods, and whether it holds", after=_MEASURES)
@click.argument("measures", nargs=-1, metavar="[MEASURE...]")
@_option("--ensemble", metavar="KIND", help="works for one ensemble only, as in piano")
@_option(
    "--report",
    type=_NEW,
    metavar="FILE",
    help="write the answer as a page with pictures, FILE.html or FILE.pdf",
)
@_tabled
def _periods(
    measures: tuple[Any, ...],
    ensemble: str | None,
    report: Path | None,
    form: str | Path,
) -> int:
    from corpusreg.documents.layout import check_ending

    if report:
        check_ending(report)
    with _session() as session, waiting("Testing"):
        found = session.periods(measures, ensemble)
        remarks = found.report(report) if report else ()
    if report:
        for remark in remarks:
            say(f"{report}: {remark}")
        print(report)
    else:
        print_answer(found, form)
    return 0


@_command("atlas", "draw sheets for the wall: ensembles, periods, instruments")
@_option(
    "--to",
    required=True,
    type=_FILE,
    metavar="FOLDER",
    help="where the sheets go (PDF, PNG, SVG), with a page of all of them",
)
def _atlas(to: Path) -> int:
    with _session() as session, waiting("Drawing"):
        written = session.atlas(to)
    for path in written:
        print(path)
    return 0


@_command("query", "ask the reference a question, ready-made or in SQL")
@click.argument("name", required=False, metavar="[NAME|FILE.sql]")
@click.argument("values", nargs=-1, metavar="[PARAMETER=VALUE...]")
@_tabled
def _query(name: str | None, values: tuple[str, ...], form: str | Path) -> int:
    given = {}
    for pair in values:
        parameter, sign, value = pair.partition("=")
        if not sign:
            raise UsageError(f"'{pair}' is not understood; write PARAMETER=VALUE")
        given[parameter] = value
    with _session() as session:
        print_answer(session.ask(name, given) if name else session.queries(), form)
    return 0


@app.group(
    "reference", cls=_Named, invoke_without_command=True,
    help="Say what pieces are compared with: works, sources, gaps.",
    subcommand_metavar="[ACTION ...]",
)  # fmt: skip
@_tabled
@click.pass_context
def _reference(ctx: click.Context, form: str | Path) -> int:
    if ctx.invoked_subcommand is None:
        with _session() as session:
            print_answer(session.reference_sheet(), form)
    return 0


@_command("export", "write it as Parquet, for R, pandas and DuckDB", of=_reference)
@_piece("folder", "FOLDER")
def _reference_export(folder: Path) -> int:
    with _session() as session:
        print(f"{session.export_reference(folder)}: see SCHEMA.md there for the columns")
    return 0


@_command("import", "use a reference that was exported", of=_reference)
@_piece("folder", "FOLDER")
def _reference_import(folder: Path) -> int:
    say(f"in use now: {_session().import_reference(folder)}")
    return 0


# --- scores and the reference -------------------------------------------------------------


@app.group(
    "corpora", cls=_Named, help="List, fetch and add scores, with their licences.",
    invoke_without_command=True, subcommand_metavar="ACTION ...",
)  # fmt: skip
@click.pass_context
def _corpora(ctx: click.Context) -> None:
    """Open corpora and your own folders; without an action their list."""
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


@_command("list", "works by collection and licence, and why", of=_corpora)
@_tabled
def _corpora_list(form: str | Path) -> int:
    from corpusreg.answers import Rows

    rows, others = _session().corpora()
    corpora = []
    for entry, added in others:
        state = f"added, {added.path}" if added else _how(entry)
        name = entry.name if entry else added.name if added else ""
        tier = "each its own" if _each_its_own(entry) else entry.tier if entry else "yours"
        corpora.append((name, tier, entry.files if entry and entry.files else None, state))
    names = ["collection", "licence tier", "files", "works", "why"]
    if form:
        every: list[tuple[Any, ...]] = [
            (r.name, r.tier, r.files, r.works, r.reason) for r in rows
        ]
        every += [(name, tier, files, None, state) for name, tier, files, state in corpora]
        print_answer(Rows(names, every), form)
        return 0
    reasons = {
        reason: str(n) for n, reason in enumerate(dict.fromkeys(r.reason for r in rows), 1)
    }
    print_rows(
        Rows(names, [(r.name, r.tier, r.files, r.works, reasons[r.reason]) for r in rows])
    )
    print()
    print_rows(
        Rows(["why", "what the files or the package say"], [(n, r) for r, n in reasons.items()])
    )
    totals: dict[str, int] = {}
    for row in rows:
        totals[row.tier] = totals.get(row.tier, 0) + row.works
    print("\nWorks in all: " + ", ".join(f"{count:,} {tier}" for tier, count in totals.items()))
    print("The reference takes open and permitted; 'extract --licence TIER' adds the others.")
    print("\nOther corpora; 'corpora show NAME' tells more.\n")
    print_rows(Rows(["corpus", "licence tier", "files", "state"], corpora))
    return 0


def _how(entry: Entry | None) -> str:
    return f"corpora get {entry.name}" if entry and entry.on else "not fetched"


def _each_its_own(entry: Entry | None) -> bool:
    """Whether the works of a corpus are under licences of their own."""
    return entry is not None and entry.on and entry.tier not in entry.allowed


@_command("get", "fetch an open corpus of the catalogue, and measure it", of=_corpora)
@click.argument("corpus", metavar="NAME")
@_WORKERS
@_TRUST
def _corpora_get(corpus: str, workers: int | None) -> int:
    with Stages() as stages:
        change = _session().get_corpus(
            corpus, workers=workers, on_fetch=stages.fetched, on_progress=stages.measured
        )
    return _tell(change)


@_command("add", "measure a folder of scores, or what has changed in it", of=_corpora)
@_piece("path", "PATH")
@_option(
    "--name",
    help="what to call it (default: as the folder); the name of a corpus of the catalogue "
    "says that this is that corpus",
)
@_WORKERS
@_TRUST
def _corpora_add(path: Path, name: str | None, workers: int | None) -> int:
    with Stages() as stages:
        change = _session().add_corpus(path, name, workers=workers, on_progress=stages.measured)
    return _tell(change)


@_command("template", "write a metadata table for a folder, to be filled in", of=_corpora)
@_piece("path", "PATH")
def _corpora_template(path: Path) -> int:
    written = _session().corpus_template(path)
    print(f"Wrote {written}. Fill in what you know, then 'corpusreg corpora add {path}'.")
    return 0


@_command("show", "one corpus: licence, source, what was left out and why", of=_corpora)
@click.argument("corpus", metavar="NAME")
@_tabled
def _corpora_show(corpus: str, form: str | Path) -> int:
    from corpusreg.answers import Rows

    shown = _session().show_corpus(corpus)
    for problem in shown.problems:
        say(problem)
    entry = shown.entry
    lines = [("corpus", shown.name)]
    if entry is not None:
        lines += [
            ("title", entry.title),
            ("holds", entry.holds),
            ("licence", f"{entry.tier}: {entry.statement}"),
            ("evidence", entry.evidence),
            ("source", entry.repository or "not fetched by corpusreg"),
            ("revision", entry.revision or "none"),
            ("years", entry.dates),
            ("expected", f"{entry.files:,} files" if entry.files else "not counted"),
        ]
        lines += [("excluded", f"{glob}: {why}") for glob, why in entry.exclude]
        lines += [] if shown.added else [("to get it", _to_get(entry))]
    else:
        lines += [("licence", "your own choice; nothing is left out")]
    if shown.added:
        lines += [
            ("folder", str(shown.added.path)),
            ("files", f"{shown.files:,} to measure"),
            *(("left out", f"{count:,}: {reason}") for reason, count in shown.left_out),
            ("reference", f"{shown.works:,} works by {shown.composers:,} composers"),
            ("not read", f"{shown.failed:,}"),
        ]
    if form:
        print_answer(Rows(("about", "what"), lines), form)
        return 0
    for name, text in lines:
        print(*wrap(text, " " * 11, f"{name:<11}"), sep="\n")
    return 0


def _to_get(entry: Entry) -> str:
    fetched = f"corpusreg corpora get {entry.name}, or " if entry.on else ""
    return fetched + entry.instructions


@_command("remove", "take the works of a corpus out of the reference", of=_corpora)
@click.argument("corpus", metavar="NAME")
@_WORKERS
def _corpora_remove(corpus: str, workers: int | None) -> int:
    with Stages() as stages:
        change = _session().remove_corpus(corpus, workers=workers, on_progress=stages.measured)
    print(f"Corpus '{change.name}' is removed.", end=" ")
    print(f"Deleted {change.deleted}." if change.deleted else "Its folder was not touched.")
    if change.built:
        print(f"Reference {change.built.reference_id}: {change.built.works:,} works.")
    return 0


@_command("coverage", "where the reference is thin, and what would help", of=_corpora)
@_tabled
def _corpora_coverage(form: str | Path) -> int:
    with _session() as session:
        print_answer(session.coverage(), form)
    return 0


@_command("duplicates", "the same music found twice, and which copy counts", of=_corpora)
@_tabled
def _corpora_duplicates(form: str | Path) -> int:
    with _session() as session:
        print_answer(session.duplicates(), form)
    return 0


def _tell(change: CorpusChange) -> int:
    built = change.built
    for problem in built.problems if built else ():
        say(problem)
    if built is None:
        print(f"Corpus '{change.name}': nothing has changed; {change.works:,} works.")
    else:
        print(
            f"Corpus '{change.name}': {change.works:,} works in the reference "
            f"({built.measured:,} files measured, {built.kept:,} kept from before, of all "
            "corpora together)."
        )
    for reason, count in change.left_out:
        print(f"Left out: {count:,} ({reason}).")
    if built and built.failed:
        print(f"{built.failed:,} could not be read; see 'corpusreg query failures_by_reason'.")
    return 0


@_command("extract", "measure many scores, and make them the reference")
@click.argument("corpora", nargs=-1, metavar="[CORPUS...]")
@_WORKERS
@_LICENCE
@_TRUST
@_flag("--fresh", "measure everything again, even what has not changed")
@_option(
    "--cluster",
    metavar="ADDRESS",
    help="measure on the workers of a Dask scheduler, as in tls://10.0.0.5:8786; with tcp:// "
    "anyone who reaches it can run programs on the workers",
)
@_option(
    "--shards",
    metavar="URL",
    help="store what is measured there too, and use what is stored there: a folder, "
    "s3://bucket/shards, or sftp://host/shards",
)
def _extract(corpora: tuple[str, ...], **given: Any) -> int:
    _build(_session(), sys.stdout, corpora, **given)
    return 0


_extract.help = (
    "Measure many scores; the result is the reference.\n\nCORPUS is 'bundled' (the scores "
    "inside music21), the name of an added corpus, or a folder of scores; those named together "
    "make the reference, and nothing else (default: all added corpora, on top of the "
    "reference that comes with corpusreg)."
)


def _build(
    session: Session,
    out: Any,
    corpora: Sequence[str] = (),
    *,
    tiers: Iterable[str] = (),
    **given: Any,
) -> None:
    """Build a reference; out: where the result is told."""
    from corpusreg.building.build import DEFAULT_TIERS

    address = given.get("cluster")
    if address:
        from corpusreg.building.cluster import protected

        if not protected(address):
            say(
                f"{address} checks nobody's identity: anyone who reaches it can run programs "
                "on every worker; on a shared network use tls:// (guide, 'Many scores')"
            )
    wanted: Any = (*DEFAULT_TIERS, *tiers)
    with Stages() as stages:
        built = session.extract(corpora, tiers=wanted, on_progress=stages.measured, **given)
    for problem in built.problems:
        say(problem)
    print(
        f"Reference {built.reference_id}: {built.works:,} works "
        f"({built.measured:,} files measured, {built.kept:,} kept from before, "
        f"{built.failed:,} could not be read"
        + ("; see 'corpusreg query failures_by_reason')" if built.failed else ")"),
        file=out,
    )
    for corpus, reason, count in built.left_out:
        print(f"Left out of corpus '{corpus}': {count:,} ({reason}).", file=out)


def _with_reference(session: Session, **given: Any) -> None:
    """Build the reference where there is none yet; standard output is the command's own."""
    if not session.has_reference:
        print("No reference yet: measuring the bundled corpus first.", file=sys.stderr)
        _build(session, sys.stderr, **given)


@_command("check", "say which reference is in use, and whether all is well")
@_tabled
def _check(form: str | Path) -> int:
    from corpusreg.terminal import print_answer

    found = _session().check()
    print_answer(found, form)
    return 0 if found.document["ok"] else 1


@_command("completion", "print a script that lets a shell complete commands")
@click.argument("shell", type=_Choice(("bash", "zsh", "fish")), metavar="bash|zsh|fish")
def _completion(shell: str) -> int:
    from click.shell_completion import get_completion_class

    maker = get_completion_class(shell)
    if maker is None:
        raise UsageError(f"no completion for {shlex.quote(shell)}")
    print(maker(app, {}, "corpusreg", _COMPLETE).source())
    return 0


if __name__ == "__main__":
    sys.exit(main())
