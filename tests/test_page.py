"""The page of `compare --report`, opened from disk in a real browser."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import direct
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from corpusreg.corpus.files import bundled_root
from corpusreg.documents.html import json_text, tag
from corpusreg.documents.sound import sound
from tests.conftest import PIECES, Command

LARGEST = 1_500_000  # bytes of a page
EVIL = '<script>alert(1)</script> & <b>Bold</b> "quoted" </title>'


@pytest.fixture(scope="session")
def reports(small_home: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Pages by name: a piano piece, a quartet, several works, and one with an evil title."""
    from corpusreg.documents.report import write_report

    folder = tmp_path_factory.mktemp("pages")
    evil = folder / "evil.musicxml"
    title = re.compile(r"<work-title>.*?</work-title>")
    given = (PIECES / "three-at-a-table.musicxml").read_text(encoding="utf-8")
    escaped = EVIL.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    changed, count = title.subn(lambda _: f"<work-title>{escaped}</work-title>", given)
    changed, parts = re.subn(
        r"<part-name>.*?</part-name>", "<part-name>&lt;i&gt;Flute</part-name>", changed, count=1
    )
    assert count == 1 and parts == 1
    evil.write_text(changed, encoding="utf-8")
    pieces = {
        "piano": [PIECES / "stairs.musicxml"],
        "quartet": [PIECES / "waiting-for-the-bus.musicxml"],
        "many": [PIECES / "field-path.abc", PIECES / "two-shores.mid"],
        "evil": [evil],
    }
    made = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("CORPUSREG_HOME", str(small_home))
        for name, paths in pieces.items():
            found = direct.compare_paths(paths)
            made[name] = folder / f"{name}.html"
            write_report(found.comparisons, (), found.reference_id, made[name])
    return made


Opened = Callable[..., Page]


@pytest.fixture
def opened(browser: Browser, reports: dict[str, Path]) -> Iterator[Opened]:
    """`opened('piano', dark=True, width=360)`: a page that must stay silent and offline."""
    trouble: list[str] = []
    contexts = []

    def show(name: str, *, dark: bool = False, width: int = 1280, script: str = "") -> Page:
        context = browser.new_context(
            viewport={"width": width, "height": 800}, color_scheme="dark" if dark else "light"
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(60_000)
        page.on("console", lambda message: trouble.append(f"console: {message.text}"))
        page.on("pageerror", lambda error: trouble.append(f"error: {error}"))
        page.on("dialog", lambda dialog: trouble.append(f"dialog: {dialog.message}"))
        page.on(
            "request",
            lambda request: request.url.startswith("file:") or trouble.append(request.url),
        )
        if script:
            page.add_init_script(script)
        page.goto(reports[name].as_uri())
        return page

    yield show
    for context in contexts:
        context.close()
    assert not trouble


def test_opens_from_disk_without_errors_or_requests(opened: Opened) -> None:
    page = opened("evil")
    assert page.locator("h1").count() == 1
    assert page.evaluate("performance.getEntriesByType('resource').length") == 0
    assert page.evaluate("document.documentElement.classList.contains('live')")


def test_the_policy_of_the_page_forbids_the_network(opened: Opened) -> None:
    page = opened("piano")
    page.on("console", lambda _: None)
    policy = page.locator("meta[http-equiv=Content-Security-Policy]").get_attribute("content")
    assert policy and policy.startswith("default-src 'none';")
    assert "unsafe" not in policy and "http" not in policy


def test_pages_are_small(reports: dict[str, Path]) -> None:
    assert max(path.stat().st_size for path in reports.values()) < LARGEST


def test_the_first_page_comes_first_and_details_are_folded(opened: Opened) -> None:
    page = opened("piano")
    titles = page.locator("article > section > h2").all_inner_texts()
    assert titles == ["One thing to try", "In numbers", "To look at"]
    assert page.locator("article > section.reading p").count() in (2, 3)
    assert page.locator(".row, .values p").count() in (5, 6)
    assert page.locator("details").count() >= 5
    assert page.locator("details[open]").count() == 0


def test_two_passages_are_in_notation(opened: Opened) -> None:
    page = opened("quartet")
    assert page.locator(".passage .notation svg").count() == 2
    used = page.locator(".notation use").evaluate_all("u => u.map(x => x.getAttribute('href'))")
    assert used
    for name in set(used):
        assert page.locator(f".glyphs {name}").count() == 1


def test_hover_names_bar_notes_and_stay(opened: Opened) -> None:
    page = opened("quartet")
    page.locator(".wide #w1-map-bar-16").hover()
    told = page.locator(".readout").inner_text()
    assert told.startswith("Bar 17: G2, B3, D4, G4, D5.")
    assert "bars 17–28" in told
    page.locator(".wide #w1-map-bar-3").click()
    assert page.locator(".hear-chosen").inner_text() == "Hear bar 4"
    assert page.locator(".wide .bar.cursor").get_attribute("data-bar") == "4"


def test_strips_and_dots_say_what_lies_there_to_pointer_and_keys(opened: Opened) -> None:
    page = opened("piano")
    told = page.locator(".strips .told")
    strip = page.locator(".strips .strip svg").first
    strip.focus()
    page.keyboard.press("ArrowLeft")
    assert told.inner_text().startswith("This piece: ")
    page.keyboard.press("ArrowRight")
    assert re.search(r"works(, such as .+)?\.$", told.inner_text())
    page.locator("#w1-works summary").click()
    told = page.locator("#w1-works .told")
    scatter = page.locator("#w1-works svg")
    scatter.focus()
    page.keyboard.press("ArrowLeft")
    assert scatter.locator(".ring").count() == 1
    last = told.inner_text()
    scatter.locator("[data-told^='1:']").hover()
    assert told.inner_text().startswith("1: ") and told.inner_text() != last
    assert scatter.locator(".ring").count() == 0


def test_keys_move_a_cursor_that_is_announced(opened: Opened) -> None:
    page = opened("quartet")
    page.locator(".map").focus()
    readout = page.locator(".readout")
    assert readout.get_attribute("role") == "status"  # a polite live region
    assert readout.inner_text().startswith("Bar 1:")
    page.keyboard.press("ArrowRight")
    assert readout.inner_text().startswith("Bar 2:")
    assert page.locator(".wide .bar.cursor").get_attribute("data-bar") == "2"
    page.keyboard.press("End")
    assert readout.inner_text().startswith("Bar 28:")
    page.keyboard.press("ArrowRight")
    assert readout.inner_text().startswith("Bar 28:")
    page.keyboard.press("ArrowUp")
    assert readout.inner_text().startswith("Bar 24:")
    page.keyboard.press("Home")
    assert readout.inner_text().startswith("Bar 1:")


def _wait(page: Page, condition: str) -> None:
    """Until a condition holds; the page's policy forbids the browser to wait by itself."""
    ends = time.monotonic() + 60
    while not page.evaluate(condition):
        assert time.monotonic() < ends, condition
        page.wait_for_timeout(50)


COUNT_TONES = """
window.tones = [];
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (when) {
  window.tones.push([this.frequency.value, when, this.context.currentTime]);
  return start.call(this, when);
};
"""


def test_a_passage_can_be_heard_and_stopped(opened: Opened) -> None:
    page = opened("quartet", script=COUNT_TONES)
    assert page.evaluate("window.tones.length") == 0  # nothing plays by itself
    page.locator(".passage .hear").first.click()
    _wait(page, "window.tones.length > 0")
    assert page.locator("article.playing").count() == 1
    assert page.evaluate("window.tones.every(([f, when, now]) => f > 20 && when >= now)")
    page.locator("button.stop").click()
    assert page.locator("article.playing").count() == 0
    before = page.evaluate("window.tones.length")
    page.wait_for_timeout(500)
    assert page.evaluate("window.tones.length") == before
    page.locator(".map").focus()
    page.keyboard.press("Enter")
    _wait(page, f"window.tones.length > {before}")
    page.keyboard.press("Escape")
    assert page.locator("article.playing").count() == 0


def test_what_is_held_from_before_is_heard_too(opened: Opened) -> None:
    """The viola of Field Path holds its open G (196 Hz) from bar 5 through bar 8."""
    page = opened("many", script=COUNT_TONES)
    page.locator("#w1 .map").focus()
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    _wait(page, "window.tones.length > 0")
    heard = page.evaluate("window.tones")
    first = min(when for _, when, _ in heard)
    assert any(abs(pitch - 196) < 0.1 for pitch, when, _ in heard if when < first + 0.01)


@pytest.mark.parametrize(
    ("name", "dark", "width"),
    [("piano", True, 1280), ("many", False, 360)],
)
def test_accessibility(opened: Opened, name: str, dark: bool, width: int) -> None:
    """axe-core: contrast, landmarks, names, and all else."""
    page = opened(name, dark=dark, width=width)
    page.locator("summary").evaluate_all("all => all.forEach(each => each.click())")
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    assert not [(each["id"], [n["html"][:120] for n in each["nodes"]]) for each in found]


OVERFLOWING = """() => [...document.querySelectorAll('body *')]
  .filter(e => !e.closest('.notation, .table') && !e.closest('svg') && !e.matches('.unseen'))
  .filter(e => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .map(e => e.outerHTML.slice(0, 80))"""


@pytest.mark.parametrize("name", ["quartet", "many"])
def test_nothing_overflows(opened: Opened, name: str) -> None:
    page = opened(name)
    # A phone, a laptop; the text width of A4 and of Letter with the page's own margins.
    for width, media in ((360, "screen"), (1280, "screen"), (680, "print"), (703, "print")):
        page.set_viewport_size({"width": width, "height": 800})
        page.emulate_media(media=media)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(OVERFLOWING) == []
        printed = media == "print"
        assert page.locator(".tools").first.is_visible() != printed
        assert page.locator(".map .wide svg").first.is_visible() == (width > 360)


def test_a_title_with_markup_is_shown_as_text(opened: Opened) -> None:
    page = opened("evil")
    assert page.locator("h1").inner_text() == EVIL
    assert page.title().startswith(EVIL)
    assert page.locator("h1 *").count() == 0
    assert page.locator("main b, main i").count() == 0
    assert "<i>Flute" in page.locator("#w1-players").text_content()


def test_text_cannot_leave_its_element() -> None:
    assert tag("p", EVIL, title=EVIL).count("<") == 2
    assert "<" not in json_text([EVIL, "&", "-->"])
    assert json.loads(json_text([EVIL])) == [EVIL]


def test_sound_follows_the_written_tempo(in_home: Path) -> None:
    found = direct.compare_paths([PIECES / "stairs.musicxml"]).comparisons[0]
    played = found.whole.played
    heard = sound(played)
    assert played.seconds is not None
    assert heard.tempo_known
    assert heard.bars[-1] == pytest.approx(1000 * played.seconds.sum(), abs=1)
    assert len(heard.bars) == len(played.bars) + 1
    assert heard.pitches == played.notes.pitch.tolist()
    onsets = [sum(heard.steps[: index + 1]) for index in (0, len(heard.steps) - 1)]
    assert onsets[0] == 0 and onsets[1] < heard.bars[-1]
    assert set(heard.fades) == {1}  # a piano


def test_a_very_long_work_stays_below_the_limit(in_home: Path, tmp_path: Path) -> None:
    """All five movements of a quartet in one file: 923 bars as played."""
    from corpusreg.documents.report import write_report

    made = tmp_path / "long.html"
    found = direct.compare_paths([bundled_root() / "beethoven" / "opus132.mxl"])
    write_report(found.comparisons, (), found.reference_id, made)
    assert made.stat().st_size < LARGEST


def test_pictures_of_a_page_take_their_colours_from_its_style(opened: Opened) -> None:
    """Only what has the class of a role loses the colour that it was drawn with."""
    page = opened("piano")
    painted = page.evaluate(
        """() => [...document.querySelectorAll(".picture *")].filter(each =>
            each.matches("rect, path, text, circle, polygon") && each.getClientRects().length
        ).map(each => {
            const style = getComputedStyle(each);
            return [each.getAttribute("class") || "", style.fill, style.stroke];
        })"""
    )
    assert len(painted) > 100
    # What nobody paints is black with SVG: nothing here is.
    black = [each for each in painted if each[1] == "rgb(0, 0, 0)"]
    assert black == []


def test_the_command_writes_a_page(run: Command, tmp_path: Path) -> None:
    file = tmp_path / "page.html"
    ran = run("compare", PIECES / "stairs.musicxml", "--report", file)
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout == f"{file}: a piece\n"
    assert file.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert list(tmp_path.iterdir()) == [file]


def test_failures_are_told_on_the_page(run: Command, tmp_path: Path) -> None:
    broken = tmp_path / "broken.musicxml"
    broken.write_text("<score-partwise>", encoding="utf-8")
    file = tmp_path / "page.html"
    ran = run("compare", PIECES / "stairs.musicxml", broken, "--report", file)
    assert ran.returncode == 1
    text = file.read_text(encoding="utf-8")
    assert "Not in this report" in text and "broken.musicxml" in text
    nothing = tmp_path / "nothing.html"
    assert run("compare", broken, "--report", nothing).returncode == 1
    assert not nothing.exists()


def test_a_place_that_cannot_be_written_is_one_line(run: Command, tmp_path: Path) -> None:
    file = tmp_path / "no such folder" / "page.html"
    ran = run("compare", PIECES / "stairs.musicxml", "--report", file)
    assert ran.returncode == 1
    assert ran.stderr.count("\n") == 1 and "cannot be written" in ran.stderr


def test_an_unknown_ending_is_one_line(run: Command, tmp_path: Path) -> None:
    ran = run("compare", PIECES / "stairs.musicxml", "--report", tmp_path / "page.doc")
    assert ran.returncode == 2
    assert ran.stderr.count("\n") == 1 and ".html" in ran.stderr
