"""Hold the MusicXML reader against music21 and lytk, note for note.

    python tests/benchmarks/readers_musicxml.py [--sample N] [--folder DIR] [--out FILE]

Compares every MusicXML file of music21's package, or an even sample of N, as
multisets of (part, bar, offset in bar, pitch, duration); segments of tied notes
are notes of their own, grace notes are left out, offsets and durations are in
quarter notes. Prints speed against unzip + lxml parse in the same run, and writes
a digest that names every file with a difference.
"""

from __future__ import annotations

import argparse
import json
import time
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

from corpusreg.score.readers.musicxml import read_musicxml
from corpusreg.system.errors import ReadError

RESULTS = Path(__file__).parent / "results" / "readers_musicxml.json"
Notes = Counter[tuple[Any, ...]]


def bundled_files() -> list[Path]:
    """Every MusicXML file inside the installed music21 package, in a fixed order."""
    import music21

    root = Path(music21.__file__).parent
    found = [p for s in ("*.xml", "*.musicxml", "*.mxl") for p in root.rglob(s)]
    return sorted(found, key=lambda p: p.relative_to(root).as_posix())


def our_notes(path: Path) -> Notes:
    """Our reader's notes as a multiset."""
    score = read_musicxml(path)
    start, ticks = score.bars.start, score.ticks
    return Counter(
        (
            int(n["part"]),
            int(n["bar"]),
            _near(Fraction(int(n["onset"] - start[n["bar"]]), ticks)),
            int(n["pitch"]),
            _near(Fraction(int(n["duration"]), ticks)),
        )
        for n in score.notes[~score.notes["grace"]]
    )


def music21_notes(path: Path) -> Notes:
    """music21's notes as a multiset, staves of a part joined."""
    from music21 import converter

    stream = converter.parse(path, forceSource=True, format="musicxml")
    stream = stream.toSoundingPitch()
    found: Notes = Counter()
    for part, measures in _music21_parts(stream):
        for bar, measure in enumerate(measures):
            for note in measure.recurse().notes:
                for pitch in _music21_pitches(note):
                    offset = note.getOffsetInHierarchy(measure)
                    length = note.duration.quarterLength
                    found[part, bar, _near(offset), pitch, _near(length)] += 1
    return found


def _music21_pitches(note: Any) -> list[int]:
    from music21 import harmony

    if note.duration.isGrace or isinstance(note, harmony.ChordSymbol):
        return []
    pitches = getattr(note, "pitches", ())
    return [int((p.ps + 0.5) // 1) for p in pitches]


def _music21_parts(stream: Any) -> Iterator[tuple[int, list[Any]]]:
    before, index = None, -1
    for part in stream.parts:
        name = str(part.id)
        base = name.rsplit("-Staff", 1)[0] if "-Staff" in name else None
        if base is None or base != before:
            index += 1
        before = base
        yield index, list(part.getElementsByClass("Measure"))


def lytk_notes(path: Path) -> Notes:
    """lytk's notes as a multiset; its durations come from note types, not `duration`."""
    import lytk

    found: Notes = Counter()
    for p, part in enumerate(_lytk_parts(lytk.from_musicxml(str(path)).to_dict())):
        shift = 0
        for bar, measure in enumerate(part["measures"]):
            change = measure.get("attributes", {}).get("transpose")
            if change is not None:
                shift = change.get("chromatic", 0) + 12 * change.get("octave_change", 0)
            for voice in measure.get("voices", ()):
                now = Fraction(0)
                for element in voice["elements"]:
                    (kind, event), *_ = element.items()
                    now += _lytk_event(found, (p, bar, now, shift), kind, event)
    return found


def _lytk_parts(node: Any) -> Iterator[Any]:
    for child in node.get("children", ()):
        (kind, value), *_ = child.items()
        if kind == "Part":
            yield value
        else:
            yield from _lytk_parts(value)


def _lytk_event(
    found: Notes, place: tuple[int, int, Fraction, int], kind: str, event: Any
) -> Fraction:
    """Count an event's notes; the time it takes, in quarter notes."""
    part, bar, now, shift = place
    if "duration" not in event or event.get("is_grace"):
        return Fraction(0)
    length = _lytk_length(event["duration"])
    heads = event["notes"] if kind == "Chord" else [event] if kind == "Note" else []
    if any(head.get("is_grace") for head in heads):
        return Fraction(0)
    for head in heads:
        found[part, bar, _near(now), _lytk_pitch(head["pitch"]) + shift, _near(length)] += 1
    return length


def _lytk_length(duration: Any) -> Fraction:
    base = 4 * Fraction(*duration["base"]) * (2 - Fraction(1, 2 ** duration.get("dots", 0)))
    return base * Fraction(duration.get("tuplet_normal", 1), duration.get("tuplet_actual", 1))


def _lytk_pitch(pitch: Any) -> int:
    steps = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
    alter = Fraction(*pitch.get("alter", (0, 1)))
    return int(
        (12 * (pitch["octave"] + 1) + steps[pitch["step"]] + alter + Fraction(1, 2)) // 1
    )


def _near(value: Any) -> float:
    return round(float(value), 3)


def differences(path: Path, others: dict[str, Callable[[Path], Notes]]) -> dict[str, Any]:
    """Counts of notes and of disagreements with each other reader, for one file."""
    try:
        ours = our_notes(path)
    except ReadError as error:
        return {"error": str(error)}
    row: dict[str, Any] = {"notes": ours.total()}
    for name, read in others.items():
        try:
            theirs = read(path)
        except Exception as error:  # noqa: BLE001 -- another library may raise anything
            row[name] = {"error": f"{type(error).__name__}: {error}"[:120]}
            continue
        left, right = ours - theirs, theirs - ours
        if left or right:
            row[name] = {
                "only_ours": left.total(),
                "only_theirs": right.total(),
                "first": [str(key) for key in [*sorted(left)[:2], *sorted(right)[:2]]],
            }
    return row


def speed(files: list[Path]) -> dict[str, float]:
    """CPU seconds for unzip + lxml parse of these files, and for our reader."""
    floor = min(_timed(_parse, files) for _ in range(2))
    ours = min(_timed(_read, files) for _ in range(2))
    return {
        "floor_s": round(floor, 3),
        "ours_s": round(ours, 3),
        "ratio": round(ours / floor, 2),
    }


def _timed(work: Callable[[Path], object], files: list[Path]) -> float:
    begin = time.process_time()
    for path in files:
        work(path)
    return time.process_time() - begin


def _parse(path: Path) -> None:
    from lxml import etree

    data = path.read_bytes()
    if data.startswith(b"PK"):
        with zipfile.ZipFile(path) as archive:
            names = [n for n in archive.namelist() if not n.upper().startswith("META-INF")]
            data = archive.read(next(n for n in names if n.endswith((".xml", ".musicxml"))))
    etree.fromstring(data)


def _read(path: Path) -> None:
    try:
        read_musicxml(path)
    except ReadError:
        return


def main() -> None:
    """Compare, print what differs, write the digest."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sample", type=int, default=0, help="an even sample of N files")
    parser.add_argument("--folder", type=Path, help="another folder instead of the bundle")
    parser.add_argument("--without", action="append", default=[], help="leave a reader out")
    parser.add_argument("--out", type=Path, default=RESULTS)
    args = parser.parse_args()
    files = bundled_files() if args.folder is None else sorted(args.folder.rglob("*.mxl"))
    if args.sample:
        files = files[:: max(1, len(files) // args.sample)][: args.sample]
    readers = {"lytk": lytk_notes, "music21": music21_notes}
    others = {name: read for name, read in readers.items() if name not in args.without}
    rows: dict[str, Any] = {}
    for path in files:
        row = differences(path, others)
        rows[f"{path.parent.name}/{path.name}"] = row
        if row.keys() - {"notes"}:
            print(path.parent.name, path.name, json.dumps(row), flush=True)
    digest = {
        "files": len(files),
        "notes": sum(row.get("notes", 0) for row in rows.values()),
        "speed": speed(files[:: max(1, len(files) // 100)]),
        "agree": {n: sum("notes" in r and n not in r for r in rows.values()) for n in others},
        "differ": {name: row for name, row in rows.items() if row.keys() - {"notes"}},
    }
    print(json.dumps({k: v for k, v in digest.items() if k != "differ"}))
    args.out.parent.mkdir(exist_ok=True)
    args.out.write_text(json.dumps(digest, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
