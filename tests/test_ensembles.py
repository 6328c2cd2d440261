"""Ensembles are told from names, never from compass."""

from __future__ import annotations

import pytest

from corpusreg.instruments import load
from corpusreg.instruments.ensembles import classify, kinds
from corpusreg.score.notes import Part

# Part names as they stand in scores bundled with music21 and in common editions.
CASES = {
    "song": [
        ["Voice", "Piano"],
        ["Singstimme\nVoice", "Pianoforte"],
        ["Soprano I.", "Soprano II.", "Piano"],
        ["Gesang", "Guitare\nGuitar"],
        ["Śpiew.", "Fortepian."],
    ],
    "choir": [
        ["Soprano", "Alto", "Tenor", "Bass"],
        ["S.", "A.", "T.", "B."],
        ["Canto", "Alto", "Tenor", "Quinto", "Basso"],
        ["CANTVS.", "ALTVS", "TENOR.", "BASSVS."],
        ["Cantus 1", "Cantus 2", "Contratenor", "Tenor"],
        ["Soprano", "Alto", "Tenor", "Bass", "Continuo"],
        ["Soprano I", "Soprano II", "Alto I", "Alto II", "Piano"],
        ["Coro", "Organo"],
        ["Triplum", "Motetus", "Tenor"],
    ],
    "string quartet": [
        ["Violin I", "Violin II", "Viola", "Violoncello"],
        ["1st Violin", "2nd Violin", "Viola", "Cello"],
        ["Cello", "Violin I.", "Violin II.", "Viola "],
        ["Violine 1", "Violine 2", "Bratsche", "Vc."],
        ["Violon I", "Violon II", "Alto", "Violoncelle"],
    ],
    "string ensemble": [
        ["Violino I", "Violino II", "Viola", "Basso"],
        ["Viola 1", "Viola 2"],
        ["Violin I", "Violin II", "Viola", "Cello", "Contrabass"],
    ],
    "wind ensemble": [
        ["Fl.", "Ob.", "Kl. in B", "Hr. in F", "Fag."],
        ["Oboe 1", "Oboe 2", "Bassoon"],
    ],
    "brass ensemble": [["Trumpet I", "Trumpet II", "Trombone", "Tuba", "Pauken"]],
    "chamber": [
        ["Violin", "Cello", "Piano"],
        ["Bb Clarinet", "Piano"],
        ["Clarinet in A", "Horn in E", "Bassoon", "Violin", "Viola", "Cello", "Contrabass"],
        ["Violino I.", "Violino II.", "Organo"],
    ],
    "orchestra": [
        ["Oboi", "Corni in D", "Violino I", "Violino II", "Viola", "Bassi"],
        [*["Ob. 1", "Ob. 2", "Cor. 1", "Cor. 2"], *["Vl. I", "Vl. II", "Va.", "Vc."]],
        [*["Flute 1", "Flute 2", "Oboe", "Clarinet in C", "Bassoon", "Horn"], *["Violin"] * 4],
    ],
    "voices and instruments": [
        ["Soprano", "Alto", "Tenor", "Bass", "Horn 1", "Horn 2"],
        ["Voice", "Clarinet in B", "Piano"],
    ],
    "voices and orchestra": [
        ["S", "A", "T", "B", "Oboi", "Timpani", "Violini", "Viole", "Contrabassi"],
        [*["Canto", "Basso", "Ob. I", "Ob. II", "Cor. I", "Cor. II"], *["Vl."] * 2, "Org."],
    ],
    "plucked ensemble": [["Lute", "Theorbo"], ["Mandolin 1", "Mandolin 2", "Guitar"]],
    "guitar": [["Guitar I", "Guitar II"]],
    "organ": [["Manual", "Pedal"]],
    "keyboard": [["Harpsichord", "Piano"]],
    "percussion ensemble": [["Marimba", "Vibraphone"]],
    "unnamed parts": [["", "", "", ""], ["MusicXML Part", "Track 2"]],
    "mixed and unnamed parts": [["Manru", "Piano"], ["Voice", ""]],
}


@pytest.mark.parametrize(
    ("kind", "names"), [(kind, names) for kind, cases in CASES.items() for names in cases]
)
def test_kind_by_names(kind: str, names: list[str]) -> None:
    parts = [Part(name) for name in names]
    found = classify(parts, [True] * len(parts), [False] * len(parts))
    assert (found.kind, found.size) == (kind, len(parts))
    assert found.texture == "several voices"


@pytest.mark.parametrize(
    ("part", "polyphonic", "kind", "texture"),
    [
        (Part("Piano", staves=2), True, "piano", "several voices"),
        (Part("Piano", staves=2), False, "piano", "single line"),
        (Part("Piano"), False, "solo melody", "single line"),
        (Part("Fortepian."), True, "piano", "several voices"),
        (Part("Organo", staves=2), True, "organ", "several voices"),
        (Part("Harpsichord", staves=2), True, "keyboard", "several voices"),
        (Part("", staves=2), True, "keyboard", "several voices"),
        (Part(""), True, "unnamed parts", "several voices"),
        (Part(""), False, "solo melody", "single line"),
        (Part("Violoncello"), True, "solo instrument", "several voices"),
        (Part("Violoncello"), False, "solo melody", "single line"),
        (Part("Voice"), True, "choir", "several voices"),
        (Part("Arfa."), True, "harp", "several voices"),
        (Part("Classical Guitar"), True, "guitar", "several voices"),
    ],
)
def test_single_part(part: Part, polyphonic: bool, kind: str, texture: str) -> None:
    found = classify([part], [True], [polyphonic])
    assert (found.kind, found.texture) == (kind, texture)


def test_silent_parts_and_drums_do_not_count() -> None:
    parts = [Part("Voice"), Part("Piano"), Part("Timpani"), Part("Cymbals")]
    found = classify(parts, [True, True, False, True], [False, True, False, True])
    assert (found.kind, found.size) == ("song", 2)
    assert found.families == ("keyboard", "voice")


def test_score_without_notes() -> None:
    found = classify([Part("Violin")], [False], [False])
    assert (found.kind, found.size, found.families) == ("unnamed parts", 0, ())


def test_playback_sound_does_not_overrule_the_printed_voice() -> None:
    parts = [
        Part("Singstimme", sound_id="wind.reed.oboe", program=68),
        Part("Piano", sound_id="keyboard.piano", program=0, staves=2),
    ]
    assert classify(parts, [True, True], [False, True]).kind == "song"


def test_words_tell_a_voice_where_nothing_but_its_playback_is_named() -> None:
    parts = [Part(sound_id="wind.reed.oboe", lyrics=120), Part("Piano", staves=2)]
    assert classify(parts, [True, True], [False, True]).kind == "song"
    parts = [Part(sound_id="wind.reed.oboe", lyrics=2), Part("Piano", staves=2)]
    assert classify(parts, [True, True], [False, True]).kind == "chamber"
    unnamed = [Part(lyrics=40)] * 4
    assert classify(unnamed, [True] * 4, [False] * 4).kind == "choir"
    hymn = Part(staves=2, lyrics=40)
    assert classify([hymn], [True], [True]).kind == "unnamed parts"


def test_a_song_whose_singer_bears_the_name_of_an_instrument_is_a_song() -> None:
    song = [Part("Clarinet in C", lyrics=166), Part("Piano", staves=2)]
    assert classify(song, [True, True], [False, True]).kind == "song"
    singer, _ = load().match_all([Part("Soprano", lyrics=166), Part("Piano", staves=2)])
    assert singer is not None and singer.id == "soprano"
    remarks = [Part("Clarinet in C", lyrics=12), Part("Piano", staves=2)]
    assert classify(remarks, [True, True], [False, True]).kind == "chamber"


def test_two_staves_without_a_name_under_a_singer_are_the_accompaniment() -> None:
    song = [Part(lyrics=80), Part(staves=2)]
    assert classify(song, [True, True], [False, True]).kind == "song"
    player = [Part("Flute"), Part(staves=2)]
    assert classify(player, [True, True], [False, True]).kind == "mixed and unnamed parts"


def test_one_strange_name_makes_no_orchestra_unknown() -> None:
    names = ["Oboi", "Corni", "Violino I", "Violino II", "Viola", "Basso", "Banda"]
    tutti = [Part(name) for name in names]
    assert classify(tutti, [True] * 7, [False] * 7).kind == "orchestra"
    sung = classify([Part("Soprano"), *tutti], [True] * 8, [False] * 8)
    assert sung.kind == "voices and orchestra"
    few = [Part(name) for name in ("Violino I", "Viola", "Banda")]
    assert classify(few, [True] * 3, [False] * 3).kind == "mixed and unnamed parts"


def test_an_instrument_with_letters_under_its_notes_is_no_singer() -> None:
    names = ["Violin I", "Violin II", "Viola", "Violoncello"]
    parts = [Part(name, lyrics=60) for name in names]
    assert classify(parts, [True] * 4, [False] * 4).kind == "string quartet"


def test_part_order_is_irrelevant() -> None:
    names = ["Violin I", "Basso", "Alto", "Oboi", "Piano"]
    parts = [Part(name) for name in names]
    forward = classify(parts, [True] * 5, [False] * 5)
    backward = classify(parts[::-1], [True] * 5, [False] * 5)
    assert forward == backward


def test_lengths_must_agree() -> None:
    with pytest.raises(ValueError, match="zip"):
        classify([Part("Voice")], [True, True], [False])


def test_every_kind_has_words_and_is_reached() -> None:
    reached = set(CASES) | {"piano", "harp", "solo melody", "solo instrument"}
    assert set(kinds()) == reached
    assert all(kind.works and kind.meaning for kind in kinds().values())
