"""The report of one or several works as a document.

What is found is in the `Reading`, what is said comes from `text`; here pictures are drawn,
passages engraved, and rows of tables put together.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.drafts import Drafts
from corpusreg.comparison.examples import Example
from corpusreg.comparison.findings import Finding, Reading, Shown, reading
from corpusreg.corpus.registry import own_and_others
from corpusreg.documents import engraving, quoting
from corpusreg.documents.engraving import Engraved
from corpusreg.documents.html import json_text
from corpusreg.documents.layout import Document, Drawn, check_ending, made_document
from corpusreg.documents.pictures.charts import level_grid, nearest_works, octave_chart, strip
from corpusreg.documents.pictures.register_map import pages, register_map
from corpusreg.documents.pictures.view import view_of
from corpusreg.documents.sound import sound
from corpusreg.measures.definitions import VERSION
from corpusreg.norms.profiles.model import PlacedProfile
from corpusreg.score.pitch import USUAL
from corpusreg.store import Reference
from corpusreg.system.phrases import capital
from corpusreg.system.plaintext import plain
from corpusreg.system.writing import write_files
from corpusreg.text import drafts as draft_words
from corpusreg.text.choirs import choir_lines
from corpusreg.text.examples import passage_words
from corpusreg.text.findings import section_lines, sentence
from corpusreg.text.measures import compared, rank_cell, title, value_words
from corpusreg.text.players import asks_words, player_remarks
from corpusreg.text.profiles import alike_lines, profile_lines
from corpusreg.text.reading import (
    CLASS_COLUMNS,
    MEASURE_COLUMNS,
    by_period,
    certainty,
    class_row,
    company_sentence,
    details,
    first_screen,
    happenings,
    length_words,
    measure_rows,
    unranked,
)
from corpusreg.text.wording import place_words, register

if TYPE_CHECKING:
    Studied = tuple[list[Example], list[Example]]

__all__ = ["made_report", "write_report"]

WIDE, NARROW = 720.0, 340.0  # pixels: the text column of a page, a phone
MAP_HEIGHT = 250.0  # pixels of the map on a first page
LEAD_IN = 4  # bars that are heard before an event
STAYS = 6
LONG = 40  # bars from which those around the chosen one are shown larger
_OPEN = "open"  # licence of encodings whose bars may be shown
_STRETCHES = ("dwell", "hollow", "gap")  # kinds whose bars are the length of the passage
MOST_BARS = 400  # longer works are drawn as a whole only, so that a page stays small


@dataclass(frozen=True)
class ReportRow:
    """A measure as a strip. compared: in words; strip: the name of its picture or ''.

    periods: name, place and picture of each period that it is drawn among.
    """

    title: str
    value: str
    rank: str
    compared: str
    strip: str
    unusual: bool
    periods: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class ReportPassage:
    """Bars in notation. pictures: their names; hear: played bars, None in another work."""

    heading: str
    why: str
    pictures: tuple[str, ...]
    runs: tuple[Engraved, ...]
    remarks: tuple[str, ...]
    hear: tuple[int, int] | None = None

    @property
    def text(self) -> str:
        """What is heard, in words."""
        return self.heading


@dataclass(frozen=True)
class ReportTable:
    """Columns and rows of text."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Item:
    """A line of a list; with bars (played, half-open) where it can be heard."""

    text: str
    hear: tuple[int, int] | None = None


@dataclass(frozen=True)
class ReportSection:
    """A folded part of a report."""

    name: str
    heading: str
    items: tuple[Item, ...] = ()
    table: ReportTable | None = None
    pictures: tuple[str, ...] = ()
    passages: tuple[ReportPassage, ...] = ()
    unfolded: bool = False


@dataclass(frozen=True)
class ReportWork:
    """All that a report shows of one work. pictures: by name, as the template places them.

    long: whether bars are too many to be told apart on the map, so that those around the
    chosen one are shown larger.
    """

    name: str
    title: str
    facts: tuple[str, ...]
    lines: tuple[Item, ...]
    suggestion: str
    company: str
    rows: tuple[ReportRow, ...]
    passages: tuple[ReportPassage, ...]
    sections: tuple[ReportSection, ...]
    pictures: Mapping[str, Drawn]
    sound: Mapping[str, Any]
    long: bool = False


def works_of(
    comparisons: Sequence[Comparison],
    reference_id: str,
    studied: Sequence[tuple[Sequence[Example], Sequence[Example]]] = (),
    drafts: Sequence[Drafts] = (),
    reference: Reference | None = None,
) -> list[ReportWork]:
    """The works of a report; all passages are engraved in one go.

    reference: the one that `studied` was found in; without it these are only named.
    """
    readings = [reading(c) for c in comparisons]
    notation = _engraved(comparisons, readings)
    none: list[Any] = [None] * len(comparisons)
    return [
        _work(f"w{number}", c, r, passages, study, changed, reference_id, reference)
        for number, (c, r, passages, study, changed) in enumerate(
            zip(comparisons, readings, notation, studied or none, drafts or none, strict=True),
            start=1,
        )
    ]


def _work(
    name: str,
    c: Comparison,
    r: Reading,
    passages: Sequence[ReportPassage],
    study: tuple[Sequence[Example], Sequence[Example]] | None,
    drafts: Drafts | None,
    reference_id: str,
    reference: Reference | None,
) -> ReportWork:
    pictures = dict(_pictures(name, c, r))
    studied = [_study(*study, reference)] if study and any(study) else []
    every = [*passages, *(each for section in studied for each in section.passages)]
    for passage in every:
        for key, run in zip(passage.pictures, passage.runs, strict=True):
            pictures[key] = Drawn(run.svg, f"{passage.heading} in notation", engraved=run)
    lines = first_screen(r)
    suggestion = lines[-2] if r.suggestion else ""
    said = lines[:-2] if r.suggestion else lines[:-1]
    sections = [
        *([_changes(drafts, name, pictures)] if drafts else []),
        *_sections(c, r, name, pictures),
        *studied,
        _made(reference_id),
    ]
    stays = [each for each in r.stays if each.part is None and each.place]
    return ReportWork(
        name=name,
        title=plain(r.piece.title),
        facts=(
            r.piece.ensemble,
            length_words(r),
            register(r.piece.lowest, r.piece.highest, r.piece.spelling),
        ),
        lines=tuple(
            Item(text, _lead_in(r.first, c) if k == 0 and r.first else None)
            for k, text in enumerate(said)
        ),
        suggestion=suggestion,
        company=lines[-1] if r.company.placed else company_sentence(r.company),
        rows=tuple(_row(each, r, pictures) for each in r.headlines()),
        passages=tuple(passages),
        sections=tuple(each for each in sections if each.items or each.table or each.pictures),
        pictures=pictures,
        sound={
            **vars(sound(c.whole.played)),
            "stays": [[s.place.first, s.place.last, place_words(s.place)] for s in stays
                      if s.place],
        },
        long=len(c.bars) > LONG,
    )  # fmt: skip


def _lead_in(found: Finding, c: Comparison) -> tuple[int, int] | None:
    """An event is heard from some bars before it to its end."""
    if found.event is None or found.place is None:
        return None
    return max(found.place.first - LEAD_IN, 0), min(found.place.last + 1, len(c.bars))


def _row(found: Finding, r: Reading, pictures: Mapping[str, Drawn]) -> ReportRow:
    picture = f"strip-{found.name}"
    return ReportRow(
        title=capital(title(found.name)),
        value=value_words(found.size, found.unit),
        rank=rank_cell(found.rank) if found.rank and found.rank.side != "tied" else "",
        compared=capital(compared(found) or found.reason),
        strip=picture if picture in pictures else "",
        unusual=any(found.name == each.name for each in r.unusual),
        periods=tuple(
            (period, f"P{place:.0f}", f"{picture}-{period}")
            for each, rank in by_period(r)
            if each is found
            for period, place in rank.periods.items()
        ),
    )


def _pictures(name: str, c: Comparison, r: Reading) -> Iterator[tuple[str, Drawn]]:
    view = view_of(c)
    bars = len(c.bars)
    whole = [
        register_map(
            view, prefix=f"{name}-map{suffix}", width=width, height=MAP_HEIGHT, heading=False,
            keyed=not suffix, compact=bars,
        ).svg
        for suffix, width in (("", WIDE), ("-slim", NARROW))
    ]  # fmt: skip
    alt = f"Register map: time from left to right, pitch upwards, {length_words(r)}."
    yield "map", Drawn(whole[0], alt, whole[1])
    if LONG < bars <= MOST_BARS:
        for number, run in enumerate(pages(view, width=WIDE), start=1):
            svg = register_map(
                view, prefix=f"{name}-page{number}", bars=run, width=WIDE, heading=False,
                keyed=False,
            ).svg  # fmt: skip
            yield f"page-{number}", Drawn(svg, f"Register map bar by bar, sheet {number}")
    for measure in r.measures:
        prefix = f"{name}-strip-{measure.name.replace('_', '-')}"
        words = f"{title(measure.name)}: {compared(measure)}"
        if measure.rank and (
            drawn := strip(c, measure.name, prefix=prefix, words=compared(measure))
        ):
            yield f"strip-{measure.name}", Drawn(drawn.svg, words)
    for measure, rank in by_period(r):
        for period, place in rank.periods.items():
            prefix = f"{name}-strip-{measure.name.replace('_', '-')}-{period}"
            said = f"P{place:.0f}"
            if drawn := strip(c, measure.name, prefix=prefix, words=said, period=period):
                alt = f"{title(measure.name)} among {period} works: {said}"
                yield f"strip-{measure.name}-{period}", Drawn(drawn.svg, alt)
    octaves = partial(octave_chart, c)
    yield (
        "octaves",
        Drawn(
            octaves(prefix=f"{name}-octaves", width=WIDE).svg,
            "How much of the sound lies in each octave",
            octaves(prefix=f"{name}-slim-octaves", width=NARROW).svg,
        ),
    )
    spelling = c.whole.played.spelling
    grid = level_grid(c.players, spelling, prefix=f"{name}-levels", width=WIDE)
    slim = level_grid(c.players, spelling, prefix=f"{name}-slim-levels", width=NARROW)
    if grid and slim:
        yield (
            "levels",
            Drawn(grid.svg, "Place in the ensemble against place in the instrument", slim.svg),
        )
    if isinstance(c.profile, PlacedProfile):
        near = nearest_works(c.profile, prefix=f"{name}-nearest")
        if near:
            yield "nearest", Drawn(near.svg, "Works that use register alike")


def _sections(
    c: Comparison, r: Reading, name: str, pictures: Mapping[str, Drawn]
) -> Iterator[ReportSection]:
    """The details in the order of reading."""
    sheets = tuple(key for key in pictures if key.startswith("page-"))
    yield ReportSection("bars", "The map bar by bar", pictures=sheets)
    events = [Item(line, _lead_in(each, c) if each else None) for line, each in happenings(r)]
    yield ReportSection("events", "What happens", tuple(events))
    yield ReportSection(
        "sections",
        "Section by section",
        tuple(
            Item(line, (each.place.first, each.place.last))
            for line, each in zip(section_lines(r.sections, r.piece), r.sections, strict=True)
            if each.place
        ),
    )
    stays = r.long_stays()[:STAYS]
    yield ReportSection(
        "stays",
        "Where it stays",
        tuple(
            Item(sentence(each, r.piece), (each.place.first, each.place.last))
            for each in stays
            if each.place
        ),
    )
    columns = tuple(map(capital, MEASURE_COLUMNS))
    rows = [(capital(row[0]), *row[1:]) for row in measure_rows(r)]
    filled = [k for k in range(len(columns)) if any(row[k] for row in rows)]
    yield ReportSection(
        "measures",
        "All measures",
        tuple(Item(each) for each in [*certainty(r), *unranked(r)]),
        ReportTable(
            tuple(columns[k] for k in filled),
            tuple(tuple(row[k] for k in filled) for row in rows),
        ),
    )
    yield ReportSection("octaves", "Octaves", pictures=("octaves",))
    yield ReportSection(
        "families", "Families of instruments", tuple(Item(text) for text in choir_lines(c))
    )
    players = c.players.parts
    yield ReportSection(
        "players",
        "Each player",
        tuple(Item(text) for text in player_remarks(c, r)),
        ReportTable(
            ("Part", "Plays", "Range of the instrument", "What it asks"),
            tuple(
                (
                    plain(each.name) or "the only part",
                    register(each.lowest, each.highest, r.piece.spelling),
                    register(*each.use.instrument.professional, USUAL) if each.use else "",
                    asks_words(each.use) if each.use else "",
                )
                for each in players
            ),
        ),
        ("levels",) if "levels" in pictures else (),
    )
    yield ReportSection(
        "works",
        "Music that uses register like this",
        tuple(Item(text) for text in (*alike_lines(c.alike), *profile_lines(c.profile))),
        pictures=("nearest",) if "nearest" in pictures else (),
    )
    for each in details(r):
        if each.heading not in ("What happens", "Section by section", "Where it stays"):
            key = each.heading.lower().replace(" ", "-")
            yield ReportSection(key, each.heading, tuple(Item(text) for text in each.lines))


def _study(
    alike: Sequence[Example], otherwise: Sequence[Example], reference: Reference | None
) -> ReportSection:
    """Passages of other works, those that share the habit first.

    The first of each side whose encoding is open is engraved, with its attribution.
    """
    items = [
        Item(f"{head}: {_source(each)}: {passage_words(each)}.")
        for head, examples in (("Shares it", alike), ("Does the opposite", otherwise))
        for each in examples
    ]
    wanted = [
        next((each for each in side if each.licence == _OPEN), None)
        for side in (alike, otherwise)
    ]
    quoted = tuple(_quoted([each for each in wanted if each], reference))
    return ReportSection("study", "Passages to study", tuple(items), passages=quoted)


def _quoted(
    examples: Sequence[Example], reference: Reference | None
) -> Iterator[ReportPassage]:
    """Passages of other works in notation; what can no longer be shown is only named."""
    if not examples or reference is None:
        return
    places = [
        quoting.QuotedPlace(
            each.work, each.first, each.last, each.bars,
            () if each.facts.get("part") is None else (int(each.facts["part"]),),
        )
        for each in examples
    ]  # fmt: skip
    drawn = quoting.quotations(reference, places, own_and_others()[0])
    for number, (each, found) in enumerate(zip(examples, drawn, strict=True), start=1):
        if found.picture:
            length = round(each.facts.get("bars") or 0)
            shown = each.last - each.first
            cut = each.kind in _STRETCHES and length > shown
            goes_on = (f"The first {shown} of {length} bars.",) if cut else ()
            yield ReportPassage(
                heading=_source(each),
                why="",
                pictures=(f"study-{number}",),
                runs=(found.picture,),
                remarks=(
                    *goes_on,
                    *(f"{capital(plain(remark))}." for remark in found.picture.remarks),
                    found.credit,
                ),
            )


def _source(each: Example) -> str:
    by = f"{plain(each.composer)}, " if each.composer else ""
    return f"{by}{plain(each.title)}, {each.bars}"


def _changes(d: Drafts, name: str, pictures: dict[str, Drawn]) -> ReportSection:
    """What changed since the earlier draft, with both maps."""
    if d.untouched:
        return ReportSection("drafts", "Since the earlier draft", (Item(draft_words.NOTHING),))
    bars = max(len(d.earlier.bars), len(d.later.bars))
    both = [
        register_map(
            view_of(d.earlier), view_of(d.later), prefix=f"{name}-drafts{suffix}", width=width,
            heading=False, words=("before", "now"), compact=bars,
        ).svg
        for suffix, width in (("", WIDE), ("-slim", NARROW))
    ]  # fmt: skip
    alt = "Register maps of both drafts, the earlier above"
    pictures["drafts"] = Drawn(both[0], alt, both[1])
    told, more = draft_words.clearest_changes(d)
    texts = [
        *draft_words.remarks(d),
        *(capital(draft_words.run_words(run, d)) for run in draft_words.changed_bars(d)),
        *(capital(draft_words.change_words(each, d)) for each in told),
        *([more] if more else []),
    ]
    rows = tuple(
        (capital(head), before, now, said)
        for head, before, now, said in map(draft_words.measure_row, d.measures)
    )
    return ReportSection(
        "drafts",
        "Since the earlier draft",
        tuple(Item(text.replace("..", ".")) for text in texts),
        ReportTable(("Measure", "Before", "Now", "What changed"), rows),
        ("drafts",),
        unfolded=True,
    )


def _made(reference_id: str) -> ReportSection:
    works = f"Compared with reference {reference_id}, definitions {VERSION}."
    told = "Made with corpusreg from the score alone. It describes and offers; it never grades."
    return ReportSection("made", "How this was made", (Item(told), Item(works)))


def _engraved(
    comparisons: Sequence[Comparison], readings: Sequence[Reading]
) -> list[list[ReportPassage]]:
    asked = [
        engraving.NotatedPassage(Path(c.piece.path), *run, number=c.piece.number)
        for c, r in zip(comparisons, readings, strict=True)
        for shown in r.shown
        for run in shown.written
    ]
    drawn = iter(engraving.engrave_all(asked))
    return [
        _without_repeats(
            [
                _passage(number, shown, r, [next(drawn) for _ in shown.written])
                for number, shown in enumerate(r.shown, start=1)
            ]
        )
        for r in readings
    ]


def _without_repeats(passages: Sequence[ReportPassage]) -> list[ReportPassage]:
    """What must be known of all passages of a file stands below the first only."""
    said: set[str] = set()
    found = []
    for each in passages:
        fresh = tuple(remark for remark in each.remarks if remark not in said)
        said.update(fresh)
        found.append(replace(each, remarks=fresh))
    return found


def _passage(
    number: int, shown: Shown, r: Reading, drawn: Sequence[Engraved | str]
) -> ReportPassage:
    runs = tuple(each for each in drawn if isinstance(each, Engraved))
    remarks = [
        remark
        for each in drawn
        for remark in (each.remarks if isinstance(each, Engraved) else (each,))
    ]
    goes_on = ("It goes on after these bars.",) if shown.goes_on else ()
    return ReportPassage(
        heading=capital(place_words(shown.place)),
        why=sentence(shown.finding, r.piece),
        pictures=tuple(f"notation-{number}-{k}" for k, _ in enumerate(runs, start=1)),
        runs=runs,
        remarks=(*goes_on, *(f"{capital(plain(each))}." for each in dict.fromkeys(remarks))),
        hear=(shown.place.first, shown.place.last),
    )


def write_report(
    comparisons: Sequence[Comparison],
    failures: Sequence[str],
    reference_id: str,
    path: Path,
    *,
    studied: Sequence[Studied] = (),
    drafts: Sequence[Drafts] = (),
    paper: str | None = None,
    reference: Reference | None = None,
) -> tuple[str, ...]:
    """Write a report of some works, at least one; as `report`, and as `write_document`."""
    check_ending(path)
    content, remarks = made_report(
        comparisons, failures, reference_id, path.suffix.lower(),
        studied=studied, drafts=drafts, paper=paper, reference=reference,
    )  # fmt: skip
    write_files({path: content})
    return remarks


def made_report(
    comparisons: Sequence[Comparison],
    failures: Sequence[str],
    reference_id: str,
    kind: str,
    *,
    studied: Sequence[Studied] = (),
    drafts: Sequence[Drafts] = (),
    paper: str | None = None,
    reference: Reference | None = None,
) -> tuple[bytes, tuple[str, ...]]:
    """The content of a report's file; kind: as `layout.made_document`, the rest as `report`."""
    made = report(
        comparisons, failures, reference_id,
        studied=studied, drafts=drafts, reference=reference,
    )  # fmt: skip
    return made_document(made, kind, paper)


def report(
    comparisons: Sequence[Comparison],
    failures: Sequence[str],
    reference_id: str,
    *,
    studied: Sequence[Studied] = (),
    drafts: Sequence[Drafts] = (),
    reference: Reference | None = None,
) -> Document:
    """A report, whose first page has the reading and whose details stand behind it.

    failures: what could not be read, one line each, told at the end. studied: for each work
    the passages to study beside it, () for none. drafts: for each work what changed since an
    earlier draft, () where there is none. reference: the one that `studied` was found in, whose
    passages are then shown in notation; without it they are only named.
    """
    works = works_of(comparisons, reference_id, studied, drafts, reference)
    several = len(works) > 1
    title = f"{len(works)} pieces" if several else works[0].title
    return Document(
        f"{title}: how {'they use' if several else 'it uses'} register",
        "report.html",
        {
            "works": works,
            "title": title,
            "columns": [capital(each) for each in CLASS_COLUMNS],
            "class_rows": [class_row(reading(c)) for c in comparisons],
            "failures": failures,
            "h1": "h2" if several else "h1",
            "h2": "h3" if several else "h2",
            "sounds": {work.name: json_text(dict(work.sound)) for work in works},
        },
        {f"{work.name}/{key}": each for work in works for key, each in work.pictures.items()},
        script=True,
    )
