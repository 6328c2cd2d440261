"""Two drafts of one piece: bars set side by side, what changed, and where it is told."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import direct
import jsonschema
import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from hypothesis import given
from hypothesis import strategies as st
from playwright.sync_api import Browser
from pypdf import PdfReader

import corpusreg
from corpusreg.comparison.drafts import SAYABLE, Drafts, align, drafts
from corpusreg.documents.handout.piece import earlier_drafts
from corpusreg.documents.handout.roster import NO_ROSTER, Roster, Writer
from corpusreg.documents.report import write_report
from corpusreg.measures.definitions import MEASURES
from corpusreg.score.notes import Part
from corpusreg.score.played import Played
from corpusreg.store import open_reference
from corpusreg.system.errors import DataError, ReadError, UsageError
from corpusreg.text.drafts import (
    NOTHING,
    changed_bars,
    in_short,
    measure_row,
    remarks,
    run_words,
)
from tests.by_hand import BAR, BEAT, Row, bars_of, notes_of
from tests.conftest import PIECES, ROOT, Command

# Twenty bars of 4/4, each unlike the others, in one register.
BARS = (
    "C2 D2 E2 F2", "G4 E4", "F2 E2 D4", "E2 G2 c4", "B2 A2 G2 F2", "A4 F4", "E3 F G4",
    "D8", "c2 B2 A4", "G2 A2 B2 c2", "d4 B4", "c2 A2 F4", "E2 E2 F2 G2", "A3 G F4",
    "G2 E2 C4", "D2 F2 E2 D2", "C4 E2 G2", "c6 B2", "A2 F2 G2 E2", "C8",
)  # fmt: skip
GRADES = re.compile(r"\b(better|worse|improv\w*|progress|good|poor|should)\b", re.IGNORECASE)


def tune(path: Path, bars: list[str] | tuple[str, ...], title: str = "Field path") -> Path:
    lines = "|\n".join(bars)
    path.write_text(f"X:1\nT:{title}\nM:4/4\nL:1/8\nK:C\n{lines}|]\n", encoding="utf-8")
    return path


def changed(folder: Path, later: list[str] | tuple[str, ...]) -> Drafts:
    """What changed from the tune of BARS to another."""
    before, now = tune(folder / "one.abc", BARS), tune(folder / "two.abc", later)
    (found,) = direct.compare_paths([now], against=before).drafts
    return found


def played(rows: list[Row], bars: int) -> Played:
    return Played(
        ticks=BEAT,
        parts=(Part("Melody"),),
        bars=bars_of([BAR] * bars),
        notes=notes_of(rows),
        dynamics_known=False,
        pedal_known=False,
        tempo_known=False,
        assumed=(),
    )


def melody(bars: list[tuple[int, ...]]) -> Played:
    """Four crotchets a bar; an empty bar is silent."""
    rows: list[Row] = [
        (pitch, BAR * number + BEAT * place, BEAT)
        for number, bar in enumerate(bars)
        for place, pitch in enumerate(bar)
    ]
    return played(rows, len(bars))


def names(bar: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(pitch % 12 for pitch in bar)


BAR_OF_FOUR = st.tuples(*[st.integers(48, 84)] * 4)


@given(
    st.lists(BAR_OF_FOUR, min_size=2, max_size=12, unique_by=names),
    st.integers(0, 12),
    st.integers(1, 4),
)
def test_inserted_bars_push_the_others_on(
    bars: list[tuple[int, ...]], at: int, count: int
) -> None:
    at = min(at, len(bars))
    later = [*bars[:at], *[(30, 31, 33, 35)] * count, *bars[at:]]
    new = set(range(at, at + count))
    pairs = align(melody(bars), melody(later))
    kept = [j for j in range(len(later)) if j not in new]
    # A bar that happens to be like the inserted one may be paired with it instead.
    if not any(len({p % 12 for p in bar} & {6, 7, 9, 11}) >= 2 for bar in bars):
        assert pairs == list(zip(range(len(bars)), kept, strict=True))
    assert align(melody(later), melody(bars)) == [(j, i) for i, j in pairs]


@given(st.lists(BAR_OF_FOUR, min_size=1, max_size=10), st.sampled_from([-12, 12, 24]))
def test_octaves_do_not_hide_the_same_music(bars: list[tuple[int, ...]], move: int) -> None:
    higher = [tuple(pitch + move for pitch in bar) for bar in bars]
    pairs = align(melody(bars), melody(higher))
    assert pairs == [(number, number) for number in range(len(bars))]


def test_note_values_halved_are_the_same_bars() -> None:
    bars = [(60, 62, 64, 65), (67, 65, 64, 62), (72, 71, 69, 67)]
    one = melody(bars)
    other = played(
        [(pitch, 8 * number + 2 * place, 2) for number, bar in enumerate(bars)
         for place, pitch in enumerate(bar)], 3,
    )  # fmt: skip
    short = bars_of([8] * 3)
    halved = np.repeat(np.arange(3), 4)
    other = replace(other, bars=short, notes=replace(other.notes, bar=halved))
    assert align(one, other) == [(0, 0), (1, 1), (2, 2)]


def test_every_unit_has_a_least_difference_that_is_told() -> None:
    assert {each.unit for each in MEASURES} <= set(SAYABLE)


def test_two_identical_drafts(in_home: Path, tmp_path: Path) -> None:
    found = changed(tmp_path, BARS)
    assert found.untouched
    assert in_short(found) == NOTHING == "Nothing has changed."


def test_what_changed_is_told_with_bars(in_home: Path, tmp_path: Path) -> None:
    later = [*BARS[:4], "^F2 ^G2 ^A4", "^A4 ^D4", *BARS[4:]]
    later[10] = "c'2 b2 a4"  # bar 9 before, an octave higher
    del later[15]  # bar 14 before
    found = changed(tmp_path, later)
    assert [run_words(run, found) for run in changed_bars(found)] == [
        "Bars 5–6: new.",
        "Bar 11 (bar 9 before): the same, an octave higher now.",
        "Bar 14 before: gone.",
    ]
    assert in_short(found).startswith(
        "Bars 5–6: new; bar 11 (bar 9 before): the same, an octave higher now; bar 14"
    )
    span = next(each for each in found.measures if each.measure.name == "span")
    assert (span.before.value, span.now.value, span.changed) == (14, 24, True)
    events = [each.now for each in found.changes if each.kind == "event" and each.now]
    assert any((each.kind, each.bar) == ("high_point", 10) for each in events)
    assert not remarks(found)


def test_other_music_in_the_same_place_and_other_rhythm(in_home: Path, tmp_path: Path) -> None:
    later = [*BARS[:7], "^F2 ^A2 ^c2 ^d2", *BARS[8:]]
    later[1] = "G4 E2 E2"
    found = changed(tmp_path, later)
    assert [(run.kind, run.now) for run in changed_bars(found)] == [
        ("changed", (1, 2)),
        ("rewritten", (7, 8)),
    ]


def test_shifts_and_events_of_untouched_bars_are_as_before(
    in_home: Path, tmp_path: Path
) -> None:
    high = [bar.lower() for bar in BARS[8:12]]
    first = [
        *BARS[:8],
        *(bar.replace("c", "c'").replace("d", "d'") for bar in high),
        *BARS[12:],
    ]
    before = tune(tmp_path / "a.abc", first)
    now = tune(tmp_path / "b.abc", ["C4 ^D4", "^F4 ^G4", *first])
    (found,) = direct.compare_paths([now], against=before).drafts
    shifts = [each for each in found.changes if each.kind == "shift"]
    assert shifts
    assert {each.status for each in shifts} == {"as before"}
    assert all(each.now.bar == each.before.bar + 2 for each in shifts)  # type: ignore[union-attr]


def test_a_transposed_draft_has_hardly_a_bar_in_common(in_home: Path, tmp_path: Path) -> None:
    one = tune(tmp_path / "one.abc", BARS)
    other = tmp_path / "other.abc"
    sharp = [re.sub(r"([A-Ga-g])", r"^\1", bar) for bar in BARS]
    (found,) = direct.compare_paths([tune(other, sharp)], against=one).drafts
    assert found.unlike
    assert "Hardly a bar of the earlier draft is found again" in in_short(found)


def test_other_forces_are_said(in_home: Path) -> None:
    paths = PIECES / "stairs.musicxml", PIECES / "three-at-a-table.musicxml"
    (found,) = direct.compare_paths([paths[0]], against=paths[1]).drafts
    text = " ".join(remarks(found))
    assert "before and is for piano now" in text


def test_a_draft_against_itself_backwards_swaps_new_and_gone(
    in_home: Path, tmp_path: Path
) -> None:
    found = changed(tmp_path, [*BARS[:4], "^F2 ^G2 ^A4", *BARS[4:]])
    back = drafts(found.later, found.earlier)
    kinds = {"new": "gone", "gone": "new"}
    assert [(kinds.get(r.kind, r.kind), r.now, r.before) for r in found.runs] == [
        (r.kind, r.before, r.now) for r in back.runs
    ]


def test_console_and_json(run: Command, tmp_path: Path) -> None:
    one = tune(tmp_path / "one.abc", BARS)
    two = tune(tmp_path / "two.abc", ["C4 ^F4", *BARS])
    told = run("compare", two, "--against", one)
    assert told.returncode == 0 and not told.stderr
    assert "  - Bar 1: new." in told.stdout and "20 bars are as before." in told.stdout
    assert re.sub("[♭♯–]", "", told.stdout).isascii()
    assert max(map(len, told.stdout.splitlines())) <= 88 + len(str(two))
    assert not re.search(r"[a-z]\d+[.]", told.stdout.partition("All measures")[2])
    assert not GRADES.search(told.stdout)
    answer = run("compare", two, "--against", one, "--json")
    document = json.loads(answer.stdout)
    schema = ROOT / "corpusreg" / "data" / "comparison.schema.json"
    jsonschema.validate(document, json.loads(schema.read_text(encoding="utf-8")))
    (work,) = document["works"]
    assert work["drafts"]["bars"][0] == {
        "kind": "new", "before": None, "now": ["1", "1"], "semitones": None,
    }  # fmt: skip
    now = {each["name"]: each.get("size") for each in work["measures"]}
    assert {each["name"]: each["now"] for each in work["drafts"]["measures"]} == now
    same = run("compare", one, "--against", one)
    assert "Nothing has changed." in same.stdout


def test_a_value_that_reads_otherwise_is_not_said_to_be_as_before(
    in_home: Path, tmp_path: Path
) -> None:
    row = next(e for e in changed(tmp_path, BARS).measures if e.measure.name == "movement_bar")
    assert row.before.value is not None and not row.changed
    assert measure_row(row)[3] == "as before"
    now = replace(row.now, value=row.before.value + 0.5)
    assert measure_row(replace(row, now=now))[3] == "about as before"


def test_python(in_home: Path, tmp_path: Path) -> None:
    one = tune(tmp_path / "one.abc", BARS)
    found = corpusreg.compare(tune(tmp_path / "two.abc", BARS[:-2]), against=one)
    assert "Bars 19–20 before: gone." in str(found)
    assert found.document["works"][0]["drafts"]["earlier"]["bars"] == 20


def test_passages_to_study_are_in_the_document(in_home: Path) -> None:
    found = corpusreg.compare(PIECES / "stairs.musicxml").document["works"][0]["study"]
    assert found["habit"] == "span"
    assert found["sharing"] and found["otherwise"]
    works = [each["work"] for each in (*found["sharing"], *found["otherwise"])]
    assert len(set(works)) == len(works)


def test_bad_input_is_one_line(in_home: Path, tmp_path: Path) -> None:
    one = tune(tmp_path / "one.abc", BARS)
    with pytest.raises(UsageError, match="is a folder"):
        direct.compare_paths([one], against=tmp_path)
    with pytest.raises(UsageError, match="here are 2 pieces"):
        direct.compare_paths([one, one], against=one)
    with pytest.raises(ReadError, match=r"none\.abc"):
        direct.compare_paths([one], against=tmp_path / "none.abc")
    several = tmp_path / "several.abc"
    text = one.read_text(encoding="utf-8")
    several.write_text(f"{text}\n{text.replace('X:1', 'X:2')}", encoding="utf-8")
    with pytest.raises(UsageError, match="holds 2 pieces"):
        direct.compare_paths([one], against=several)


def test_the_page_begins_with_both_maps(
    in_home: Path, tmp_path: Path, browser: Browser
) -> None:
    one = tune(tmp_path / "one.abc", BARS, "<b>One</b>")
    two = tune(
        tmp_path / "two.abc", ["C4 ^F4", *BARS[:10], "c'2 b2 a'4", *BARS[10:]], "<b>Two</b>"
    )
    found = direct.compare_paths([two], against=one, depth="all")
    made = tmp_path / "page.html"
    write_report(
        found.comparisons, (), found.reference_id, made,
        studied=found.studied, drafts=found.drafts,
    )  # fmt: skip
    trouble: list[str] = []
    for width in (1280, 360):
        page = browser.new_page(viewport={"width": width, "height": 800})
        page.set_default_timeout(60_000)
        page.on("console", lambda message: trouble.append(message.text))
        page.on("pageerror", lambda error: trouble.append(str(error)))
        page.goto(made.as_uri())
        first = page.locator("details").first
        assert first.get_attribute("id") == "w1-drafts"
        assert first.get_attribute("open") is not None
        assert "Bar 1: new." in first.inner_text()
        words = "wide" if width > 1000 else "slim"
        map_ = first.locator(f".{words} svg")
        assert map_.count() == 1
        assert {"before", "now"} <= set(map_.locator("text").all_text_contents())
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert not GRADES.search(first.inner_text())
        if words == "slim":
            faults = Axe().run(page).response["violations"]
            assert not [each["id"] for each in faults]
        assert not trouble
        page.close()


def test_the_page_without_a_draft_has_no_such_section(in_home: Path, tmp_path: Path) -> None:
    found = direct.compare_paths([PIECES / "stairs.musicxml"])
    made = tmp_path / "page.html"
    write_report(found.comparisons, (), found.reference_id, made)
    assert "w1-drafts" not in made.read_text(encoding="utf-8")


def test_passages_from_open_encodings_carry_their_attribution(
    in_home: Path, tmp_path: Path
) -> None:
    found = direct.compare_paths([PIECES / "stairs.musicxml"], depth="all")
    made = tmp_path / "page.html"
    with open_reference() as reference:
        write_report(
            found.comparisons, (), found.reference_id, made,
            studied=found.studied, reference=reference,
        )  # fmt: skip
    text = made.read_text(encoding="utf-8")
    quoted = text[text.index('id="w1-study"') :]
    quoted = quoted[: quoted.index("</details>")]
    given = [each for side in found.studied[0] for each in side]
    for each in given:
        assert each.bars in quoted
    shown = re.findall(r"<figure.*?</figure>", quoted, re.DOTALL)
    assert len(shown) == sum(
        any(each.licence == "open" for each in side) for side in found.studied[0]
    )
    assert all("its licence as stated" in each for each in shown)


NAMES = [
    "stairs draft 1.musicxml", "stairs draft 2.mxl", "Stairs draft 10.mid", "attic_v1.krn",
    "attic_v2.krn", "bus 2026-03-01.mxl", "bus 2026-04-15.mxl", "prelude-1.mxl",
    "prelude-2.mxl", "sub/stairs draft 3.mxl", "draft 2.mxl",
]  # fmt: skip


def test_drafts_are_known_by_name() -> None:
    assert earlier_drafts(NAMES, NO_ROSTER) == {
        "stairs draft 2.mxl": "stairs draft 1.musicxml",
        "Stairs draft 10.mid": "stairs draft 2.mxl",
        "attic_v2.krn": "attic_v1.krn",
        "bus 2026-04-15.mxl": "bus 2026-03-01.mxl",
    }


def test_the_roster_names_drafts() -> None:
    roster = Roster((Writer("prelude-2.mxl", "Ada", "1", "prelude-1.mxl"),))
    assert earlier_drafts(NAMES, roster)["prelude-2.mxl"] == "prelude-1.mxl"
    with pytest.raises(DataError, match=r"'gone\.mxl'"):
        earlier_drafts(NAMES, Roster((Writer("prelude-2.mxl", earlier="gone.mxl"),)))
    rows = Writer("prelude-1.mxl", earlier="prelude-2.mxl"), roster.rows[0]
    with pytest.raises(DataError, match="its own earlier draft"):
        earlier_drafts(NAMES, Roster(rows))


def test_a_class_with_drafts(run: Command, tmp_path: Path) -> None:
    folder = tmp_path / "class"
    folder.mkdir()
    tune(folder / "path draft 1.abc", BARS)
    tune(folder / "path draft 2.abc", ["C4 ^F4", *BARS])
    tune(folder / "other.abc", BARS[::-1], "Other")
    roster = tmp_path / "roster.csv"
    roster.write_text("file,name,code\npath draft 2.abc,Ada May,P1\nother.abc,Bo,P2\n")
    made = run("handout", folder, "--to", tmp_path / "to", "--roster", roster, "--codes")
    assert made.returncode == 0, made.stderr
    assert "2 sheets" in made.stdout
    assert "path draft 1.abc: an earlier draft of path draft 2.abc" in made.stderr
    sheet = (tmp_path / "to" / "sheets" / "P1.html").read_text(encoding="utf-8")
    assert "Since the earlier draft: Bar 1: new." in sheet
    other = (tmp_path / "to" / "sheets" / "P2.html").read_text(encoding="utf-8")
    assert "earlier draft" not in other


def test_an_earlier_draft_that_cannot_be_read_is_a_problem(
    run: Command, tmp_path: Path
) -> None:
    folder = tmp_path / "class"
    folder.mkdir()
    tune(folder / "path draft 2.abc", BARS)
    (folder / "path draft 1.musicxml").write_text("<score-partwise>")
    made = run("handout", folder, "--to", tmp_path / "to")
    assert made.returncode == 1
    assert "an earlier draft of it cannot be set beside it" in made.stderr
    assert (tmp_path / "to" / "sheets" / "path-draft-2.html").exists()


def test_the_pdf_tells_the_same(in_home: Path, tmp_path: Path) -> None:
    one = tune(tmp_path / "one.abc", BARS)
    two = tune(tmp_path / "two.abc", ["C4 ^F4", *BARS])
    found = direct.compare_paths([two], against=one)
    made = tmp_path / "page.pdf"
    write_report(found.comparisons, (), found.reference_id, made, drafts=found.drafts)
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(made).pages).split())
    section = text[text.index("Since the earlier draft") :]
    assert section.index("Bar 1: new.") < section.index("What happens")
