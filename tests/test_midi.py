"""MIDI files written here byte by byte."""

from __future__ import annotations

import random
import struct
from collections.abc import Iterable
from pathlib import Path

import pytest

from corpusreg.score.notes import Score
from corpusreg.score.readers import read_file
from corpusreg.score.readers.midi import read_midi
from corpusreg.system.errors import ReadError

Event = tuple[int, bytes]


def number(value: int) -> bytes:
    """A variable-length quantity."""
    out = [value & 0x7F]
    while value := value >> 7:
        out.append(value & 0x7F | 0x80)
    return bytes(reversed(out))


def chunk(name: bytes, data: bytes) -> bytes:
    return name + struct.pack(">L", len(data)) + data


def track(*events: Event) -> bytes:
    data = b"".join(number(delta) + event for delta, event in events)
    return chunk(b"MTrk", data + b"\x00\xff\x2f\x00")


def midi(*tracks: bytes, kind: int = 1, division: int = 480) -> bytes:
    return chunk(b"MThd", struct.pack(">hhH", kind, len(tracks), division)) + b"".join(tracks)


def on(pitch: int, velocity: int = 80, channel: int = 0) -> bytes:
    return bytes((0x90 | channel, pitch, velocity))


def off(pitch: int, channel: int = 0) -> bytes:
    return bytes((0x80 | channel, pitch, 0))


def program(value: int, channel: int = 0) -> bytes:
    return bytes((0xC0 | channel, value))


def control(which: int, value: int, channel: int = 0) -> bytes:
    return bytes((0xB0 | channel, which, value))


def meta(kind: int, data: bytes) -> bytes:
    return b"\xff" + bytes((kind,)) + number(len(data)) + data


def name(text: str) -> bytes:
    return meta(3, text.encode())


def metre(numerator: int, power: int) -> bytes:
    return meta(0x58, bytes((numerator, power, 24, 8)))


def tempo(microseconds: int) -> bytes:
    return meta(0x51, microseconds.to_bytes(3, "big"))


FOUR = metre(4, 2)


def scale(*pitches: int, channel: int = 0, length: int = 480) -> list[Event]:
    return [e for p in pitches for e in ((0, on(p, 80, channel)), (length, off(p, channel)))]


def read(tmp_path: Path, data: bytes) -> Score:
    path = tmp_path / "piece.mid"
    path.write_bytes(data)
    return read_midi(path)


def notes(score: Score) -> list[tuple[int, int, int]]:
    table = score.notes[score.notes["onset"].argsort(kind="stable")]
    return [(int(n["onset"]), int(n["duration"]), int(n["pitch"])) for n in table]


def test_pitch_time_and_velocity(tmp_path: Path) -> None:
    score = read(
        tmp_path,
        midi(track((0, FOUR), (0, on(60, 33)), (240, off(60)), (7, on(64, 90)), (5, off(64)))),
    )
    assert notes(score) == [(0, 240, 60), (247, 5, 64)]
    assert score.notes["velocity"].tolist() == [33, 90]
    assert (score.ticks, score.bars.labels, score.assumed, score.lost) == (480, ("1",), (), {})


def test_running_status_and_note_on_without_velocity_as_end(tmp_path: Path) -> None:
    data = midi(
        track((0, FOUR), (0, on(60)), (240, b"\x3e\x46"), (240, b"\x3c\x00"), (0, b"\x3e\x00"))
    )
    assert notes(read(tmp_path, data)) == [(0, 480, 60), (240, 240, 62)]


def test_overlapping_notes_of_one_pitch_end_in_their_order(tmp_path: Path) -> None:
    data = midi(track((0, FOUR), (0, on(60)), (240, on(60)), (240, off(60)), (240, off(60))))
    assert notes(read(tmp_path, data)) == [(0, 480, 60), (240, 480, 60)]


def test_a_note_struck_again_on_the_tick_of_its_end(tmp_path: Path) -> None:
    data = midi(track((0, FOUR), (0, on(60)), (240, on(60)), (0, off(60)), (240, off(60))))
    assert notes(read(tmp_path, data)) == [(0, 240, 60), (240, 240, 60)]


def test_notes_without_end_or_length_or_beginning_are_told(tmp_path: Path) -> None:
    data = midi(track((0, FOUR), (0, on(60)), (0, on(62)), (0, off(62)), (480, off(70))))
    score = read(tmp_path, data)
    assert notes(score) == [(0, 1, 62), (0, 480, 60)]
    assert score.assumed == (
        "1 notes without an end: held to the end of their track",
        "1 notes without length: given one tick",
    )
    assert score.lost == {"note-offs without a note": 1}


def test_format_0_is_split_by_channel_and_percussion_is_left_out(tmp_path: Path) -> None:
    data = midi(
        track(
            (0, FOUR),
            (0, program(73)),
            (0, program(42, 1)),
            *scale(72, 74),
            *scale(48, channel=1),
            *scale(36, 38, channel=9),
        ),
        kind=0,
    )
    score = read(tmp_path, data)
    assert [p.program for p in score.parts] == [73, 42]
    assert score.notes["part"].tolist() == [0, 0, 1]
    assert score.left_out == {"unpitched": 2}


def test_names_title_rights_and_programs_set_in_another_track(tmp_path: Path) -> None:
    conductor = track(
        (0, FOUR), (0, name("Evening Song")), (0, meta(2, b"nobody")), (0, program(40, 1))
    )
    score = read(tmp_path, midi(conductor, track((0, name("G\xe9ige")), *scale(60, channel=1))))
    assert (score.parts[0].name, score.parts[0].program) == ("G\xe9ige", 40)
    assert dict(score.metadata) == {"title": "Evening Song", "rights": "nobody"}


def test_bars_follow_the_metres(tmp_path: Path) -> None:
    conductor = track((0, metre(3, 2)), (1440, metre(6, 3)), (2880, metre(4, 2)))
    score = read(tmp_path, midi(conductor, track(*scale(*range(60, 72)))))
    assert score.bars.labels == tuple("1234")
    assert score.bars.length.tolist() == [1440, 1440, 1440, 1920]
    assert score.bars.beat.tolist() == [480, 720, 720, 480]
    assert score.notes["bar"].tolist() == [0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3]


def test_a_metre_that_comes_early_cuts_its_bar_and_one_repeated_does_not(
    tmp_path: Path,
) -> None:
    conductor = track((0, FOUR), (960, metre(3, 2)), (500, metre(3, 2)))
    score = read(tmp_path, midi(conductor, track(*scale(60, 62, 64, 65, 67))))
    assert score.bars.length.tolist() == [960, 1440]
    assert score.bars.full.tolist() == [1920, 1440]


def test_no_metre_is_said_and_nonsense_counted(tmp_path: Path) -> None:
    score = read(tmp_path, midi(track((0, metre(0, 2)), (0, metre(4, 20)), *scale(60))))
    assert score.assumed == ("no metre: read as 4/4",)
    assert score.lost == {"time signatures that make no sense": 2}


def test_ticks_are_scaled_where_a_bar_would_not_be_whole(tmp_path: Path) -> None:
    score = read(tmp_path, midi(track((0, metre(3, 4)), *scale(60, length=3)), division=3))
    assert (score.ticks, score.bars.full[0], notes(score)) == (12, 9, [(0, 12, 60)])


def test_tempo_map(tmp_path: Path) -> None:
    data = midi(
        track((0, FOUR), (0, tempo(500_000)), *scale(60), (0, tempo(1_000_000)), *scale(62))
    )
    assert [(t.tick, t.quarters_per_minute) for t in read(tmp_path, data).tempos] == [
        (0, 120),
        (480, 60),
    ]


def test_time_code_division(tmp_path: Path) -> None:
    """25 frames of 40 ticks: 1,000 ticks a second, so 250 ticks are half a quarter note."""
    score = read(tmp_path, midi(track((0, FOUR), *scale(60, length=250)), division=0xE728))
    assert notes(score)[0][1] / score.ticks == 0.5
    assert [t.quarters_per_minute for t in score.tempos] == [120]
    assert score.assumed == (
        "time code instead of beats: half a second read as a quarter note",
    )


def test_format_2_is_read_one_after_another(tmp_path: Path) -> None:
    data = midi(track((0, FOUR), *scale(60)), track(*scale(64)), kind=2)
    score = read(tmp_path, data)
    assert notes(score) == [(0, 480, 60), (480, 480, 64)]
    assert "independent sequences (format 2): read one after another" in score.assumed


def test_sustain_pedal(tmp_path: Path) -> None:
    data = midi(
        track(
            (0, FOUR),
            (0, control(64, 127)),
            (0, control(64, 90)),
            (0, on(60)),
            (480, off(60)),
            (0, control(64, 63)),
            (10, control(64, 64)),
            (20, control(7, 1)),
        )
    )
    pedals = read(tmp_path, data).pedals
    assert [(p.part, p.start, p.end) for p in pedals] == [(0, 0, 480), (0, 490, 510)]


@pytest.mark.parametrize(
    ("first", "second", "low_first"),
    [
        ("Right Hand", "Left Hand", False),
        ("Piano LH", "Piano RH", True),
        ("Piano", "Piano", True),
        ("Piano", "Piano", False),
    ],
)
def test_two_hands_are_one_part(
    tmp_path: Path, first: str, second: str, low_first: bool
) -> None:
    low, high = scale(36, 40), scale(72, 76, channel=1)
    tracks = [low, high] if low_first else [high, low]
    data = midi(
        track((0, FOUR), (0, program(0)), (0, program(0, 1))),
        track((0, name(first)), *tracks[0]),
        track((0, name(second)), *tracks[1]),
    )
    score = read(tmp_path, data)
    assert [p.staves for p in score.parts] == [2]
    assert {(int(n["pitch"]), int(n["staff"])) for n in score.notes} == {
        (36, 2),
        (40, 2),
        (72, 1),
        (76, 1),
    }
    assert "two tracks of one keyboard: read as the two hands of one player" in score.assumed
    assert score.parts[0].name in ("Piano", "")


@pytest.mark.parametrize(
    ("programs", "names"),
    [
        ((40, 40), ("Violin", "Violin")),
        ((0, 6), ("Piano", "Piano")),
        ((0, 0), ("", "")),
        ((0, 0), ("Piano I", "Piano II")),
    ],
)
def test_two_players_stay_two(
    tmp_path: Path, programs: tuple[int, int], names: tuple[str, str]
) -> None:
    data = midi(
        track((0, FOUR)),
        *(
            track((0, name(n)), (0, program(p, c)), *scale(60 - 12 * c, channel=c))
            for c, (n, p) in enumerate(zip(names, programs, strict=True))
        ),
    )
    assert [p.staves for p in read(tmp_path, data).parts] == [1, 1]


def test_an_instrument_that_changes_is_told(tmp_path: Path) -> None:
    score = read(
        tmp_path,
        midi(track((0, FOUR), (0, program(5)), *scale(60), (0, program(40)), *scale(62))),
    )
    assert score.parts[0].program == 5
    assert score.assumed == ("a part changes its instrument: the first one is taken",)


def test_other_chunks_are_passed_over_and_riff_is_unwrapped(tmp_path: Path) -> None:
    plain = midi(track((0, FOUR), *scale(60)))
    alien = plain[:14] + chunk(b"XFIH", b"abc") + plain[14:]
    riff = (
        b"RIFF"
        + struct.pack("<L", len(plain) + 12)
        + b"RMIDdata"
        + struct.pack("<L", len(plain))
        + plain
    )
    for data in (alien, riff):
        assert notes(read(tmp_path, data)) == [(0, 480, 60)]


def bad_files() -> Iterable[tuple[str, bytes]]:
    good = midi(track((0, FOUR), *scale(60)))
    yield "no header", b"hello"
    yield "header alone", good[:10]
    yield "track cut off", good[:-5]
    yield "no quarter note", midi(track(*scale(60)), division=0)
    yield "unknown time code", midi(track(*scale(60)), division=0x8101)
    yield "data byte too high", midi(track((0, b"\x90\xf0\x40")))
    yield "undefined status", midi(track((0, b"\xf4")))
    yield "no status", midi(track((0, b"\x40\x40")))
    yield "key of 99 flats", midi(track((0, meta(0x59, b"\x9d\x00")), *scale(60)))
    yield (
        "endless",
        midi(track((0, FOUR), *[(2**28 - 1, on(60))] * 40, (0, off(60))), division=1),
    )
    yield "format 9", midi(track((0, b"\x90")), kind=9)


@pytest.mark.parametrize(
    ("what", "data"), list(bad_files()), ids=[what for what, _ in bad_files()]
)
def test_damage_is_one_line_that_names_the_file(tmp_path: Path, what: str, data: bytes) -> None:
    with pytest.raises(ReadError) as caught:
        read(tmp_path, data)
    assert "piece.mid" in str(caught.value) and "\n" not in str(caught.value), what


def test_150_mutants_give_notes_or_a_plain_error(tmp_path: Path) -> None:
    rng = random.Random(3)
    seed = midi(
        track((0, FOUR), (0, name("Title")), (0, tempo(500_000)), (9, meta(0x59, b"\x02\x00"))),
        track(
            (0, name("Piano")),
            (0, program(0)),
            (0, control(64, 99)),
            *scale(60, 64, 67),
            (0, control(64, 0)),
        ),
        track((0, b"\xf0\x03\x01\x02\xf7"), *scale(36, 38, channel=9), *scale(40, channel=2)),
    )
    path, read_well = tmp_path / "mutant.mid", 0
    for _ in range(150):
        data = bytearray(seed)
        for _ in range(rng.choice((1, 1, 2, 8))):
            at = rng.randrange(len(data))
            if rng.random() < 0.6:
                data[at] = rng.randrange(256)
            elif rng.random() < 0.5:
                del data[at : at + rng.randrange(1, 9)]
            else:
                data[at:at] = rng.randbytes(rng.randrange(1, 9))
        path.write_bytes(bytes(data))
        try:
            for score in read_file(path).scores:
                read_well += 1
                assert (score.notes["duration"] > 0).all()
                assert (score.notes["bar"] >= 0).all()
                assert (score.notes["bar"] < len(score.bars)).all()
        except ReadError as error:
            assert "\n" not in str(error)
    assert read_well > 10


def test_files_in_the_music21_package_read_alike() -> None:
    """Every pitched note of the package's test files, by onset and pitch, against music21."""
    import music21

    folder = Path(music21.__file__).parent / "midi" / "testPrimitive"
    compared = 0
    for path in sorted(folder.glob("*.mid")):
        raw = music21.midi.MidiFile()
        raw.open(path)
        raw.read()
        raw.close()
        expected = []
        for events in raw.tracks:
            tick = 0
            for event in events.events:
                tick += event.time if event.isDeltaTime() else 0
                if event.isNoteOn() and event.velocity and event.channel != 10:
                    expected.append((tick, event.pitch))
        try:
            score = read_midi(path)
        except ReadError:
            assert raw.ticksPerQuarterNote is None
            continue
        scale_by = score.ticks // raw.ticksPerQuarterNote
        found = [(int(n["onset"]) // scale_by, int(n["pitch"])) for n in score.notes]
        assert sorted(found) == sorted(expected), path.name
        compared += len(found)
    assert compared > 500
