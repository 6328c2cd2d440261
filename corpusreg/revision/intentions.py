"""What a writer wants of a piece, in plain words, as after --toward.

    clear before 24     a register is empty before bar 24 and enters there
                        (clear low before 24, clear high before 24)
    hold bass until 24  the low register waits for bar 24
    lift drone at 24    a held or repeated low sound stops at bar 24
    lighter             stay where the music is, with less sound (lighter in 9-16)
    move more           shift more (move more at 24, move more in 9-16)
    narrower            keep still in less space (narrower in 9-16)
    respace             low chords with more room in them (respace in 9-16)
    give bassoon        a part's line, where it lies high or low, played by another whom it
                        suits (give bassoon in 9-16)
    shift as in WORK bar 24
                        something like a passage of the reference, of one of LIKE;
                        with 'at 9' behind it in bar 9, otherwise where it can be

Small words ('the', 'bar', 'stay low but') may be there or not.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from corpusreg.system.errors import UsageError

__all__ = ["EXAMPLES", "LIKE", "Intention", "intention"]

EXAMPLES = (
    "clear before 24", "clear low before 24", "hold bass until 24", "lift drone at 24",
    "lighter", "move more", "move more at 24", "narrower in 9-16", "respace",
    "give PART in 9-16", "shift as in WORK bar 24",
)  # fmt: skip

# Kinds of examples that can be aimed at.
LIKE = ("shift", "cleared", "withheld-bass", "withheld-top", "dwell")

_SMALL = re.compile(
    r"\b(?:a|an|the|back|off|out|registers?|bars?|stays?|keep|still|but|and|it"
    r"|low (?=but|and|lighter))\b"
)
_BAR = r"(?P<bar>[^\s-]+)"
_BARS = r"(?: (?:in|from) (?P<bars>\S+(?: (?:-|to) \S+)?))?"
_FORMS = (
    ("clear", rf"clear(?: (?P<side>low|high))? before {_BAR}"),
    ("hold", rf"hold(?: (?:bass|low))? (?:until|till|to) {_BAR}"),
    ("lift", rf"lift(?: (?P<side>low|high))?(?: drone)? (?:at|in) {_BAR}"),
    ("lighter", rf"(?:low )?lighter{_BARS}"),
    ("move at", rf"move(?: more)? at {_BAR}"),
    ("move", rf"move more{_BARS}"),
    ("narrower", rf"narrower{_BARS}"),
    ("give", r"give (?P<part>.+?)(?: (?:in|from) (?P<bars>\d\S*(?: (?:-|to) \S+)?))?"),
    ("respace", rf"respace(?: low chords)?{_BARS}"),
)
# A work's name holds spaces and signs as its file does; a bar may be a '24 (2nd time)'.
_AS_IN = re.compile(
    r"(?:(?P<like>\S+) )?as in (?P<work>\S.*) bar (?P<there>\S+(?: \([^)]*\))?)"
    r"(?: at (?P<bar>\S+))?"
)


@dataclass(frozen=True)
class Intention:
    """kind: 'clear', 'hold', 'lift', 'lighter', 'move at', 'move', 'narrower', 'respace',
    'give' or 'as in'.

    bar: printed number, '' where the kind needs none. bars: as in '9-16', '' for the
    whole piece. side: 'low', 'high', or '' for either. text: as it was written. like, work,
    there: kind ('' where it is not said), work and printed bar of a model passage. part:
    name of the one whose line is given, as it was written.
    """

    kind: str
    text: str
    bar: str = ""
    bars: str = ""
    side: str = ""
    like: str = ""
    work: str = ""
    there: str = ""
    part: str = ""


def intention(text: str) -> Intention:
    """Read an intention. Raises UsageError, with those that there are, for any other.

    >>> found = intention("Hold the bass back until bar 24")
    >>> found.kind, found.bar
    ('hold', '24')
    """
    model = _AS_IN.fullmatch(re.sub(r" at bar (\S+)$", r" at \1", " ".join(text.split())))
    if model:
        return _as_in(text, {name: value or "" for name, value in model.groupdict().items()})
    plain = " ".join(text.casefold().replace(",", " ").split())
    plain = " ".join(_SMALL.sub(" ", plain).split())
    for kind, form in _FORMS:
        match = re.fullmatch(form, plain)
        if match:
            found = {name: value or "" for name, value in match.groupdict().items()}
            if "bars" in found:
                found["bars"] = re.sub(r" (?:-|to) ", "-", found["bars"])
            return Intention(kind, text, **found)
    raise UsageError(
        f"--toward '{text}': not known; write it as one of these: {'; '.join(EXAMPLES)}"
    )


def _as_in(text: str, found: dict[str, str]) -> Intention:
    if found["like"] and found["like"] not in LIKE:
        raise UsageError(
            f"--toward '{text}': no change leads to '{found['like']}' as in a passage; there "
            f"are {', '.join(LIKE)}"
        )
    return Intention("as in", text, **found)
