"""A class in words: what is kept of each piece, what the class shares, who does what."""

from __future__ import annotations

from corpusreg.comparison.classroom import (
    LEAST,
    Class,
    ClassPiece,
    Group,
    Happening,
    Line,
    Member,
    Place,
    Shared,
    Unusual,
    chance,
    misfit,
)
from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.findings import TIED, Finding, Reading, reading
from corpusreg.system.phrases import capital, joined, plural
from corpusreg.system.plaintext import plain
from corpusreg.text.findings import NAMES, sentence, short
from corpusreg.text.measures import compared, measure_short, rank_cell, title, value_words
from corpusreg.text.reading import length_words
from corpusreg.text.wording import (
    place_words,
)

__all__ = [
    "NOTHING_SHARED",
    "RULE",
    "TOO_FEW",
    "chance_words",
    "class_piece",
    "class_text",
    "device_words",
    "line_words",
    "misfit_words",
    "named",
    "shared_words",
]

RULE = (
    "Each dot is a piece, and the works that it is compared with are spread evenly along the "
    "line: half of them in the shaded middle, a quarter on either side. The class shares a "
    f"habit where half of the dots or more, {LEAST} at least, lie in the same outer quarter. A "
    "ring is a piece like many of its works: it has its place, and counts on neither side. "
    "Neither end is better."
)
NOTHING_SHARED = (
    f"On none of these lines does half of the class, {LEAST} pieces at least, lie in the same "
    "outer quarter."
)
TOO_FEW = f"A habit is looked for where {LEAST} pieces or more have a place; here are fewer."
_MISFITS = {
    "medium": "these works are for other players than the piece",
    "texture": "the piece and these works differ in texture: one line, or several voices",
    "few": "too few of these works are about as long as the piece to place it",
    "broad": "works for other players too, since the reference holds few like the piece",
}
# What every piece has groups nothing.
_EVERYWHERE = frozenset(("high_point", "low_point", "closing"))


def class_piece(c: Comparison, file: str, changed: str = "") -> ClassPiece:
    """What a class keeps of a compared piece. file: as the class knows it; changed: since
    the earlier draft, in a sentence or two."""
    r, rung = reading(c), c.cohort.rung
    single = c.whole.texture.single_line
    return ClassPiece(
        file=file,
        number=r.piece.number,
        title=plain(r.piece.title),
        kind=r.piece.ensemble,
        single_line=single,
        length=length_words(r),
        bars=r.piece.written_bars,
        labels=_labels(c),
        group=Group(
            rung.name,
            r.company.title,
            r.company.works,
            r.company.composers,
            misfit(r.piece.ensemble, single_line=single, rung=rung, placed=r.company.placed),
        ),
        happenings=_happenings(r),
        unusual=tuple(
            Unusual(
                each.name,
                measure_short(each),
                compared(each, r.company),
                joined([place_words(place) for place in each.shown_in]),
            )
            for each in r.unusual
        ),
        places={each.name: _place(each) for each in r.measures},
        changed=changed,
    )


def _labels(c: Comparison) -> tuple[str, ...]:
    """Printed numbers of the bars, each once, as they are written on the page."""
    first: dict[int, str] = {}
    for label, written in zip(c.bars.labels, c.bars.written, strict=True):
        first.setdefault(int(written), label.partition(" (")[0])
    return tuple(dict.fromkeys(first[written] for written in sorted(first)))


def _happenings(r: Reading) -> tuple[Happening, ...]:
    """The first event of each kind in the whole; what the piece is said to do comes first."""
    found: dict[str, Happening] = {}
    for each in ([r.first] if r.first else []) + r.of_whole():
        if each.name not in _EVERYWHERE and each.place is not None:
            where = place_words(each.place)
            told = Happening(each.name, where, short(each, r.piece), sentence(each, r.piece))
            found.setdefault(each.name, told)
    return tuple(found.values())


def _place(found: Finding) -> Place:
    rank = found.rank
    if rank is None:
        return Place(value_words(found), found.reason, None)
    return Place(value_words(found), rank_cell(rank), rank.percentile, rank.tied >= TIED)


def named(member: Member) -> str:
    """A title with its writer, who may already stand in it to tell two pieces apart."""
    plain_title = member.label.removesuffix(f" ({member.who})")
    return f"{plain_title} ({member.who})" if member.who else member.label


def misfit_words(group: Group) -> str:
    """Why the works do not fit the piece, '' where they do."""
    return _MISFITS[group.misfit] if group.misfit else ""


def device_words(kind: str) -> str:
    """What a kind of event is called at the head of the pieces that have it."""
    return NAMES.get(kind, kind)


def line_words(line: Line) -> str:
    """A line for those who do not see it."""
    low, high, tied = (len(line.on(side)) for side in ("low", "high", "none"))
    name = capital(title(line.measure.name))
    text = f"{name}: {low} of {len(line.dots)} in the lowest quarter, {high} in the highest"
    return text + (f", {tied} like many of the works" if tied else "") + "."


def shared_words(group: Class) -> tuple[str, ...]:
    """What the class shares, or that it shares nothing; see `RULE`."""
    if group.too_few:
        return (TOO_FEW,)
    return tuple(map(_shared, group.shared)) or (NOTHING_SHARED,)


def _shared(shared: Shared) -> str:
    end = "highest" if shared.side == "high" else "lowest"
    text = (
        f"{capital(title(shared.measure.name))}: {shared.many} of {shared.placed} pieces lie "
        f"in the {end} quarter of the works that they are compared with."
    )
    if shared.others:
        do = "does" if len(shared.others) == 1 else "do"
        text += f" {joined([named(each) for each in shared.others])} {do} the contrary."
    return text


def chance_words(name: str, many: int, placed: int) -> str:
    """How often so many pieces or more would lie there by chance; for the teacher.

    name: of the measure.
    """
    share = chance(many, placed)
    classes = round(1 / share) if share else 0
    often = f"one class in {classes:,}" if 1 < classes <= 1000 else "hardly any class"
    return (
        f"{capital(title(name))}: of works drawn at random, {many} of {placed} or more would "
        f"lie in that quarter in about {often}."
    )


def class_text(group: Class) -> str:
    """What a class shares and who does what, for a terminal."""
    lines = [*shared_words(group)]
    several = [device for device in group.devices if len(device.members) > 1]
    if several:
        lines.append("")
    for device in several:
        shown = [f"{named(member)} ({each.where})" for member, each in device.members]
        lines.append(f"{capital(device_words(device.kind))}: {joined(shown)}.")
    mind: dict[str, list[str]] = {}
    for member in group.members:
        if member.piece.group.misfit:
            mind.setdefault(misfit_words(member.piece.group), []).append(named(member))
    if mind:
        lines.append("")
    lines += [f"Mind, for {joined(names)}: {words}." for words, names in mind.items()]
    if group.unread:
        lines += ["", f"{plural(len(group.unread), 'file')} could not be read:"]
        lines += [f"{each.called}: {each.why}" for each in group.unread]
    return "\n".join(lines)
