"""A plain writer of MusicXML, just enough to write a rewritten score to a file.

Notes stand at their places by <backup> and <forward>, each in the order of the table;
grace notes, dynamics and pedals are not written.
"""

from __future__ import annotations

from xml.sax.saxutils import escape

from corpusreg.score.notes import Bars, Score, felt_beat

__all__ = ["cannot_write", "metre", "musicxml"]

_STEPS = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_LARGEST_UNIT = 64


def metre(full: int, beat: int, ticks: int) -> tuple[int, int] | None:
    """A metre whose bar and felt beat are these ticks, or None where there is none.

    >>> metre(96, 24, 24), metre(72, 36, 24), metre(96, 48, 24), metre(7, 3, 24)
    ((4, 4), (6, 8), (2, 2), None)
    """
    for unit in (4, 8, 2, 16, 1, 32, 64):
        count, rest = divmod(full * unit, 4 * ticks)
        if (
            count
            and not rest
            and not (4 * ticks) % unit
            and felt_beat(count, unit, ticks) == beat
        ):
            return count, unit
    return None


def cannot_write(score: Score) -> str:
    """Why a score cannot be written here, '' where it can."""
    bars = score.bars
    if bars.order is not None or any(bars.marks):
        return "jumps or an order of its own"
    for full, beat in zip(bars.full.tolist(), bars.beat.tolist(), strict=True):
        if metre(full, beat, score.ticks) is None:
            return "a metre that one fraction does not say"
    return ""


def musicxml(score: Score) -> str:
    """The score as a MusicXML 4.0 document."""
    ids = range(1, len(score.parts) + 1)
    names = "".join(
        f'<score-part id="P{i}"><part-name>{escape(part.name or f"Part {i}")}</part-name>'
        "</score-part>"
        for i, part in zip(ids, score.parts, strict=True)
    )
    parts = "".join(f'<part id="P{i}">{_part(score, i - 1)}</part>' for i in ids)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">'
        f"<part-list>{names}</part-list>{parts}</score-partwise>"
    )


def _part(score: Score, part: int) -> str:
    bars, text = score.bars, []
    own = score.notes[(score.notes["part"] == part) & ~score.notes["grace"]]
    for bar in range(len(bars)):
        rows = own[own["bar"] == bar]
        short = ' implicit="yes"' if bars.length[bar] < bars.full[bar] else ""
        text.append(
            f'<measure number="{escape(bars.labels[bar])}"{short}>'
            f"{_attributes(score, bar)}{_left(bars, bar)}"
            f"{_notes(rows, int(bars.start[bar]), int(bars.length[bar]))}"
            f"{_right(bars, bar)}</measure>"
        )
    return "".join(text)


def _attributes(score: Score, bar: int) -> str:
    bars = score.bars
    now = (int(bars.full[bar]), int(bars.beat[bar]))
    if bar and now == (int(bars.full[bar - 1]), int(bars.beat[bar - 1])):
        return ""
    found = metre(*now, score.ticks)
    assert found is not None  # cannot_write has been asked
    divisions = "" if bar else f"<divisions>{score.ticks}</divisions>"
    staves = "" if bar else f"<staves>{max(p.staves for p in score.parts)}</staves>"
    return (
        f"<attributes>{divisions}<time><beats>{found[0]}</beats>"
        f"<beat-type>{found[1]}</beat-type></time>{staves}</attributes>"
    )


def _left(bars: Bars, bar: int) -> str:
    ending = bars.endings[bar]
    inside = ""
    if ending and (bar == 0 or bars.endings[bar - 1] != ending):
        inside += f'<ending number="{",".join(map(str, ending))}" type="start"/>'
    if bars.repeat_start[bar]:
        inside += '<repeat direction="forward"/>'
    return f'<barline location="left">{inside}</barline>' if inside else ""


def _right(bars: Bars, bar: int) -> str:
    ending = bars.endings[bar]
    inside = ""
    if ending and (bar + 1 == len(bars) or bars.endings[bar + 1] != ending):
        inside += f'<ending number="{",".join(map(str, ending))}" type="stop"/>'
    if bars.repeat_end[bar]:
        inside += f'<repeat direction="backward" times="{bars.repeat_end[bar]}"/>'
    return f'<barline location="right">{inside}</barline>' if inside else ""


def _notes(rows, start: int, length: int) -> str:  # type: ignore[no-untyped-def]
    text, at = [], 0
    for row in rows:
        place = int(row["onset"]) - start
        text.append(_jump(place - at))
        text.append(_note(row))
        at = place + int(row["duration"])
    return "".join(text) + _jump(length - at)


def _jump(ticks: int) -> str:
    if not ticks:
        return ""
    name = "forward" if ticks > 0 else "backup"
    return f"<{name}><duration>{abs(ticks)}</duration></{name}>"


def _note(row) -> str:  # type: ignore[no-untyped-def]
    octave, step = divmod(int(row["pitch"]), 12)
    name = _STEPS[step]
    alter = "<alter>1</alter>" if name.endswith("#") else ""
    ties = [kind for kind, on in (("stop", row["tie_in"]), ("start", row["tie_out"])) if on]
    tied = "".join(f'<tied type="{kind}"/>' for kind in ties)
    dot = "<articulations><staccato/></articulations>" if row["staccato"] else ""
    return (
        f"<note><pitch><step>{name[0]}</step>{alter}<octave>{octave - 1}</octave></pitch>"
        f"<duration>{row['duration']}</duration>"
        + "".join(f'<tie type="{kind}"/>' for kind in ties)
        + f"<voice>{int(row['voice']) + 1}</voice><staff>{row['staff']}</staff>"
        + (f"<notations>{tied}{dot}</notations>" if tied or dot else "")
        + "</note>"
    )
