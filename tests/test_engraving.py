"""Notation of passages: it holds exactly the notes of the bars, and is safe in a page.

Heads are counted in the finished SVG, bar by bar, against what the readers read; pitches
and values are held against the readers by the engraving itself, which is tested here by
giving it a wrong reading.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from corpusreg.documents import engraving
from corpusreg.documents.engraving import (
    TEXT_WIDTH,
    Engraved,
    NotatedPassage,
    engrave,
    engrave_all,
    engrave_here,
    glyph_sheet,
    shifts,
    standalone,
)
from corpusreg.documents.engraving.excerpt import cut_to_values
from corpusreg.score.notes import Score
from corpusreg.score.readers import read_scores

PIECES = Path(__file__).parents[1] / "demo" / "pieces"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="session")
def library() -> Path:
    import music21

    return Path(music21.__file__).parent / "corpus"


def drawn(path: Path, first: int, last: int, **more: object) -> Engraved:
    [found] = engrave_here([NotatedPassage(path, first, last, **more)])  # type: ignore[arg-type]
    assert isinstance(found, Engraved), found
    return found


def heads(picture: Engraved) -> list[int]:
    """Note heads in each bar of a picture."""
    root = etree.fromstring(picture.svg)
    bars = [g for g in root.iter(f"{SVG}g") if g.get("class") == "measure"]
    return [sum(g.get("class") == "note" for g in bar.iter(f"{SVG}g")) for bar in bars]


def written(score: Score, first: int, last: int, parts: tuple[int, ...] = ()) -> list[int]:
    """Notes that were read in each bar."""
    counts = Counter(
        int(row["bar"]) for row in score.notes if not parts or int(row["part"]) in parts
    )
    return [counts[bar] for bar in range(first, last)]


def as_mei(path: Path, folder: Path) -> Path:
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.loadFile(str(path))
    target = folder / f"{path.stem}.mei"
    target.write_text(toolkit.getMEI(), encoding="utf-8")
    return target


def musicxml(*bars: str, part: str = "Oboe", title: str = "Reed", extra: str = "") -> str:
    first = "<divisions>2</divisions><key><fifths>1</fifths></key><time><beats>2</beats>"
    first += f"<beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef>{extra}"
    measures = "".join(
        f'<measure number="{n}">{f"<attributes>{first}</attributes>" if n == 1 else ""}'
        f"{bar}</measure>"
        for n, bar in enumerate(bars, start=1)
    )
    return (
        f'<score-partwise version="4.0"><work><work-title>{title}</work-title></work>'
        f'<part-list><score-part id="P1"><part-name>{part}</part-name></score-part>'
        f'</part-list><part id="P1">{measures}</part></score-partwise>'
    )


def note(step: str, octave: int, duration: int = 2, inside: str = "", after: str = "") -> str:
    kind = {1: "eighth", 2: "quarter", 4: "half"}[duration]
    return (
        f"<note><pitch><step>{step}</step><octave>{octave}</octave></pitch>"
        f"<duration>{duration}</duration>{inside}<type>{kind}</type>{after}</note>"
    )


@pytest.fixture
def reed(tmp_path: Path) -> Path:
    path = tmp_path / "reed.musicxml"
    path.write_text(musicxml(*[note("G", 4) + note("A", 4)] * 40), encoding="utf-8")
    return path


DEMO = sorted(PIECES.iterdir())
DRAWN = {
    "svg", "g", "path", "use", "text", "tspan", "rect", "ellipse", "polygon", "polyline",
}  # fmt: skip


@pytest.mark.parametrize("path", DEMO, ids=lambda path: path.name)
def test_every_bar_of_the_demo_pieces_is_drawn_with_its_notes(path: Path) -> None:
    [score] = read_scores(path)
    bars = range(0, len(score.bars), 4)
    passages = [
        NotatedPassage(path, bar, min(bar + 4, len(score.bars)), score.number) for bar in bars
    ]
    for passage, picture in zip(passages, engrave_here(passages), strict=True):
        assert isinstance(picture, Engraved), picture
        assert (picture.first, picture.last) == (passage.first, passage.last)
        assert picture.labels == score.bars.labels[passage.first : passage.last]
        assert heads(picture) == written(score, passage.first, passage.last)


@pytest.mark.parametrize(
    "name",
    [
        "bach/bwv66.6.mxl",  # an upbeat, fermatas
        "haydn/opus74no1/movement3.mxl",  # repeats, four players
        "weber/concertino_clarinet.mxl",  # a transposing clarinet and a piano
        "schumann_clara/polonaise_op1n1.mxl",  # voices, turns, grace notes
        "webern/webern_dormi_jesu_op_16_no_2.mxl",  # tuplets, words
        "beach/prayer_of_a_tired_child.musicxml",
        "palestrina/Agnus_08.krn",
        "chopin/mazurka06-2.krn",
        "airdsAirs/book3.abc",
        "ryansMammoth/AcrobatsHornpipe.abc",
    ],
)
def test_bars_of_bundled_scores_are_drawn_with_their_notes(name: str, library: Path) -> None:
    path = library / name
    score = read_scores(path)[0]
    ends = [(0, 3), (3, 6), (len(score.bars) - 3, len(score.bars))]
    passages = [NotatedPassage(path, first, last, score.number) for first, last in ends]
    for passage, picture in zip(passages, engrave_here(passages), strict=True):
        assert isinstance(picture, Engraved), picture
        assert heads(picture) == written(score, passage.first, picture.last)


@settings(max_examples=12, deadline=None)
@given(
    path=st.sampled_from(DEMO),
    first=st.integers(0, 23),
    length=st.integers(1, 6),
    place=st.integers(0, 3),
)
def test_any_cut_holds_the_notes_of_its_bars(
    path: Path, first: int, length: int, place: int
) -> None:
    [score] = read_scores(path)
    parts = (min(place, len(score.parts) - 1),)
    first = min(first, len(score.bars) - 1)
    picture = drawn(path, first, first + length, number=score.number, parts=parts)
    assert heads(picture) == written(score, first, picture.last, parts)


def test_time_wise_scores_and_other_encodings(reed: Path, tmp_path: Path) -> None:
    root = etree.fromstring(reed.read_bytes())
    whole = etree.Element("score-timewise")
    whole.append(root.find("part-list"))
    for measure in root.iter("measure"):
        bar = etree.SubElement(whole, "measure", dict(measure.attrib))
        etree.SubElement(bar, "part", id="P1").extend(list(measure))
    path = tmp_path / "wise.musicxml"
    path.write_bytes(etree.tostring(whole, encoding="utf-16"))
    assert heads(drawn(path, 3, 6)) == [2, 2, 2]


def test_mei_is_drawn_as_the_music_it_came_from(tmp_path: Path) -> None:
    path = as_mei(PIECES / "waiting-for-the-bus.musicxml", tmp_path)
    [original] = read_scores(PIECES / "waiting-for-the-bus.musicxml")
    assert heads(drawn(path, 5, 9)) == written(original, 5, 9)


@pytest.mark.parametrize("suffix", ["musicxml", "krn", "mei"])
def test_chosen_parts_only(suffix: str, tmp_path: Path, library: Path) -> None:
    path, names = PIECES / "waiting-for-the-bus.musicxml", {"Violin II", "Violoncello"}
    if suffix == "mei":
        path = as_mei(path, tmp_path)
    elif suffix == "krn":
        path = library / "palestrina" / "Agnus_08.krn"
        names = {"Contralto", "Bass"}
    [score] = read_scores(path)
    picture = drawn(path, 4, 7, parts=(1, 3))
    assert heads(picture) == written(score, 4, 7, (1, 3))
    groups = etree.fromstring(picture.svg).iter(f"{SVG}g")
    labels = [g for g in groups if g.get("class") == "label"]
    assert {"".join(label.itertext()).strip() for label in labels} == names


def test_an_upbeat_is_the_first_bar(library: Path) -> None:
    picture = drawn(library / "bach" / "bwv66.6.mxl", 0, 2)
    assert picture.labels == ("0", "1")
    assert heads(picture)[0] == 7  # a crotchet in the alto, two quavers in the others


def test_repeat_signs_and_endings_are_drawn() -> None:
    picture = drawn(PIECES / "kitchen-window.musicxml", 5, 9)
    root = etree.fromstring(picture.svg)
    endings = [g for g in root.iter(f"{SVG}g") if g.get("class") == "ending"]
    assert ["".join(g.itertext()).strip() for g in endings] == ["1", "2"]
    within = drawn(PIECES / "kitchen-window.musicxml", 7, 8)  # the second bar of the first
    assert heads(within) == heads(picture)[2:3]
    assert 'class="ending"' in within.svg


def test_a_transposing_part_is_drawn_as_written_and_said_to_be() -> None:
    picture = drawn(PIECES / "three-at-a-table.musicxml", 0, 4)
    assert picture.remarks == ("Clarinet in Bb sounds a whole tone lower than written",)
    assert drawn(PIECES / "three-at-a-table.musicxml", 0, 4, parts=(0, 2)).remarks == ()


def test_what_holds_at_the_cut_is_written_again() -> None:
    """Key, clef and the octave line of bars before; the metre too."""
    [score] = read_scores(PIECES / "stairs.musicxml")
    inside = drawn(PIECES / "stairs.musicxml", 6, 7)
    root = etree.fromstring(inside.svg)
    kinds = Counter(g.get("class") for g in root.iter(f"{SVG}g"))
    assert kinds["clef"] == kinds["keySig"] == kinds["meterSig"] == 2
    assert kinds["octave"] == 1  # begun in a bar that is not in the picture
    assert heads(inside) == written(score, 6, 7)


def test_a_long_passage_is_cut_and_said_to_be(reed: Path) -> None:
    picture = drawn(reed, 4, 40)
    assert picture.first == 4
    assert picture.last == 4 + len(picture.labels) == 20
    assert picture.remarks == ("the first 16 of 36 bars; the passage goes on to bar 40",)
    assert len(heads(picture)) == 16
    root = etree.fromstring(picture.svg)
    systems = [g for g in root.iter(f"{SVG}g") if g.get("class") == "system"]
    assert 1 <= len(systems) <= 3


def test_silent_parts_of_a_tall_score_are_left_out(tmp_path: Path) -> None:
    rest = '<note><rest measure="yes"/><duration>4</duration></note>'
    whole = etree.fromstring(musicxml(note("G", 4, 4)))
    for number in range(2, 10):
        head = etree.SubElement(whole.find("part-list"), "score-part", id=f"P{number}")
        etree.SubElement(head, "part-name").text = f"Horn {number}"
        whole.append(etree.fromstring(musicxml(rest)).find("part"))
        whole[-1].set("id", f"P{number}")
    path = tmp_path / "tall.musicxml"
    path.write_bytes(etree.tostring(whole))
    picture = drawn(path, 0, 1)
    assert picture.remarks == ("8 silent parts left out",)
    assert "Horn" not in picture.svg


def test_size_fits_the_page(reed: Path) -> None:
    short, long = drawn(reed, 0, 2), drawn(reed, 0, 16)
    assert short.width < TEXT_WIDTH / 2
    assert long.width == pytest.approx(TEXT_WIDTH, abs=0.2)
    for picture in (short, long):
        root = etree.fromstring(picture.svg)
        assert root.get("width") == f"{picture.width}mm"
        assert root.get("height") == f"{picture.height}mm"
        wide, high = map(float, root.get("viewBox").split()[2:])
        assert picture.width / picture.height == pytest.approx(wide / high, rel=0.01)


def test_passages_of_a_page_share_shapes_and_no_id() -> None:
    passages = [NotatedPassage(PIECES / "stairs.musicxml", bar, bar + 4) for bar in (0, 8, 8)]
    pictures = [p for p in engrave_here(passages) if isinstance(p, Engraved)]
    assert len(pictures) == 3
    sheet = glyph_sheet(pictures)
    page = etree.fromstring(f"<body>{sheet}{''.join(p.svg for p in pictures)}</body>")
    ids = [element.get("id") for element in page.iter() if element.get("id")]
    assert ids and len(ids) == len(set(ids))
    assert all(name.startswith("glyph-") for name in ids)
    used = {e.get("href") for e in page.iter(f"{SVG}use")}
    assert used and used <= {f"#{name}" for name in ids}
    alone = etree.fromstring(standalone(pictures[0]))
    own = {f"#{e.get('id')}" for e in alone.iter() if e.get("id")}
    assert {e.get("href") for e in alone.iter(f"{SVG}use")} <= own


def test_six_passages_stay_far_below_the_size_of_a_page() -> None:
    passages = [
        NotatedPassage(PIECES / "waiting-for-the-bus.musicxml", bar, bar + 8)
        for bar in range(6)
    ]
    pictures = [p for p in engrave_here(passages) if isinstance(p, Engraved)]
    page = glyph_sheet(pictures) + "".join(p.svg for p in pictures)
    assert len(pictures) == 6 and len(page.encode()) < 400_000


EVIL = '&lt;script&gt;alert(1)&lt;/script&gt;&lt;img src=x onerror="alert(2)"&gt;'


def test_names_and_words_from_a_score_are_text(tmp_path: Path) -> None:
    lyric = f"<lyric><syllabic>single</syllabic><text>{EVIL}</text></lyric>"
    words = f"<direction><direction-type><words>{EVIL}</words></direction-type></direction>"
    path = tmp_path / "evil.musicxml"
    bar = words + note("G", 4, 4, after=lyric)
    path.write_text(musicxml(bar, part=EVIL, title=EVIL), encoding="utf-8")
    picture = drawn(path, 0, 1)
    root = etree.fromstring(picture.svg)
    assert {etree.QName(e).localname for e in root.iter()} <= DRAWN
    assert "alert(1)" in "".join(root.itertext())
    assert not [name for e in root.iter() for name in e.attrib if name.startswith("on")]
    for picture_text in (picture.svg, standalone(picture)):
        assert "<script" not in picture_text and "<img" not in picture_text
        assert " style=" not in picture_text and "@font-face" not in picture_text


def test_nothing_is_black_and_nothing_is_fetched() -> None:
    picture = drawn(PIECES / "kitchen-window.musicxml", 0, 8)
    assert 'fill="currentColor"' in picture.svg
    assert not re.search(r'="(black|#000)', picture.svg)
    assert not re.search(r"url\(|https?://(?!www\.w3\.org/2000/svg)", standalone(picture))


def test_signs_within_text_are_letters_of_a_book_face(tmp_path: Path) -> None:
    words = (
        "<direction><direction-type><dynamics><{}/></dynamics></direction-type>"
        "<direction-type><words>clair</words></direction-type></direction>"
    )
    path = tmp_path / "marks.musicxml"
    bars = [words.format(mark) + note("G", 4, 4) for mark in ("pp", "mf", "sfz")]
    path.write_text(musicxml(*bars), encoding="utf-8")
    said = "".join(etree.fromstring(drawn(path, 0, 3).svg).itertext())
    assert [mark for mark in ("ppclair", "mfclair", "sfzclair") if mark not in said] == []
    tempo = drawn(as_mei(PIECES / "kitchen-window.musicxml", tmp_path), 0, 2)
    assert "\N{QUARTER NOTE}" in tempo.svg
    assert not re.search("[\ue000-\uf8ff]", said + tempo.svg)


def test_values_that_a_file_leaves_out_are_completed(tmp_path: Path) -> None:
    """ABC arrives without dots, ends of ties and brackets of tuplets."""
    path = tmp_path / "tune.abc"
    text = "X:1\nT:T\nM:6/8\nL:1/8\nK:G\nG3 A3-|A6|(3BAG (3BAG e2|z6|\n"
    path.write_text(text, encoding="utf-8")
    picture = drawn(path, 0, 4, number="1")
    root = etree.fromstring(picture.svg)
    kinds = Counter(g.get("class") for g in root.iter(f"{SVG}g"))
    assert kinds["tie"] == 1 and kinds["tuplet"] == 2 and kinds["mRest"] == 1
    assert kinds["dots"] == 3
    assert kinds["clef"] == 1  # which this tune does not name


def midi(path: Path, *notes: tuple[int, int, int], end: int = 1920) -> Path:
    """A file of one track, 480 ticks a quarter: (onset, length, pitch) of each note."""
    import mido

    events = [(on, 1, "note_on", pitch) for on, _, pitch in notes]
    events += [(on + length, 0, "note_off", pitch) for on, length, pitch in notes]
    track, now = mido.MidiTrack(), 0
    for at, _, kind, pitch in sorted(events):
        track.append(mido.Message(kind, note=pitch, velocity=64, time=at - now))
        now = at
    track.append(mido.MetaMessage("end_of_track", time=max(0, end - now)))
    file = mido.MidiFile(ticks_per_beat=480)
    file.tracks.append(track)
    file.save(path)
    return path


def test_bars_without_notation_are_written_anew(tmp_path: Path) -> None:
    """A note over the barline, a triplet, two staves, one sharp: what was guessed is said."""
    triplet = [(0, 160, 67), (160, 160, 71), (320, 160, 74)]
    long = [(480, 2400, 66), (0, 1920, 43), (2880, 960, 38)]
    picture = drawn(midi(tmp_path / "played.mid", *triplet, *long, end=3840), 0, 2)
    assert heads(picture) == [3 + 1 + 1, 1 + 1]
    root = etree.fromstring(picture.svg)
    kinds = Counter(g.get("class") for g in root.iter(f"{SVG}g"))
    assert kinds["tie"] == 1 and kinds["tuplet"] == 1 and kinds["clef"] == 2
    assert kinds["keyAccid"] == 2 and kinds["accid"] == 0  # F sharp once on each staff
    assert picture.remarks == (
        "key, spelling, staves and rests are guessed: only what sounds is read from such "
        "a file",
    )


@pytest.mark.parametrize(
    ("notes", "why"),
    [
        ([(0, 457, 60)], "bar 1 cannot be written: it was played rather than written"),
        ([(17, 463, 60)], "bar 1 cannot be written: it was played rather than written"),
        ([(7 * n, 480 * n, 60 + n) for n in range(1, 4)], "played rather than written"),
        ([(0, 120 * 2**n, 60 + n) for n in range(5)], "more lines at once than a staff"),
    ],
)
def test_what_was_played_freely_is_not_written(
    notes: list[tuple[int, int, int]], why: str, tmp_path: Path
) -> None:
    [found] = engrave_here([NotatedPassage(midi(tmp_path / "free.mid", *notes), 0, 1)])
    assert isinstance(found, str) and found.startswith("free.mid: ") and why in found


@settings(max_examples=20, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 30), st.integers(1, 16), st.integers(36, 90)),
        min_size=1,
        max_size=12,
        unique_by=lambda note: note[2],
    )
)
def test_cutting_into_values_keeps_every_sound(notes: list[tuple[int, int, int]]) -> None:
    """Joined again, the tied values are the notes: their sum in each pitch, their onset."""
    with TemporaryDirectory() as folder:
        path = midi(Path(folder) / "a.mid", *((120 * a, 120 * n, p) for a, n, p in notes))
        [score] = read_scores(path)
    cut = cut_to_values(score, (0, len(score.bars)))
    ends = score.bars.start + score.bars.length
    for note in score.notes:
        mine = cut.notes[cut.notes["pitch"] == note["pitch"]]
        assert mine["duration"].sum() == note["duration"]
        assert mine["onset"].min() == note["onset"]
        assert mine["tie_in"].sum() == mine["tie_out"].sum() == len(mine) - 1
    assert (cut.notes["onset"] + cut.notes["duration"] <= ends[cut.notes["bar"]]).all()


def test_other_notes_than_those_read_are_never_shown(
    reed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert isinstance(engrave_here([NotatedPassage(reed, 0, 4)])[0], Engraved)
    [score] = read_scores(reed)
    notes = score.notes.copy()
    notes["pitch"][3] += 1
    other = replace(score, notes=notes)
    monkeypatch.setattr(
        "corpusreg.documents.engraving.loading.read_scores", lambda path: [other]
    )
    [found] = engrave_here([NotatedPassage(reed, 0, 4)])
    assert found == (
        "reed.musicxml: these bars are not shown in notation: the engraver reads them "
        "differently"
    )
    assert isinstance(engrave_here([NotatedPassage(reed, 2, 4)])[0], Engraved)


def test_the_proof_asks_for_pitch_value_and_bar(reed: Path) -> None:
    [score] = read_scores(reed)
    file = engraving.Opened(reed)
    picture = engraving._draw(file, score, (0, 2), (0,))
    assert picture is not None
    bars = picture.bars
    assert shifts(bars, score, 0, (0,)) == {0: 0}
    (low, value), second = bars[0][0]
    assert shifts(((((low, value * 2), second),), bars[1]), score, 0, (0,)) is None
    assert shifts(((((low - 12, value), second),), bars[1]), score, 0, (0,)) is None
    assert shifts(((((low, value),),), bars[1]), score, 0, (0,)) is None
    down = tuple(tuple(tuple((p - 12, v) for p, v in s) for s in bar) for bar in bars)
    assert shifts(down, score, 0, (0,)) == {0: -12}


def test_what_cannot_be_engraved_is_said_in_one_line(tmp_path: Path, reed: Path) -> None:
    broken = tmp_path / "broken.musicxml"
    broken.write_text("<score-partwise><part-list>", encoding="utf-8")
    passages = [
        NotatedPassage(broken, 0, 4),
        NotatedPassage(reed, 40, 44),
        NotatedPassage(reed, 0, 4, number="7"),
        NotatedPassage(reed, 0, 4, parts=(3,)),
        NotatedPassage(reed, 0, 4),
    ]
    *refused, good = engrave_all(passages)
    assert isinstance(good, Engraved)
    assert all(isinstance(line, str) and "\n" not in line for line in refused)
    assert engrave_all([]) == []


def test_a_crash_costs_only_the_passage_that_made_it(
    reed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("corpusreg.documents.engraving.engrave_here", crash_on_the_first_bar)
    found = engrave_all([NotatedPassage(reed, 0, 1), NotatedPassage(reed, 1, 2)])
    assert isinstance(found[0], str) and "cannot be engraved" in found[0]
    assert isinstance(found[1], Engraved)


def crash_on_the_first_bar(passages: list[NotatedPassage]) -> list[Engraved | str]:
    import os

    if any(passage.first == 0 for passage in passages):
        os._exit(9)
    return engrave_here(passages)


def test_the_engraver_says_nothing(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "odd.krn"
    path.write_text("**kern\n*clefG2\n*M2/4\n=1\n4g\n4a(\n=2\n2b]\n==\n*-\n", encoding="utf-8")
    assert engrave_here([NotatedPassage(path, 0, 2)])
    assert engrave(NotatedPassage(path, 0, 2))
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize(("upbeat", "shown"), [("G2|", "3"), ("", "4")])
def test_bars_of_a_tune_bear_the_numbers_that_are_printed(
    tmp_path: Path, upbeat: str, shown: str
) -> None:
    path = tmp_path / "tune.abc"
    path.write_text(f"X:1\nT:A\nM:3/4\nL:1/4\nK:C\n{upbeat}CDE|FGA|GFE|DCD|EFG|C3|\n")
    (picture,) = engrave_here([NotatedPassage(path, 3, 5, "1")])
    assert isinstance(picture, Engraved)
    assert picture.labels[0] == shown
    assert re.findall(r"<tspan[^>]*>(\d+)</tspan>", picture.svg) == [shown]
