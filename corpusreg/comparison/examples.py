"""Model passages from the reference: one kind of event or habit, as others did it.

Strength orders the passages of a kind: that of events is theirs, a shift has 100 x the share
of its way made at once x size / (size + 12 semitones), a stay 100 x the square root of
bars / (bars + 12) x what its fullest octave leaves empty (taken as half where that is not
kept). Each work gives its strongest.
Passages are chosen one after the other: the strongest of the composer, then of the period,
that were chosen least so far, among those of half the greatest strength or more; no event
or shift is taken that is fainter than FLOOR.

Beside a piece: its habit is the measure that stands out most. Works of the cohort that lie
on the same side share it, works on the other side of the middle do otherwise; from each the
passage is shown that goes with its side: shifts where much moves, long stays where little
does, and events where the measure counts them.

Conventions: bars are written positions from 0, half-open; strength is 0 to 100 and is told
to order the passages of one kind, never as a mark.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.findings import Finding, PieceFacts, reading
from corpusreg.corpus.registry import own_and_others
from corpusreg.norms.cohorts import RowSource
from corpusreg.store import Reference, sql
from corpusreg.system.errors import UsageError
from corpusreg.system.phrases import nearest
from corpusreg.system.plaintext import plain

__all__ = [
    "KINDS", "Example", "Examples", "Filters", "at", "examples", "habit", "rows_of", "spread",
]  # fmt: skip


@dataclass(frozen=True)
class ExampleKind:
    """name: as a user writes it. title: a heading. shows: what can be studied there.

    strength: by what passages are ordered, in words.
    """

    name: str
    title: str
    shows: str
    strength: str


_EVENT = "how long it waits, how long it then lasts, and how far from what sounded before"
_LINE = "how far the line goes, and how straight"
KINDS: Mapping[str, ExampleKind] = {
    kind.name: kind
    for kind in (
        ExampleKind(
            "shift", "Clear shifts", "the texture moves to another register at one barline",
            "how far it moves, and how much of the way at once",
        ),
        ExampleKind(
            "withheld-bass", "Bass withheld and brought in",
            "the bass keeps out of the low register for long, and then enters there", _EVENT,
        ),
        ExampleKind(
            "withheld-top", "Top withheld and brought in",
            "the top keeps out of the high register for long, and then enters there", _EVENT,
        ),
        ExampleKind(
            "return", "The same music, now with the bass or the top",
            "earlier music comes again, and the register that was withheld joins it", _EVENT,
        ),
        ExampleKind(
            "cleared", "Places emptied and filled again",
            "a place inside the texture falls silent for long, and is filled again", _EVENT,
        ),
        ExampleKind("climb", "Climbs", "an outer line climbs an octave or more", _LINE),
        ExampleKind("descent", "Descents", "an outer line descends an octave or more", _LINE),
        ExampleKind(
            "wedge", "Wedges", "the outer lines move apart or together, bar by bar", _LINE
        ),
        ExampleKind(
            "isolated", "Moments at an extreme",
            "a short moment, far from everything round it", "how far it lies from the rest",
        ),
        ExampleKind(
            "pedal-point", "Pedal points", "one note holds while the rest moves on",
            "how long it lasts, and how it ends",
        ),
        ExampleKind(
            "gap", "Gaps between the voices", "an octave or more stays empty in the texture",
            "how long it lasts, and how wide the gap is",
        ),
        ExampleKind(
            "dwell", "Long stays with air in them",
            "the music keeps one narrow register for long, and does not fill it up",
            "how long it stays, and how little its fullest octave is filled",
        ),
        ExampleKind(
            "edge", "An instrument at its edge, the whole in the middle",
            "a part at the edge of its range (which can strain: ask the player or singer) "
            "while the whole sounds in the middle",
            "how long it stays there, and with how much of its time",
        ),
    )
}  # fmt: skip
LONGEST = 4  # bars of a passage, about a line of music
LEAST_STAY = 8  # bars
UPBEAT = 2  # written bars at the beginning in which nothing changes yet
MISREAD = 9  # semitones from the usual mean of a part, from which its clef is doubted
FLOOR = 20.0  # strength from which an event or a shift is clear enough to show
FAINTEST = 0.5  # of the strongest
# Ranks of range and density among works for the same ensemble.
DIFFICULTIES: Mapping[str, tuple[float | None, float | None]] = {
    "easy": (None, 1 / 3),
    "middle": (1 / 3, 2 / 3),
    "hard": (2 / 3, None),
}
_BUNDLED = "bundled"
# What is said of works without a composer, by the kind of their source.
_ANONYMOUS = {"anonymous": "anonymous", "tunes": "traditional"}


@dataclass(frozen=True)
class Filters:
    """Which works; None for all. difficulty: of DIFFICULTIES, by the range of the widest part
    and the notes a bar and player among works for the same ensemble."""

    ensemble: str | None = None
    period: str | None = None
    difficulty: str | None = None
    licence: str | None = None


@dataclass(frozen=True)
class Example:
    """A passage. first, last: written bars. bar, bars: its printed bar and bars. part: its
    name, None for the whole texture. number: position in a file of many, else ''.
    difficulty: of DIFFICULTIES. private: from a corpus of the user's own, which is shown on
    this computer only. note: what someone wrote beside it; facts are empty where that is all
    that is known of it."""

    kind: str
    work: str
    composer: str
    title: str
    period: str | None
    ensemble: str | None
    licence: str
    corpus: str
    path: str
    number: str
    first: int
    last: int
    position: int
    bar: str
    bars: str
    part: str | None
    difficulty: str
    strength: float
    private: bool
    note: str = ""
    facts: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @property
    def name(self) -> str:
        """What names the passage, as `at` finds it again: its kind, work and first bar."""
        return f"{self.kind} as in {self.work} bar {self.bar}"


def find(
    source: RowSource,
    kind: str,
    filters: Filters | None = None,
    count: int = 5,
    public: Sequence[str] = (),
) -> list[Example]:
    """The strongest passages of a kind, spread over composers and periods, strongest first.

    public: names of corpora that are not the user's own, beside the bundled one. Raises
    UsageError for a kind, ensemble, period, difficulty or licence that does not exist.
    """
    if kind not in KINDS:
        raise UsageError(f"no kind of example '{kind}'{nearest(kind, KINDS)}")
    rows = rows_of(source, kind, count, **asked_of(source, filters or Filters()))
    return [example(kind, row, public) for row in spread(rows, count)]


def asked_of(source: RowSource, filters: Filters) -> dict[str, object]:
    """Filters as `rows_of` takes them. Raises UsageError for what does not exist."""
    _check(source, filters)
    low, high = DIFFICULTIES.get(filters.difficulty or "", (None, None))
    return {
        "ensemble": filters.ensemble, "period": filters.period, "tier": filters.licence,
        "from_demand": low, "to_demand": high,
    }  # fmt: skip


def at(source: RowSource, work: str, bar: str, kinds: Sequence[str]) -> Example:
    """The passage of one of these kinds that begins in a printed bar of a work.

    Raises UsageError where there is none that is clear enough to be an example, and where
    there are several.
    """
    place = [place_of(work, bar)]
    rows = [(kind, rows_of(source, kind, 1, places=place)) for kind in kinds]
    found = [example(kind, several[0]) for kind, several in rows if several]
    if not found:
        raise UsageError(
            f"bar {bar} of '{work}': no such passage in the reference ({', '.join(kinds)}); "
            "copy the line of one from 'corpusreg examples'"
        )
    if len(found) > 1:
        raise UsageError(
            f"bar {bar} of '{work}' is several things; write one of these: "
            f"{'; '.join(each.name for each in found)}"
        )
    return found[0]


def place_of(work: str, bar: str) -> str:
    """A printed bar of a work, as `rows_of` takes it."""
    return f"{work} bar {bar}"


def rows_of(source: RowSource, kind: str, each: int, **given: object) -> list[dict[str, Any]]:
    """Rows of `queries/store/examples.sql`, strongest first; what is not given is no filter.

    each: how many of a composer at most. places: of `place_of`; where they are given, each
    may have its passage, however faint beside the others. A row's `level` is of DIFFICULTIES.
    """
    names = (
        "ensemble", "family", "texture", "period", "tier", "from_demand", "to_demand",
        "measure", "least", "most", "places", "most_bars",
    )  # fmt: skip
    asked = {name: given.get(name) for name in names}
    asked |= {"kind": kind, "longest": LONGEST, "least_stay": LEAST_STAY, "upbeat": UPBEAT}
    faintest = FAINTEST if asked["places"] is None else 0.0
    asked |= {"each": each, "faintest": faintest, "floor": FLOOR}
    asked |= {"misread": MISREAD}
    columns = source.fetch_columns(sql.load("examples"), asked)
    rows = zip(*(values.tolist() for values in columns.values()), strict=True)
    found = [
        {name: _known(value) for name, value in zip(columns, row, strict=True)} for row in rows
    ]
    return [row | {"level": _difficulty(row["demand"])} for row in found]


def spread(rows: Sequence[Mapping[str, Any]], count: int) -> list[Mapping[str, Any]]:
    """Some of the rows (strongest first), composers and periods in turn, strongest first."""
    chosen = list(islice(in_turn(rows, ("unit", "period")), count))
    return sorted(chosen, key=lambda row: (-row["strength"], row["work"]))


def in_turn(
    rows: Sequence[Mapping[str, Any]],
    columns: Sequence[str],
    fits: Callable[[Mapping[str, Any]], bool] = lambda row: True,
) -> Iterator[Mapping[str, Any]]:
    """The rows (strongest first) that are not much fainter than the first of them, one after
    the other: the strongest of the value that came least so far in the first column, among
    these in the second, and so on.

    fits: asked of every row that is left before each.
    """
    if not rows:
        return
    floor = FAINTEST * rows[0]["strength"]  # again, since some rows may have been left out
    left = [row for row in rows if row["strength"] >= floor]
    came: Counter[tuple[str, object]] = Counter()
    while left := list(filter(fits, left)):
        best = min(left, key=lambda row: [came[name, row[name]] for name in columns])
        left.remove(best)
        yield best
        came.update((name, best[name]) for name in columns)


def example(kind: str, row: Mapping[str, Any], public: Sequence[str] = ()) -> Example:
    """One row as an example."""
    part = row["part_name"] if row["part"] is not None else None
    return Example(
        kind=kind,
        work=row["work"],
        composer=plain(row["composer"] or _ANONYMOUS.get(row["unit"].partition(":")[0], "")),
        title=plain(_title(row)),
        period=row["period"],
        ensemble=row["ensemble"],
        licence=row["tier"] or "",
        corpus=row["corpus"],
        path=row["path"],
        number=row["file_number"] or "",
        first=int(row["first"]),
        last=int(row["last"]),
        position=int(row["position"]),
        bar=plain(str(row["start_bar"])),
        bars=_bars(row),
        part=plain(part) if part else None,
        difficulty=row["level"],
        strength=round(float(row["strength"]), 1),
        private=row["corpus"] != _BUNDLED and row["corpus"] not in public,
        facts=row,
    )


def _title(row: Mapping[str, Any]) -> str:
    title = str(row["title"] or row["path"]).rstrip(" ,.")
    movement = row["movement"] or ""
    return title if _letters(movement) in _letters(title) else f"{title}: {movement}"


def _letters(text: str) -> str:
    """What of a title does not depend on how signs and capitals are set."""
    return "".join(filter(str.isalnum, text.casefold()))


def _difficulty(demand: float) -> str:
    """The level of DIFFICULTIES that a demand of 0 to 1 is in."""
    return next(
        name for name, (_, high) in DIFFICULTIES.items() if high is None or demand <= high
    )


def _bars(row: Mapping[str, Any]) -> str:
    start, end = plain(str(row["start_bar"])), plain(str(row["end_bar"]))
    return f"bar {start}" if start == end else f"bars {start} to {end}"


def _known(value: Any) -> Any:
    """NULL comes as NaN where a column holds numbers."""
    return None if isinstance(value, float) and math.isnan(value) else value


def _check(source: RowSource, filters: Filters) -> None:
    asked = {
        "ensemble": filters.ensemble, "period": filters.period, "tier": filters.licence,
    }  # fmt: skip
    for column, value in asked.items():
        if value is not None:
            found = source.fetch_columns(
                sql.load("distinct_values").format(column=column, table="works")
            )
            known = [str(name) for name in found["name"]]
            if value not in known:
                word = "licence" if column == "tier" else column
                raise UsageError(f"--{word}: no work has '{value}'{nearest(value, known)}")
    if filters.difficulty is not None and filters.difficulty not in DIFFICULTIES:
        raise UsageError(
            f"--difficulty: '{filters.difficulty}' is not known; "
            f"choose among {', '.join(DIFFICULTIES)}"
        )


COUNT, MOST = 5, 50
ALL = "all"


@dataclass(frozen=True)
class Examples:
    """Passages of one kind, strongest first, and the reference they come from. kind: of KINDS,
    ALL for the passages of a library, kind by kind."""

    kind: str
    passages: tuple[Example, ...]
    reference_id: str


def examples(
    reference: Reference, kind: str, filters: Filters | None = None, count: int = 5
) -> Examples:
    """Passages of one kind; see `corpusreg.comparison.examples`.

    count: how many at most, 1 to MOST. Raises UsageError for what does not exist.
    """
    if not 1 <= count <= MOST:
        raise UsageError(f"--count: {count} is not between 1 and {MOST}")
    found = find(reference, kind, filters, count, own_and_others()[1])
    return Examples(kind, tuple(found), reference.reference_id)


STUDIED = 3
# A stay to be aimed at takes no more of the piece than this share.
_STAY = 0.5
# By measure: the kind that goes with much of it, and the one that goes with little.
_SIDES = {
    "longest_dwell": ("dwell", "shift"),
    "expected_dwell": ("dwell", "shift"),
    "narrow_dwell": ("dwell", "shift"),
    "hollow_share": ("gap", "dwell"),
    "entries": ("withheld-bass", "dwell"),
    "pedal_points": ("pedal-point", "dwell"),
}
_MOVING = ("shift", "dwell")
_COLUMNS = ("ensemble", "family", "texture", "period")


@dataclass(frozen=True)
class Habit:
    """The most unusual measure of a piece. more: whether it has much of it. finding: the
    measure as it was found in the piece.

    kind, contrary: kinds of example that go with the habit and with its contrary. bound:
    the value from which on works share it; middle: the value that halves the cohort.
    """

    measure: str
    more: bool
    finding: Finding
    piece: PieceFacts
    kind: str
    contrary: str
    bound: float
    middle: float


def habit(c: Comparison) -> Habit | None:
    """The most unusual habit of a piece, None where nothing stands out."""
    placed = {each.measure.name: each.placement for each in c.measures}
    r = reading(c)
    for each in r.unusual:
        quartiles = placed[each.name].quartiles
        if each.rank is None or each.size is None or quartiles is None:
            continue
        more = each.rank.percentile > 50
        low, high = quartiles
        much, little = _SIDES.get(each.name, _MOVING)
        return Habit(
            measure=each.name,
            more=more,
            finding=each,
            piece=r.piece,
            kind=much if more else little,
            contrary=little if more else much,
            bound=min(each.size, high) if more else max(each.size, low),
            middle=each.rank.median,
        )
    return None


def study(
    source: RowSource, c: Comparison, public: Sequence[str] = ()
) -> tuple[list[Example], list[Example]]:
    """Passages that share the piece's most unusual habit, and passages that do otherwise.

    At most STUDIED each, from the cohort that the piece was placed in, the piece itself left
    out; both empty where nothing stands out. Stays are no longer than the piece, and where
    it does otherwise than half of it, so that it can come near. public: as in `find`.
    """
    found = habit(c)
    if found is None:
        return [], []
    where = {k: v for k, v in c.cohort.rung.where.items() if k in _COLUMNS}
    side, other = ("least", "most") if found.more else ("most", "least")
    given: dict[str, Any] = where | {"measure": found.measure}
    bars = len(c.bars)
    half = max(int(_STAY * bars), LEAST_STAY)
    same = given | {side: found.bound, "most_bars": bars}
    otherwise = given | {other: found.middle, "most_bars": half}
    alike = rows_of(source, found.kind, STUDIED + 1, **same)
    contrary = rows_of(source, found.contrary, STUDIED + 1, **otherwise)
    taken: set[str] = set()
    answers = []
    for kind, rows in ((found.kind, alike), (found.contrary, contrary)):
        others = [row for row in rows if row["work"] not in taken and not _itself(row, c)]
        chosen = [example(kind, row, public) for row in spread(others, STUDIED)]
        taken.update(each.work for each in chosen)
        answers.append(chosen)
    return answers[0], answers[1]


def _itself(row: Mapping[str, Any], c: Comparison) -> bool:
    """Whether a work is the compared piece: as long, as many notes, of the same compass."""
    whole = c.whole
    return (row["work_bars"], row["notes"], row["lowest"], row["highest"]) == (
        len(c.bars), len(whole.played.notes), whole.lowest, whole.highest,
    )  # fmt: skip
