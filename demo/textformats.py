"""Demo pieces as Humdrum kern (a piano) and as ABC (one staff a part)."""

from __future__ import annotations

from notation import CLEFS, MARKS, Bar, Note, Piece, Pitch, parse_voice

__all__ = ["abc", "kern"]

_KERN_LENGTHS = {"w": "1", "h": "2", "q": "4", "e": "8"}
_KERN_OTTAVAS = {"@8va": ("*8va", "*X8va"), "@8vb": ("*8ba", "*X8ba")}
_SHARPS = "FCGDAEB"


def _altered(piece: Piece) -> str:
    """Letters sharp or flat in the key signature, in its order."""
    return _SHARPS[: piece.fifths] if piece.fifths > 0 else _SHARPS[::-1][: -piece.fifths]


def _tonic(piece: Piece) -> str:
    degree = {"major": 0, "dorian": 1, "minor": 5}[piece.mode]
    return "CDEFGAB"[(4 * piece.fifths + degree) % 7]


def kern(piece: Piece) -> bytes:
    """A piano piece with one voice a hand: left hand, right hand, dynamics.

    Ottava lines run through whole pieces; pitches under them are written as they
    sound. Raises ValueError for a change of clef.
    """
    (part,) = piece.parts
    right, left = (parse_voice(staff.voices[0], piece.bar_length) for staff in part.staves)
    signs = [
        {s.text for bar in hand for s in bar.signs if s.text[0] == "@"}
        for hand in (left, right)
    ]
    if any(hand - {"@8va", "@8vb", "@loco"} for hand in signs):
        raise ValueError(f"{piece.title}: clef changes are not written to kern")
    ottavas = [
        next((_KERN_OTTAVAS[s] for s in hand if s in _KERN_OTTAVAS), ("*", "*"))
        for hand in signs
    ]
    lines = _kern_header(piece)
    lines.append("\t".join([opening for opening, _ in ottavas] + ["*"]))
    wedge = ""
    for number, hands in enumerate(zip(left, right, strict=True), 1):
        # The first barline is the invisible one at the beginning.
        lines.append("\t".join([f"={number}" + "-" * (number == 1)] * 3))
        rows, wedge = _kern_rows(hands, wedge, piece.beat)
        lines += ["\t".join(row) for row in rows]
    lines.append("\t".join([closing for _, closing in ottavas] + ["*"]))
    return "\n".join([*lines, "==\t==\t==", "*-\t*-\t*-", ""]).encode()


def _kern_header(piece: Piece) -> list[str]:
    (part,) = piece.parts
    clefs = ["*clef{}{}".format(*CLEFS[staff.clef]) for staff in part.staves]
    key = "".join(s.lower() + ("#" if piece.fifths > 0 else "-") for s in _altered(piece))
    tonic = _tonic(piece)
    both = [
        "*Ipiano",
        f'*I"{part.name}',
        f"*k[{key}]",
        f"*{tonic if piece.mode == 'major' else tonic.lower()}:",
        "*M{}/{}".format(*piece.metre),
        f"*MM{piece.tempo[2] * piece.tempo[1] // 2}",
    ]
    return [
        f"!!!COM: {piece.student}",
        f"!!!OTL: {piece.title}",
        f"!!!OMD: {piece.tempo[0]}",
        "!!!AIN: piano",
        "!!!YEM: CC0 1.0",
        "**kern\t**kern\t**dynam",
        "*part1\t*part1\t*part1",
        "*staff2\t*staff1\t*staff1/2",
        f"{clefs[1]}\t{clefs[0]}\t*",
        *(f"{record}\t{record}\t*" for record in both),
    ]


def _kern_rows(hands: tuple[Bar, Bar], wedge: str, beat: int) -> tuple[list[list[str]], str]:
    """The data rows of a bar, and the hairpin ('<', '>' or '') still open after it."""
    _, right = hands
    rows = []
    for time in sorted({note.start for bar in hands for note in bar.notes}):
        marks = [
            s.text[1] if s.text[1] in "<>=" else s.text[1:]
            for s in right.signs
            if s.start == time and s.text[0] == "!"
        ]
        wedge = next((mark for mark in marks if mark in "<>"), wedge)
        going_on = {"<": "(", ">": ")", "": "."}[wedge]
        dynamic = "".join(marks) or going_on
        rows.append([*(_kern_cell(bar.notes, time, beat) for bar in hands), dynamic])
    if wedge and any(s.text == "!=" and s.start == right.length for s in right.signs):
        rows[-1][2] = "]" if rows[-1][2] == "(" else "["
        wedge = ""
    return rows, wedge


def _kern_cell(notes: list[Note], time: int, beat: int) -> str:
    """What a hand begins at `time`, or the null token."""
    note = next((n for n in notes if n.start == time), None)
    if note is None:
        return "."
    mates = [
        n for n in notes if n.letter == "e" and n.pitches and n.start // beat == time // beat
    ]
    beam = ""
    if len(mates) > 1 and note.letter == "e":
        beam = "L" if note is mates[0] else "J" if note is mates[-1] else ""
    return _kern_note(note, beam)


def _kern_note(note: Note, beam: str) -> str:
    length = _KERN_LENGTHS[note.letter] + "." * note.dots
    if not note.pitches:
        return length + "r"
    opens = "[" if note.tied and not note.tied_back else ""
    closes = "_" if note.tied and note.tied_back else "]" if note.tied_back else ""
    closes += "'" if note.staccato else ""
    heads = [opens + length + _kern_pitch(pitch) + closes for pitch in note.pitches]
    heads[0] = "(" * note.slur_open + heads[0] + beam + ")" * note.slur_close
    return " ".join(heads)


def _kern_pitch(pitch: Pitch) -> str:
    """C4 is c, C5 cc; C3 is C, C2 CC."""
    if pitch.octave > 3:
        name = pitch.step.lower() * (pitch.octave - 3)
    else:
        name = pitch.step * (4 - pitch.octave)
    return name + {-1: "-", 0: "", 1: "#"}[pitch.alter]


def abc(piece: Piece) -> bytes:
    """A piece of single lines without accidentals, one voice a part, four bars a line.

    Raises ValueError for a chord, a pitch outside the key, or a sign that is no
    dynamic mark.
    """
    words, beat, rate = piece.tempo
    lines = [
        "%abc-2.1",
        "X:1",
        f"T:{piece.title}",
        f"C:{piece.student}",
        "Z:CC0 1.0",
        "M:{}/{}".format(*piece.metre),
        "L:1/8",
        f'Q:"{words}" {beat}/8={rate}',
        f"K:{_tonic(piece)}{piece.mode[:3]}",
    ]
    for number, part in enumerate(piece.parts, 1):
        lines.append(
            f'V:{number} name="{part.name}" sname="{part.short}" clef={part.staves[0].clef}'
        )
        lines.append(f"%%MIDI program {part.program - 1}")
        bars = parse_voice(part.staves[0].voices[0], piece.bar_length)
        cells = [_abc_bar(bar, piece) for bar in bars]
        for first in range(0, len(cells), 4):
            end = " |]" if first + 4 >= len(cells) else " |"
            lines.append(" | ".join(cells[first : first + 4]) + end)
    return "\n".join([*lines, ""]).encode()


def _abc_bar(bar: Bar, piece: Piece) -> str:
    """One bar; a space divides the beats, so that each beat is beamed by itself."""
    unknown = [s.text for s in bar.signs if s.text[1:] not in MARKS]
    if unknown:
        raise ValueError(f"{piece.title}: {unknown} is not written to ABC")
    cell = ""
    for note in bar.notes:
        marks = "".join(f"!{s.text[1:]}!" for s in bar.signs if s.start == note.start)
        space = " " if cell and note.start % piece.beat == 0 else ""
        cell += space + marks + _abc_note(note, _altered(piece), piece)
    return cell


def _abc_note(note: Note, altered: str, piece: Piece) -> str:
    length = "" if note.eighths == 1 else str(note.eighths)
    if not note.pitches:
        return "z" + length
    (pitch,) = note.pitches
    if (pitch.step in altered) != bool(pitch.alter):
        raise ValueError(f"{piece.title}: {pitch} is not in the key")
    if pitch.octave >= 5:
        name = pitch.step.lower() + "'" * (pitch.octave - 5)
    else:
        name = pitch.step + "," * (4 - pitch.octave)
    return name + length + ("-" if note.tied else "")
