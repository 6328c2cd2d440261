"""Changed scores written back: by our reader, by music21 and against the schema."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import mido
import music21
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree
from musicxml_schema import faults

from corpusreg.corpus.catalogue import bundled
from corpusreg.score.notes import Score
from corpusreg.score.played import perform
from corpusreg.score.readers import read_scores
from corpusreg.score.rewrite import Change, changed, tie_chains, write
from corpusreg.score.rewrite.musicxml import parsed
from corpusreg.system.errors import ReadError, UsageError

PIECES = Path(__file__).parents[1] / "demo" / "pieces"
# An octave-shift line over bar 2, a tie into it, a chord with a slur, an accidental that
# holds to the barline, a grace note, a transposing part.
PAGE = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Piano</part-name>
</score-part></part-list><part id="P1">
<measure number="1"><attributes><divisions>2</divisions><key><fifths>0</fifths></key>
<time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef>
</attributes>
<note><pitch><step>C</step><alter>1</alter><octave>5</octave></pitch><duration>2</duration>
<voice>1</voice><type>quarter</type><accidental>sharp</accidental><stem>up</stem></note>
<note default-y="-5"><pitch><step>C</step><alter>1</alter><octave>5</octave></pitch>
<duration>2</duration><voice>1</voice><type>quarter</type><stem>up</stem></note>
<note><grace/><pitch><step>D</step><octave>5</octave></pitch><voice>1</voice>
<type>eighth</type></note>
<note><pitch><step>E</step><octave>5</octave></pitch><duration>4</duration>
<tie type="start"/><voice>1</voice><type>half</type><stem>up</stem>
<notations><tied type="start"/></notations></note></measure>
<measure number="2"><direction><direction-type><octave-shift type="down" size="8"/>
</direction-type></direction>
<note><pitch><step>E</step><octave>5</octave></pitch><duration>4</duration>
<tie type="stop"/><voice>1</voice><type>half</type><stem>up</stem>
<notations><tied type="stop"/></notations></note>
<note><pitch><step>E</step><octave>5</octave></pitch><duration>4</duration>
<voice>1</voice><type>half</type><stem>up</stem>
<notations><slur type="start" number="1"/></notations></note>
<note><chord/><pitch><step>G</step><octave>5</octave></pitch><duration>4</duration>
<voice>1</voice><type>half</type><stem>up</stem></note>
<direction><direction-type><octave-shift type="stop" size="8"/></direction-type></direction>
</measure>
<measure number="3"><note><pitch><step>F</step><octave>5</octave></pitch>
<duration>8</duration><voice>1</voice><type>whole</type>
<notations><slur type="stop" number="1"/></notations></note></measure></part></score-partwise>
"""


@pytest.fixture
def page(tmp_path: Path) -> Path:
    path = tmp_path / "page.musicxml"
    path.write_text(PAGE, encoding="utf-8")
    assert not faults(path)
    return path


def one(path: Path) -> Score:
    (score,) = read_scores(path)
    return score


def octaves(score: Score, rows: list[int], by: int = -1) -> Change:
    moved = np.zeros(len(score.notes), np.int64)
    moved[rows] = by
    return Change.of(len(score.notes), moved)


def flags(score: Score, rows: list[int]) -> np.ndarray:
    found = np.zeros(len(score.notes), bool)
    found[rows] = True
    return found


def tree(path: Path) -> etree._Element:
    return etree.parse(str(path)).getroot()


def heard21(path: Path) -> list[tuple[float, float, tuple[int, ...]]]:
    flat = music21.converter.parse(path, format="musicxml").flatten()
    return [
        (float(n.offset), float(n.quarterLength), tuple(p.midi for p in n.pitches))
        for n in flat.notes
    ]


def test_only_the_octaves_of_the_chosen_notes_differ(page: Path, tmp_path: Path) -> None:
    score, out = one(page), tmp_path / "out.musicxml"
    assert score.notes["pitch"].tolist() == [73, 73, 74, 76, 76, 76, 79, 77]
    write(page, score, octaves(score, [5, 6]), out)
    assert one(out).notes["pitch"].tolist() == [73, 73, 74, 76, 76, 64, 67, 77]
    assert not faults(out)
    before, after = heard21(page), heard21(out)
    assert [row[:2] for row in before] == [row[:2] for row in after]
    assert [a[2] != b[2] for a, b in zip(before, after, strict=True)] == [
        pitches == (76, 79) for _, _, pitches in before
    ]
    # What is neither moved nor hangs on it is the same text.
    kept = "".join(etree.tostring(e, encoding="unicode") for e in tree(out)[0])
    assert kept == "".join(etree.tostring(e, encoding="unicode") for e in tree(page)[0])
    bars = [tree(path).findall("part/measure") for path in (page, out)]
    for index in (0, 2):
        assert etree.tostring(bars[0][index]) == etree.tostring(bars[1][index])


def test_tied_notes_move_together_or_not_at_all(page: Path, tmp_path: Path) -> None:
    score = one(page)
    assert tie_chains(score.notes).tolist() == [0, 1, 2, 3, 3, 5, 6, 7]
    with pytest.raises(ValueError, match="tied notes"):
        write(page, score, octaves(score, [3]), tmp_path / "out.musicxml")
    assert not (tmp_path / "out.musicxml").exists()


def test_a_line_goes_where_all_under_it_moves_its_way(page: Path, tmp_path: Path) -> None:
    score, out = one(page), tmp_path / "out.musicxml"
    lines = "part/measure/direction/direction-type/octave-shift"
    assert len(tree(page).findall(lines)) == 2
    write(page, score, octaves(score, [5, 6]), out)  # the tied note before stays
    assert len(tree(out).findall(lines)) == 2
    write(page, score, octaves(score, [3, 4, 5, 6]), out)
    assert not tree(out).findall(lines)
    assert not tree(out).findall("part/measure/direction")
    write(page, score, octaves(score, [3, 4, 5, 6], by=1), out)
    assert len(tree(out).findall(lines)) == 2


def test_a_note_that_leaves_its_octave_takes_its_accidental(page: Path, tmp_path: Path) -> None:
    score, out = one(page), tmp_path / "out.musicxml"
    write(page, score, octaves(score, [1]), out)
    notes = tree(out).findall("part/measure/note")
    assert notes[1].findtext("accidental") == "sharp"
    assert [e.tag for e in notes[1]].index("accidental") == 4
    assert sum(note.find("accidental") is not None for note in notes) == 2
    assert "default-y" not in notes[1].attrib
    assert not faults(out)
    write(page, score, octaves(score, [0, 1]), out)  # both go: one sharp is enough
    assert sum(n.find("accidental") is not None for n in tree(out).iter("note")) == 1


def test_a_member_leaves_its_chord_and_the_slur_stays(page: Path, tmp_path: Path) -> None:
    score, out = one(page), tmp_path / "out.musicxml"
    n = len(score.notes)
    for gone, left in ((5, 79), (6, 76)):
        write(page, score, Change.of(n, silent=flags(score, [gone])), out)
        assert one(out).notes["pitch"].tolist() == [73, 73, 74, 76, 76, left, 77]
        assert len(tree(out).findall("part/measure/note/notations/slur")) == 2
        assert not faults(out)


def test_a_chord_taken_out_leaves_a_rest_and_no_half_slur(page: Path, tmp_path: Path) -> None:
    score, out = one(page), tmp_path / "out.musicxml"
    write(page, score, Change.of(len(score.notes), silent=flags(score, [5, 6])), out)
    assert one(out).notes["onset"].tolist() == [0, 2, 4, 4, 8, 16]
    assert len(tree(out).findall("part/measure/note/rest")) == 1
    assert not list(tree(out).iter("slur"))
    assert not faults(out)


def test_a_chord_keeps_its_dot_whoever_leaves_it(page: Path, tmp_path: Path) -> None:
    dot = "<articulations><staccato/></articulations>"
    slur = '<slur type="start" number="1"/>'
    page.write_text(PAGE.replace(slur, slur + dot), encoding="utf-8")
    score, out = one(page), tmp_path / "out.musicxml"
    assert score.notes["staccato"].tolist() == [i in (5, 6) for i in range(8)]
    for gone in (5, 6):
        write(page, score, Change.of(8, silent=flags(score, [gone])), out)
        assert one(out).notes["staccato"].tolist() == [i == 5 for i in range(7)]
        assert not faults(out)


def test_midi_from_a_score_is_what_is_heard(page: Path, tmp_path: Path) -> None:
    score, out = one(page), tmp_path / "out.mid"
    write(page, score, octaves(score, [7]), out)
    notes = perform(one(out)).notes
    expected = perform(changed(score, octaves(score, [7]))).notes
    for name in ("pitch", "onset", "duration"):
        assert (getattr(notes, name) == getattr(expected, name)).all()


def test_a_midi_file_keeps_its_other_events(tmp_path: Path) -> None:
    source, out = next(PIECES.glob("*.mid")), tmp_path / "out.mid"
    score = one(source)
    top = score.notes["pitch"] == score.notes["pitch"].max()
    moved = np.where(top, -1, 0)
    lowest = np.flatnonzero(score.notes["pitch"] == score.notes["pitch"].min())[:1].tolist()
    write(source, score, Change.of(len(top), moved, flags(score, lowest)), out)
    before, after = mido.MidiFile(source), mido.MidiFile(out)
    assert before.length == pytest.approx(after.length)
    others = [
        [m for track in file.tracks for m in track if m.type not in ("note_on", "note_off")]
        for file in (before, after)
    ]
    assert [str(m).split(" time=")[0] for m in others[0]] == [
        str(m).split(" time=")[0] for m in others[1]
    ]
    sounding = [sum(m.type == "note_on" and m.velocity > 0 for m in f) for f in (before, after)]
    assert sounding[1] == sounding[0] - 1


def test_what_cannot_be_written_back_is_said(page: Path, tmp_path: Path) -> None:
    score = one(page)
    nothing = Change.of(len(score.notes))
    with pytest.raises(UsageError, match=r"out\.pdf: cannot be written; name it"):
        write(page, score, nothing, tmp_path / "out.pdf")
    with pytest.raises(UsageError, match="is the piece itself"):
        write(page, score, nothing, page)
    kern = next(PIECES.glob("*.krn"))
    other = one(kern)
    with pytest.raises(UsageError, match=r"kern cannot be written back as MusicXML"):
        write(kern, other, Change.of(len(other.notes)), tmp_path / "out.musicxml")
    with pytest.raises(ReadError, match="octaves 0 to 9"):
        write(page, score, octaves(score, [7], by=-6), tmp_path / "out.musicxml")
    assert not list(tmp_path.glob("*out*"))


def real_scores() -> list[Path]:
    wanted = ("schubert/", "schumann_clara/polonaise_op1n3", "haydn/opus74no1", "beach/")
    return [
        file.path
        for file in sorted(bundled(), key=lambda f: f.relative)
        if file.relative.startswith(wanted) and file.path.suffix in (".mxl", ".xml")
    ][:4]


@settings(
    max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(seed=st.integers(0, 2**32), which=st.integers(0, 3))
def test_any_change_of_a_real_score_reads_back(seed: int, which: int, tmp_path: Path) -> None:
    paths = real_scores()
    path, out = paths[which % len(paths)], tmp_path / "out.musicxml"
    score, rng = one(path), np.random.default_rng(seed)
    n, chain = len(score.notes), tie_chains(score.notes)
    moved = rng.choice([0, 0, 1, -1], n)[chain]
    silent = (rng.random(n) < 0.05)[chain] & ~np.isin(chain, chain[score.notes["grace"]])
    change = Change.of(n, moved, silent)
    write(path, score, change, out)
    expected = changed(score, change).notes
    found = one(out).notes
    for name in ("part", "staff", "bar", "onset", "duration", "pitch", "staccato"):
        assert (found[name] == expected[name]).all()


BASS = (
    "<attributes><divisions>1</divisions><clef><sign>F</sign><line>4</line></clef></attributes>"
)


def one_part(folder: Path, part: str, bars: Iterable[str]) -> Path:
    """A page of one part, from what stands in each bar."""
    music = "".join(f'<measure number="{n}">{bar}</measure>' for n, bar in enumerate(bars, 1))
    page = folder / "bass.musicxml"
    page.write_text(
        f'<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>{part}'
        f'</part-name></score-part></part-list><part id="P1">{music}</part></score-partwise>',
        encoding="utf-8",
    )
    return page


def a_whole(name: str) -> str:
    """A whole note by its name, such as 'E3'; '' for a rest."""
    pitch = (
        f"<pitch><step>{name[0]}</step><octave>{name[1]}</octave></pitch>"
        if name
        else "<rest/>"
    )
    return f"<note>{pitch}<duration>4</duration><voice>1</voice><type>whole</type></note>"


def test_a_clef_is_set_where_ledger_lines_would_pile_up(tmp_path: Path) -> None:
    page = one_part(tmp_path, "Cello", [BASS + a_whole("E3"), *[a_whole("E3")] * 4])
    score, out = one(page), tmp_path / "out.musicxml"
    write(page, score, octaves(score, [1, 2], by=1), out)  # E4: two lines, no clef
    assert len(list(tree(out).iter("clef"))) == 1
    write(page, score, octaves(score, [1, 2], by=2), out)  # E5: five lines and more
    clefs = [
        (bar.get("number"), bar.findtext("attributes/clef/sign"))
        for bar in tree(out).iter("measure")
        if bar.find("attributes/clef") is not None
    ]
    assert clefs == [("1", "F"), ("2", "G"), ("4", "F")]
    assert not faults(out)
    assert one(out).notes["pitch"].tolist() == [52, 76, 76, 52, 52]


def test_a_clef_does_not_come_and_go(tmp_path: Path) -> None:
    """E3 two octaves up needs another clef, A2 alone would not, and a rest is in any."""
    first, *others = map(a_whole, ("E3", "E3", "A2", "", "E3", "E3"))
    page = one_part(tmp_path, "Piano", [BASS + first, *others])
    score, out = one(page), tmp_path / "out.musicxml"
    write(page, score, octaves(score, [1, 2, 3], by=2), out)
    clefs = [
        (bar.get("number"), sign)
        for bar in tree(out).iter("measure")
        for sign in [each.text for each in bar.iterfind("attributes/clef/sign")]
    ]
    assert clefs == [("1", "F"), ("2", "G"), ("6", "F")]
    assert not faults(out)


def test_a_clef_of_the_file_gives_way_where_its_bar_moves_out_of_it(tmp_path: Path) -> None:
    treble = "<attributes><clef><sign>G</sign><line>2</line></clef></attributes>"
    heads = (BASS, treble, "", "")
    notes = map(a_whole, ("E3", "E4", "E4", "E4"))
    page = one_part(tmp_path, "Piano", map("".join, zip(heads, notes, strict=True)))
    score, out = one(page), tmp_path / "out.musicxml"
    write(page, score, octaves(score, [1, 2], by=-2), out)
    signs = [bar.findtext("attributes/clef/sign") for bar in tree(out).iter("measure")]
    assert signs == ["F", "F", None, "G"]
    assert not faults(out)


def test_damage_beside_the_notes_is_one_line(tmp_path: Path) -> None:
    """The reader passes over it, and what is written back must not."""
    path = tmp_path / "damaged.musicxml"
    path.write_bytes(b'<score-partwise>\n<identification encoding="\x07"/></score-partwise>')
    with pytest.raises(ReadError, match=r"damaged\.musicxml: damaged XML at line 2; export"):
        parsed(path)
