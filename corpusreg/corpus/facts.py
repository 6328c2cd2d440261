"""What is known of a work: title, composer, years, period, genre, unit, licence.

Conventions
-----------
years    `year_from` to `year_to`, inclusive, None where open; `year_source` says
         where they come from: 'stated' in the file or in a table of its corpus,
         'published' where what is stated there is the year of a print,
         'catalogue' (the sourced works table), 'life dates' (birth to death), 'active'
         (between the first and the last sign of the composer, where no life dates are
         known), 'collection' (the collections table), ''.
year     the one year that the period rule uses: the middle of stated, catalogue, active
         or collection years, birth + 35 but not after death for life dates, else None.
cluster  the statistical unit: the composer; for folk tunes and tune books their
         source or region; for anonymous works their collection.

A stated date after the composer's death is a print's or a copy's and is passed over, and so
is a print's whole century ('1800'), which dates a source by its hand and no print; a stated
bound such as '<1611' gives way to life dates and active years.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import PurePosixPath

from corpusreg.corpus.authority import (
    SIGLUM,
    Composer,
    composer_key,
    in_order,
    is_anonymous,
    music_by,
    resolve,
)
from corpusreg.corpus.dates import (
    Years,
    parse_active,
    parse_life,
    parse_years,
    period_of,
    typical_year,
    working_life,
)
from corpusreg.corpus.files import BUNDLED, SourceFile
from corpusreg.corpus.licences import Licence, licence, protected
from corpusreg.corpus.tables import cell_year, collection_of, work_row
from corpusreg.score.notes import Score

__all__ = ["WorkFacts", "describe"]

# kern records with a work's date, and what it is the date of.
_DATE_RECORDS = (("ODT", "stated"), ("MPD", "stated"), ("PDT", "published"))
_DOUBTFUL = re.compile(r"\?|dubi|doubtful|attrib|spurious|zugeschrieben", re.I)
# File names of movements: movement3, madrigal.3.10, polonaise_op1n2.
_NUMBERED = re.compile(r"(movement|madrigal|polonaise)(?:\D.*?)?(\d+)")
_BRACKETED = re.compile(r"[(\[][^)\]]*[)\]]")


@dataclass(frozen=True)
class WorkFacts:
    """Facts of one work; text is '' and a year None where nothing is known.

    guessed: in plain words what was not stated and taken from elsewhere.
    """

    title: str
    movement: str
    number: str
    composer_id: str
    composer: str
    doubtful: bool
    born: int | None
    died: int | None
    year_from: int | None
    year_to: int | None
    year_source: str
    year: int | None
    period: str
    genre: str
    cluster: str
    collection: str
    collection_name: str
    ensemble_hint: str
    region: str
    licence: Licence
    guessed: tuple[str, ...] = ()


def describe(file: SourceFile, score: Score, stated: Licence | None = None) -> WorkFacts:
    """Facts of the work that a reader found in a file.

    `stated` is the file's licence where the caller has it already (a file of many
    tunes is asked once). Titles fall back on the file's name, and the composer of a
    user's own score that names nobody on its folder's; nothing else is guessed.
    """
    meta = score.metadata
    collection, work = _known(file)
    credit = music_by(_credit(meta))
    name, guessed = _name(file, credit, work)
    anonymous = is_anonymous(name, file.relative)
    composer = resolve(
        work["composer"] or collection["composer"] or ("" if anonymous else name)
    )
    born, died = (composer.born, composer.died) if composer else (None, None)
    if born is None and died is None:
        born, died = _table_life(work)
    if born is None and died is None and not anonymous:
        born, died = _stated_life(meta, name)
    years, source = _years(score, credit, work, collection, born, died)
    year = typical_year(born, died) if source == "life dates" else years.middle
    title, movement = _titles(meta, work, file)
    said = protected(stated or licence(file), composer)
    return WorkFacts(
        title=title,
        movement=movement,
        number=meta.get("number", "") or score.number,
        composer_id=composer.id if composer else "",
        composer=composer.name if composer else "" if anonymous else in_order(name),
        doubtful=_DOUBTFUL.search(name) is not None,
        born=born,
        died=died,
        year_from=years.first,
        year_to=years.last,
        year_source=source,
        year=year,
        period=period_of(year),
        genre=work["genre"] or collection["genre"] or _stated_genre(meta),
        cluster=_cluster(file, collection, composer, "" if anonymous else name),
        collection=collection["id"],
        collection_name=collection["name"],
        ensemble_hint=work["ensemble"] or collection["ensemble"],
        region=collection["region"] or meta.get("abc:O", "") or meta.get("OCY", ""),
        licence=said,
        guessed=guessed,
    )


def _name(
    file: SourceFile, credit: str, work: Mapping[str, str]
) -> tuple[str, tuple[str, ...]]:
    """The composer's name as text, and what was guessed to have it."""
    stated = credit if file.corpus == BUNDLED else music_by(work["composer"]) or credit
    folder = work.get("folder_composer", "")
    if stated or not folder:
        return stated, ()
    return folder, ("composer not stated: taken from the name of its folder",)


def _known(file: SourceFile) -> tuple[dict[str, str], dict[str, str]]:
    """Rows of the collections and works tables, elsewhere what the corpus's tables say."""
    if file.corpus == BUNDLED:
        return collection_of(file.relative), work_row(file.relative)
    columns = ("title", "composer", "genre", "ensemble", "cluster", "region")
    years = ("year_from", "year_to", "year_source")
    empty = dict.fromkeys((*columns, *years), "")
    work = empty | dict(file.known)
    shared = {"cluster": work["cluster"], "region": work["region"]}
    shared |= {"id": work.get("collection") or file.corpus}
    return empty | shared | {"name": work.get("collection_name") or file.corpus}, work


def _credit(meta: Mapping[str, str]) -> str:
    """The composer's credit; the lines of an ABC tune that name the music, if any do."""
    lines = meta.get("abc:C", "")
    return lines if "Music" in lines else meta.get("composer", "")


def _titles(
    meta: Mapping[str, str], work: Mapping[str, str], file: SourceFile
) -> tuple[str, str]:
    """Title and movement: from the works table, else the file, else the file's name."""
    path = PurePosixPath(file.relative)
    stated, movement = meta.get("title", ""), work.get("movement") or meta.get("movement", "")
    if stated.casefold() in (path.name.casefold(), path.stem.casefold()):
        stated = ""
    title = readable(work["title"] or stated or movement or path.stem)
    movement = readable(movement)
    # Where the table has the title, the file's own are scanned letters or generic.
    numbered = _NUMBERED.fullmatch(path.stem)
    if file.corpus == BUNDLED and work["title"] and numbered:
        movement = " ".join(numbered.groups())
    return title, "" if movement == title else movement


def readable(title: str) -> str:
    """A title without underscores, editors' brackets and numbers that stick to words.

    >>> readable("[Magne Pater] / Amatorem"), readable("In der Fremde [II]")
    ('Magne Pater / Amatorem', 'In der Fremde (II)')
    >>> readable("bwv66.6"), readable("D'un_matin_de_printemps")
    ('BWV 66.6', "D'un matin de printemps")
    """
    plain = re.sub(r"^bwv(?=\d)", "BWV ", title.replace("_", " "))
    plain = re.sub(r"^((?:\d+\. ?)?)\[([^\]]*)\]", r"\1\2", plain.strip())
    plain = re.sub(r"\[([^\]]*)\]", r"(\1)", plain)
    return " ".join(plain.split())


def _table_life(work: Mapping[str, str]) -> tuple[int | None, int | None]:
    """Life dates in a table of the corpus."""
    born, died = (parse_years(work.get(end, "")) for end in ("born", "died"))
    return born.middle if born else None, died.middle if died else None


def _stated_life(meta: Mapping[str, str], name: str) -> tuple[int | None, int | None]:
    """Life dates that the file gives: kern's CDT record, or after the composer's name."""
    if meta.get("CDT"):
        return parse_life(meta["CDT"])
    bracketed = _BRACKETED.findall(name)
    lives = [parse_life(text.strip("()[]")) for text in bracketed]
    # '(1780)' after a name dates the piece; a life has two ends or says born, died.
    said = [
        life
        for life, text in zip(lives, bracketed, strict=True)
        if None not in life or re.search(r"\b[bd]\.|\*|†|born|died", text)
    ]
    return said[0] if said else (None, None)


def _active_years(meta: Mapping[str, str], name: str) -> Years | None:
    """Years of activity that the file gives, in the places of life dates."""
    texts = [meta.get("CDT", ""), *(text.strip("()[]") for text in _BRACKETED.findall(name))]
    return next(filter(None, map(parse_active, texts)), None)


def _years(
    score: Score,
    name: str,
    work: Mapping[str, str],
    collection: Mapping[str, str],
    born: int | None,
    died: int | None,
) -> tuple[Years, str]:
    stated, source = _stated_years(score, name, work, born, died)
    if stated is not None and stated.middle is not None:
        return stated, source
    if work["year_source"]:
        return _row_years(work), "catalogue"
    if born is not None or died is not None:
        return Years(born, died), "life dates"
    active = _active_years(score.metadata, name)
    if active is not None:
        return active, "active"
    if stated is not None:  # an open end, such as '<1611'
        return stated, source
    if collection["year_source"]:
        return _row_years(collection), "collection"
    return Years(None, None), ""


def _row_years(row: Mapping[str, str]) -> Years:
    return Years(cell_year(row["year_from"]), cell_year(row["year_to"]))


def _stated_years(
    score: Score, name: str, work: Mapping[str, str], born: int | None, died: int | None
) -> tuple[Years | None, str]:
    """The first date that the composer can have written at, and what it is the date of."""
    meta = score.metadata
    texts = [(work.get("date", ""), work.get("date_of") or "stated")]
    texts += [(meta.get(key, ""), of) for key, of in _DATE_RECORDS]
    # A date in MusicXML is the encoding's; elsewhere a reader's 'date' is the work's.
    if score.format != "musicxml":
        texts.append((meta.get("date", ""), "stated"))
    # 'Stephen Foster 1854': a year after the name, where no life dates are meant.
    tail = SIGLUM.sub("", _BRACKETED.sub(" ", name))
    texts.append((tail if len(re.findall(r"\d{4}", tail)) == 1 else "", "stated"))
    for text, source in texts:
        years = parse_years(text) if text else None
        if years is None or (source == "published" and _century(years)):
            continue
        early = years.first if years.first is not None else years.last
        late = years.last if years.last is not None else years.first
        posthumous = died is not None and early is not None and early > died
        unborn = born is not None and late is not None and late <= born
        if not posthumous and not unborn:
            return _lived(years, born, died), source
    return None, ""


def _lived(years: Years, born: int | None, died: int | None) -> Years:
    """The part of a range in which the composer lived.

    One that begins before his birth, such as '18th century', begins with his working life.
    """
    if died is not None and years.last is not None and years.last > died:
        years = replace(years, last=died)
    if born is not None and years.first is not None and years.first < born:
        begins = working_life(born, died).first
        own = begins if begins and (years.last is None or begins <= years.last) else born
        years = replace(years, first=own)
    return years


def _century(years: Years) -> bool:
    return years.first == years.last and years.first is not None and years.first % 100 == 0


def _stated_genre(meta: Mapping[str, str]) -> str:
    said = meta.get("AGN", "") or meta.get("abc:R", "")
    first, *more = [part.strip().casefold() for part in re.split(r"[;:,(]", said)]
    # 'Sacred; Mass' is a mass; 'Sacred' alone says at least that.
    return more[0] if more and first in ("sacred", "secular") else first


def _cluster(
    file: SourceFile, collection: Mapping[str, str], composer: Composer | None, name: str
) -> str:
    if collection["cluster"]:
        return collection["cluster"]
    if composer is not None:
        return composer.id
    if name:
        return f"name:{composer_key(name)}"
    top = file.relative.split("/")[0] if "/" in file.relative else ""
    place = collection["id"] if file.corpus == BUNDLED or not top else f"{file.corpus}/{top}"
    return f"anonymous:{place}"
