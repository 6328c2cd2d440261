"""A class in words: what is kept of each piece, what the class shares, who does what.

A sheet says three sentences, two passages and a question. All of it is chosen from what a
class keeps of the piece, by the measures that the teacher has chosen; what concerns a player
is told whatever was chosen. The sentences describe. The question is open: it asks what the
writer wants, and no answer to it is better than another.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from corpusreg.comparison.class_piece import (
    DEVICES,
    Assignment,
    ClassPiece,
    ComparedWith,
    Correction,
    EarlierDraft,
    Happening,
    MeasurePlace,
    Run,
    Sentence,
    Unusual,
    happened,
)
from corpusreg.comparison.classroom import (
    LEAST,
    Class,
    ClassLine,
    Member,
    Shared,
    Since,
    chance,
)
from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.findings import (
    SEEN_IN_STAYS,
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
from corpusreg.text.wording import bar_words, bars_joined, number, place_words, register

__all__ = [
    "RULE", "assignment_answer", "assignment_words", "chance_words", "class_piece",
    "class_text", "corrected", "correction_words", "device_words", "draft_of", "line_words",
    "misfit_words", "named", "passages", "question", "shared_words", "sheet_sentences",
    "since_words",
]  # fmt: skip

RULE = (
    "Each dot is a piece. The works it is compared with are spread along the line: half of "
    "them in the shaded middle, a quarter at each end. The class shares a habit where at least "
    f"half of the dots, and no fewer than {LEAST}, lie in the same outer quarter. A ring "
    "counts on neither side: many works have exactly its value, or too few can be compared "
    "with it. Neither end is better."
)

NOTHING_SHARED = (
    "No habit is shared: on no line do at least half of the pieces, and no fewer than "
    f"{LEAST}, lie in the same outer quarter."
)

TOO_FEW = f"No habit is looked for: fewer than {LEAST} pieces have a place among other works."
_EDGES = {"opening": "texture opens out", "closing_in": "texture closes in"}
_STAYS = 3
_WHOLE = 0.75  # of a piece, and no bars need naming
_NAME = 60  # letters of a teacher's own name for an event


def class_piece(
    c: Comparison, file: str, changed: str = "", drafts: Sequence[EarlierDraft] = ()
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
        bars=r.piece.numbered,
        labels=tuple(labels),
        starts=tuple(labels.values()),
        heard=len(c.bars),
        group=ComparedWith(
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


def draft_of(c: Comparison) -> EarlierDraft:
    """What a class keeps of an earlier draft."""
    r = reading(c)
    values = {each.name: value_words(each.size, each.unit) for each in r.headlines()}
    return EarlierDraft(length_words(r), values, short(r.first, r.piece) if r.first else "")


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


def _otherwise(r: Reading) -> Sentence | None:
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
    own = Sentence(about, sentence(found, r.piece), where, shown[:2] if shown else None, part)
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


def _stay(found: Finding, r: Reading) -> Sentence:
    assert found.place is not None
    shown = shown_run(found, r.piece.played_bars)
    where = "the piece" if throughout(found, r.piece) else place_words(found.place)
    return Sentence(
        "stay", event_sentence(found, r), where,
        shown[:2] if shown else None, bars=found.place.bars, short=short(found, r.piece),
    )  # fmt: skip


def _players(r: Reading) -> Iterable[Sentence]:
    """What a player would ask about: notes beyond a range, long passages far up or down,
    chords out of reach."""
    for each in r.beyond:
        yield Sentence("player", beyond_words(each, r.piece), "the piece")
    told = {each.part for each in r.beyond}
    for found in r.reaching:
        (name,) = found.players
        if found.main and name not in told and found.place:
            first, last = found.place.first, found.place.last
            part = name if len(r.piece.parts) > 1 else ""
            shown = first, min(last, first + SHOWN_BARS)
            yield Sentence("player", reach_words(found, r.piece), "the piece", shown, part)
    for asked in r.practical:
        yield Sentence("player", practical_words(asked, r.piece), bar_words(asked.bar))


def _place(found: Finding) -> MeasurePlace:
    rank, value = found.rank, value_words(found.size, found.unit)
    if rank is None:
        return MeasurePlace(value, found.reason, None)
    return MeasurePlace(
        value, rank_words(rank), rank.percentile, rank.tied >= TIED, rank.interval
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


def correction_words(each: Correction) -> str:
    """What a teacher has changed: 'Struck: bass withheld', 'Added: climb, bar 5'."""
    was = each.event.rpartition(" ")[0]
    what = "Struck" if each.struck else "Changed" if was else "Added"
    name = device_words(was if each.struck else each.device or was)
    return f"{what}: {name}" + (f", bar {each.first}" if each.first else "")


def _added(each: Correction, piece: ClassPiece) -> Happening:
    if not each.device.strip():
        raise UsageError(f"{piece.title}: the added event has no name; choose or write one")
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
            raise UsageError(f"{piece.title}: there is no bar '{bar}'; choose one of its bars")
    run = starts[first], starts[last] + 1
    if run[1] <= run[0]:
        raise UsageError(f"{piece.title}: bar {last} comes before bar {first}; swap them")
    return run, run[0], f"bar {first}" if first == last else f"bars {first}–{last}"


def named(member: Member) -> str:
    """A title with its writer, who may already stand in it to tell two pieces apart."""
    plain_title = member.label.removesuffix(f" ({member.who})")
    return f"{plain_title} ({member.who})" if member.who else member.label


def misfit_words(group: ComparedWith) -> str:
    """Why the works do not fit the piece, '' where they do."""
    return MISFITS[group.misfit] if group.misfit else ""


def device_words(device: str) -> str:
    """What a device is called: at the head of the pieces that have it, and in lists."""
    return NAMES.get(device) or _EDGES.get(device) or plain(device)[:_NAME]


def line_words(line: ClassLine) -> str:
    """A line for those who do not see it."""
    low, high, tied = (len(line.on(side)) for side in ("low", "high", "none"))
    name = capital(title(line.measure.name))
    text = f"{name}: {low} of {len(line.dots)} in the lowest quarter, {high} in the highest"
    return text + (f", {tied} on neither side" if tied else "") + "."


def shared_words(group: Class) -> tuple[str, ...]:
    """What the class shares, or that it shares nothing; see `RULE`."""
    if group.too_few:
        return (TOO_FEW,)
    return tuple(map(_shared, group.shared)) or (NOTHING_SHARED,)


def _shared(shared: Shared) -> str:
    name, high = shared.measure.name, shared.side == "high"
    text = (
        f"{capital(end_words(name, more=high))}: in {title(name)}, {shared.many} of the "
        f"{shared.placed} pieces lie in the {'highest' if high else 'lowest'} quarter of the "
        "works they are compared with."
    )
    ends = [", ".join(map(named, shared.others))] if shared.others else []
    if shared.perhaps:
        ends.append(f"perhaps {', '.join(map(named, shared.perhaps))}")
    if ends:
        text += f" At the other end: {'; '.join(ends)}."
    return text


def chance_words(name: str, many: int, placed: int) -> str:
    """How often so many pieces or more would lie there by chance; for the teacher.

    name: of the measure.
    """
    share = chance(many, placed)
    classes = round(1 / share) if share else 0
    often = f"one class in {classes:,}" if 1 < classes <= 1000 else "hardly any class"
    return (
        f"{capital(title(name))}: with works drawn at random, {many} or more of {placed} would "
        f"lie in that quarter in about {often}."
    )


def since_words(found: Since) -> tuple[str, ...]:
    """What is otherwise than in an earlier class, piece by piece and for the class."""
    lines = []
    for (before, now), (new, gone) in zip(found.pairs, found.devices, strict=True):
        said = [
            *([f"now: {joined(list(map(device_words, new)))}"] if new else []),
            *([f"no longer: {joined(list(map(device_words, gone)))}"] if gone else []),
        ]
        was = "" if before.label == now.label else f" (before: {before.label})"
        lines.append(f"{named(now)}{was}: {'; '.join(said) if said else 'as before'}.")
    both = (
        (found.shared_before, "Before, the class shared:"),
        (found.shared_now, "Now it shares:"),
    )
    for shared, when in both if found.shared_before or found.shared_now else ():
        several = [
            f"{title(each.measure.name)}, {each.many} of {each.placed}" for each in shared
        ]
        lines.append(f"{when} {joined(several) if several else 'nothing'}.")
    for some, words in (
        (found.joined, "New in the class"),
        (found.left, "Only in the earlier class"),
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
        lines += ["", f"The task: {assignment_words(asked)}"]
        for member in group.members:
            answers = " ".join(assignment_answer(member.piece, asked))
            lines.append(f"{named(member)}: {answers}")
    mind: dict[str, list[str]] = {}
    for member in group.members:
        if member.piece.group.misfit:
            mind.setdefault(misfit_words(member.piece.group), []).append(named(member))
    if mind:
        lines.append("")
    lines += [f"Note, for {joined(names)}: {words}." for words, names in mind.items()]
    if group.unread:
        lines += ["", f"{plural(len(group.unread), 'file')} could not be read:"]
        lines += [f"{each.called}: {each.why}" for each in group.unread]
    return "\n".join(lines)


_TOLD = 3  # events that are told; of more only the bars


def assignment_words(asked: Assignment) -> str:
    """What was asked of everybody, as a sentence."""
    words = _ASKED[asked.device]
    bar = f", at bar {asked.bar}" if asked.bar else ""
    if asked.device in ("withheld_bass", "withheld_top") and asked.bar:
        bar = f" at bar {asked.bar}"
    if asked.device == "shift":
        often = f" at least {_times(asked.number)}" if asked.number else ""
        return f"{words}{often}."
    if asked.device == "stay":
        long = f" for {plural(asked.number, 'bar')} or more" if asked.number else ""
        return f"{words}{long}."
    return f"{words}{bar}."


def _times(many: int) -> str:
    return {1: "once", 2: "twice"}.get(many, f"{number(many)} times")


def assignment_answer(piece: ClassPiece, asked: Assignment) -> tuple[str, ...]:
    """What happens there in a piece, with bars, and nothing about how well."""
    found = happened(piece, asked)
    if not asked.bar:
        found = tuple(sorted(found, key=lambda each: each.shown or (0, 0)))
    if not found:
        return (f"Here {_NONE.get(asked.device, _NONE_ELSE)}",)
    if asked.device == "shift":
        bars = [each.where for each in found]
        first = f"{capital(_shifts(len(found)))}: {bars_joined(bars)}."
        return (first, *(each.said for each in found[:1]))
    said = tuple(each.said for each in found[:_TOLD])
    if len(found) > _TOLD:
        said = (*said, f"Also in {bars_joined([each.where for each in found[_TOLD:]])}.")
    return said


def _shifts(many: int) -> str:
    return f"{number(many)} clear shift{'' if many == 1 else 's'}"


_ASKED: Mapping[str, str] = {
    "withheld_bass": "Withhold the bass, then bring it in",
    "withheld_top": "Withhold the top, then bring it in",
    "shift": "Change register clearly",
    "stay": "Stay in one register",
    "cleared": "Empty a register, and fill it again",
    "opening": "Let the texture open out",
    "closing_in": "Let the texture close in",
    "climb": "Let an outer line climb",
    "descent": "Let an outer line descend",
    "pedal_point": "Hold a pedal point",
    "octave_return": "Bring the music back in another octave",
    "in_octaves": "Write a passage in octaves",
    "gap": "Leave a gap between the voices",
    "crossing": "Let two voices cross",
}

_NONE_ELSE = "this was not found."

_NONE: Mapping[str, str] = {
    "withheld_bass": "no withheld bass was found.",
    "withheld_top": "no withheld top was found.",
    "shift": "no clear shift of register was found.",
    "stay": "no long stay in one register was found.",
}

MOST = 3
PASSAGES = 2
_DWELLS = ("longest_dwell", "expected_dwell")


def sheet_sentences(piece: ClassPiece, chosen: Collection[str]) -> tuple[Sentence, ...]:
    """At most three sentences, the most telling first. chosen: names of measures."""
    found: dict[str, Sentence] = {}
    for each in _candidates(piece, frozenset(chosen)):
        if len(found) < MOST:
            found.setdefault(each.said, each)
    return tuple(found.values())


def passages(sentences: Sequence[Sentence], piece: ClassPiece) -> tuple[Sentence, ...]:
    """Two sentences whose bars are to be shown, in the order they are heard.

    Those said first, unless their bars are much the same; where these have not enough bars,
    other events.
    """
    chosen: list[Sentence] = []
    for each in (*sentences, *map(_event, piece.happenings), *piece.stays):
        if each.shown and len(chosen) < PASSAGES and not any(_meet(each, o) for o in chosen):
            chosen.append(each)
    return tuple(sorted(chosen, key=lambda each: each.shown or (0, 0)))


def question(sentences: Sequence[Sentence], piece: ClassPiece) -> str:
    """One open question about the first sentence, '' where there is none."""
    if not sentences:
        return ""
    first = sentences[0]
    place = piece.places.get(first.about)
    if place is not None:
        more, less = _OF_MEASURES[first.about]
        return more if (place.percentile or 0) > 50 else less
    return _QUESTIONS.get(first.about, _OF_OWN).format(where=first.where)


def _candidates(piece: ClassPiece, chosen: frozenset[str]) -> Iterator[Sentence]:
    first = _as_sentences(piece.first)
    yield from first
    yield from piece.players[:1]
    events = [each for each in map(_event, piece.clearest()) if each not in first]
    # A stay throughout is said with how unusual it is.
    said = _DWELLS if [each.bars for each in first] == [piece.heard] else ()
    unusual = [
        each
        for each in piece.unusual
        if chosen & {each.name, *each.alike} and each.name not in said
    ]
    for each in unusual:
        # Where the ends of the span sound stands in its sentence.
        place = piece.places.get(each.name)
        still = place is not None and (place.percentile or 0) <= 50
        listen = ""
        if each.where and each.name in SEEN_IN_STAYS and still:
            listen = f" It stays longest in {each.where}."
        elif each.where and each.name != "span":
            listen = f" Listen to {each.where}."
        where = each.where or "the piece"
        yield Sentence(each.name, f"{each.sentence}{listen}", where, each.shown)
    yield from events[:1]
    # That it stays unusually long in one register says as much as the stay itself.
    if not any(each.name in _DWELLS for each in unusual):
        yield from piece.stays[:1]
    yield from events[1:2]


def _as_sentences(found: Happening | Sentence | None) -> list[Sentence]:
    if found is None:
        return []
    return [found if isinstance(found, Sentence) else _event(found)]


def _event(each: Happening) -> Sentence:
    return Sentence(each.device, each.said, each.where, each.shown)


def _meet(one: Sentence, other: Sentence) -> bool:
    """Whether two sentences show much the same bars: half of the shorter or more."""
    (a, b), (c, d) = one.shown or (0, 0), other.shown or (0, 0)
    return 2 * (min(b, d) - max(a, c)) >= min(b - a, d - c)


_OF_OWN = "What did you want a listener to notice in {where}?"

_QUESTIONS: Mapping[str, str] = {
    "withheld_bass": "What should a listener feel before the bass enters in {where}, and then?",
    "withheld_top": "What should a listener feel before the top enters in {where}, and then?",
    "cleared": "What does the empty register make room for before {where}?",
    "entry": "What makes room for the entry in {where}?",
    "climb": "What does the line reach at its top in {where}, and does it stay there?",
    "descent": "Where is the line in {where} heading, and what does it leave behind?",
    "opening": "What comes into the space that opens in {where}?",
    "closing_in": "What is gained by drawing together in {where}?",
    "pedal_point": "What changes around the note held in {where}? Is it missed when it ends?",
    "shift": "What prepares the shift in {where}, and how far could it go?",
    "octave_return": "What is new in the music of {where} besides its octave?",
    "voice_entry": "What lets a listener notice the new voice in {where}?",
    "isolated": "Does anything answer the single sound in {where}?",
    "in_octaves": "What would one octave alone leave open in {where}?",
    "gap": "What does the empty space in {where} let through?",
    "crossing": "Which of the two is heard as the upper voice in {where}?",
    "stay": "What changes in {where} while the register stays?",
    "player": "Where would the player like to rest, and what could sound meanwhile?",
    "high_point": "What leads up to the high point in {where}, and what follows it?",
}

# Where a measure is high, where it is low.
_OF_MEASURES: Mapping[str, tuple[str, str]] = {
    "span": (
        "Which of the outermost notes did you most want to be heard, and what leads to it?",
        "Is there a moment that another octave would suit, or does the piece want to be close?",
    ),
    "core_span": (
        "Which passage would you bring closest together, and what would the width gain?",
        "Which line could move outward for a phrase, and what would that say?",
    ),
    "octaves_in_use": (
        "Which octave could fall silent for a phrase, so that its return is heard?",
        "Which octave is still unheard, and where would it be a surprise?",
    ),
    "movement_beat": (
        "Which bar could stand still, and what would the motion around it gain?",
        "Where would one wide leap count the most?",
    ),
    "movement_bar": (
        "Which two bars belong in one place, and which bar moves away from them?",
        "Which bar would you first answer from another octave, and why that one?",
    ),
    "movement_phrase": (
        "Which phrase could begin where the one before it ended?",
        "Which phrase would you begin in another octave, and what would be heard anew?",
    ),
    "travel": (
        "Which bar could keep to one level, and what would it make room for?",
        "In which bar would you travel furthest, and where would it arrive?",
    ),
    "shift_rate": (
        "Which of the shifts is the one that matters, and how do the others lead to it?",
        "Where would a single clear shift tell the most?",
    ),
    "longest_dwell": (
        "What keeps the longest stay alive, and where could it change?",
        "Which place would you like to stay in for longer?",
    ),
    "expected_dwell": (
        "What keeps the longest stay alive, and where could it change?",
        "Which place would you like to stay in for longer?",
    ),
    "narrow_dwell": (
        "Where could the outer voices open for a phrase, and what would come in?",
        "Where could everything draw together for a phrase?",
    ),
    "hollow_share": (
        "What does the empty space do for you, and in which bar would you fill it?",
        "Where could an octave stay empty between the voices, and what would be heard through?",
    ),
    "entries": (
        "Which of the entries matters most, and what makes room for it?",
        "Which register could fall silent before a moment that matters to you?",
    ),
    "pedal_points": (
        "Which pedal point is missed the most when it ends?",
        "Where could one note hold while the rest moves on?",
    ),
}
