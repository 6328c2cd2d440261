"""The atlas in words: what a figure shows, how it is read, what it leaves out."""

from __future__ import annotations

from corpusreg.norms.atlas import Atlas, Figure, GroupedMeasure, Heights, MeasureCell, Octaves
from corpusreg.score.pitch import note_name
from corpusreg.store import sql
from corpusreg.system.phrases import capital

__all__ = ["alt_text", "made_words", "meaning_words", "notes_words", "query_words"]

_EQUAL = "Every composer, and every source of anonymous music, counts the same."
_SURE = (
    "drawn from other works of the same kind, the middle would fall there about 19 times in "
    "20; with fewer than 4 composers this cannot be said"
)
_GROUPS = (
    "How to read it: the box holds the middle half of the works, the line eight in ten, the "
    "upright stroke is the middle; the ochre bracket is its 95 % interval: "
    f"{_SURE}. A ring is one composer or source. {_EQUAL} Neither end of the scale is better."
)
_PERIODS = (
    "What looks like a change over time may come from other ensembles, other composers or "
    "other ways of writing scores: the periods here hold different music. The command "
    "'corpusreg periods {measure}' says whether a difference holds when it is tested in other "
    "ways. Period names and borders are common practice, no source."
)
_OCTAVES = (
    "How to read it: the darker the shade, the more of the sound lies there; the small figures "
    "below each share are its 95 % interval (from 4 composers on). Octaves "
    f"in use: over how many octaves the sound spreads; little-used ones count little. {_EQUAL}"
)
_HEIGHTS = (
    "How to read it: the hill is how many of the notes lie at each pitch, dark for eight in "
    "ten; the stroke is the middle, the ochre line its 95 % interval. "
    "Below, the thin bar is the usual range of professional players and singers ('beyond' "
    "counts the notes outside it), the box is what is comfortable, the hatching what tires. "
    "Pitches as they sound. " + _EQUAL,
    "Ranges are a guide and differ from person to person. Very high and very low notes can "
    "strain a voice or a player: ask the player, the singer or the teacher. Parts named tenor "
    "or bass in early scores are lines of the texture and may never have been sung by such a "
    "voice, which may explain notes beyond a range.",
)


def meaning_words(figure: Figure) -> str:
    """What is shown, in one sentence."""
    if isinstance(figure, GroupedMeasure):
        measure = figure.measure
        return f"{capital(measure.title)}: {measure.meaning}."
    if isinstance(figure, Octaves):
        return "Where the sound of each ensemble lies, from the lowest octave to the highest."
    return "The notes that composers wrote, beside the ranges of those who play or sing them."


def notes_words(figure: Figure) -> tuple[str, ...]:
    """Paragraphs for the foot of a figure."""
    if isinstance(figure, Heights):
        out = figure.left_out
        few = f"Not drawn, with fewer than 4 composers: {', '.join(out)}." if out else ""
        return (*_HEIGHTS, few) if few else _HEIGHTS
    few = _left_out(figure.left_out)
    if isinstance(figure, Octaves):
        return (_OCTAVES, few) if few else (_OCTAVES,)
    notes = [_GROUPS]
    if figure.by == "period":
        notes.append(_PERIODS.format(measure=figure.measure.name))
    alone = [cell.name for cell in figure.cells if len(cell.collections) == 1]
    if alone:
        notes.append(f"From a single collection, and named after it: {', '.join(alone)}.")
    return (*notes, few) if few else tuple(notes)


def query_words(figure: Figure) -> str:
    """The command that tells which works are behind the first row of a figure."""
    if isinstance(figure, Heights):
        instrument = figure.rows[0].instrument.id
        return f"corpusreg query parts_of_works {sql.asked('instrument', instrument)} rows=9999"
    if isinstance(figure, Octaves):
        first, by, measure = figure.cells[0].in_use, "ensemble", "octaves_in_use"
    else:
        first, by, measure = figure.cells[0], figure.by, figure.measure.name
    return f"corpusreg query works_of_cell measure={measure} {sql.asked(by, first.group)}"


def made_words(atlas: Atlas) -> str:
    """What the figures were made from."""
    return (
        f"corpusreg: {atlas.works:,} works by {atlas.units} composers and sources of anonymous "
        f"music. Reference {atlas.reference_id}, definitions {atlas.definitions}."
    )


def alt_text(figure: Figure) -> str:
    """The numbers of a figure in words, for those who do not see it."""
    if isinstance(figure, Heights):
        said = [
            f"{row.instrument.name}: middle {note_name(round(row.middle))}, {row.works} works "
            f"by {row.units}"
            for row in figure.rows
        ]
    elif isinstance(figure, Octaves):
        said = [
            f"{cell.name}: most in octave {figure.bands[cell.shares.index(max(cell.shares))]}"
            for cell in figure.cells
        ]
    else:
        said = [_cell_words(cell) for cell in figure.cells]
    return f"{meaning_words(figure)} {'; '.join(said)}."


def _cell_words(cell: MeasureCell) -> str:
    sure = (
        "too few composers for an interval"
        if cell.interval is None
        else f"95 % interval {cell.interval[0]:.3g} to {cell.interval[1]:.3g}"
    )
    return f"{cell.name}: middle {cell.middle:.3g} ({sure}), {cell.works} works by {cell.units}"


def _left_out(names: tuple[str, ...]) -> str:
    if not names:
        return ""
    return f"Not drawn, since they come from one composer or source: {', '.join(names)}."
