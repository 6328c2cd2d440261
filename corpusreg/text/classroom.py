"""A class in words: what is kept of each piece, what the class shares, who does what."""

from __future__ import annotations

from corpusreg.comparison.classroom import (
    LEAST,
    TIED,
    Class,
    ClassPiece,
    Group,
    Happening,
    Line,
    Member,
    Place,
    Shared,
    Unusual,
    misfit,
)
from corpusreg.comparison.comparison import Comparison
from corpusreg.system.phrases import capital
from corpusreg.system.plaintext import plain
from corpusreg.text.bars import bar_range, bars_list, joined
from corpusreg.text.events import event_words
from corpusreg.text.sentences import (
    clearest_shifts,
    forces,
    leading,
    length_words,
    measure_words,
    place_words,
    plural,
    shift_words,
    value_words,
    where,
)

__all__ = [
    "DEVICES",
    "RULE",
    "chance_words",
    "class_piece",
    "class_text",
    "device_words",
    "line_words",
    "misfit_words",
    "named",
    "shared_words",
]

# What a piece does, by the kind of event; as a group of pieces is headed.
DEVICES = {
    "held_back": "a register held back, and then heard",
    "entry": "a register emptied, and entered again",
    "lift": "a held sound that stops while the rest goes on",
    "shift": "a clear shift",
    "hollow": "an empty octave inside the sound",
    "solo": "a moment alone at one end",
}
RULE = (
    "Each dot is a piece, and the works that it is compared with are spread evenly along the "
    "line: half of them in the shaded middle, a quarter on either side. The class shares a "
    f"habit where half of the dots or more, {LEAST} at least, lie in the same outer quarter. A "
    "ring is a piece like many of its works: it has its place, and counts on neither side. "
    "Neither end is better."
)
_NOTHING = (
    f"On none of these lines does half of the class, {LEAST} pieces at least, lie in the same "
    "outer quarter."
)
_TOO_FEW = f"A habit is looked for where {LEAST} pieces or more have a place; here are fewer."
_MISFITS = {
    "medium": "these works are for other players than the piece",
    "texture": "the piece and these works differ in texture: one line, or several voices",
    "few": "too few of these works are about as long as the piece to place it",
    "broad": "works for all kinds of players, since the reference holds few like the piece",
}


def class_piece(c: Comparison, file: str, changed: str = "") -> ClassPiece:
    """What a class keeps of a compared piece. file: as the class knows it; changed: since
    the earlier draft, in a sentence or two."""
    rung = c.cohort.rung
    placed = any(each.placement.percentile is not None for each in c.measures)
    return ClassPiece(
        file=file,
        number=c.piece.number,
        title=plain(c.piece.title),
        medium=forces(c),
        length=length_words(c),
        bars=c.written_bars,
        group=Group(
            rung.name,
            rung.title,
            c.cohort.works,
            c.cohort.composers,
            misfit(
                c.piece.ensemble,
                single_line=c.whole.texture.single_line,
                rung=rung,
                placed=placed,
            ),
        ),
        happenings=_happenings(c),
        unusual=tuple(
            Unusual(
                each.measure.name,
                f"{capital(each.measure.title)}, {value_words(each.measure, each.value)}",
                measure_words(each.measure, each.value, each.placement),
                bars_list(c.bars, shown) if (shown := where(each, c)) else "",
            )
            for each, _ in leading(c)
        ),
        places={
            each.measure.name: Place(
                value_words(each.measure, each.value),
                place_words(each.measure, each.value, each.placement) or each.placement.reason,
                each.placement.percentile,
                each.placement.tied >= TIED,
            )
            for each in c.measures
        },
        changed=changed,
    )


def _happenings(c: Comparison) -> tuple[Happening, ...]:
    """The strongest event of each kind in the whole, then the clearest shift."""
    found: dict[str, Happening] = {}
    whole = [each.event for each in c.events if each.part is None]
    for event in sorted(whole, key=lambda each: (-each.strength, each.first)):
        last = event.last if event.kind == "hollow" else event.first + 1
        bars = bar_range(c.bars, event.first, last)
        found.setdefault(event.kind, Happening(event.kind, bars, event_words(event, c.bars)))
    for shift in clearest_shifts(c, 1):
        bars = bar_range(c.bars, shift.bar, shift.bar + 1)
        said = f"A shift at {shift_words(shift, c.bars)}"
        found.setdefault("shift", Happening("shift", bars, said))
    return tuple(found.values())


def named(member: Member) -> str:
    """A title with its writer, who may already stand in it to tell two pieces apart."""
    title = member.label.removesuffix(f" ({member.who})")
    return f"{title} ({member.who})" if member.who else member.label


def misfit_words(group: Group) -> str:
    """Why the works do not fit the piece, '' where they do."""
    return _MISFITS[group.misfit] if group.misfit else ""


def device_words(kind: str) -> str:
    """What a piece does that has an event of this kind."""
    return DEVICES.get(kind, kind.replace("_", " "))


def line_words(line: Line) -> str:
    """A line for those who do not see it."""
    low, high, tied = (len(line.on(side)) for side in ("low", "high", "none"))
    text = (
        f"{capital(line.measure.title)}: {low} of {len(line.dots)} in the lowest quarter, "
        f"{high} in the highest"
    )
    return text + (f", {tied} like many of the works" if tied else "") + "."


def shared_words(group: Class) -> tuple[str, ...]:
    """What the class shares, or that it shares nothing; see `RULE`."""
    if group.too_few:
        return (_TOO_FEW,)
    return tuple(map(_shared, group.shared)) or (_NOTHING,)


def _shared(shared: Shared) -> str:
    end = "highest" if shared.side == "high" else "lowest"
    text = (
        f"{capital(shared.measure.title)}: {shared.many} of {shared.placed} pieces lie in the "
        f"{end} quarter of the works that they are compared with."
    )
    if shared.others:
        do = "does" if len(shared.others) == 1 else "do"
        text += f" {joined([named(each) for each in shared.others])} {do} the contrary."
    return text


def chance_words(shared: Shared) -> str:
    """How often as many would lie there by chance; for the teacher."""
    classes = round(1 / shared.chance) if shared.chance else 0
    often = f"one class in {classes:,}" if 1 < classes <= 1000 else "hardly any class"
    return (
        f"{capital(shared.measure.title)}: drawn at random from these works, {shared.many} of "
        f"{shared.placed} or more would lie there in about {often}."
    )


def class_text(group: Class) -> str:
    """The class for a terminal: its pieces, what they share, who does what."""
    lines = [f"{group.name}: {plural(len(group.members), 'piece')}", ""]
    for member in group.members:
        piece = member.piece
        facts = [piece.medium, piece.length, f"among {piece.group.works:,} {piece.group.title}"]
        lines.append(f"{named(member)}: {', '.join(facts)}")
        if warning := misfit_words(piece.group):
            lines.append(f"  Mind: {warning}.")
        if piece.happenings:
            lines.append(f"  {piece.happenings[0].said}.")
        if piece.unusual:
            first = piece.unusual[0]
            listen = f" ({first.where})" if first.where else ""
            lines.append(f"  {first.lead}: {first.said}{listen}.")
        if piece.changed:
            lines.append(f"  Since the earlier draft: {piece.changed}")
    for unread in group.unread:
        lines.append(f"{unread.called}: {unread.why}")
    lines += ["", *shared_words(group)]
    several = [device for device in group.devices if len(device.members) > 1]
    if several:
        lines.append("")
    for device in several:
        shown = joined([f"{named(member)} ({each.where})" for member, each in device.members])
        lines.append(f"{capital(device_words(device.kind))}: {shown}.")
    return "\n".join(lines)
