"""Scores that only music21 reads: MEI written here, and files in its package."""

from __future__ import annotations

from pathlib import Path

import pytest

from corpusreg.score.notes import Score
from corpusreg.score.readers import read_file
from corpusreg.score.readers.other import read_all_with_music21
from corpusreg.system.errors import ReadError

MEI = """<?xml version="1.0" encoding="UTF-8"?>
<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="4.0.0">
 <meiHead><fileDesc><titleStmt><title>Small piece</title>
  <respStmt><persName role="composer">Nobody</persName></respStmt></titleStmt>
  <pubStmt/></fileDesc></meiHead>
 <music><body><mdiv><score>
  <scoreDef meter.count="3" meter.unit="4">
   <staffGrp>
    <staffDef n="1" lines="5" label="Clarinet" clef.shape="G" clef.line="2"
      trans.semi="-2" trans.diat="-1"/>
    <staffGrp symbol="brace" label="Piano">
     <staffDef n="2" lines="5" clef.shape="G" clef.line="2"/>
     <staffDef n="3" lines="5" clef.shape="F" clef.line="4"/>
    </staffGrp>
   </staffGrp>
  </scoreDef>
  <section>
   <measure n="1">
    <staff n="1"><layer n="1"><note pname="d" oct="5" dur="2" dots="1" tie="i"/></layer></staff>
    <staff n="2"><layer n="1">
      <note pname="c" oct="4" dur="4" artic="stacc"/>
      <chord dur="2"><note pname="e" oct="4"/><note pname="g" oct="4"/></chord>
    </layer></staff>
    <staff n="3"><layer n="1"><rest dur="2" dots="1"/></layer></staff>
    <dynam staff="1" tstamp="1">p</dynam>
   </measure>
   <measure n="2" right="end">
    <staff n="1"><layer n="1"><note pname="d" oct="5" dur="2" dots="1" tie="t"/></layer></staff>
    <staff n="2"><layer n="1">
      <tuplet num="3" numbase="2">
      <note pname="c" oct="4" dur="8"/><note pname="d" oct="4" dur="8"/>
      <note pname="e" oct="4" dur="8"/></tuplet>
      <rest dur="2"/>
    </layer></staff>
    <staff n="3"><layer n="1"><note pname="c" oct="2" dur="2" dots="1"/></layer></staff>
   </measure>
  </section>
 </score></mdiv></body></music>
</mei>
"""


def read(tmp_path: Path, text: str, name: str = "piece.mei") -> Score:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_all_with_music21(path)[0]


def rows(score: Score, *columns: str) -> list[tuple[float, ...]]:
    table = score.notes
    values = [
        (table[c] / score.ticks).tolist() if c in ("onset", "duration") else table[c].tolist()
        for c in columns
    ]
    return sorted(zip(*values, strict=True))


def test_mei_notes_at_concert_pitch_in_parts_and_staves(tmp_path: Path) -> None:
    score = read(tmp_path, MEI)
    assert [(p.name, p.staves) for p in score.parts] == [("Clarinet", 1), ("Piano", 2)]
    assert rows(score, "part", "staff", "onset", "pitch") == [
        (0, 1, 0, 72),
        (0, 1, 3, 72),
        (1, 1, 0, 60),
        (1, 1, 1, 64),
        (1, 1, 1, 67),
        (1, 1, 3, 60),
        (1, 1, pytest.approx(10 / 3), 62),
        (1, 1, pytest.approx(11 / 3), 64),
        (1, 2, 3, 36),
    ]
    assert score.bars.labels == ("1", "2")
    assert (score.bars.full / score.ticks).tolist() == [3, 3]
    assert score.ticks % 3 == 0


def test_mei_ties_dots_and_metadata(tmp_path: Path) -> None:
    score = read(tmp_path, MEI)
    held = score.notes[score.notes["pitch"] == 72]
    assert held["tie_out"].tolist() == [True, False]
    assert held["tie_in"].tolist() == [False, True]
    assert score.notes["pitch"][score.notes["staccato"]].tolist() == [60]
    chord = '<chord dur="2"><note pname="e" oct="4"/>'
    for inside in (
        chord.replace(" dur", ' artic="stacc" dur'),
        chord[:-2] + ' artic="stacc"/>',
    ):
        score = read(tmp_path, MEI.replace(chord, inside))
        assert score.notes["pitch"][score.notes["staccato"]].tolist() == [60, 64, 67]
    assert score.metadata["title"] == "Small piece"
    assert score.metadata["composer"] == "Nobody"
    assert score.lost == {"dynamics (music21 does not read them from MEI)": 1}
    assert score.format == "mei"


def test_notes_that_music21_passes_over_are_counted(tmp_path: Path) -> None:
    two_layers = MEI.replace(
        '<rest dur="2" dots="1"/></layer>',
        '<rest dur="2" dots="1"/><unknown><note pname="c" oct="3" dur="4"/></unknown></layer>',
    )
    assert read(tmp_path, two_layers).lost["notes in the file that were not read"] == 1


def test_package_files_keep_every_note_that_music21_gives() -> None:
    """Same pitches as a flattened reading by music21 itself, part by part."""
    import music21
    from music21 import converter

    root = Path(music21.__file__).parent
    for name in (
        "mei/test/test_file.mei",
        "mei/test/notes_in_utf16.mei",
        "corpus/bach/bwv66.6.mxl",
        "corpus/schumann_robert/opus48no2.mxl",
    ):
        score = read_all_with_music21(root / name)[0]
        plain = converter.parse(root / name, forceSource=True, storePickle=False)
        expected = sorted(
            p.midi for n in plain.toSoundingPitch().flatten().notes for p in n.pitches
        )
        assert sorted(score.notes["pitch"].tolist()) == expected, name
        assert (score.notes["bar"] < len(score.bars)).all()


def test_repeats_endings_dynamics_and_two_staves() -> None:
    import music21

    root = Path(music21.__file__).parent / "corpus"
    rag = read_all_with_music21(root / "joplin" / "maple_leaf_rag.mxl")[0]
    assert [(p.staves, p.program) for p in rag.parts] == [(2, 0)]
    assert set(rag.notes["staff"].tolist()) == {1, 2}
    assert rag.bars.repeat_end.nonzero()[0].tolist() == [16, 33, 66, 83]
    assert (rag.bars.endings[33], rag.bars.endings[34]) == ((1,), (2,))
    quartet = read_all_with_music21(root / "haydn" / "opus74no1" / "movement3.mxl")[0]
    assert [p.program for p in quartet.parts] == [40, 40, 41, 42]
    assert {d.kind for d in quartet.dynamics} >= {"mark"}
    assert all(d.tick >= 0 for d in quartet.dynamics)


def test_nothing_is_printed_or_written(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    read(tmp_path, MEI)
    assert capfd.readouterr() == ("", "")
    assert [p.name for p in tmp_path.iterdir()] == ["piece.mei"]


@pytest.mark.parametrize(
    "text",
    [
        MEI[:900],
        "<mei xmlns='http://www.music-encoding.org/ns/mei'/>",
        MEI.replace('dur="2"', 'dur="zwei"'),
        MEI.replace('oct="4"', 'oct="four"'),
    ],
    ids=["cut off", "nothing in it", "no length", "no octave"],
)
def test_damage_is_one_line_that_names_the_file(tmp_path: Path, text: str) -> None:
    with pytest.raises(ReadError) as caught:
        read(tmp_path, text)
    assert "piece.mei" in str(caught.value) and "\n" not in str(caught.value)


def test_tinynotation_and_several_works(tmp_path: Path) -> None:
    path = tmp_path / "small.tntxt"
    path.write_text("tinyNotation: 3/4 c4 d e f2.")
    (score,) = read_file(path).scores
    assert score.notes["pitch"].tolist() == [60, 62, 64, 65]
    assert (score.bars.length / score.ticks).tolist() == [3, 3]
    assert read_all_with_music21(path)[0].format == "tntxt"


def test_a_brace_may_be_an_element_of_its_group(tmp_path: Path) -> None:
    element = '<staffGrp label="Piano"><grpSym symbol="brace"/>'
    newer = MEI.replace('<staffGrp symbol="brace" label="Piano">', element)
    assert newer != MEI
    assert read(tmp_path, newer).parts == read(tmp_path, MEI).parts
    assert [part.name for part in read(tmp_path, newer).parts] == ["Clarinet", "Piano"]


def test_notes_with_words_under_them_are_counted_once(tmp_path: Path) -> None:
    verses = '<verse n="1"><syl>la</syl></verse><verse n="2"><syl>lo</syl></verse>'
    sung = '<note pname="d" oct="5" dur="2" dots="1" tie="i"/>'
    assert sung in MEI
    song = read(tmp_path, MEI.replace(sung, f"{sung[:-2]}>{verses}</note>"))
    assert [part.lyrics for part in song.parts] == [1, 0]
