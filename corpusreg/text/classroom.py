"""A class in words: what is kept of each piece, what the class shares, who does what."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from corpusreg.comparison.assignments import Assignment
from corpusreg.comparison.class_piece import (
    DEVICES,
    ClassPiece,
    Correction,
    Draft,
    Group,
    Happening,
    Place,
    Run,
    Told,
    Unusual,
)
from corpusreg.comparison.classroom import LEAST, Class, Line, Member, Shared, Since, chance
from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.findings import (
    SHOWN_BARS,
    TIED,
    Finding,
    Reading,
    is_register,
    may_be_first,
    reading,
    shown_run,
)
from corpusreg.system.errors import UsageError
from corpusreg.system.phrases import capital, joined, plural
from corpusreg.system.plaintext import plain
from corpusreg.text.assignments import assignment_answer, assignment_words
from corpusreg.text.findings import NAMES, sentence, short, throughout
from corpusreg.text.measures import (
    compared,
    end_words,
    measure_sentence,
    measure_short,
    rank_words,
    title,
    value_words,
)
from corpusreg.text.players import beyond_words, practical_words, reach_words
from corpusreg.text.reading import MISFITS, company_sentence, event_sentence, length_words
from corpusreg.text.wording import bar_words, bars_joined, place_words, register

__all__ = [
    "RULE", "chance_words", "class_piece", "class_text", "corrected", "device_words",
    "draft_of", "line_words", "misfit_words", "named", "shared_words", "since_words",
]  # fmt: skip

RULE = (
    "Each dot is a piece. The works that it is compared with are spread along the line: half "
    "of them in the shaded middle, a quarter at either end. The class shares a habit where "
    f"half of the dots or more, {LEAST} at least, lie in the same outer quarter. A ring counts "
    "on neither side: many works have its very value, or too few are like it. Neither end is "
    "better."
)
NOTHING_SHARED = (
    f"No habit is shared: on no line do half of the pieces, {LEAST} at least, lie in the same "
    "outer quarter."
)
TOO_FEW = f"No habit is looked for: fewer than {LEAST} pieces have a place among other works."
_EDGES = {"opening": "texture opens out", "closing_in": "texture closes in"}
_STAYS = 3
_WHOLE = 0.75  # of a piece, and no bars need naming
_NAME = 60  # letters of a teacher's own name for an event


def class_piece(
    c: Comparison, file: str, changed: str = "", drafts: Sequence[Draft] = ()
) -> ClassPiece:
    """What a class keeps of a compared piece. file: as the class knows it; changed: since
    the earlier draft, in a sentence or two; drafts: the earlier ones, oldest first."""
    r, rung = reading(c), c.cohort.rung
    single = c.whole.texture.single_line
    labels = _labels(c)
    return ClassPiece(
        file=file,
        number=r.piece.number,
        title=plain(r.piece.title),
        kind=r.piece.ensemble,
        single_line=single,
        length=length_words(r),
        reach=register(r.piece.lowest, r.piece.highest, r.piece.spelling),
        bars=r.piece.written_bars - (1 if r.piece.upbeat else 0),
        labels=tuple(labels),
        starts=tuple(labels.values()),
        heard=len(c.bars),
        group=Group(
            rung.name,
            r.company.title,
            r.company.works,
            r.company.composers,
            r.company.misfit,
        ),
        happenings=tuple(_happenings(r)),
        unusual=tuple(_unusual(each, r) for each in r.unusual),
        unusual_known=r.unusual_known,
        stays=tuple(_stay(each, r) for each in r.long_stays()[:_STAYS] if is_register(each)),
        players=tuple(_players(r)),
        compared=company_sentence(r.company),
        notes=tuple(plain(each) for each in (*r.piece.notes, *map(capital, r.piece.assumed))),
        places={each.name: _place(each) for each in r.measures},
        changed=changed,
        drafts=tuple(drafts),
        otherwise=_otherwise(r),
    )


def draft_of(c: Comparison) -> Draft:
    """What a class keeps of an earlier draft."""
    r = reading(c)
    values = {each.name: value_words(each) for each in r.headlines()}
    return Draft(length_words(r), values, short(r.first, r.piece) if r.first else "")


def _labels(c: Comparison) -> dict[str, int]:
    """Printed numbers of the bars, each once as written on the page, and when it is first
    heard."""
    first: dict[int, tuple[str, int]] = {}
    pairs = zip(c.bars.printed, c.bars.written, strict=True)
    for played, (label, written) in enumerate(pairs):
        first.setdefault(int(written), (label, played))
    found: dict[str, int] = {}
    for written in sorted(first):
        label, played = first[written]
        found.setdefault(label, played)
    return found


def _happenings(r: Reading) -> Iterable[Happening]:
    """Events of the whole; what the piece is said to do comes first."""
    others = [each for each in r.of_whole() if each is not r.first]
    for each in [*([r.first] if r.first else []), *others]:
        shown = shown_run(each, r.piece.played_bars)
        if each.name not in DEVICES or each.place is None or each.event is None or not shown:
            continue
        yield Happening(
            device=_device(each),
            run=(each.place.first, each.place.last),
            shown=shown[:2],
            bar=each.event.bar,
            where=place_words(each.place),
            short=short(each, r.piece),
            said=sentence(each, r.piece),
            clear=may_be_first(each, r.piece.played_bars),
        )


def _otherwise(r: Reading) -> Told | None:
    found = r.otherwise
    if found is None:
        return None
    if found.kind == "stay":
        return _stay(found, r)
    part = found.players[0] if found.kind == "player" else ""
    of_part = (each for each in _players(r) if part and each.part == part)
    shown = shown_run(found, r.piece.played_bars)
    about = "player" if part else found.name
    where = place_words(found.place) if found.place else "the piece"
    own = Told(about, sentence(found, r.piece), where, shown[:2] if shown else None, part)
    return replace(next(of_part, own), short=short(found, r.piece))


def _device(found: Finding) -> str:
    """A shift by one edge that changes the width is a device of its own."""
    ways = {"opening": "opening", "closing": "closing_in"}
    return ways.get(found.direction, found.name) if found.name == "shift" else found.name


def _unusual(found: Finding, r: Reading) -> Unusual:
    shown = shown_run(found, r.piece.played_bars)
    places = sorted(found.shown_in, key=lambda p: p.first)
    whole = sum(each.bars for each in places) >= _WHOLE * r.piece.played_bars
    return Unusual(
        name=found.name,
        alike=r.alike.get(found.name, ()),
        lead=measure_short(found),
        said=compared(found, r.company),
        sentence=measure_sentence(found, r.piece, r.company),
        where="" if whole else bars_joined(list(map(place_words, places))),
        shown=shown[:2] if shown else None,
    )


def _stay(found: Finding, r: Reading) -> Told:
    assert found.place is not None
    shown = shown_run(found, r.piece.played_bars)
    where = "the piece" if throughout(found, r.piece) else place_words(found.place)
    return Told(
        "stay", event_sentence(found, r), where,
        shown[:2] if shown else None, bars=found.place.bars, short=short(found, r.piece),
    )  # fmt: skip


def _players(r: Reading) -> Iterable[Told]:
    """What a player would ask about: notes beyond a range, long passages far up or down,
    chords out of reach."""
    for each in r.beyond:
        yield Told("player", beyond_words(each, r.piece), "the piece")
    told = {each.part for each in r.beyond}
    for found in r.reaching:
        (name,) = found.players
        if found.main and name not in told and found.place:
            first, last = found.place.first, found.place.last
            part = name if len(r.piece.parts) > 1 else ""
            shown = first, min(last, first + SHOWN_BARS)
            yield Told("player", reach_words(found, r.piece), "the piece", shown, part)
    for asked in r.practical:
        yield Told("player", practical_words(asked, r.piece), bar_words(asked.bar))


def _place(found: Finding) -> Place:
    rank = found.rank
    if rank is None:
        return Place(value_words(found), found.reason, None)
    return Place(
        value_words(found), rank_words(rank), rank.percentile, rank.tied >= TIED, rank.interval
    )


def corrected(piece: ClassPiece, corrections: Iterable[Correction]) -> ClassPiece:
    """The piece as its teacher reads it.

    Raises UsageError for a bar that it does not have and for an event without a name.
    """
    own = [
        each for each in corrections if (each.file, each.number) == (piece.file, piece.number)
    ]
    found = list(piece.happenings)
    for each in own:
        there = next((place for place, h in enumerate(found) if h.key == each.event), None)
        if each.struck and there is not None:
            del found[there]
        elif each.event and there is not None:
            found[there] = _changed(found[there], each, piece)
        elif not each.event:
            found.append(_added(each, piece))
    # The teacher's own events come first.
    return replace(piece, happenings=tuple(sorted(found, key=lambda each: not each.own)))


def _changed(before: Happening, each: Correction, piece: ClassPiece) -> Happening:
    if not each.first and not each.device:
        return before
    device = each.device or before.device
    if not each.first:
        return _own(device, before.run, before.bar, before.where)
    return _own(device, *_bars(each, piece))


def _added(each: Correction, piece: ClassPiece) -> Happening:
    if not each.device.strip():
        raise UsageError(f"{piece.title}: what is added has no name; choose or write one")
    return _own(each.device, *_bars(each, piece))


def _own(device: str, run: Run, bar: int, where: str) -> Happening:
    name = device_words(device)
    return Happening(
        device=device,
        run=run,
        shown=(run[0], min(run[1], run[0] + SHOWN_BARS)),
        bar=bar,
        where=where,
        short=f"{name}, {where}",
        said=f"{capital(name)} in {where}.",
        own=True,
    )


def _bars(each: Correction, piece: ClassPiece) -> tuple[Run, int, str]:
    """Printed bars as played ones, where the event is, and both in words."""
    first, last = each.first, each.last or each.first
    starts = dict(zip(piece.labels, piece.starts, strict=True))
    for bar in (first, last):
        if bar not in starts:
            raise UsageError(f"{piece.title}: has no bar '{bar}'; choose one that it has")
    run = starts[first], starts[last] + 1
    if run[1] <= run[0]:
        raise UsageError(f"{piece.title}: bar {last} comes before bar {first}; turn them round")
    return run, run[0], f"bar {first}" if first == last else f"bars {first}–{last}"


def named(member: Member) -> str:
    """A title with its writer, who may already stand in it to tell two pieces apart."""
    plain_title = member.label.removesuffix(f" ({member.who})")
    return f"{plain_title} ({member.who})" if member.who else member.label


def misfit_words(group: Group) -> str:
    """Why the works do not fit the piece, '' where they do."""
    return MISFITS[group.misfit] if group.misfit else ""


def device_words(device: str) -> str:
    """What a device is called: at the head of the pieces that have it, and in lists."""
    return NAMES.get(device) or _EDGES.get(device) or plain(device)[:_NAME]


def line_words(line: Line) -> str:
    """A line for those who do not see it."""
    low, high, tied = (len(line.on(side)) for side in ("low", "high", "none"))
    name = capital(title(line.measure.name))
    text = f"{name}: {low} of {len(line.dots)} in the lowest quarter, {high} in the highest"
    return text + (f", {tied} whose side cannot be told" if tied else "") + "."


def shared_words(group: Class) -> tuple[str, ...]:
    """What the class shares, or that it shares nothing; see `RULE`."""
    if group.too_few:
        return (TOO_FEW,)
    return tuple(map(_shared, group.shared)) or (NOTHING_SHARED,)


def _shared(shared: Shared) -> str:
    name, high = shared.measure.name, shared.side == "high"
    text = (
        f"{capital(end_words(name, more=high))}: by {title(name)} {shared.many} of "
        f"{shared.placed} pieces lie in the {'highest' if high else 'lowest'} quarter of the "
        "works that they are compared with."
    )
    if shared.others:
        text += f" At the other end: {', '.join(named(each) for each in shared.others)}."
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


def since_words(found: Since) -> tuple[str, ...]:
    """What is otherwise than in an earlier class, piece by piece and for the class."""
    lines = []
    for (before, now), (new, gone) in zip(found.pairs, found.devices, strict=True):
        said = [
            *([f"now {joined(list(map(device_words, new)))}"] if new else []),
            *([f"no longer {joined(list(map(device_words, gone)))}"] if gone else []),
        ]
        was = "" if before.label == now.label else f" (before: {before.label})"
        lines.append(f"{named(now)}{was}: {'; '.join(said) if said else 'as before'}.")
    both = (found.shared_before, "Before"), (found.shared_now, "Now")
    for shared, when in both if found.shared_before or found.shared_now else ():
        several = [
            f"{title(each.measure.name)}, {each.many} of {each.placed}" for each in shared
        ]
        lines.append(f"{when} the class shares: {joined(several) if several else 'nothing'}.")
    for some, words in (
        (found.joined, "New in the class"),
        (found.left, "In the earlier only"),
    ):
        if some:
            lines.append(f"{words}: {joined([named(each) for each in some])}.")
    return tuple(lines)


def class_text(group: Class, asked: Assignment | None = None) -> str:
    """What a class shares, who does what, and what was asked of everybody."""
    lines = [*shared_words(group)]
    several = [device for device in group.devices if len(device.members) > 1]
    if several:
        lines.append("")
    for device in several:
        shown = [f"{named(member)} ({each.where})" for member, each in device.members]
        lines.append(f"{capital(device_words(device.device))}: {joined(shown)}.")
    if asked:
        lines += ["", f"Asked of all: {assignment_words(asked)}"]
        for member in group.members:
            answers = " ".join(assignment_answer(member.piece, asked))
            lines.append(f"{named(member)}: {answers}")
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
