"""The server of the room: what each address shows, what each form sets going, who may ask.

This page in a browser on this computer may ask, and no other site. A foreign site can make a
browser send requests here. It cannot make it name this host (unless its own name is made to
point here, so the name is checked), it cannot hide that the request comes from elsewhere, and
it does not know the sign that every form carries.
"""

from __future__ import annotations

import csv
import io
import re
import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import IO, Any, cast

from flask import Flask, Response, abort, redirect, render_template, request, send_file, url_for
from werkzeug.datastructures import FileStorage
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge
from werkzeug.serving import WSGIRequestHandler, make_server
from werkzeug.wrappers import Response as AnyResponse

from corpusreg.comparison.class_file import ENDING, encoded
from corpusreg.comparison.class_piece import ASKED, DEVICES, Assignment, Correction, assignment
from corpusreg.comparison.classroom import Class, since
from corpusreg.comparison.examples import KINDS
from corpusreg.documents.handout.dots import piles
from corpusreg.documents.handout.reading import class_of
from corpusreg.documents.pictures import look
from corpusreg.norms.cohorts import misfit
from corpusreg.norms.reference import Rung
from corpusreg.room.changes import WAYS, TaskResult
from corpusreg.room.desk import Desk
from corpusreg.room.piles import FilledForm, Pile, PilePiece, PileWork
from corpusreg.room.uploads import FILES, MEGABYTE, PER_FILE, TOTAL, clean
from corpusreg.room.wants import Model, bars, fitting, models, parts_to_give, wanted
from corpusreg.score.formats import FORMATS
from corpusreg.session import Session, Way
from corpusreg.system.errors import CorpusregError, UsageError
from corpusreg.system.phrases import capital
from corpusreg.text.classroom import (
    RULE,
    assignment_answer,
    assignment_words,
    correction_words,
    device_words,
    line_words,
    misfit_words,
    named,
    shared_words,
    since_words,
)
from corpusreg.text.measures import title

__all__ = ["FOR_PAGES", "FOR_REPORTS", "check", "headers", "room", "same", "serve"]

_FORM = 2**20  # bytes of a request beside its files
_FIELD = 200  # letters of one field
_PARTS = FILES + 50  # parts of a request: files and fields
_NAMES = 2 * FILES + 50  # the same where a name and a code are given for every file
_FIT, _FIT_SOME = "For the same players", "For the players of some of the pieces"
_FIT_NONE = "For other players: a comparison says little"
_FEW = 10  # works from which a group is offered for choosing
_PAPERS = ("a4", "letter")

# What the pages ask for, by the name of the form.
_FORMS = (
    "compare", "names", "draft", "contrast", "revise", "handouts", "correct", "assign",
    "beside",
)  # fmt: skip


class _RefusedError(CorpusregError):
    """A request that is not served; told with 403 where others are told with 400."""


def room(desk: Desk, port: int) -> Flask:
    """The application for a desk, at a port of this computer."""
    app = Flask("corpusreg.room", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = TOTAL + _FORM
    app.config["MAX_FORM_PARTS"] = _PARTS
    token = secrets.token_urlsafe(24)
    app.template_filter("sentence")(_sentence)
    app.template_filter("capital")(capital)
    style, script = _style(), _text("corpusreg.room", "room.js")

    @app.before_request
    def admit() -> None:
        try:
            origin, site = map(request.headers.get, ("Origin", "Sec-Fetch-Site"))
            check(request.method, request.headers.get("Host", ""), origin, site, port)
        except UsageError as error:
            raise _RefusedError(str(error)) from error
        if request.endpoint == "names":
            request.max_form_parts = _NAMES
        if request.method == "POST" and not same(request.form.get("token", ""), token):
            raise _RefusedError(
                "this page is from an earlier run; open the room again and repeat"
            )

    @app.after_request
    def protect(response: Response) -> Response:
        policy = response.headers.get("Content-Security-Policy", FOR_PAGES)
        response.headers.update(headers(policy))
        return response

    @app.context_processor
    def known() -> dict[str, object]:
        limits = {"file": PER_FILE, "total": TOTAL, "files": FILES, "mb": MEGABYTE} | {
            "field": _FIELD
        }
        return {"token": token, "limits": limits, "endings": sorted(FORMATS), "kept": ENDING}

    @app.get("/style.css")
    def styles() -> Response:
        return Response(style, mimetype="text/css")

    @app.get("/room.js")
    def scripts() -> Response:
        return Response(script, mimetype="text/javascript")

    @app.get("/icon.svg")
    def icon() -> Response:
        return Response(_text("corpusreg.room", "icon.svg"), mimetype="image/svg+xml")

    _problems(app, desk)
    _entry(app, desk)
    _pile_pages(app, desk)
    _score_pages(app, desk)
    _teacher_pages(app, desk)
    _pile_files(app, desk)
    return app


def _text(package: str, name: str) -> str:
    return files(package).joinpath("assets", name).read_text(encoding="utf-8")


def _style() -> str:
    """The look of the reports, and what only the room has."""
    parts = (
        look.css(),
        _text("corpusreg.documents", "page.css"),
        _text("corpusreg.room", "room.css"),
    )
    return "\n".join(parts)


def _sentence(problem: object) -> str:
    """A problem as a sentence on a page; a file's name keeps its small letter.

    >>> _sentence("no score"), _sentence("a.mid: no notes")
    ('No score.', 'a.mid: no notes.')
    """
    line = " ".join(str(problem).split()).rstrip(".")
    first = line.partition(" ")[0]
    return f"{line if '.' in first or ':' in first else capital(line)}."


def _problems(app: Flask, desk: Desk) -> None:
    """Every problem is one line: on the page that was left, or plain for its script."""

    def told(problem: object, code: int) -> tuple[str, int] | Response:
        line = _sentence(problem)
        if request.accept_mimetypes.best == "text/plain":
            return Response(line, code, mimetype="text/plain")
        pile = desk.piles.get((request.view_args or {}).get("key", ""))
        if code in (403, 413) or request.method != "POST":
            return render_template("problem.html", line=line, pile=pile), code
        if request.endpoint in _FORMS and pile is not None:
            return _page_of(pile, _asked(), line), code
        if request.endpoint == "give":
            return _start_page(desk, line), code
        return render_template("problem.html", line=line, pile=pile), code

    @app.errorhandler(CorpusregError)
    def ours(error: CorpusregError) -> tuple[str, int] | Response:
        line = " ".join(str(error).split()).removeprefix("--toward ")
        return told(line, 403 if isinstance(error, _RefusedError) else 400)

    @app.errorhandler(RequestEntityTooLarge)
    def too_much(_: RequestEntityTooLarge) -> tuple[str, int] | Response:
        # Of a form without scores werkzeug refuses one thing beside its size: long fields.
        if request.endpoint != "give" and (request.content_length or 0) <= _FORM:
            return told("too much text in one field; shorten it", 413)
        return told(
            f"more than {TOTAL // MEGABYTE} MB or {FILES} files at once; give fewer scores", 413
        )

    @app.errorhandler(HTTPException)
    def other(error: HTTPException) -> tuple[str, int] | Response:
        if error.code == 404:
            return told("these scores are no longer here; give them again", 404)
        return told(
            "this request makes no sense here; go back and try again", error.code or 400
        )

    @app.errorhandler(Exception)
    def fault(error: Exception) -> tuple[str, int] | Response:
        name = type(error).__name__
        return told(f"corpusreg is at fault here ({name}); go back and try again", 500)


def _asked() -> FilledForm:
    """The form that this request sends."""
    fields = {name: value[:_FIELD] for name, value in request.form.items() if name != "token"}
    return FilledForm(request.endpoint or "", fields)


def _field(name: str, words: str) -> str:
    """A field of the form, without blanks around it. words: what the page calls it."""
    text = request.form.get(name, "").strip()
    if len(text) > _FIELD:
        raise UsageError(f"{words}: longer than {_FIELD} letters; write less")
    return text


def _start_page(desk: Desk, problem: str = "") -> str:
    found = Session().reference_state()
    works = f"{found['counts']['counted']:,}" if found["ok"] else ""
    return render_template(
        "start.html", reference=found, works=works, state=desk.measuring,
        open=list(desk.piles.values()), full=desk.full, problem=problem,
    )  # fmt: skip


def _page_of(pile: Pile, asked: FilledForm | None, problem: str) -> str:
    """The page on which a form stands: that of the class, or of one piece."""
    place = _place(pile, asked.fields) if asked else None
    if len(pile.pieces) > 1 and place is None:
        return _class_page(pile, asked, problem)
    return _piece_page(pile, place or 0, asked, problem)


def _place(pile: Pile, fields: Mapping[str, str]) -> int | None:
    """The place of the piece that a form is about, None for the class."""
    text = fields.get("piece", "")
    return int(text) if text.isdecimal() and int(text) < len(pile.pieces) else None


def _news(pile: Pile, place: int | None) -> str:
    """What was done last, where it was asked for on this page: of the class, or of a piece."""
    asked = _place(pile, pile.asked.fields) if pile.asked else None
    return pile.news if len(pile.pieces) == 1 or asked == place else ""


def _address(pile: Pile) -> str:
    """Where a form leads when it is sent: to the page on which it stands."""
    place = _place(pile, request.form)
    if place is None or len(pile.pieces) == 1:
        return url_for("pile", key=pile.key)
    return url_for("piece", key=pile.key, number=place)


def _class_page(pile: Pile, asked: FilledForm | None, problem: str) -> str:
    doing = pile.doing  # asked first: what is done afterwards is seen at the next question
    group = pile.group
    return render_template(
        "class.html", doing=doing, pile=pile, asked=asked, problem=problem, group=group,
        news=_news(pile, None),
        groups=_groups(pile), rule=RULE, shared=shared_words(group),
        misfit=misfit_words, device=device_words, line=line_words, title=title, named=named,
        tasks=ASKED, task=assignment_words, answer=assignment_answer, Assignment=Assignment,
        labels=_longest(group), piles=piles, own=pile.settings,
        otherwise=since_words(since(class_of(pile.earlier), group)) if pile.earlier else (),
    )  # fmt: skip


def _piece_page(pile: Pile, number: int, asked: FilledForm | None, problem: str) -> str:
    doing, piece = pile.doing, pile.pieces[number]
    works = [(place, each) for place, each in enumerate(pile.works) if each.piece == number]
    longest = max(piece.works, key=lambda each: len(each.labels), default=None)
    passages: Mapping[str, tuple[Model, ...]] = {}
    if longest:
        passages = models(Session().reference_state().get("reference_id", ""), longest.kind)
    members = [each for each in pile.group.members if each.piece.file == piece.file]
    return render_template(
        "piece.html", doing=doing, members=members, devices=DEVICES, device=device_words,
        changed=correction_words,
        corrections=[
            (n, each) for n, each in enumerate(pile.settings.corrections)
            if each.file == piece.file
        ], pile=pile, piece=piece, number=number, works=works,
        asked=asked, problem=problem, news=_news(pile, number),
        groups=_groups(pile, number), ways=WAYS,
        wants=fitting(piece.works), lines=parts_to_give(piece.works),
        labels=longest.labels if longest else (), models=passages, kinds=KINDS,
        misfit=misfit_words,
    )  # fmt: skip


def _entry(app: Flask, desk: Desk) -> None:
    """The first page: give scores, go back to some, or measure a reference first."""

    @app.get("/")
    def start() -> str:
        return _start_page(desk)

    @app.post("/reference")
    def measure() -> AnyResponse:
        desk.measure()
        return redirect(url_for("start"), 303)

    @app.post("/scores")
    def give() -> AnyResponse:
        given = [
            (each.filename or "", each.stream)
            for each in request.files.getlist("scores")
            if each.filename
        ]
        return redirect(url_for("pile", key=desk.add(given).key), 303)

    @app.post("/scores/<key>/away")
    def away(key: str) -> AnyResponse:
        desk.put_away(_free(desk, key))
        return redirect(url_for("start"), 303)


def _pile_pages(app: Flask, desk: Desk) -> None:
    """What was given: the class, its pieces, other works to compare with, handouts."""

    @app.get("/scores/<key>")
    def pile(key: str) -> str:
        found = _pile(desk, key)
        about = found.asked and _place(found, found.asked.fields)
        if len(found.pieces) > 1 and about is not None:  # it is told on the piece's page
            return _class_page(found, None, "")
        return _page_of(found, found.asked, found.problem and _sentence(found.problem))

    @app.get("/scores/<key>/piece/<int:number>")
    def piece(key: str, number: int) -> str:
        found = _pile(desk, key)
        if number >= len(found.pieces):
            abort(404)
        asked = found.asked
        if asked is None or _place(found, asked.fields) != number:
            return _piece_page(found, number, None, "")
        return _piece_page(found, number, asked, found.problem and _sentence(found.problem))

    @app.post("/scores/<key>/compare")
    def compare(key: str) -> AnyResponse:
        found = _free(desk, key)
        place, cohort = _place(found, request.form), request.form.get("cohort", "")
        known = {each.value for several in _groups(found).values() for each in several}
        if cohort and cohort not in known:
            raise UsageError("these works are not in the reference; choose among those listed")
        places = [*range(len(found.pieces))] if place is None else [place]
        if cohort and request.form.get("where") == "fitting":
            places = [n for n in places if _fits(found.pieces[n], cohort)]
            if not places:
                raise UsageError("these works fit none of the pieces; choose others")
        desk.compare(found, cohort, places, _asked())
        return redirect(_address(found), 303)

    @app.post("/scores/<key>/handouts")
    def handouts(key: str) -> AnyResponse:
        found = _free(desk, key)
        paper = request.form.get("paper", "")
        if paper not in _PAPERS:
            raise UsageError(f"the paper is one of {' and '.join(_PAPERS)}; choose one")
        codes = "codes" in request.form
        desk.make_sheets(found, _given("text"), codes=codes, paper=paper, asked=_asked())
        return redirect(_address(found), 303)


def _score_pages(app: Flask, desk: Desk) -> None:
    """What is done with one score: an earlier draft, other registers, small changes."""

    @app.post("/scores/<key>/draft")
    def draft(key: str) -> AnyResponse:
        found = _free(desk, key)
        earlier = request.files.get("earlier")
        if earlier is None or not earlier.filename:
            raise UsageError("no file was given; choose the earlier draft")
        draft = earlier.filename, earlier.stream
        desk.set_against(found, _chosen(found).file, *draft, _asked())
        return redirect(_address(found), 303)

    @app.post("/scores/<key>/contrast")
    def contrast(key: str) -> AnyResponse:
        found, how = _free(desk, key), request.form.get("how", "")
        if how not in WAYS:
            raise UsageError(f"the way is one of {', '.join(WAYS)}; choose one")
        first, last = _field("first", "the first bar"), _field("last", "the last bar")
        run = bars({"first": first, "last": last})
        way = cast("Way", how)  # it is one of WAYS, as asked above
        desk.contrast(found, _chosen(found), way, run, _asked())
        return redirect(_address(found), 303)

    @app.post("/scores/<key>/revise")
    def revise(key: str) -> AnyResponse:
        found = _free(desk, key)
        names = ("want", "bar", "first", "last", "model", "part")
        toward = wanted({name: _field(name, f"the {name}") for name in names})
        desk.revise(found, _chosen(found), toward, _asked())
        return redirect(_address(found), 303)


def _teacher_pages(app: Flask, desk: Desk) -> None:
    """What a teacher says of the class: of events, of what all were asked to do, of a term."""

    @app.post("/scores/<key>/correct")
    def correct(key: str) -> AnyResponse:
        found, form = _free(desk, key), request.form
        undo = form.get("undo", "")
        if undo.isdecimal():
            desk.take_back(found, int(undo))
            found.asked = _asked()
            return redirect(_address(found), 303)
        work = _chosen(found)
        own = _field("name", "the name")
        change = Correction(
            work.file, work.number, _field("event", "the event"), form.get("what") == "strike",
            own or _field("device", "the kind"), _field("first", "the first bar"),
            _field("last", "the last bar"),
        )  # fmt: skip
        if not change.event and not change.first:
            raise UsageError("this needs bars; choose from which bar")
        desk.correct(found, change)
        found.asked = _asked()
        return redirect(_address(found), 303)

    @app.post("/scores/<key>/names")
    def names(key: str) -> AnyResponse:
        found = _free(desk, key)
        called = _field("class", "the name of the class")
        desk.set_names(found, _given("roster") or _names_given(found), _asked())
        found.called = clean(called) if called else found.called
        return redirect(_address(found), 303)

    @app.post("/scores/<key>/assign")
    def assign(key: str) -> AnyResponse:
        found, device = _free(desk, key), _field("device", "what was asked")
        bar, number = _field("bar", "the bar"), _field("number", "the number")
        desk.assign(found, assignment(device, bar, number) if device else None)
        found.asked = _asked()
        return redirect(_address(found), 303)

    @app.post("/scores/<key>/beside")
    def beside(key: str) -> AnyResponse:
        found, earlier = _free(desk, key), request.files.get("earlier")
        if earlier is None or not earlier.filename:
            raise UsageError("no file was given; choose a class that was saved before")
        desk.set_beside(found, earlier.filename, earlier.stream)
        found.asked = _asked()
        return redirect(_address(found), 303)

    @app.get("/scores/<key>/class")
    def saved(key: str) -> Response:
        found = _pile(desk, key)
        data = encoded(desk.class_file(found, scores="scores" in request.args))
        undated = re.sub(r" \d{4}-\d\d-\d\d$", "", clean(found.name))
        with_them = " with scores" if "scores" in request.args else ""
        name = f"{undated} {date.today().isoformat()}{with_them}{ENDING}"
        return send_file(
            io.BytesIO(data), "application/json", as_attachment=True, download_name=name,
            etag=False,
        )  # fmt: skip


def _names_given(pile: Pile) -> IO[bytes]:
    """The table of who wrote which piece, from the fields of the page."""
    given = [
        (_field(f"name-{n}", "a name"), _field(f"code-{n}", "a code"))
        for n in range(len(pile.pieces))
    ]
    table = io.StringIO(newline="")
    rows = csv.writer(table)
    rows.writerow(("file", "name", "code", "earlier"))
    for piece, (name, code) in zip(pile.pieces, given, strict=True):
        before = pile.names.row(piece.file)
        if any(map(any, given)):  # who is left empty is no gap in a table
            rows.writerow((piece.file, name, code, before.earlier if before else ""))
    return io.BytesIO(table.getvalue().encode())


def _longest(group: Class) -> tuple[str, ...]:
    """Printed bars to choose from: those of the longest piece."""
    return max((each.piece.labels for each in group.members), key=len, default=())


def _chosen(pile: Pile) -> PileWork:
    """The work that a form names by its place."""
    works, place = pile.works, request.form.get("work", "0")
    if not place.isdecimal() or int(place) >= len(works):
        raise UsageError("this piece could not be read; choose another")
    return works[int(place)]


def _pile_files(app: Flask, desk: Desk) -> None:
    """Reports, versions and archives."""

    @app.get("/scores/<key>/report/<int:number>")
    def report(key: str, number: int) -> Response:
        pile = _pile(desk, key)
        piece = pile.pieces[number] if number < len(pile.pieces) else None
        written = desk.report(pile, piece) if piece else None
        if piece is None or written is None:
            abort(404)
        name = piece.file.rpartition("/")[2].rpartition(".")[0]
        return _page(written, f"{name}.html")

    @app.get("/scores/<key>/sheets/<path:name>")
    def sheet(key: str, name: str) -> Response:
        sheets = _pile(desk, key).sheets
        if sheets is None or sheets.folder is None or name not in sheets.pages:
            abort(404)
        return _page(sheets.folder / name, name.rpartition("/")[2])

    @app.get("/scores/<key>/changes/<int:number>")
    def change(key: str, number: int) -> Response:
        made = _made(desk, key, number)
        if made is None or made.page is None:
            abort(404)
        return _page(made.page, f"{clean(made.title)}.html")

    @app.get("/scores/<key>/changes/<int:number>/<int:place>")
    def offer(key: str, number: int, place: int) -> Response:
        made = _made(desk, key, number)
        file = made.offers[place].file if made and place < len(made.offers) else None
        if file is None:
            abort(404)
        return send_file(file, as_attachment=True, etag=False)

    @app.get("/scores/<key>/handouts.zip")
    def archive(key: str) -> Response:
        sheets = _pile(desk, key).sheets
        if sheets is None or sheets.archive is None:
            abort(404)
        return send_file(
            sheets.archive, as_attachment=True, download_name="handouts.zip", etag=False
        )


def _page(path: Path, name: str) -> Response:
    """A page that was written here, to be looked at or saved under a name."""
    save = "save" in request.args
    response = send_file(path, "text/html", as_attachment=save, download_name=name, etag=False)
    response.headers["Content-Security-Policy"] = FOR_REPORTS
    return response


def _made(desk: Desk, key: str, number: int) -> TaskResult | None:
    found = _pile(desk, key).changes.get(number)
    return found[1] if found else None


def _pile(desk: Desk, key: str) -> Pile:
    if key not in desk.piles:
        abort(404)
    return desk.piles[key]


def _free(desk: Desk, key: str) -> Pile:
    found = _pile(desk, key)
    if found.doing:
        raise UsageError("these scores are still being worked on; wait until that is done")
    return found


def _given(name: str) -> IO[bytes] | None:
    found: FileStorage | None = request.files.get(name)
    return found.stream if found is not None and found.filename else None


@dataclass(frozen=True)
class _CohortChoice:
    """Works to compare with. value: as a cohort."""

    value: str
    words: str


def _groups(pile: Pile, number: int | None = None) -> dict[str, list[_CohortChoice]]:
    """Works to compare with, by heading: those that fit the pieces first.

    number: of the only piece that is meant.
    """
    pieces = pile.pieces if number is None else [pile.pieces[number]]
    found: dict[str, list[_CohortChoice]] = {_FIT: [], _FIT_SOME: [], _FIT_NONE: []}
    read = sum(bool(piece.works) for piece in pieces)
    with Session() as session:
        cells = session.coverage().result.cells
    for (ensemble, period), cell in cells.items():
        if not ensemble or not period or cell.works < _FEW:
            continue
        where = f"ensemble={ensemble}" + (f",period={period}" if period != "all" else "")
        when = "of all times" if period == "all" else period
        few = "" if cell.enough else "; few, so ranks are vague"
        fits = sum(_fits(piece, where) for piece in pieces)
        some = f"; fits {fits} of {read} pieces" if 0 < fits < read else ""
        words = f"{ensemble}, {when} ({cell.works:,} works{few}{some})"
        heading = _FIT if read and fits == read else _FIT_SOME if fits else _FIT_NONE
        found[heading].append(_CohortChoice(where, words))
    return {heading: choices for heading, choices in found.items() if choices}


def _fits(piece: PilePiece, cohort: str) -> bool:
    """Whether works chosen by a cohort are for the players of all works in a file."""
    where = dict(pair.split("=", 1) for pair in cohort.split(","))
    return bool(piece.works) and all(
        not misfit(each.kind, single_line=each.single_line, rung=Rung(where, ""), placed=True)
        for each in piece.works
    )


# For the pages of the room; everything they need comes from here, and no one frames them.
FOR_PAGES = (
    "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; "
    "img-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)

# For reports, which have a policy of their own besides: what scores say stands in them,
# so they run as a site of their own that can reach nothing here.
FOR_REPORTS = "sandbox allow-scripts allow-modals; frame-ancestors 'self'"
_OUR_NAMES = ("127.0.0.1", "localhost")
_READING = ("GET", "HEAD")


def check(method: str, host: str, origin: str | None, site: str | None, port: int) -> None:
    """Raise UsageError for a request that this page did not make.

    host, origin, site: the headers Host, Origin and Sec-Fetch-Site, None where they are
    missing; browsers send the last two, other programs need not.
    """
    hosts = [f"{name}:{port}" for name in _OUR_NAMES]
    if host not in hosts:
        raise UsageError(f"this room is served at http://{hosts[0]}/ only; open that address")
    typed = site == "none" and method in _READING
    foreign = site not in (None, "same-origin") and not typed
    if foreign or origin not in (None, f"http://{host}"):
        raise UsageError(
            f"requests from other sites are refused; open http://{hosts[0]}/ yourself"
        )


def same(given: str, token: str) -> bool:
    """Whether a form carries the sign of this run."""
    return secrets.compare_digest(given.encode(), token.encode())


def headers(policy: str) -> dict[str, str]:
    """Headers of every answer: nothing is stored, guessed, framed or told to others."""
    return {
        "Content-Security-Policy": policy,
        "Cache-Control": "no-store",
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
    }


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
        raise UsageError(f"port {port} is not available ({why}); leave out --port") from error
    return found
