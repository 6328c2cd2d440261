"""A large ensemble by families, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

from corpusreg.comparison.choirs import OTHER, Choir, Cue, choirs
from corpusreg.comparison.comparison import Comparison
from corpusreg.score.pitch import Spelling
from corpusreg.score.played import PlayedBars
from corpusreg.system.phrases import capital, joined, plural
from corpusreg.system.plaintext import plain
from corpusreg.text.wording import bar_range, register

__all__ = ["choir_lines"]

_NAMES = {
    "woodwind": "woodwind", "brass": "brass", "strings": "strings", "voice": "voices",
    "percussion-pitched": "pitched percussion", "keyboard": "keyboards", "plucked": "plucked",
    OTHER: "parts that name no instrument",
}  # fmt: skip
_MOST = 5  # runs of bars that are told
_CUES = 24
_LEADS = 0.05  # of the bars, from which a top or a bottom is told


def choir_lines(c: Comparison) -> list[str]:
    """Families, tutti, solos and cues of a large ensemble; none of a smaller one."""
    found = choirs(c.players, c.whole.played)
    if found is None:
        return []
    lines = [_choir(each, c.whole.played.spelling) for each in found.choirs]
    if found.tutti:
        bars = sum(last - first for first, last in found.tutti)
        runs = [bar_range(c.bars, *run) for run in sorted(found.tutti[:_MOST])]
        lines.append(
            f"Three quarters of the parts or more play together for {plural(bars, 'bar')}"
            f"{', longest' if len(found.tutti) > _MOST else ''}: {'; '.join(runs)}."
        )
    if found.alone:
        solos = sorted(found.alone[:_MOST], key=lambda each: each[1:])
        told = [f"{plain(name)} in {bar_range(c.bars, *run)}" for name, *run in solos]
        lines.append(f"Alone: {'; '.join(told)}.")
    lines += [_cue(each, c.bars) for each in found.cues[:_CUES]]
    if len(found.cues) > _CUES:
        lines.append(f"{len(found.cues) - _CUES} later sections are not listed.")
    return lines


def _cue(each: Cue, bars: PlayedBars) -> str:
    who = joined([_name(family) for family in each.families])
    lowest = f", {plain(each.bottom)} lowest" if each.bottom != each.top else ""
    where = bar_range(bars, each.bar, each.bar + 1)
    where = f"{plain(each.mark)} ({where})" if each.mark else where
    return f"From {where}: {who}; {plain(each.top)} on top{lowest}."


def _name(family: str) -> str:
    return _NAMES.get(family, family)


def _choir(each: Choir, spelling: Spelling) -> str:
    notes, several = register(each.lowest, each.highest, spelling), len(each.parts) > 1
    name = f"{capital(_name(each.family))} ({plural(len(each.parts), 'part')}, {notes})"
    who = f"{name} play" if several else f"{capital(plain(each.parts[0]))} ({notes}) plays"
    return f"{joined([f'{who} in {_percent(each.playing)} of the bars', *_edges(each)])}."


def _edges(each: Choir) -> Iterator[str]:
    sides = (("highest", each.top, each.leads), ("lowest", each.bottom, each.founds))
    for which, share, part in sides:
        if share >= _LEADS:
            who = f" (mostly {plain(part)})" if len(each.parts) > 1 else ""
            has = "have" if len(each.parts) > 1 else "has"
            yield f"{has} the {which} note in {_percent(share)}{who}"


def _percent(share: float) -> str:
    return "all" if share > 0.995 else f"{100 * share:.0f} %"
