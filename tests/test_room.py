"""The page for those who do not use a terminal: what it refuses, and its whole way.

The first part asks the application as any program could, the last part drops scores into
a real browser.
"""

from __future__ import annotations

import base64
import gc
import html
import io
import json
import os
import re
import signal
import stat
import subprocess
import sys
import tempfile
import time
import urllib.request
import zipfile
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import direct
import pytest
from axe_playwright_python.sync_playwright import Axe
from flask.testing import FlaskClient
from playwright.sync_api import Browser, FileChooser, Page
from werkzeug.test import TestResponse

from corpusreg.comparison.class_file import Settings
from corpusreg.documents.contrast import contrast_document
from corpusreg.documents.handout.roster import NO_ROSTER
from corpusreg.documents.report import write_report
from corpusreg.room import uploads
from corpusreg.room.app import room
from corpusreg.room.desk import Desk, run_folder, sweep
from corpusreg.room.piles import Pile, PileSheets
from corpusreg.room.uploads import clean, take
from corpusreg.session import Session
from corpusreg.system import settings
from corpusreg.system.errors import UsageError
from corpusreg.system.isolate import Pool
from tests.conftest import PIECES

PORT = 8080
HERE = f"http://127.0.0.1:{PORT}"
PIECE = (PIECES / "stairs.musicxml").read_bytes()
EVIL = "&lt;script&gt;alert(1)&lt;/script&gt;"


class TestNames:
    @pytest.mark.parametrize(
        ("given", "kept"),
        [
            ("Étude Nr. 2 (Ada's).musicxml", "Étude Nr. 2 (Ada's).musicxml"),
            ("...hidden.mid", "hidden.mid"),
            ("com1.xml", "com1_.xml"),
            ("a\x00b\n\u202egnp.mid", "a-b--gnp.mid"),
            ("", "score"),
            ("..", "score"),
            (f"{'x' * 300}.krn", f"{'x' * 80}.krn"),
            # Letters of four bytes each: file systems count bytes.
            ("\U00020bb7" * 300 + ".krn", "\U00020bb7" * 50 + ".krn"),
        ],
    )
    def test_clean(self, given: str, kept: str) -> None:
        assert clean(given) == kept

    @pytest.mark.parametrize(
        "given",
        ["../../etc/a.mid", "/etc/a.mid", "..\\..\\a.mid", "C:\\x\\a.mid", "c/./../a.mid"],
    )
    def test_no_name_leads_out_of_the_folder(self, tmp_path: Path, given: str) -> None:
        inside = tmp_path / "in"
        inside.mkdir()
        taken = take([(given, io.BytesIO(b"MThd"))], inside)
        (file,) = taken.files
        assert (inside / taken.name / file).read_bytes() == b"MThd"
        assert list(tmp_path.iterdir()) == [inside]
        assert [p.name for p in tmp_path.rglob("*.mid")] == ["a.mid"]

    def test_files_of_one_name_are_all_kept(self, tmp_path: Path) -> None:
        given = [(name, io.BytesIO(b"x")) for name in ("a.mid", "A.mid", "a.mid")]
        assert len(take(given, tmp_path).files) == 3

    def test_the_folder_names_the_class(self, tmp_path: Path) -> None:
        given = [(f"Year 7/{n}.mid", io.BytesIO(b"x")) for n in "ba"]
        given.append(("Year 7/notes.docx", io.BytesIO(b"x")))
        taken = take(given, tmp_path)
        assert taken == uploads.Taken("Year 7", ("a.mid", "b.mid"), ("notes.docx",))
        assert {p.name for p in tmp_path.rglob("*") if p.is_file()} == {"a.mid", "b.mid"}


def packed(*entries: tuple[str, bytes], how: int = zipfile.ZIP_DEFLATED) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", how) as archive:
        for name, data in entries:
            archive.writestr(name, data)
    return stream.getvalue()


class TestArchives:
    """What is done with archives, without the child in which it is done."""

    @pytest.fixture(autouse=True)
    def here(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(uploads, "call", lambda function, item, limits: function(item))

    def taken(self, folder: Path, data: bytes) -> uploads.Taken:
        return take([("Class of 9.zip", io.BytesIO(data))], folder)

    def test_a_class_in_an_archive(self, tmp_path: Path) -> None:
        data = packed(
            ("a.mid", b"a"), ("sub/b.krn", b"b"), ("read me.txt", b"c"), ("sub/", b""),
            ("__MACOSX/sub/._b.krn", b"d"),
        )  # fmt: skip
        taken = self.taken(tmp_path, data)
        assert (taken.name, taken.files) == ("Class of 9", ("a.mid", "sub/b.krn"))
        assert taken.left_out == ("read me.txt", "._b.krn")
        assert (tmp_path / taken.name / "sub" / "b.krn").read_bytes() == b"b"

    def test_names_in_an_archive_lead_nowhere(self, tmp_path: Path) -> None:
        inside = tmp_path / "in"
        inside.mkdir()
        self.taken(inside, packed(("../../a.mid", b"a"), ("/tmp/b.mid", b"b")))
        assert list(tmp_path.iterdir()) == [inside]

    @pytest.mark.parametrize(
        "names",
        [("a.mid", "a.mid/b.mid"), ("a.mid/b.mid", "a.mid"), ("a.MID/x.mid/b.mid", "a.MID")],
    )
    def test_a_file_and_a_folder_of_one_name_are_both_kept(
        self, tmp_path: Path, names: tuple[str, str]
    ) -> None:
        taken = self.taken(tmp_path, packed(*((name, name.encode()) for name in names)))
        folder = tmp_path / taken.name
        assert {(folder / file).read_bytes().decode() for file in taken.files} == {*names}
        alone = tmp_path / "alone"
        alone.mkdir()
        given = [(name, io.BytesIO(b"x")) for name in names]
        assert take(given, alone).files == taken.files

    def test_an_archive_that_is_too_large_is_no_score(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(uploads, "TOTAL", uploads.MEGABYTE)
        data = packed(("a.mid", bytes(2 * uploads.MEGABYTE)), how=zipfile.ZIP_STORED)
        with pytest.raises(UsageError, match=r"^Class of 9\.zip: larger than 1 MB; pack fewer"):
            self.taken(tmp_path, data)

    def test_only_what_is_kept_counts(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(uploads, "TOTAL", 3 * uploads.MEGABYTE)
        data = packed(("a.mid", bytes(2 * uploads.MEGABYTE)), how=zipfile.ZIP_STORED)
        assert self.taken(tmp_path, data).files == ("a.mid",)

    def test_a_small_score_after_many_is_not_called_large(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(uploads, "TOTAL", 2 * uploads.MEGABYTE)
        data = packed(("a.mid", bytes(2 * uploads.MEGABYTE)), ("b.mid", b"x"))
        with pytest.raises(UsageError, match=r"^Class of 9\.zip: more than .* at once"):
            self.taken(tmp_path, data)

    def test_a_bomb_is_refused_before_it_fills_the_disk(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(uploads, "TOTAL", 5 * uploads.MEGABYTE)
        bomb = packed(*((f"{n}.mid", bytes(uploads.MEGABYTE)) for n in range(7)))
        assert len(bomb) < uploads.MEGABYTE / 10
        with pytest.raises(UsageError, match=r"^Class of 9\.zip: more than .* at once"):
            self.taken(tmp_path, bomb)
        size = sum(p.stat().st_size for p in tmp_path.rglob("*") if p.is_file())
        assert size <= uploads.TOTAL + len(bomb)

    def test_a_single_large_entry(self, tmp_path: Path) -> None:
        data = bytearray(packed(("big.mid", bytes(uploads.PER_FILE + 1))))
        with pytest.raises(UsageError, match=r"big\.mid: larger than 20 MB"):
            self.taken(tmp_path, bytes(data))
        # A size that is a lie is not believed.
        place = data.index(b"PK\x01\x02") + 24
        data[place : place + 4] = (1).to_bytes(4, "little")
        again = tmp_path / "again"
        again.mkdir()
        with pytest.raises(UsageError):
            self.taken(again, bytes(data))

    def test_too_many_entries(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(uploads, "FILES", 20)
        many = packed(*((f"{n}.mid", b"x") for n in range(uploads.FILES + 1)))
        with pytest.raises(UsageError, match="more than 20 scores"):
            self.taken(tmp_path, many)

    @pytest.mark.parametrize("data", [b"", b"PK\x03\x04nothing", packed(("a.mid", b"a"))[:-9]])
    def test_damaged(self, tmp_path: Path, data: bytes) -> None:
        with pytest.raises(UsageError, match="damaged; pack it again"):
            self.taken(tmp_path, data)

    def test_a_password(self, tmp_path: Path) -> None:
        data = bytearray(packed(("a.mid", b"aaaa"), how=zipfile.ZIP_STORED))
        for mark, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
            data[data.index(mark) + place] |= 1  # the flag for an encrypted entry
        with pytest.raises(UsageError, match="password"):
            self.taken(tmp_path, bytes(data))

    def test_nothing_but_other_files(self, tmp_path: Path) -> None:
        with pytest.raises(UsageError, match=r"a\.txt: not a score; give files that end in"):
            self.taken(tmp_path, packed(("a.txt", b"a")))


@pytest.fixture(scope="module")
def running(small_home: Path) -> Iterator[Desk]:
    """One desk with its children for all tests of the application."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("CORPUSREG_HOME", str(small_home))
        with Desk() as opened:
            yield opened


@pytest.fixture
def desk(running: Desk, in_home: Path) -> Iterator[Desk]:
    """The desk, from which what a test gives is put away."""
    before = {*running.piles}
    yield running
    for key in {*running.piles} - before:
        pile = running.piles[key]
        wait_for(pile)
        running.put_away(pile)


@pytest.fixture
def client(desk: Desk) -> FlaskClient:
    return room(desk, PORT).test_client()


@pytest.fixture(scope="module")
def stairs(running: Desk) -> str:
    """The address of one score that is compared; who changes it leaves it as it was."""
    pile = running.add([("stairs.musicxml", io.BytesIO(PIECE))])
    wait_for(pile)
    return f"/scores/{pile.key}"


def token(client: FlaskClient) -> str:
    return token_of(get(client, "/").text)


def token_of(text: str) -> str:
    found = re.search(r'name="token" value="([^"]+)"', text)
    assert found
    return found[1]


def get(client: FlaskClient, path: str, **headers: str) -> TestResponse:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return client.get(path, base_url=HERE, headers=named, buffered=True)


def post(client: FlaskClient, path: str, data: object, **headers: str) -> TestResponse:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    answer = client.post(path, base_url=HERE, data=data, headers=named, buffered=True)
    answer.request.environ["wsgi.input"].close()  # the test client's own
    return answer


def give(client: FlaskClient, *files: tuple[bytes, str], **headers: str) -> TestResponse:
    data = {
        "token": token(client),
        "scores": [(io.BytesIO(data), name) for data, name in files],
    }
    return post(client, "/scores", data, **headers)


def line(response: TestResponse) -> str:
    """The one line that says what is wrong."""
    found = re.search(r'role="alert">([^<]*)<', response.text)
    assert found, response.text
    assert "Traceback" not in response.text
    return found[1]


def settled(desk: Desk, response: TestResponse) -> str:
    """The address of what was given, when all that was asked for is done."""
    address = response.headers["Location"]
    wait_for(desk.piles[address.rpartition("/")[2]])
    return address


def wait_for(pile: Pile) -> None:
    """Wait until nothing is under way with it."""
    ends = time.monotonic() + 240
    while pile.doing:
        assert time.monotonic() < ends
        time.sleep(0.02)


class TestRefusals:
    @pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost"])
    def test_other_names_for_this_computer(self, client: FlaskClient, host: str) -> None:
        for answer in (
            client.get("/", headers={"Host": host}),
            client.post("/scores", headers={"Host": host}, data={"token": token(client)}),
        ):
            assert answer.status_code == 403
            assert "only; open that address" in line(answer)

    def test_both_names_of_this_computer(self, client: FlaskClient) -> None:
        for name in ("127.0.0.1", "localhost"):
            assert client.get("/", base_url=f"http://{name}:{PORT}").status_code == 200

    @pytest.mark.parametrize("site", ["cross-site", "same-site"])
    def test_requests_from_other_sites(self, client: FlaskClient, site: str) -> None:
        answer = get(client, "/", Sec_Fetch_Site=site)
        assert answer.status_code == 403 and "token" not in answer.text
        assert give(client, (PIECE, "a.xml"), Sec_Fetch_Site=site).status_code == 403

    @pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:1"])
    def test_forms_of_other_sites(self, client: FlaskClient, origin: str) -> None:
        answer = give(client, (PIECE, "a.xml"), Origin=origin)
        assert answer.status_code == 403
        assert "other sites" in line(answer)

    def test_an_address_that_is_typed_can_only_look(self, client: FlaskClient) -> None:
        assert get(client, "/", Sec_Fetch_Site="none").status_code == 200
        assert give(client, (PIECE, "a.xml"), Sec_Fetch_Site="none").status_code == 403

    @pytest.mark.parametrize(
        "path", ["/scores", "/reference", "/scores/x/compare", "/scores/x/revise"]
    )
    @pytest.mark.parametrize("given", ["", "x" * 32])
    def test_forms_without_the_sign_of_this_run(
        self, client: FlaskClient, desk: Desk, path: str, given: str
    ) -> None:
        before = {*desk.piles}
        answer = post(client, path, {"token": given})
        assert answer.status_code == 403
        assert "earlier run" in line(answer)
        assert {*desk.piles} == before and not desk.measuring.doing

    def test_every_answer_is_strict_and_kept_nowhere(self, client: FlaskClient) -> None:
        for path in ("/", "/style.css", "/room.js", "/icon.svg", "/nothing"):
            headers = get(client, path).headers
            assert headers["Cache-Control"] == "no-store"
            assert headers["X-Content-Type-Options"] == "nosniff"
            policy = headers["Content-Security-Policy"]
            assert policy.startswith("default-src 'none';")
            assert "unsafe" not in policy and "frame-ancestors 'none'" in policy

    def test_too_large(self, client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
        answer = give(client, (bytes(uploads.PER_FILE + 1), "big.mid"))
        assert answer.status_code == 400
        assert line(answer) == ("big.mid: larger than 20 MB; choose a smaller file.")
        monkeypatch.setitem(client.application.config, "MAX_CONTENT_LENGTH", 1000)
        answer = give(client, (bytes(2000), "big.mid"))
        assert answer.status_code == 413
        assert "More than 100 MB" in line(answer)

    @pytest.mark.parametrize("size", [300, 600_000])
    def test_a_field_that_is_too_long(
        self, client: FlaskClient, desk: Desk, stairs: str, size: int
    ) -> None:
        for what, name in (("revise", "bar"), ("contrast", "first")):
            data = {"token": token(client), "how": "open", "want": "hold", name: "x" * size}
            answer = post(client, f"{stairs}/{what}", data)
            told = line(answer)
            assert "letters" in told and "MB" not in told and len(told) < 100
            assert stairs.rpartition("/")[2] in answer.text  # the way back
        assert not desk.piles[stairs.rpartition("/")[2]].doing

    # What it has spooled when it refuses a form, werkzeug leaves to the collector.
    @pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
    def test_too_many(self, client: FlaskClient, desk: Desk) -> None:
        before = {*desk.piles}
        answer = give(client, *((b"x", f"{n}.mid") for n in range(uploads.FILES + 1)))
        assert answer.status_code == 400 and "More than 200" in line(answer)
        answer = give(client, *((b"x", f"{n}.mid") for n in range(2 * uploads.FILES)))
        assert answer.status_code == 413 and "200 files" in line(answer)
        assert {*desk.piles} == before
        gc.collect()

    def test_no_score(self, client: FlaskClient) -> None:
        assert "not a score" in line(give(client, (b"x", "<b>letter</b>.docx")))
        assert "no file was given" in line(give(client)).lower()

    def test_plain_text_for_the_script(self, client: FlaskClient) -> None:
        answer = give(client, (b"x", "a.docx"), Accept="text/plain")
        assert answer.mimetype == "text/plain" and answer.text.count("\n") == 0

    def test_what_is_not_there(self, client: FlaskClient) -> None:
        for path in ("/scores/x", "/scores/x/report/0", "/scores/x/handouts.zip", "/..%2f"):
            assert get(client, path).status_code == 404


class TestReports:
    def test_the_report_is_that_of_compare(
        self, client: FlaskClient, desk: Desk, stairs: str
    ) -> None:
        shown = get(client, f"{stairs}/report/0")
        assert shown.headers["Content-Security-Policy"].startswith("sandbox allow-scripts")
        assert shown.headers["Cache-Control"] == "no-store"
        found = direct.compare_paths([PIECES / "stairs.musicxml"], depth="all")
        own = desk._folder / "own.html"
        with Session() as session:
            write_report(
                found.comparisons, (), found.reference_id, own,
                studied=found.studied, reference=session.reference,
            )  # fmt: skip
        assert shown.data == own.read_bytes()
        saved = get(client, f"{stairs}/report/0?save")
        assert "attachment; filename=stairs.html" in saved.headers["Content-Disposition"]

    def test_a_script_in_a_title_is_text(self, client: FlaskClient, desk: Desk) -> None:
        title = f"<work-title>{EVIL}</work-title>"
        evil = re.sub(r"<work-title>.*?</work-title>", title, PIECE.decode(), count=1)
        given = give(client, (evil.encode(), "<script>x.musicxml"), (PIECE, "b.musicxml"))
        page = get(client, settled(desk, given)).text
        assert EVIL in page and "<script>" not in page.replace("<script src", "")

    def test_one_bad_score_costs_the_others_nothing(
        self, client: FlaskClient, desk: Desk
    ) -> None:
        given = give(client, (b"<score-partwise>", "bad.musicxml"), (PIECE, "b.musicxml"))
        page = get(client, settled(desk, given)).text
        (why,) = re.findall(r'<tr class="unread".*?bad\.musicxml</th><td[^>]*>(.*?)</td>', page)
        assert why.startswith("Not read: ") and str(desk._folder) not in page
        assert len(re.findall(r'<tr data-member="\d+"', page)) == 1

    def test_a_chosen_cohort(self, client: FlaskClient, desk: Desk) -> None:
        address = settled(desk, give(client, (PIECE, "b.musicxml")))
        page = get(client, address).text
        asked = {"token": token(client), "cohort": "ensemble=choir"}
        assert f'value="{asked["cohort"]}"' in page
        settled(desk, post(client, f"{address}/compare", asked))
        assert 'value="ensemble=choir" selected' in get(client, address).text
        assert "choral works" in get(client, f"{address}/report/0").text
        answer = post(client, f"{address}/compare", asked | {"cohort": "x"})
        assert answer.status_code == 400 and "not in the reference" in line(answer)


class TestHandouts:
    """Names from a table or from the fields of the page, and the sheets with or without."""

    ROSTER = b"file,name,code\nstairs.musicxml,Ada Marlow,P1\n"

    def asked(
        self, client: FlaskClient, address: str, what: str = "handouts", **given: object
    ) -> TestResponse:
        data = {"token": token(client), "paper": "a4"} | given
        return post(client, f"{address}/{what}", data)

    def test_codes_keep_names_out(self, client: FlaskClient, desk: Desk, stairs: str) -> None:
        table = (io.BytesIO(self.ROSTER), "who.csv")
        self.asked(client, stairs, "names", roster=table)
        pile = desk.piles[stairs.rpartition("/")[2]]
        assert [member.who for member in pile.group.members] == ["Ada Marlow"]
        settled(desk, self.asked(client, stairs, codes="on"))
        answer = get(client, f"{stairs}/handouts.zip")
        assert answer.mimetype == "application/zip"
        with zipfile.ZipFile(io.BytesIO(answer.data)) as archive:
            names = archive.namelist()
            pages = [archive.read(n).decode() for n in names if n.endswith(".html")]
        assert {
            "handouts/overview.pdf",
            "handouts/sheets/P1.pdf",
            "handouts/sheets/P1.html",
        } <= {*names}
        assert any("P1" in page for page in pages)
        assert not any("Marlow" in text for text in (*pages, *names))
        self.asked(client, stairs, "names", **{"name-0": "", "code-0": ""})
        assert pile.names == NO_ROSTER

    def test_what_makes_no_sense(self, client: FlaskClient, desk: Desk, stairs: str) -> None:
        assert "codes come from" in line(self.asked(client, stairs, codes="on")).lower()
        assert "the paper" in line(self.asked(client, stairs, paper="a5")).lower()
        large = (io.BytesIO(bytes(2 * uploads.MEGABYTE)), "who.csv")
        assert "larger than 1 MB" in line(self.asked(client, stairs, "names", roster=large))
        for table, words in (
            (b"a,b\n", "no column 'file'"),
            (b"file,earlier\nstairs.musicxml,old.mid\n", "the draft before"),
        ):
            given = (io.BytesIO(table), "who.csv")
            told = html.unescape(line(self.asked(client, stairs, "names", roster=given)))
            assert words in told and str(desk._folder) not in told
        named = {"name-0": "Ada Marlow"}
        self.asked(client, stairs, "names", **named)
        told = line(self.asked(client, stairs, codes="on"))
        assert "no code for stairs.musicxml; give every piece one" in told
        bad = (io.BytesIO(b"spam"), "sentences.txt")
        told = line(self.asked(client, stairs, text=bad))
        assert told.startswith("sentences.txt, line 1") and str(desk._folder) not in told
        self.asked(client, stairs, "names", **{"name-0": ""})

    def test_the_table_names_an_earlier_draft(self, client: FlaskClient, desk: Desk) -> None:
        """What the names of the files do not say is compared anew when the table says it."""
        scores = (PIECE, "stairs.musicxml"), (PIECE, "old.musicxml")
        address = settled(desk, give(client, *scores))
        pile = desk.piles[address.rpartition("/")[2]]
        assert len(pile.group.members) == 2
        table = b"file,name,earlier\nstairs.musicxml,Ada,old.musicxml\n"
        given = {"roster": (io.BytesIO(table), "who.csv")}
        settled(desk, self.asked(client, address, "names", **given))
        (member,) = pile.group.members
        assert member.who == "Ada" and len(member.piece.drafts) == 1


class TestOneScore:
    """An earlier draft, other registers, small changes: what the commands make."""

    def asked(
        self, client: FlaskClient, address: str, what: str, **given: object
    ) -> TestResponse:
        return post(client, f"{address}/{what}", {"token": token(client)} | given)

    def test_a_version_is_that_of_contrast(
        self, client: FlaskClient, desk: Desk, stairs: str, tmp_path: Path
    ) -> None:
        wanted = {"how": "narrow", "first": "9", "last": "16"}
        settled(desk, self.asked(client, stairs, "contrast", **wanted))
        files = [tmp_path / "own.musicxml", tmp_path / "own.mid"]
        own = direct.contrast(PIECES / "stairs.musicxml", "narrow", bars="9-16", to=files)
        page = get(client, stairs).text
        (shown,) = re.findall(r'<iframe[^>]* src="([^"]+)"', page)
        assert "Stairs, bars 9–16: drawn together" in page
        answer = get(client, shown)
        assert answer.text == contrast_document(own).page()
        assert answer.headers["Content-Security-Policy"].startswith("sandbox allow-scripts")
        for place, file in enumerate(files):
            saved = get(client, f"{shown}/{place}")
            assert saved.data == file.read_bytes()
            name = f"stairs-narrow{file.suffix}"
            assert f"attachment; filename={name}" in saved.headers["Content-Disposition"]

    def test_options_are_those_of_revise(
        self, client: FlaskClient, desk: Desk, stairs: str, tmp_path: Path
    ) -> None:
        settled(desk, self.asked(client, stairs, "revise", want="move-at", bar="9"))
        own = direct.revise(PIECES / "stairs.musicxml", "move more at 9", to=tmp_path)
        page = html.unescape(get(client, stairs).text)
        assert "They are options, not rules." in page and own.revisions
        links = re.findall(r'<a href="([^"]+)" download>Save it as MusicXML</a>', page)
        # What was written before stands below it.
        for revision, link in zip(own.revisions, links[: len(own.revisions)], strict=True):
            assert all(words in page for words in revision.words) and revision.file
            assert get(client, link).data == revision.file.read_bytes()
        # The report stays where it was.
        assert f'src="{stairs.removeprefix(HERE)}/report/0"' in page

    def test_what_fits_the_piece_is_offered_first(
        self, client: FlaskClient, desk: Desk, stairs: str
    ) -> None:
        def offered(page: str) -> list[str]:
            return re.findall(r'<option value="([a-z-]+)" data-needs', page)

        # Wide and restless piano music without a player at an edge.
        wants = offered(get(client, stairs).text)
        assert wants.index("narrower") < wants.index("move") and "give" not in wants
        piece = PIECES / "three-at-a-table.musicxml"
        address = settled(desk, give(client, (piece.read_bytes(), piece.name)))
        page = get(client, address).text
        wants = offered(page)
        assert wants.index("give") < wants.index("narrower")
        assert re.search(r'name="part">.*<option>Bassoon</option>', page)
        settled(desk, self.asked(client, address, "revise", want="give", part="Bassoon"))
        page = html.unescape(get(client, address).text)
        assert "They are options" in page

    def test_what_cannot_be_written_back_is_told_without_files(
        self, client: FlaskClient, desk: Desk
    ) -> None:
        piece = next(PIECES.glob("*.krn"))
        address = settled(desk, give(client, (piece.read_bytes(), piece.name)))
        settled(desk, self.asked(client, address, "revise", want="move"))
        page = get(client, address).text
        assert "To save them, give the piece as MusicXML or MIDI." in page
        assert "They are options" in page and "Save it as" not in page

    def test_a_draft_is_told_as_compare_tells_it(
        self, client: FlaskClient, desk: Desk, stairs: str, tmp_path: Path
    ) -> None:
        earlier = tmp_path / "first try.musicxml"
        direct.contrast(PIECES / "stairs.musicxml", "narrow", to=[earlier])
        given = (io.BytesIO(earlier.read_bytes()), earlier.name)
        settled(desk, self.asked(client, stairs, "draft", earlier=given))
        found = direct.compare_paths([PIECES / "stairs.musicxml"], depth="all", against=earlier)
        own = tmp_path / "own.html"
        with Session() as session:
            write_report(
                found.comparisons, (), found.reference_id, own,
                studied=found.studied, drafts=found.drafts, reference=session.reference,
            )  # fmt: skip
        page = get(client, stairs).text
        assert "Stairs: what changed since first try.musicxml" in page
        (shown,) = re.findall(r'<iframe[^>]* src="([^"]+)"', page)
        assert get(client, shown).data == own.read_bytes()
        saved = get(client, f"{shown}?save").headers["Content-Disposition"]
        assert "what changed since first try.musicxml.html" in saved

    def test_one_of_several_works_is_chosen(self, client: FlaskClient, desk: Desk) -> None:
        up, down = "CEGc|egc'g|CEGc|egc'e|", "c'gec|GECE|c'gec|GEC2|"
        tune = "X:{}\nT:Tune {}\nM:4/4\nL:1/4\nK:C\n{}\n\n"
        book = "".join(tune.format(n, n, notes * 3) for n, notes in ((1, up), (2, down)))
        address = settled(desk, give(client, (book.encode(), "book.abc")))
        page = get(client, address).text
        assert page.count('<option value="1">Tune 2 (no. 2)</option>') == 3
        settled(desk, self.asked(client, address, "contrast", how="open", work="1"))
        page = get(client, address).text
        assert "Tune 2: opened out" in page
        assert "Save it as MIDI" in page and "Save it as MusicXML" not in page

    def test_what_makes_no_sense(self, client: FlaskClient, desk: Desk, stairs: str) -> None:
        score = (PIECE, "a.musicxml")
        before = {**desk.piles[stairs.rpartition("/")[2]].changes}
        for what, given, words in (
            ("contrast", {"how": "better"}, "the way is one of settled, narrow, open"),
            ("contrast", {"how": "open", "work": "7"}, "this piece could not be read"),
            ("revise", {"want": "nicer"}, "nothing was chosen; choose what you want"),
            ("revise", {"want": "hold"}, "this needs a bar; choose one"),
            ("revise", {"want": "model"}, "this needs a passage; choose one"),
            ("draft", {}, "no file was given; choose the earlier draft"),
            ("draft", {"earlier": (io.BytesIO(b"x"), "a.docx")}, "a.docx: not a score"),
            ("draft", {"earlier": (io.BytesIO(PIECE), score[1]), "work": "x"}, "this piece"),
        ):
            told = html.unescape(line(self.asked(client, stairs, what, **given)))
            assert told.lower().startswith(words.lower())
        assert desk.piles[stairs.rpartition("/")[2]].changes == before

    def test_what_cannot_be_done_is_said_and_costs_nothing(
        self, client: FlaskClient, desk: Desk, stairs: str
    ) -> None:
        broken = {"earlier": (io.BytesIO(b"<score-partwise>"), "old.musicxml")}
        for what, given, words in (
            ("contrast", {"how": "open", "first": "99"}, "has no bar '99'"),
            ("revise", {"want": "clear-low", "bar": "99"}, "has no bar '99'"),
            ("draft", broken, "old.musicxml"),
        ):
            settled(desk, self.asked(client, stairs, what, **given))
            page = get(client, stairs)
            told = html.unescape(line(page))
            assert words in told and str(desk._folder) not in told and "made" not in told
            assert "/report/0" in page.text

    def test_only_the_last_ones_are_kept(
        self, client: FlaskClient, desk: Desk, stairs: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("corpusreg.room.desk._MADE", 2)
        for how in ("open", "narrow", "settled"):
            settled(desk, self.asked(client, stairs, "contrast", how=how))
        pile = desk.piles[stairs.rpartition("/")[2]]
        last = max(pile.changes)
        assert [*pile.changes] == [last - 1, last]
        assert not (pile.folder / f"made{last - 2}").exists()
        assert get(client, f"{stairs}/changes/{last - 2}").status_code == 404
        assert get(client, f"{stairs}/changes/{last}").status_code == 200
        assert get(client, f"{stairs}/changes/{last}/9").status_code == 404


class TestTheTeacher:
    """What a teacher says of a class: refused in one line where it makes no sense."""

    def test_what_makes_no_sense(self, client: FlaskClient, desk: Desk, stairs: str) -> None:
        own = {"device": "climb", "first": "5"}
        for what, given, words in (
            ("correct", {"device": "climb"}, "This needs bars"),
            ("correct", own | {"first": "99"}, "Stairs: there is no bar '99'"),
            ("correct", own | {"last": "2"}, "Stairs: bar 2 comes before bar 5"),
            ("correct", own | {"work": "7"}, "This piece could not be read"),
            ("correct", {"first": "5"}, "Stairs: the added event has no name"),
            ("assign", {"device": "spoons"}, "'spoons' cannot be asked of a class"),
            ("assign", {"device": "shift", "number": "-1"}, "'-1': not a number"),
            ("beside", {}, "No file was given"),
            ("beside", {"earlier": (io.BytesIO(b"{"), "a.json")}, "a.json: not a saved class"),
        ):
            answer = post(client, f"{stairs}/{what}", {"token": token(client)} | given)
            assert answer.status_code == 400
            assert html.unescape(line(answer)).startswith(words)
        pile = desk.piles[stairs.rpartition("/")[2]]
        assert pile.settings == Settings() and pile.earlier is None

    def test_a_correction_is_taken_back(
        self, client: FlaskClient, desk: Desk, stairs: str
    ) -> None:
        pile = desk.piles[stairs.rpartition("/")[2]]
        found = pile.group
        given = {"token": token(client), "name": "<b>bell</b>", "first": "5", "work": "0"}
        before, pile.sheets = pile.sheets, PileSheets()
        page = get(client, post(client, f"{stairs}/correct", given).headers["Location"])
        assert pile.sheets.old and pile.news == "Added: <b>bell</b>, bar 5."
        pile.sheets = before
        assert "&lt;b&gt;bell&lt;/b&gt; in bar 5." in page.text and pile.group != found
        post(client, f"{stairs}/correct", {"token": token(client), "undo": "0"})
        assert pile.group == found

    def test_a_class_with_its_scores_is_opened_as_they_are(
        self, client: FlaskClient, desk: Desk, stairs: str
    ) -> None:
        post(client, f"{stairs}/assign", {"token": token(client), "device": "shift"})
        kept = get(client, f"{stairs}/class?scores")
        again = settled(desk, give(client, (kept.data, "kept.class (1).json")))
        first, second = (desk.piles[each.rpartition("/")[2]] for each in (stairs, again))
        assert second.group == first.group and second.settings == first.settings
        assert get(client, f"{again}/report/0").status_code == 200
        two = give(client, (kept.data, "kept.class.json"), (PIECE, "stairs.musicxml"))
        assert "opened alone" in line(two)
        post(client, f"{stairs}/assign", {"token": token(client), "device": ""})


class TestTheDesk:
    """What is kept, what is asked before it goes, and what an error leaves in place."""

    def test_nothing_is_put_away_unasked(
        self, client: FlaskClient, desk: Desk, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        one = settled(desk, give(client, (PIECE, "a.musicxml")))
        full = len(desk.piles)
        monkeypatch.setattr("corpusreg.room.desk._PILES", full)
        answer = give(client, (PIECE, "c.musicxml"))
        assert answer.status_code == 400
        assert line(answer).startswith(f"{full} are open, and no more can be kept at once")
        assert len(desk.piles) == full and get(client, one).status_code == 200
        folders = len(list(desk._folder.glob("pile*")))
        first = get(client, "/").text
        assert "Put one away to open another" in first and 'id="give"' not in first
        away = post(client, f"{one}/away", {"token": token_of(first)})
        assert away.status_code == 303 and get(client, one).status_code == 404
        assert len(list(desk._folder.glob("pile*"))) == folders - 1
        assert give(client, (PIECE, "c.musicxml")).status_code == 303

    def test_the_first_page_leads_back(self, client: FlaskClient, stairs: str) -> None:
        assert f'<a href="{stairs}">Stairs</a>' in get(client, "/").text

    def test_an_error_keeps_the_place_and_what_was_chosen(
        self, client: FlaskClient, desk: Desk
    ) -> None:
        data = ((PIECE, "stairs.musicxml"), ((PIECES / "two-shores.mid").read_bytes(), "b.mid"))
        address = settled(desk, give(client, *data))
        for form, given in (
            ("revise", {"want": "hold", "work": "1"}),  # refused at once
            ("revise", {"want": "move", "first": "20", "last": "5", "work": "1"}),  # later
            ("contrast", {"how": "open", "first": "20", "last": "5", "work": "1"}),
        ):
            sent = {"token": token(client), "piece": "1"} | given
            answer = post(client, f"{address}/{form}", sent)
            if answer.status_code == 303:
                assert answer.headers["Location"].endswith("/piece/1")
                pile = desk.piles[address.rpartition("/")[2]]
                ends = time.monotonic() + 240
                while pile.doing:
                    assert time.monotonic() < ends
                    time.sleep(0.05)
                answer = get(client, answer.headers["Location"])
            assert re.search(r'<h1 id="name">Stairs</h1>', answer.text)
            opened = re.findall(
                r'<details id="ask-(\w+)" open>(.*?)</details>', answer.text, re.S
            )
            assert [name for name, _ in opened] == [form]
            shown = opened[0][1]
            chosen = re.findall(
                r'name="(\w+)"><option value="">[^<]*</option>(.*?)</sel', shown
            )
            for name, options in chosen:
                if name in given:
                    assert f"<option selected>{given[name]}</option>" in options
            assert answer.text.count('role="alert"') == shown.count('role="alert"') == 1

    def test_refused_scores_leave_the_first_page(self, client: FlaskClient) -> None:
        answer = give(client, (b"x", "a.docx"))
        assert 'id="give"' in answer.text and "not a score" in line(answer)


def opened_room(home: Path, temporary: Path) -> tuple[subprocess.Popen[str], str]:
    """The real command, with its folder in `temporary`, and its address."""
    code = (
        "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler); "
        "signal.signal(signal.SIGHUP, signal.SIG_DFL); "
        "from corpusreg.cli import main; sys.exit(main(['room', '--no-browser']))"
    )
    running = subprocess.Popen(
        [sys.executable, "-c", code],
        env=os.environ | {"CORPUSREG_HOME": str(home), "TMPDIR": str(temporary)},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        encoding="utf-8",
    )
    assert running.stdout
    found = re.search(r"http://127\.0\.0\.1:\d+", running.stdout.readline())
    assert found
    return running, found[0]


def send_piece(address: str) -> None:
    """Give the room a score, as its page does."""
    with urllib.request.urlopen(f"{address}/", timeout=60) as answer:
        sign = token_of(answer.read().decode())
    body = (
        f'--x\r\nContent-Disposition: form-data; name="token"\r\n\r\n{sign}\r\n'
        '--x\r\nContent-Disposition: form-data; name="scores"; filename="a.musicxml"\r\n\r\n'
    ).encode() + PIECE + b"\r\n--x--\r\n"  # fmt: skip
    kind = {"Content-Type": "multipart/form-data; boundary=x"}
    asked = urllib.request.Request(f"{address}/scores", body, kind)
    with urllib.request.urlopen(asked, timeout=60) as answer:
        assert answer.status == 200


def left(temporary: Path) -> list[Path]:
    return [path for path in temporary.rglob("*") if path.is_file()]


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
class TestEndings:
    def test_what_was_given_goes(self, small_home: Path, tmp_path: Path) -> None:
        running, address = opened_room(small_home, tmp_path)
        send_piece(address)
        assert any(path.name == "a.musicxml" for path in left(tmp_path))
        assert running.stdout
        running.stdout.close()  # the terminal has gone
        for ending in (signal.SIGHUP, signal.SIGTERM):  # a closed terminal may tell twice
            running.send_signal(ending)
        running.wait(timeout=60)
        assert not left(tmp_path)

    def test_what_a_killed_run_left_goes_at_the_next_start(
        self, small_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        killed, address = opened_room(small_home, tmp_path)
        send_piece(address)
        killed.kill()
        killed.communicate(timeout=60)
        (old,) = tmp_path.glob("corpusreg-room-*")
        assert f"{date.today():%Y-%m-%d}" in old.name and left(old)
        monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
        with run_folder() as other:  # a run that goes on
            (other / "a.mid").write_bytes(b"x")
            sweep()
            assert not old.exists() and (other / "a.mid").exists()
        assert not left(tmp_path)

    def test_folders_of_others_are_not_looked_into(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
        real, link = tmp_path / "mine", tmp_path / "corpusreg-room-link"
        real.mkdir()
        (real / "lock").write_text("")
        link.symlink_to(real)
        new = tmp_path / "corpusreg-room-new"  # not locked yet
        new.mkdir()
        sweep()
        assert (real / "lock").exists() and new.exists()
        os.utime(new, (0, 0))
        monkeypatch.setattr(os, "getuid", lambda: os.geteuid() + 1)
        sweep()
        assert new.exists()


def test_nothing_is_kept_outside_the_folder(desk: Desk) -> None:
    """Children of the room put what they leave, and what LilyPond made, into its folder."""
    with Pool(_places, 1, environment=desk._scores._environment) as pool:
        (answer,) = pool.answers([0])
    assert all(Path(place).is_relative_to(desk._folder) for place in answer.result)


def _places(_: int) -> tuple[str, str]:
    return tempfile.gettempdir(), str(settings.lilypond_cache())


def test_the_folder_is_private_and_goes_at_the_end(in_home: Path) -> None:
    with Desk() as desk:
        folder = desk._folder
        if os.name == "posix":
            assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert not folder.exists()


def test_without_a_reference_it_offers_to_measure(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, small_home: Path
) -> None:
    from corpusreg.corpus import catalogue
    from tests.conftest import chosen_files

    few = chosen_files()[:3]
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path))
    monkeypatch.setattr(catalogue, "bundled", lambda: few)
    with Desk() as desk:
        client = room(desk, PORT).test_client()
        assert "Measure them now" in get(client, "/").text
        post(client, "/reference", {"token": token(client)})
        assert "Measuring" in get(client, "/").text
        ends = time.monotonic() + 60
        while desk.measuring.doing:
            assert time.monotonic() < ends
            time.sleep(0.1)
        assert not desk.measuring.problem
        assert "Drop a score here" in get(client, "/").text


# In a browser ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def address(small_home: Path) -> Iterator[str]:
    """The real command in a process of its own, which hears Ctrl-C whatever the shell does."""
    code = (
        "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler); "
        "from corpusreg.cli import main; sys.exit(main(['room', '--no-browser']))"
    )
    running = subprocess.Popen(
        [sys.executable, "-c", code],
        env=os.environ | {"CORPUSREG_HOME": str(small_home)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    )
    assert running.stdout
    found = re.search(r"http://127\.0\.0\.1:\d+/", running.stdout.readline())
    assert found
    yield found[0]
    running.send_signal(signal.SIGINT)
    out, problems = running.communicate(timeout=120)
    assert (running.returncode, problems) == (0, "")
    assert "removed" in out


Opened = Callable[..., Page]


@pytest.fixture
def opened(browser: Browser, address: str) -> Iterator[Opened]:
    """`opened(at, dark=True, width=390)`: a page, the first one by default, which must ask
    no other host."""
    trouble: list[str] = []
    contexts = []

    def show(
        at: str = "", *, dark: bool = False, width: int = 1200, script: bool = True
    ) -> Page:
        context = browser.new_context(
            viewport={"width": width, "height": 800},
            color_scheme="dark" if dark else "light",
            java_script_enabled=script,
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(60_000)
        # A form that is answered by what is wrong with it is told by the browser as well.
        page.on(
            "console",
            lambda message: (
                "status of 400" in message.text or trouble.append(f"console: {message.text}")
            ),
        )
        page.on("pageerror", lambda error: trouble.append(f"error: {error}"))
        page.on("dialog", lambda dialog: trouble.append(f"dialog: {dialog.message}"))
        page.on(
            "request",
            lambda asked: asked.url.startswith((address, "blob:")) or trouble.append(asked.url),
        )
        page.goto(at or address)
        return page

    yield show
    for context in contexts:
        context.close()
    assert not trouble


DROP = """
files => {
  const data = new DataTransfer();
  for (const [name, text] of files) {
    const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
    data.items.add(new File([bytes], name));
  }
  const form = document.getElementById("give");
  for (const kind of ["dragover", "drop"]) {
    form.dispatchEvent(
      new DragEvent(kind, {dataTransfer: data, bubbles: true, cancelable: true}));
  }
}
"""


def drop(page: Page, *files: Path) -> None:
    """Let files fall onto the page."""
    page.evaluate(
        DROP, [[f.name, base64.b64encode(f.read_bytes()).decode("ascii")] for f in files]
    )


def save(page: Page) -> zipfile.ZipFile:
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Save the handouts").press("Enter")
    return zipfile.ZipFile(waiting.value.path())


@pytest.fixture(scope="module")
def class_page(address: str, browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of three pieces and a file that is none, given once by the browser."""
    broken = tmp_path_factory.mktemp("class") / "broken.musicxml"
    broken.write_text("<score-partwise>")
    context = browser.new_context()
    page = context.new_page()
    page.set_default_timeout(60_000)
    page.goto(address)
    drop(page, *(PIECES / name for name in CLASS), broken)
    page.get_by_text("3 pieces are compared.").wait_for()
    found = page.url
    context.close()
    return found


CLASS = ("stairs.musicxml", "two-shores.mid", "waiting-for-the-bus.musicxml")


def pieces(page: Page) -> list[str]:
    return page.locator("#pieces tbody tr:visible th").all_inner_texts()


def test_the_class_is_sorted_and_filtered_and_a_piece_is_a_click_away(
    opened: Opened, class_page: str
) -> None:
    page = opened(class_page)
    titles = ["Stairs", "Two Shores", "Waiting for the Bus", "broken.musicxml"]
    assert pieces(page) == titles  # alphabetical, never by merit
    unread = page.locator("tr.unread").inner_text()
    assert "Not read: " in unread and unread.count("\n") <= 1
    page.get_by_role("button", name="Bars").click()
    assert pieces(page) == ["Two Shores", "Waiting for the Bus", "Stairs", "broken.musicxml"]
    page.get_by_role("button", name="Bars").press("Enter")
    assert pieces(page)[0] == "Stairs"
    head = page.locator("#pieces thead th").last
    assert head.get_attribute("aria-sort") == "descending"
    page.get_by_label("Medium").select_option("piano")
    assert pieces(page) == ["Stairs", "Two Shores"]
    page.get_by_text("2 of 4 shown").wait_for()
    page.get_by_role("link", name="Stairs").first.click()
    report = page.frame_locator("iframe[title=Report]")
    report.locator("h1", has_text="Stairs").wait_for()
    page.get_by_role("link", name="Back to The class").click()
    page.get_by_text("2 of 4 shown").wait_for()
    assert pieces(page) == ["Stairs", "Two Shores"]  # as it was left
    assert page.evaluate("document.activeElement.textContent") == "Stairs"
    # By key no line is entered at a piece that is filtered out.
    page.get_by_label("Find").fill("two sh")
    for name, entry in (("Stairs", {"-1"}), ("Two Shores", {"0"})):
        dots = page.locator(f"a.dot[data-name='{name}']")
        assert {each.get_attribute("tabindex") for each in dots.all()} == entry
    assert page.get_by_label("Medium").input_value() == "piano"


def test_every_dot_has_a_name_and_a_reading(opened: Opened, class_page: str) -> None:
    page = opened(class_page)
    line = page.locator(".among").first
    dots = line.locator("a.dot")
    placed = dots.count()
    assert placed > 1
    name = dots.first.get_attribute("data-name")
    shown = line.locator(".dotname:visible")
    assert shown.count() == 0
    dots.first.hover()
    assert shown.all_text_contents() == [name]
    dots.first.focus()
    page.keyboard.press("ArrowRight")
    second = dots.nth(1).get_attribute("data-name")
    assert page.evaluate("document.activeElement.dataset.name") == second
    page.keyboard.press("Enter")
    reading = page.locator("#reading")
    reading.get_by_role("link", name=f"Open {second}").wait_for()
    said = [
        d.get_attribute("data-said") for d in page.locator(f"a.dot[data-name='{second}']").all()
    ]
    assert reading.locator("li").all_inner_texts() == said
    reading.get_by_role("link").click()
    assert page.locator("h1").inner_text() == second
    page.go_back()
    page.locator("#reading").get_by_role("link", name=f"Open {second}").wait_for()


def test_an_error_in_the_browser_keeps_the_place(opened: Opened, class_page: str) -> None:
    page = opened(class_page)
    page.get_by_role("link", name="Stairs").first.click()
    page.get_by_text("Try small changes").click()
    page.get_by_label("What you want").select_option("hold")
    page.get_by_role("button", name="Find small changes").click()
    page.locator("#ask-revise [role=alert]").get_by_text("needs a bar").wait_for()
    assert page.get_by_label("What you want").input_value() == "hold"
    page.get_by_label("Which bar").select_option("12")
    page.get_by_role("button", name="Find small changes").click()
    page.locator("#ask-revise [role=alert]").wait_for(state="detached")
    page.locator("#live:not([data-poll])").wait_for(state="attached")  # the next test's turn


def test_what_a_teacher_says_is_on_the_overview_and_on_the_sheets(
    opened: Opened, class_page: str, tmp_path: Path
) -> None:
    """Names set, events struck and added, a task for all, the sheets looked at and saved; kept
    as one file, and opened again beside itself."""
    page = opened(class_page)
    page.get_by_text("who wrote which piece").click()
    page.get_by_label("Name, stairs.musicxml").fill("Fen Aldis")
    page.get_by_role("button", name="Set the names").click()
    page.locator("#pieces").get_by_text("Fen Aldis").wait_for()
    page.get_by_text("A task for everyone").click()
    page.get_by_label("The task").select_option("withheld_bass")
    page.get_by_label("At which bar").select_option("16")
    page.get_by_role("button", name="Set the task").click()
    page.get_by_role("heading", name="bring it in at bar 16").wait_for()
    asked = page.locator("#asked")
    asked.get_by_text("G2 in bar 17 is the first note below G3").wait_for()

    page.get_by_role("link", name="Stairs").first.click()
    page.get_by_text("What happens in it, as you hear it").click()
    events = page.locator("#events")
    first = events.locator("li span").first.inner_text()
    events.get_by_role("button", name=f"Strike: {first}").click()
    events.get_by_role("heading", name="What you changed").wait_for()
    assert events.get_by_text(first, exact=True).count() == 0
    events.get_by_text("Add what you hear").click()
    events.get_by_label("or in your own words").last.fill("the bell")
    events.get_by_role("button", name="Add it").click()
    events.get_by_text("This needs bars").wait_for()  # and what was written is still there
    events.get_by_label("From bar").last.select_option("3")
    events.get_by_role("button", name="Add it").click()
    events.get_by_text("The bell in bar 3.").wait_for()
    page.get_by_role("link", name="Back to The class").click()
    row = page.locator("#pieces tr", has_text="Stairs")
    assert "The bell, bar 3" in row.inner_text()

    page.get_by_text("Handouts for the class").click()
    page.get_by_role("button", name="Make the handouts").click()
    page.get_by_role("status").get_by_text("The handouts are ready.").wait_for()
    sheet = page.frame_locator("iframe[title=Sheet]")
    sheet.get_by_role("heading", name="What the class shares").wait_for()
    names = save(page).namelist()
    assert {f"handouts/sheets/{n}.pdf" for n in ("stairs", "two-shores")} <= {*names}
    assert {"handouts/overview.html", "handouts/teacher.pdf"} <= {*names}
    page.locator("nav[aria-label=Sheets]").get_by_role("link", name="Stairs").click()
    sheet.get_by_text("Fen Aldis").wait_for()
    sheet.get_by_text("The bell in bar 3.").wait_for()
    sheet.get_by_text("The task: Withhold the bass").wait_for()
    assert sheet.get_by_text(first, exact=True).count() == 0

    page.get_by_text("Keep the class for another term").click()
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Save the class").click()
    name = f"The class {date.today().isoformat()}.class.json"
    assert waiting.value.suggested_filename == name
    kept = tmp_path / name
    waiting.value.save_as(kept)
    page.get_by_text("Compare with an earlier class").click()
    page.get_by_label("The class as it was saved").set_input_files(kept)
    page.get_by_role("button", name="Set them side by side").click()
    page.locator("#otherwise").get_by_text("Stairs (Fen Aldis): as before.").wait_for()

    page.get_by_role("link", name="All that is open").click()
    page.locator("#files").set_input_files(kept)
    page.get_by_text("as it was saved, without its scores").wait_for()
    assert page.locator("a.dot").count() and page.get_by_text("The bell, bar 3").count() == 1
    assert page.get_by_text("Handouts for the class").count() == 0
    _accessible(page, 1200)


def test_with_the_keyboard_alone(opened: Opened) -> None:
    page = opened()

    def tab_to(text: str, key: str = "Tab") -> None:
        for _ in range(30):
            page.keyboard.press(key)
            here = page.evaluate(
                "(e => (e.labels && e.labels[0] ? e.labels[0] : e).textContent.trim())"
                "(document.activeElement)"
            )
            if here == text:
                return
        pytest.fail(f"no key leads to '{text}'")

    # Listened to from the beginning: the browser must know before the key is pressed.
    choosers: list[FileChooser] = []
    page.on("filechooser", lambda chooser: choosers.append(chooser))
    tab_to("Choose scores")
    page.keyboard.press("Enter")
    ends = time.monotonic() + 60
    while not choosers:
        assert time.monotonic() < ends, "no key opens the field"
        page.wait_for_timeout(50)
    choosers[0].set_files(PIECES / "stairs.musicxml")
    page.get_by_text("The piece is compared.").wait_for()
    page.frame_locator("iframe").locator("h1").wait_for()
    tab_to("A sheet to print")
    page.keyboard.press("Enter")
    tab_to("Paper")
    page.keyboard.press("End")
    tab_to("Make the sheets")
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Save the sheets").wait_for()
    tab_to("Save the sheets")  # what was filled in has kept its place
    with page.expect_download() as waiting:
        page.keyboard.press("Enter")
    assert "handouts/sheets/stairs.pdf" in zipfile.ZipFile(waiting.value.path()).namelist()


def test_one_score_with_the_keyboard_alone(opened: Opened, tmp_path: Path) -> None:
    """From a version to hear over small changes to an earlier draft, on one page of a phone."""
    page = opened(width=390, dark=True)
    page.locator("#files").set_input_files(PIECES / "stairs.musicxml")
    news = page.get_by_role("status")
    news.get_by_text("The piece is compared.").wait_for()
    report = page.frame_locator("iframe[title=Report]")

    page.get_by_text("Hear it in other registers").press("Enter")
    page.get_by_label("How").press("End")
    page.get_by_role("button", name="Write the version").press("Enter")
    news.get_by_text("The page is ready, below.").wait_for()
    report.get_by_role("button", name="Hear all, in this way").wait_for()
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Save it as MusicXML").press("Enter")
    assert waiting.value.suggested_filename == "stairs-open.musicxml"
    version = tmp_path / "stairs-open.musicxml"
    waiting.value.save_as(version)

    page.get_by_text("Try small changes").press("Enter")
    page.get_by_label("What you want").select_option("move-at")
    page.get_by_label("Which bar").select_option("9")
    assert not page.get_by_label("Like which passage").is_visible()
    page.get_by_role("button", name="Find small changes").press("Enter")
    news.get_by_text("to try.").wait_for()
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Save it as MusicXML").first.press("Enter")
    assert waiting.value.suggested_filename == "stairs-option-1.musicxml"

    page.get_by_text("Compare with an earlier draft").press("Enter")
    page.get_by_label("The earlier draft").set_input_files(version)
    page.get_by_role("button", name="Compare the drafts").press("Enter")
    news.get_by_text("The page is ready, below.").wait_for()
    changed = report.get_by_role("heading", name="Since the earlier draft")
    changed.wait_for()
    page.get_by_role("link", name="The report").press("Enter")
    changed.wait_for(state="detached")
    report.get_by_role("heading", name="In numbers").wait_for()
    for summary in page.locator("summary").all():
        summary.press("Enter")
    _accessible(page, 390)


def test_a_folder_is_chosen_with_its_name(opened: Opened, tmp_path: Path) -> None:
    folder = tmp_path / "Monday class"
    (folder / "more").mkdir(parents=True)
    (folder / "stairs.musicxml").write_bytes(PIECE)
    (folder / "more" / "two.mid").write_bytes((PIECES / "two-shores.mid").read_bytes())
    (folder / "list.txt").write_text("Ada")
    page = opened()
    page.locator("#folder").set_input_files(folder)
    page.get_by_text("2 pieces are compared.").wait_for()
    assert page.locator("h1").inner_text() == "Monday class"
    assert page.locator("#pieces tbody a").count() == 2
    assert page.get_by_text("Left out, not a score: list.txt.").count() == 1


def test_without_the_script_buttons_do_the_same(opened: Opened) -> None:
    page = opened(script=False)
    page.locator("#files").set_input_files(PIECES / "stairs.musicxml")
    page.get_by_role("button", name="Show the reports").click()
    page.get_by_text("The piece is compared.").wait_for()
    page.frame_locator("iframe").locator("h1", has_text="Stairs").wait_for()


def test_what_is_refused_is_said_on_the_page(opened: Opened, tmp_path: Path) -> None:
    page = opened()
    large = tmp_path / "large.musicxml"
    with large.open("wb") as file:
        file.truncate(500 * uploads.MEGABYTE)
    page.locator("#files").set_input_files(large)
    news = page.get_by_role("status")
    news.get_by_text("large.musicxml: larger than a score can be here").wait_for()
    broken = tmp_path / "broken.musicxml"
    broken.write_text("<score-partwise>")
    drop(page, broken)
    page.get_by_text("broken.musicxml: ").wait_for()
    assert page.locator("iframe").count() == 0


def test_far_too_much_without_the_script(address: str) -> None:
    """The server reads none of it and still gets its line through."""
    from http.client import HTTPConnection

    port = int(address.rstrip("/").rpartition(":")[2])
    size = 150 * uploads.MEGABYTE
    connection = HTTPConnection("127.0.0.1", port, timeout=120)
    connection.putrequest("POST", "/scores")
    for name, value in (
        ("Content-Type", "multipart/form-data; boundary=x"),
        ("Content-Length", str(size)),
    ):
        connection.putheader(name, value)
    connection.endheaders()
    chunk = bytes(uploads.MEGABYTE)
    for _ in range(150):
        connection.send(chunk)
    answer = connection.getresponse()
    assert answer.status == 413
    assert b"More than 100 MB" in answer.read()
    connection.close()


def test_pages_are_accessible(opened: Opened, class_page: str) -> None:
    page = opened(dark=True, width=360)
    _accessible(page, 360)
    page.goto(class_page)
    for summary in page.locator("summary").all():
        summary.click()
    _accessible(page, 360)
    page.set_viewport_size({"width": 1200, "height": 800})
    page.emulate_media(color_scheme="light")
    _accessible(page, 1200, {"runOnly": ["color-contrast"]})


def _accessible(page: Page, width: int, asked: dict[str, list[str]] | None = None) -> None:
    # Styles and scripts of others are forbidden here, so axe runs outside that policy, and
    # not in the frame of a report (test_page has these).
    options = {"resultTypes": ["violations"], "iframes": False} | (asked or {})
    found = Axe().run(page, options=options)
    assert not json.loads(json.dumps(found.response["violations"]))
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_report_cannot_reach_the_room(opened: Opened, class_page: str) -> None:
    page = opened(f"{class_page}/piece/1")
    page.frame_locator("iframe").locator("h1").wait_for()
    (frame,) = [f for f in page.frames if f.parent_frame]
    reached = frame.evaluate(
        "(() => { try { return parent.document.title; } catch (e) { return e.name; } })()"
    )
    assert reached == "SecurityError"
    # Its own script runs all the same.
    frame.locator("html.live").wait_for()
    frame.locator(".map").press("ArrowRight")
    frame.locator(".readout", has_text="Bar ").wait_for()


def test_ports_that_cannot_be_had(address: str, small_home: Path) -> None:
    port = address.rstrip("/").rpartition(":")[2]
    for asked, words in ((port, "is not available"), ("99999", "from 1 to 65535")):
        ran = subprocess.run(
            [sys.executable, "-m", "corpusreg.cli", "room", "--no-browser", "--port", asked],
            env=os.environ | {"CORPUSREG_HOME": str(small_home)},
            capture_output=True,
            encoding="utf-8",
            timeout=120,
            check=False,
        )
        assert ran.returncode == 2
        assert ran.stderr.count("\n") == 1 and words in ran.stderr
