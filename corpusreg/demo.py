"""The demo: an invented class of eight short pieces, compared, and where to look first."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from corpusreg import workflow
from corpusreg.comparison.comparison import Comparison, PlacedMeasure
from corpusreg.corpus.files import bundled_root
from corpusreg.measures.definitions import VERSION
from corpusreg.system.errors import DataError
from corpusreg.text import sentences
from corpusreg.text.bars import bars_list
from corpusreg.text.outputs.console import (
    WIDTH,
    heading,
    items,
    outstanding,
    register_map,
    wrap,
)
from corpusreg.text.players import at_edge_of_its_range, reaching, torn

__all__ = ["demo_text", "pieces_folder"]

# A work of the bundled scores (Vicente Lusitano, 1562) for an ensemble that they serve well.
_SERVED = "lusitano/allor_che_ignuda.mxl"
_TITLE, _FORCES, _FIRST = 21, 17, 34
# Of these the bars with the outermost notes say less than where the register turns.
_OF_SPACE = ("span", "core_span", "octaves_in_use")
# What stands out in a few words: where a measure is high, where it is low.
_SHORT = {
    "span": ("wide from end to end", "narrow from end to end"),
    "core_span": ("fills much space", "fills little space"),
    "octaves_in_use": ("spread over many octaves", "gathered in few octaves"),
    "movement_beat": ("moves much from beat to beat", "moves little from beat to beat"),
    "travel": ("travels much inside the bar", "travels little inside the bar"),
    "movement_bar": ("moves much from bar to bar", "moves little from bar to bar"),
    "movement_phrase": ("moves much from phrase to phrase", "moves little, phrase to phrase"),
    "shift_rate": ("shifts often", "shifts seldom"),
    "longest_dwell": ("one long stay", "short stays only"),
    "expected_dwell": ("long stays", "short stays"),
    "narrow_dwell": ("much time in narrow stays", "hardly a narrow stay"),
    "hollow_share": ("hollow bars", "hardly a hollow bar"),
}


def pieces_folder() -> Path:
    """The folder of the eight pieces, in a wheel or in a checkout.

    Raises DataError when it is in neither.
    """
    package = Path(__file__).resolve().parent
    for candidate in (package / "demo_pieces", package.parent / "demo" / "pieces"):
        if candidate.is_dir():
            return candidate
    raise DataError(f"no demo pieces beside {package}; install corpusreg again")


def demo_text() -> str:
    """The class as text: an overview, then each piece with its map and what to look at.

    A work of the reference itself comes last: it has enough works like it to be
    placed among them. Needs a reference; raises StoreError without one.
    """
    found = workflow.compare_paths([pieces_folder()])
    known = workflow.compare_paths([bundled_root() / _SERVED])
    for failure in (*found.failures, *known.failures):
        raise DataError(f"{failure}; install corpusreg and music21 again")
    pieces = sorted(found.comparisons, key=lambda c: c.piece.title)
    told: set[str] = set()
    blocks = [_overview(pieces, known.comparisons[0])]
    blocks += [_piece(c, told) for c in (*pieces, *known.comparisons)]
    return "\n\n".join([*blocks, _closing(found.reference_id)])


def _overview(pieces: Sequence[Comparison], known: Comparison) -> str:
    lines = wrap(
        "An evening class of eight, all invented. Each has written a short piece for this "
        "week; nobody was asked to think about register. Where to look first:"
    )
    lines += ["", _row("Piece", "For", "What stands out first", "Bars")]
    lines.append(_row("-" * (_TITLE - 2), "-" * (_FORCES - 2), "-" * (_FIRST - 2), "-" * 14))
    lines += [_row(*_line(c)) for c in pieces]
    lines += ["", *wrap(_company(pieces, known))]
    return "\n".join(lines)


def _row(title: str, forces: str, first: str, bars: str) -> str:
    cells = ((title, _TITLE), (forces, _FORCES), (first, _FIRST))
    return ("  " + "".join(f"{text:<{width}}" for text, width in cells) + bars).rstrip()


def _line(c: Comparison) -> tuple[str, str, str, str]:
    """One piece: title, forces, what stands out first, and the bars to look at."""
    told = sentences.leading(c)
    strained = reaching(c)
    if strained and (torn(strained[0]) or not told):
        first = at_edge_of_its_range(strained[0])
        runs = [part.lying.edge_run for part in strained if part.lying]
        passages = tuple(run for run in runs if run)
    elif told:
        each = told[0][0]
        first = _SHORT[each.measure.name][0 if _high(each) else 1]
        passages = () if each.measure.name in _OF_SPACE else sentences.where(each, c)
    else:
        first, passages = "nothing unusual", ()
    bars = bars_list(c.bars, passages or _turns(c)).partition(" ")[2]
    return sentences.plain(c.piece.title), sentences.forces(c), first, bars


def _high(each: PlacedMeasure) -> bool:
    return (each.placement.percentile or 0) > 50


def _turns(c: Comparison) -> list[tuple[int, int]]:
    """Where the clearest shifts arrive, or the whole piece where there are none."""
    shifts = sentences.clearest_shifts(c, 2)
    return [(shift.bar, shift.bar + 1) for shift in shifts] or [(0, len(c.bars))]


def _company(pieces: Sequence[Comparison], known: Comparison) -> str:
    """What the pieces are compared with, and what the work at the end is there for."""
    thin = sum(c.cohort.rung.broad for c in pieces)
    said = ""
    if thin:
        said = (
            f"{'All' if thin == len(pieces) else thin} of them are compared with a broad "
            "group, since the reference holds few works like them; what it lacks, and the "
            "command that adds to it, is told under each. "
        )
    title = sentences.plain(known.piece.title)
    if known.cohort.rung.broad:
        return f"{said}Last comes a work of the reference itself, {title}."
    return (
        f"{said}Last comes, for comparison, a work of the reference itself that has enough "
        f"works like it: {title}, among {sentences.cohort_words(known.cohort)}."
    )


def _piece(c: Comparison, told: set[str]) -> str:
    """One piece; notes that are in `told` already are not repeated."""
    lines = ["=" * WIDTH, "", *heading(c), "", *register_map(c), "", "What stands out"]
    lines += [*outstanding(c), "", "Where to look", *items(_places(c))]
    fresh = [note for note in c.piece.notes if note not in told]
    told.update(fresh)
    if fresh:
        lines += ["", "Worth knowing", *items(fresh)]
    return "\n".join(lines)


def _places(c: Comparison) -> list[str]:
    """Two or three places: the stay most worth saying, and the clearest shifts."""
    stay = sentences.told_stays(c, 1)
    shifts = sentences.clearest_shifts(c, 2)
    return [
        *(f"Stays in {sentences.stay_words(each, c.bars)}." for each in stay),
        *(f"A shift at {sentences.shift_words(each, c.bars)}." for each in shifts),
    ]


def _closing(reference_id: str) -> str:
    lines = ["=" * WIDTH, ""]
    lines += wrap(
        "In the maps one column is a bar and one row half an octave, upward from the note "
        "named; the darker, the more sounds there; a + below marks where a new stay begins."
    )
    lines += wrap(
        "All measures of a piece, with the bars that show them: 'corpusreg compare FILE'. "
        f"The pieces are in {pieces_folder()}"
    )
    return "\n".join([*lines, "", f"(reference {reference_id}, definitions {VERSION})"])
