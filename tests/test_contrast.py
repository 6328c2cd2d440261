"""Versions in other registers: what moves, what stays, and what they do."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import direct
import music21
import numpy as np
import pytest
from conftest import Command
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import html
from musicxml_schema import faults
from playwright.sync_api import Browser
from pypdf import PdfReader
from test_revise import BASS, TUNE, keyboard, line_at_its_limits, lowest_classes

from corpusreg.answers import ContrastAnswer
from corpusreg.comparison.practice import thick_bars
from corpusreg.corpus.catalogue import bundled
from corpusreg.documents.contrast import contrast_document
from corpusreg.instruments import load
from corpusreg.revision.contrast import FEWEST, WAYS, contrast
from corpusreg.revision.limits import MoveLimits
from corpusreg.revision.units import LazyAnalysis, music
from corpusreg.score.notes import Score
from corpusreg.score.played import Played, perform
from corpusreg.score.readers import read_scores
from corpusreg.score.rewrite import Change, changed, slurs
from corpusreg.system.errors import UsageError

PIECES = Path(__file__).parents[1] / "demo" / "pieces"
STAIRS = PIECES / "stairs.musicxml"
# Four bars low, four bars two octaves higher, and so on: every phrase enters elsewhere.
UP = [[pitch + 24 for pitch in bar] for bar in BASS]
LEAPS = [*BASS[:2] * 2, *UP[:2] * 2]


def version(score: Score, way: str, first: int = 0, last: int | None = None) -> Change:
    source = music(score, load())
    page = LazyAnalysis(perform(score, as_written=True))
    end = len(score.bars) if last is None else last
    return contrast(source, MoveLimits(source, melody=True), page, way, first, end)


def highest_classes(played: Played) -> dict[int, int]:
    turned = played.notes.pitch.copy()
    found: dict[int, int] = {}
    for onset, lasts, pitch in zip(
        played.notes.onset.tolist(),
        played.notes.duration.tolist(),
        turned.tolist(),
        strict=True,
    ):
        for tick in range(onset, onset + lasts):
            found[tick] = max(found.get(tick, -1), pitch)
    return {tick: pitch % 12 for tick, pitch in found.items()}


def test_each_entry_is_kept_in_the_register_before_it() -> None:
    score = keyboard([LEAPS])
    before = LazyAnalysis(perform(score))
    after = LazyAnalysis(perform(changed(score, version(score, "settled"))))
    assert len(before.shifts) == 5
    assert not after.shifts


def test_narrow_draws_in_and_open_opens_out() -> None:
    score = keyboard([TUNE, LEAPS])
    core = LazyAnalysis(perform(score)).analysis.core
    width = {"as it is": core[1] - core[0]}
    for way in ("narrow", "open"):
        core = LazyAnalysis(perform(changed(score, version(score, way)))).analysis.core
        width[way] = core[1] - core[0]
    assert width["narrow"] < width["as it is"] < width["open"]


def test_only_the_named_bars_change() -> None:
    score = keyboard([LEAPS])
    change = version(score, "settled", 4, 12)
    assert change.octaves.any()
    outside = (score.notes["bar"] < 4) | (score.notes["bar"] >= 12)
    assert not change.octaves[outside].any()


def leaps(score: Score) -> int:
    """How often a staff of single notes goes on with a leap wider than an octave."""
    notes = np.sort(score.notes, order="onset")
    lines = (notes[notes["staff"] == staff] for staff in (1, 2))
    return sum(
        int(
            b["onset"] == a["onset"] + a["duration"]
            and abs(int(b["pitch"]) - int(a["pitch"])) > 12
        )
        for line in lines
        for a, b in pairwise(line)
    )


@settings(max_examples=10, deadline=None)
@given(data=st.data())
def test_bass_and_melody_keep_their_notes_at_every_moment(data: st.DataObject) -> None:
    bar = st.lists(st.integers(40, 90) | st.just(0), min_size=4, max_size=4)
    low = st.lists(st.integers(28, 64), min_size=4, max_size=4)
    tune = data.draw(st.lists(bar, min_size=2, max_size=4))
    score = keyboard([tune, data.draw(st.lists(low, min_size=2, max_size=4))], bars=12)
    change = version(score, data.draw(st.sampled_from(WAYS)))
    before, after = perform(score), perform(changed(score, change))
    assert lowest_classes(before) == lowest_classes(after)
    assert highest_classes(before) == highest_classes(after)
    pitch = changed(score, change).notes["pitch"]
    assert 21 <= pitch.min() <= pitch.max() <= 108
    # No thicker low down, and no more leaps wider than an octave.
    assert thick_bars(after.notes) <= thick_bars(before.notes)
    assert leaps(changed(score, change)) <= leaps(score)
    # Never single notes: with each that moves, its hand's phrase moves.
    for staff in (1, 2):
        rows = score.notes["staff"] == staff
        moved = np.unique(change.octaves[rows])
        for octaves in moved[moved != 0]:
            assert (change.octaves[rows] == octaves).sum() >= FEWEST


def bundled_piece(start: str) -> Path:
    return next(
        file.path
        for file in sorted(bundled(), key=lambda f: f.relative)
        if file.relative.startswith(start) and file.path.suffix in (".mxl", ".xml")
    )


def test_a_real_piece_differs_in_octaves_alone(tmp_path: Path) -> None:
    path, out = bundled_piece("verdi/"), tmp_path / "out.musicxml"
    midi = tmp_path / "out.mid"
    found = direct.contrast(path, to=[out, midi])
    (before,), (after,), (sounds,) = (read_scores(p) for p in (path, out, midi))
    moved = before.notes["pitch"] != after.notes["pitch"]
    assert 0 < found.notes_moved <= moved.sum()
    assert ((before.notes["pitch"] - after.notes["pitch"]) % 12 == 0).all()
    for column in set(before.notes.dtype.names) - {"pitch"}:
        assert (before.notes[column] == after.notes[column]).all()
    assert before.metadata == after.metadata
    assert before.dynamics == after.dynamics
    # music21 counts the same notes at the same times, and the same pitch classes.
    old, new = (music21.converter.parse(p, format="musicxml") for p in (path, out))
    heard = [
        [(float(n.offset), float(n.quarterLength), [p.pitchClass for p in n.pitches])
         for n in score.flatten().notes]
        for score in (old, new)
    ]  # fmt: skip
    assert [row[:2] for row in heard[0]] == [row[:2] for row in heard[1]]
    assert [sorted(row[2]) for row in heard[0]] == [sorted(row[2]) for row in heard[1]]
    # Heard as MIDI, the same pitches sound for as long.
    assert np.array_equal(
        np.unique(perform(sounds).notes.pitch), np.unique(perform(after).notes.pitch)
    )
    # No slur has its ends in two registers.
    octaves = (after.notes["pitch"].astype(int) - before.notes["pitch"]) // 12
    assert all(octaves[a] == octaves[b] for a, b in slurs(path, before))
    if not faults(path):
        assert not faults(out)


def test_a_quartet_keeps_to_its_instruments(tmp_path: Path) -> None:
    path = bundled_piece("haydn/opus74no1/movement2")
    (score,) = read_scores(path)
    change = version(score, "open", 0, 24)
    assert change.octaves.any()
    after = changed(score, change).notes
    for hand in music(score, load()).hands:
        moved = hand.rows & (change.octaves != 0)
        if moved.any():
            assert hand.low <= after["pitch"][moved].min()
            assert after["pitch"][moved].max() <= hand.high


def test_the_command_tells_what_moves(run: Command, tmp_path: Path) -> None:
    out = tmp_path / "new.musicxml"
    shown = run("contrast", STAIRS, "--to", out).stdout
    assert "each entry stays in the register before it" in " ".join(shown.split())
    assert out.exists()
    answer = json.loads(
        run("contrast", STAIRS, "--how", "narrow", "--bars", "9-16", "--json").stdout
    )
    assert answer["bars"] == "bars 9–16"
    assert answer["moved"]
    assert all(9 <= int(n) <= 16 for move in answer["moved"] for n in move["bars"])
    assert sum(move["notes"] for move in answer["moved"]) == answer["notes_moved"]


def test_the_page_shows_both_versions_and_plays_both() -> None:
    page = contrast_document(direct.contrast(STAIRS)).page()
    root = html.document_fromstring(page)
    assert "http" not in page.replace("http-equiv", "").replace("http://www.w3.org/", "")
    first, second = (json.loads(e.text) for e in root.xpath("//script[@class='sound']"))
    assert first["bars"] == second["bars"]
    assert sorted(first["lasts"]) == sorted(second["lasts"])
    assert len(root.xpath("//*[@id='w1-map-1-bar-0']")) == 1
    assert len(root.xpath("//*[@id='w1-map-1-b-bar-0']")) == 1
    assert sorted(p % 12 for p in first["pitches"]) == sorted(p % 12 for p in second["pitches"])
    assert first["pitches"] != second["pitches"]


def test_a_contrast_is_printed_as_well(tmp_path: Path) -> None:
    found = ContrastAnswer(direct.contrast(STAIRS))
    assert found.report(tmp_path / "a.pdf") == ()
    text = " ".join(page.extract_text() for page in PdfReader(tmp_path / "a.pdf").pages)
    assert "What it does to the measures" in text and "Hear" not in text
    with pytest.raises(UsageError, match=r"ends in \.html or \.pdf"):
        found.report(tmp_path / "a.txt")


@pytest.mark.parametrize("width", [390, 1100])
def test_the_page_shows_the_maps_at_any_width(
    browser: Browser, tmp_path: Path, width: int
) -> None:
    ContrastAnswer(direct.contrast(STAIRS)).report(tmp_path / "page.html")
    page = browser.new_page(viewport={"width": width, "height": 800})
    page.goto((tmp_path / "page.html").as_uri())
    assert page.locator(".map svg").first.is_visible()
    assert page.get_by_role("button", name="Hear all, in this way").is_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()


def test_what_cannot_be_moved_is_said(tmp_path: Path) -> None:
    still = tmp_path / "one.musicxml"
    still.write_text(line_at_its_limits(), encoding="utf-8")
    for way, words in (
        ("settled", "or cannot"),
        ("open", "further out"),
        ("narrow", "nearer"),
    ):
        with pytest.raises(UsageError, match=words):
            direct.contrast(still, way, to=[tmp_path / "out.mid"])
    assert not (tmp_path / "out.mid").exists()
    kern = next(PIECES.glob("*.krn"))
    with pytest.raises(UsageError, match="kern cannot be written back as MusicXML"):
        direct.contrast(kern, to=[tmp_path / "out.musicxml"])
    with pytest.raises(UsageError, match="no bar '99'"):
        direct.contrast(STAIRS, bars="99")
