"""The music of the eight demo pieces, in the notation of notation.py."""

from __future__ import annotations

from dataclasses import replace

from notation import Part, Piece, Staff, octaves

__all__ = ["PIECES"]


def _join(*passages: str) -> str:
    return " | ".join(passage.strip() for passage in passages)


def _piano(right: tuple[str, ...], left: tuple[str, ...], right_clef: str = "treble") -> Part:
    staves = (Staff(right_clef, right), Staff("bass", left))
    return Part("Piano", "Pno.", "keyboard.piano", 1, staves)


def _line(player: Part, *passages: str) -> Part:
    """A part on one staff: `player` with its music."""
    return replace(player, staves=(Staff(player.staves[0].clef, (_join(*passages),)),))


def _player(
    name: str, short: str, sound: str, program: int, clef: str, up: tuple[int, int] = (0, 0)
) -> Part:
    return Part(name, short, sound, program, (Staff(clef, ()),), up)


VIOLIN_I = _player("Violin I", "Vln. I", "strings.violin", 41, "treble")
VIOLIN_II = _player("Violin II", "Vln. II", "strings.violin", 41, "treble")
VIOLA = _player("Viola", "Vla.", "strings.viola", 42, "alto")
VIOLONCELLO = _player("Violoncello", "Vc.", "strings.cello", 43, "bass")
FLUTE = _player("Flute", "Fl.", "wind.flutes.flute", 74, "treble")
CLARINET = _player("Clarinet in Bb", "Cl.", "wind.reed.clarinet.bflat", 72, "treble", up=(1, 2))
BASSOON = _player("Bassoon", "Bsn.", "wind.reed.bassoon", 71, "tenor")

# 1. Stuck in the middle: nothing below F3, nothing above C5.

_WINDOW_HEAD = """A4q. G4e F4q G4q | A4q C5q A4h | Bb4q. A4e G4q A4q | G4h. Rq
| A4q. G4e F4q G4q | !< A4q Bb4q C5h !="""
_WINDOW_CLOSE = "Bb4q A4q G4q E4q | F4h. Rq"

KITCHEN_WINDOW = Piece(
    "kitchen-window.musicxml",
    "Kitchen Window",
    "Ada",
    -1,
    "major",
    (4, 4),
    ("Andante", 2, 84),
    repeat_from=1,
    endings=((7, 8, 1), (9, 10, 2)),
    parts=(
        _piano(
            (
                _join(
                    "!mp " + _WINDOW_HEAD,
                    "Bb4q A4q G4h | E4h. Rq",
                    _WINDOW_CLOSE,
                    """!p A4h (F4q E4q | F4h.) Rq | !< Bb4h (G4q F#4q | G4h.) != Rq
                | !mf G4q A4q Bb4q G4q | A4q. G4e F4h | !> G4q F4q E4q D4q | E4h. != Rq""",
                    "!mp " + _WINDOW_HEAD,
                    "!> Bb4q A4q G4q E4q != | !p F4w",
                ),
                _join(
                    "- | - | - | - | - | - | - | - | - | -",
                    """D4h. C#4q | D4h. Rq | D4h. C4q | Bb3h. Rq
                | E4h E4h | C4h C4h | D4h Bb3h | C4h. Rq""",
                    "- | - | - | - | - | - | - | -",
                ),
            ),
            (
                _join(
                    """F3e C4e A3e C4e F3e C4e A3e C4e | F3e C4e A3e C4e F3e D4e A3e D4e
                | G3e D4e Bb3e D4e G3e D4e Bb3e D4e | G3e E4e C4e E4e C4q Bb3q
                | A3e C4e F3e C4e A3e C4e F3e C4e | F3e C4e G3e D4e A3e C4e F3e C4e""",
                    "G3e D4e F3e D4e G3e D4e B3e D4e | C4e G3e C4e G3e Bb3q Rq",
                    "G3e D4e F3e C4e G3e Bb3e C4e Bb3e | F3e C4e A3e C4e F3q Rq",
                    """F3+A3h A3h | A3q G3q F3h | G3+Bb3h A3h | G3q F3q G3h
                | C4h Bb3h | A3h F3h | Bb3h G3h | G3h A3q Bb3q""",
                    """F3q A3+C4q F3q A3+C4q | F3q A3+C4q F3q A3+D4q
                | G3q Bb3+D4q G3q Bb3+D4q | G3q C4+E4q C4q Bb3q
                | A3q F3+C4q A3q F3+C4q | F3q G3+D4q A3+C4q F3+C4q""",
                    "G3+D4q F3+C4q G3+Bb3q Bb3+C4q | F3+A3+C4w",
                ),
            ),
        ),
    ),
)

# 2. Always at the extremes: nothing between E2 and D#6.

ATTIC_AND_CELLAR = Piece(
    "attic-and-cellar.krn",
    "Attic and Cellar",
    "Bo",
    1,
    "minor",
    (3, 4),
    ("Adagio", 2, 60),
    parts=(
        _piano(
            (
                """@8va !p E6q. F#6e G6q | B6h A6q | G6q F#6q E6q | F#6h.
            | E6q. F#6e G6q | !< B6h C7q | B6q. A6e G6q != | F#6h Rq
            | !mf G6q A6q B6q | C7h E7q | D7q C7q B6q | A6h.
            | G6q A6q B6q | C7h B6q | A6q. B6e A6q | D#6+F#6h.
            | !p E6q. F#6e G6q | B6h A6q | G6q F#6q D#6q | E6h.
            | !> F#6q G6q A6q | G6h F#6q != | !pp E6+B6+E7h.~ | E6+B6+E7h. @loco""",
            ),
            (
                """@8vb E1+E2h. | G1h. | C2h. | B1h B0q
            | E1+E2h. | G1h A1q | B1h. | B1h A1q
            | G1h. | C2h. | G1h. | D2h D1q
            | G1h. | A1h. | A1h F#1q | B0+B1h.
            | E1+E2h. | G1h A1q | B1h B0q | C1+C2h.
            | A1h. | B1h B0q | E1+E2h.~ | E1+E2h. @loco""",
            ),
        ),
    ),
)

# 3. A cleared return: bars 9-16 leave everything below middle C empty.

_RAIN_LEFT = """A1+A2q E3+C4q' E2q E3+C4q' | A1+A2q E3+C4q' G#2q E3+B3q'
| F2q F3+C4q' D2q F3+A3q' | C2q G3+C4q' E2q G#3+B3q'
| A1+A2q E3+C4q' A2q E3+C4q' | C2q E3+A3q' F2q F3+A3q'
| D2q F3+B3q' E2q E3+D4q'"""

AFTER_THE_RAIN = Piece(
    "after-the-rain.mxl",
    "After the Rain",
    "Cleo",
    0,
    "minor",
    (4, 4),
    ("Allegretto", 2, 96),
    upbeat=2,
    parts=(
        _piano(
            (
                _join(
                    "!mf E4q",
                    """A4q. B4e C5q B4q | A4h E4q E4q | F4q. G4e A4q G4q | E4h. E4q
                | A4q. B4e C5q D5q | E5h C5q A4q | !> B4q. A4e G#4q B4q != | A4h Rq !p E5q""",
                    """(G5q. F5e E5q D5q | C5h) E5q G5q | (A5q. G5e F5q E5q | D5h.) G5q
                | (G5q. F5e E5q F5q | G5q A5q) B5q C6q
                | !< B5q. A5e G#5q A5q | B5h. E5q !=""",
                    """!f A4+A5q. B4+B5e C5+C6q B4+B5q | A4+A5h E4+E5q E4+E5q
                | F4+F5q. G4+G5e A4+A5q G4+G5q | E4+E5h. E4+E5q
                | A4+A5q. B4+B5e C5+C6q D5+D6q | !ff E5+E6h C5+C6q A4+A5q
                | B4+B5q. A4+A5e G#4+G#5q B4+B5q | A4+A5h. Rq""",
                    "!mf D5q. C5e B4q A4q | !> G#4q A4q B4h | A4h E4h != | !p C4+E4+A4h.",
                ),
            ),
            (
                _join(
                    "Rq",
                    _RAIN_LEFT,
                    "A1+A2q E3+C4q A2q Rq",
                    """@treble C4e G4e E4e G4e C4e G4e E4e G4e | C4e G4e E4e G4e C4e G4e E4e G4e
                | C4e A4e F4e A4e C4e A4e F4e A4e | D4e B4e G4e B4e D4e B4e G4e B4e
                | C4e G4e E4e G4e C4e G4e E4e G4e | D4e B4e G4e B4e D4e B4e E4e C5e
                | E4e B4e G#4e B4e D4e B4e G#4e B4e | E4e B4e G#4e B4e E4e B4e G#4e B4e""",
                    """@bass A1+A2q E3+A3+C4q E1+E2q E3+A3+C4q
                | A1+A2q E3+C4q G#1+G#2q E3+B3q
                | F1+F2q F3+C4q D2q F3+A3q | C2q G3+C4q E2q G#3+B3q
                | A1+A2q E3+C4q A1+A2q E3+C4q | C2q E3+A3q F1+F2q F3+A3q
                | D2q F3+B3q E1+E2q E3+D4q | F1+F2q F3+C4q F2q F3+C4q""",
                    """D2q D3+A3q E2q D3+G#3q | E2q E3+D4q E1+E2q E3+D4q
                | A1+A2q E3+C4q E2q E3+C4q | A1+A2h.""",
                ),
            ),
        ),
    ),
)

# 4. A withheld bass: the cello is silent for sixteen bars.

_BUS_V1 = "D5h G4q | B4q. C5e D5q | E5h D5q | B4h. | D5h G4q | A4q. B4e C5q | B4h A4q"
_BUS_V2 = "G4h D4q | G4h G4q | G4h G4q | G4h F#4q | G4h D4q | F#4h. | "

WAITING_FOR_THE_BUS = Piece(
    "waiting-for-the-bus.musicxml",
    "Waiting for the Bus",
    "Dov",
    1,
    "major",
    (3, 4),
    ("Moderato", 2, 100),
    parts=(
        _line(
            VIOLIN_I,
            "!p " + _BUS_V1,
            "A4h. | !mp G4q A4q B4q | C5h B4q | A4q B4q C5q | D5h C5q",
            "B4q C5q D5q | !< E5h F#5q | G5h E5q | D5h. !=",
            "!f " + _BUS_V1,
            "G4h. | !mf E5h D5q | C5h D5q | !> B4h A4q != | !p G4h.",
        ),
        _line(
            VIOLIN_II,
            "!p " + _BUS_V2 + "G4h E4q | F#4h.",
            "!mp E4h. | E4h E4q | F#4h. | G4h.",
            "G4h G4q | !< G4h A4q | G4h G4q | F#4h. !=",
            "!f " + _BUS_V2 + "G4h F#4q | D4h.",
            "!mf G4h G4q | E4h G4q | !> G4h F#4q != | !p D4h.",
        ),
        _line(
            VIOLA,
            "!p B3h B3q | D4h B3q | C4h B3q | E4h D4q",
            "B3h B3q | A3h D4q | B3h C#4q | D4h.",
            "!mp B3h. | A3h G3q | A3h. | B3h A3q",
            "G3h B3q | !< C4h C4q | B3h C#4q | D4h. !=",
            "!f B3h B3q | D4h B3q | C4h D4q | E4h B3q",
            "B3h B3q | A3h A3q | D4h C4q | B3h.",
            "!mf C4h B3q | A3h G3q | !> D4h C4q != | !p B3h.",
        ),
        _line(
            VIOLONCELLO,
            *("Z",) * 16,
            "!f G2h G2q | G2q F#2q G2q | C3h B2q | E2h D2q",
            "G2h G2q | D2h D3q | D3h D2q | G2h.",
            "!mf C2h G2q | A2h B2q | !> D2h. != | !p G2h.",
        ),
    ),
)

# 5. A drone that stops: the viola's held G ends in the middle of bar 14.

_PATH_TUNE = "G5q A5e Bb5q A5e | G5q F5e D5q."

FIELD_PATH = Piece(
    "field-path.abc",
    "Field Path",
    "E.",
    -1,
    "dorian",
    (6, 8),
    ("Flowing", 3, 66),
    parts=(
        _line(
            FLUTE,
            "!mp " + _PATH_TUNE,
            "F5q G5e A5q F5e | G5h.",
            "G5q A5e Bb5q C6e | D6q C6e Bb5q A5e | G5q A5e F5q D5e | G5h.",
            "!mf D6q C6e D6q Bb5e | C6q A5e F5q. | Bb5q A5e Bb5q G5e | A5q F5e D5q.",
            "D5e F5e G5e A5q G5e | Bb5q A5e C6q Bb5e | A5q G5e F5q A5e | G5h.",
            "!p D6q C6e D6q Bb5e | C6q A5e F5q A5e | Bb5q A5e G5q F5e | D5h.",
            "!mp G5q A5e Bb5q A5e | G5q F5e D5q F5e | E5q F5e A5q F5e | G5h.",
        ),
        _line(
            VIOLA,
            "!mp G3h.~ | G3h.~ | G3h.~ | G3h. | G3h.~ | G3h.~ | G3h.~ | G3h.",
            "!mf G3h.~ | G3h.~ | G3h.~ | G3h. | G3h.~ | G3q. Rq. | Z | Z",
            "Z | Z | Z | Z",
            "!mp Bb3q C4e D4q C4e | Bb3q A3e F3q A3e | C4q A3e F3q A3e | G3h.",
        ),
    ),
)

# 6. Wide and mobile: the hands move together from register to register.

_STAIRS_HEAD = "D4q. E4e F4q A4q | G4q F4q E4h"
_STAIRS_THEME = _STAIRS_HEAD + " | F4q. G4e A4q D5q | C#5q D5q E5h"
_STAIRS_BASS = """D3q A3q D3q F3q | Bb2q D3q A2q C#3q
| D3q A3q F3q A3q | A2q E3q C#3q A2q"""
_STAIRS_ANSWER = "D5q. C5e Bb4q A4q | G4q A4q Bb4h | A4q. G4e F4q E4q | D4h. Rq"
_STAIRS_ANSWER_BASS = """Bb2q F3q D3q F3q | G2q D3q Bb2q D3q
| A2q D3q A2q C#3q | D3q A2q D2h"""
_STAIRS_SEQUENCE = "G3q. A3e Bb3q D4q | C4q Bb3q A3h"

STAIRS = Piece(
    "stairs.musicxml",
    "Stairs",
    "Fen",
    -1,
    "minor",
    (4, 4),
    ("Allegro", 2, 112),
    parts=(
        _piano(
            (
                _join(
                    "!mf " + octaves(_STAIRS_THEME, -1),
                    "@treble @8va !p " + octaves(_STAIRS_ANSWER, 2) + " @loco",
                    """!mp (A4q. Bb4e C5q A4q | Bb4q A4q G4h) | (A4q. Bb4e C5q F5q
                | E5q D5q C5h)""",
                    "@bass !f " + octaves(_STAIRS_HEAD, -1),
                    "@treble @8va !p " + octaves(_STAIRS_HEAD, 2) + " @loco",
                    "@bass !f " + _STAIRS_SEQUENCE,
                    "@treble @8va !p " + octaves(_STAIRS_SEQUENCE, 3) + " @loco",
                    """!< A4q C#5q E5q A5q | @8va C#6q E6q G6q Bb6q != | !ff A6q G6q F6q E6q
                | E6h C#6h @loco""",
                    "!p " + _STAIRS_ANSWER,
                    "@bass !mf " + octaves(_STAIRS_HEAD, -1),
                    "@treble !< Rh A4e D5e F5e A5e != | @8va !ff F6+A6+D7w @loco",
                ),
            ),
            (
                _join(
                    octaves(_STAIRS_BASS, -1),
                    "@treble " + octaves(_STAIRS_ANSWER_BASS, 2),
                    """@bass F3q C4q A3q C4q | G3q Bb3q C3q E3q | F3q C4q A3q C4q
                | C4q G3q C3h""",
                    octaves(_STAIRS_HEAD, -2),
                    "@treble " + octaves(_STAIRS_HEAD, 1),
                    "@bass " + octaves(_STAIRS_SEQUENCE, -1),
                    "@treble " + octaves(_STAIRS_SEQUENCE, 2),
                    "@bass A3q G3q E3q C#3q | A2q G2q E2q C#2q | A1w~ | A1w",
                    _STAIRS_ANSWER_BASS,
                    octaves("D3q A3q D3q F3q | Bb2q D3q A2q C#3q", -1),
                    "D2e A2e D3e F3e Rh | D1+D2w",
                ),
            ),
            right_clef="bass",
        ),
    ),
)

# 7. A hollow texture: more than an octave empty between the hands, but for bars 13-16.

TWO_SHORES = Piece(
    "two-shores.mid",
    "Two Shores",
    "Gil",
    2,
    "major",
    (4, 4),
    ("Lento", 2, 66),
    parts=(
        _piano(
            (
                """!p F#5+A5h. G5+B5q | F#5+A5h D5+F#5h | G5+B5h. A5+C#6q | A5+C#6h E5+A5h
            | F#5+A5h. G5+B5q | A5+D6h F#5+B5h | E5+G5h. F#5+A5q | C#5+E5w
            | !mp D5+F#5h. E5+G5q | !< G5+B5h D5+G5h | E5+G5h. F#5+A5q | A5+C#6h E5+A5h !=
            | !mf A4+F#5h. A4+E5q | B4+D5h. G4+B4q | !> G4+B4h. A4+C#5q | A4+C#5w !=
            | !p F#5+A5h. G5+B5q | A5+D6h F#5+B5h | E5+G5h. E5+C#6q | !pp F#5+D6w""",
            ),
            (
                """D2q A2q D3q A2q | D2q A2q B1q F#2q | G2q D3q G3q D3q | A2q E3q A3q E3q
            | D2q A2q D3q A2q | D2q A2q B1q F#2q | E2q B2q E3q B2q | A1q E2q A2q E2q
            | B1q F#2q B2q F#2q | G2q D3q G3q D3q | E2q B2q E3q B2q | A1q E2q A2q E2q
            | D3+A3+D4w | G3+D4w | E3+B3+E4h. A2+A3+E4q | A2+A3+E4w
            | D2q A2q D3q A2q | D2q A2q B1q F#2q | E2q B2q A1q E2q | D2+A2w""",
            ),
        ),
    ),
)

# 8. An instrument at its edge: the bassoon sings above the clarinet, near the flute.

_TABLE_HEAD = "F4h Bb4q | A4q. G4e F4q | G4h C5q | Bb4h A4q | Bb4q A4q G4q"

THREE_AT_A_TABLE = Piece(
    "three-at-a-table.musicxml",
    "Three at a Table",
    "Hana",
    -2,
    "major",
    (3, 4),
    ("Andantino", 2, 88),
    parts=(
        _line(
            FLUTE,
            "!p D5h. | C5h D5q | Eb5h. | D5h C5q | Eb5h D5q | D5h C5q | Bb4h. | A4h.",
            "!mp F5h Eb5q | D5q Eb5q D5q | D5h. | Eb5h. | !< Eb5h. | D5h F5q | E5h. | F5h. !=",
            "!mf D5q Eb5q D5q | C5h D5q | Eb5h. | D5h C5q",
            "Eb5h D5q | C5h. | !> D5h C5q != | !p D5h.",
        ),
        _line(
            CLARINET,
            "!p Bb3h. | F3h. | C4h A3q | Bb3h F3q | G3h. | Bb3h F3q | C4h. | F3h.",
            "!mp F3h A3q | Bb3h. | G3h. | C4h. | !< F3h A3q | Bb3h. | C4h. | F3h. !=",
            "!mf Bb3h. | F3h. | C4h A3q | Bb3h F3q | G3h. | Eb3h. | !> F3h. != | !p Bb3h.",
        ),
        _line(
            BASSOON,
            "!mp " + _TABLE_HEAD,
            "F4q G4q A4q | G4h E4q | F4h.",
            "!mf A4q Bb4q C5q | Bb4h F4q | G4q A4q Bb4q | C5h G4q",
            "!< A4q Bb4q C5q | Bb4h. | G4h Bb4q | A4h. !=",
            "!f " + _TABLE_HEAD,
            "G4h. | !> Bb4h A4q != | !p Bb4h.",
        ),
    ),
)

PIECES = (
    KITCHEN_WINDOW,
    ATTIC_AND_CELLAR,
    AFTER_THE_RAIN,
    WAITING_FOR_THE_BUS,
    FIELD_PATH,
    STAIRS,
    TWO_SHORES,
    THREE_AT_A_TABLE,
)
