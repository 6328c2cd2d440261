"""What changed since an earlier draft, as the first section of a report."""

from __future__ import annotations

from corpusreg.comparison.drafts import Drafts, place
from corpusreg.documents.report.model import Drafted, DraftLine, DraftRow, Picture, Place
from corpusreg.documents.report.terms import Explainer
from corpusreg.text import drafts as words
from corpusreg.text.bars import bar_range
from corpusreg.text.sentences import length_words, plain, plural

__all__ = ["drafted"]


def drafted(d: Drafts, explain: Explainer) -> Drafted:
    """The lines of the section: bars, then measures, then stays, shifts and events."""
    before, now = d.earlier, d.later
    lead = f"Beside the earlier draft, {plain(before.piece.title)} ({length_words(before)})."
    if d.untouched:
        return Drafted(lead, (words.NOTHING,), (), (), (), None, ())
    bars = tuple(
        DraftLine(words.run_words(run, d), _place(d, *run.now)) for run in words.changed_bars(d)
    )
    told, more = words.told_changes(d)
    changes = tuple(
        DraftLine(
            words.change_words(each, d), _place(d, *place(each.now)) if each.now else None
        )
        for each in told
    )
    changed = [each for each in d.measures if each.changed]
    rows = tuple(DraftRow(*words.measure_row(each)) for each in changed)
    remarks = [*words.remarks(d)]
    if not bars:
        remarks.append("Every bar is as before.")
    if more:
        remarks.append(more)
    same = len(d.measures) - len(changed)
    if same:
        verb = "is" if same == 1 else "are"
        remarks.append(f"{plural(same, 'measure')} {verb} as before.")
    picture = Picture(
        "drafts",
        "Both drafts on the same axes, before above and now below.",
        f"Register maps of both drafts on the same axes: {length_words(before)} before, "
        f"{length_words(now)} now.",
    )
    texts = [*remarks, *(line.words for line in (*bars, *changes))]
    meant = explain(texts, [each.measure for each in changed])
    return Drafted(lead, tuple(remarks), bars, rows, changes, picture, meant)


def _place(d: Drafts, first: int, last: int) -> Place | None:
    """A place in the later draft, None where it has no such bars."""
    return Place(first, last, bar_range(d.later.bars, first, last)) if first < last else None
