"""What may be done with a score file: one of four tiers, with the words that say so.

open           public domain, CC0, CC BY, CC BY-SA or GPL stated
permitted      a public-domain work whose encoding is distributed with the encoder's
               permission and with no restriction stated
noncommercial  commercial use excluded
reserved       rights reserved, a publisher's mark, a bare copyright sign, a work
               still protected, or nothing said at all outside a known collection

The file's own words decide (rules in data/licence_rules.csv, first match wins, the
most restrictive first); where they do not, its collection's row (data/collections.csv)
does, in other corpora what their own tables say (`SourceFile.known`), and else a
licence file beside or above the score.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from corpusreg.corpus.authority import Composer, resolve
from corpusreg.corpus.bundle import collection_of, work_row
from corpusreg.corpus.files import BUNDLED, SourceFile
from corpusreg.corpus.heads import Head, read_head
from corpusreg.corpus.tables import rows

__all__ = ["TIERS", "Licence", "licence", "licence_of", "protected", "tier_of_words"]

TIERS = ("open", "permitted", "noncommercial", "reserved")

# Protection ends 70 years after death in most countries: at the end of 2025 it had
# ended for those who died in 1955 or before (Directive 2006/116/EC, article 1).
LAST_FREE_DEATH = 1955
_LICENCE_NAMES = ("license", "licence", "copying")


@dataclass(frozen=True)
class Licence:
    """tier: one of TIERS; statement: the words relied on; evidence: where they stand;
    reason: in short, why that gives the tier."""

    tier: str
    statement: str
    evidence: str
    reason: str


def licence(file: SourceFile) -> Licence:
    """Licence of a file of any corpus, from its own words, else its collection's."""
    head = read_head(file.path, file.format)
    said = _from_head(head)
    if said is None:
        said = _from_collection(file.relative) if file.corpus == BUNDLED else _from_folder(file)
    return protected(said, _composer(file, head))


def licence_of(path: Path, format: str) -> Licence:
    """Licence of a single file from its own words alone; 'reserved' where it says nothing."""
    head = read_head(Path(path), format)
    return protected(_from_head(head) or _NOTHING, resolve(head.composer))


def protected(stated: Licence, composer: Composer | None) -> Licence:
    """The licence as it stands, or 'reserved' when the work itself is still protected."""
    if composer is None or stated.tier == "reserved":
        return stated
    died, born = composer.died, composer.born
    alive = died is None and born is not None and born > LAST_FREE_DEATH - 70
    if not alive and (died is None or died <= LAST_FREE_DEATH):
        return stated
    ending = f"died {died}" if died else "no date of death known"
    return replace(
        stated,
        tier="reserved",
        evidence=f"{stated.evidence}; {composer.name}, {ending} (composers table)",
        reason=f"the work is still protected: {composer.name} {ending}",
    )


def tier_of_words(text: str) -> tuple[str, str] | None:
    """Tier and reason that a statement's words give, None where no rule speaks.

    >>> tier_of_words("All Rights Reserved")[0], tier_of_words("CC BY-SA 4.0")[0]
    ('reserved', 'open')
    """
    for rule in _rules():
        if rule[0].search(text):
            return rule[1], rule[2]
    return None


_NOTHING = Licence(
    "reserved",
    "nothing stated",
    "no words on rights in the file or in a licence file beside it",
    "nothing is stated, so nothing is allowed",
)


@cache
def _rules() -> tuple[tuple[re.Pattern[str], str, str], ...]:
    return tuple(
        (re.compile(row["pattern"], re.I | re.S), row["tier"], row["reason"])
        for row in rows("licence_rules.csv")
    )


def _from_head(head: Head) -> Licence | None:
    if not head.statements:
        return None
    found = tier_of_words(" / ".join(dict.fromkeys(words for _, words in head.statements)))
    if found is None:
        return None
    # Quote the lines that decide; a statement spread over several lines is quoted whole.
    telling = [s for s in head.statements if tier_of_words(s[1]) == found]
    said = telling or list(head.statements)
    text = " / ".join(dict.fromkeys(words for _, words in said))
    places = ", ".join(dict.fromkeys(place for place, _ in said))
    return Licence(found[0], text[:400], f"in the file: {places}", found[1])


def _from_collection(relative: str) -> Licence:
    row = collection_of(relative)
    return Licence(row["tier"], row["statement"], row["evidence"], row["reason"])


def _from_folder(file: SourceFile) -> Licence:
    """What the corpus states, or the nearest licence file up to its root, both included."""
    known = dict(file.known)
    if known.get("tier"):
        return Licence(*(known[part] for part in ("tier", "statement", "evidence", "reason")))
    place = file.path.parent
    for _ in range(file.relative.count("/") + 1):
        found = _licence_file(place)
        if found is not None:
            return found
        place = place.parent
    return _NOTHING


@cache
def _licence_file(place: Path) -> Licence | None:
    try:
        names = sorted(p for p in place.iterdir() if p.stem.lower() in _LICENCE_NAMES)
        texts = [(p, p.read_bytes()[:64_000].decode("utf-8", "replace")) for p in names]
    except OSError:
        return None
    for path, text in texts:
        found = tier_of_words(text)
        if found is not None:
            words = re.sub(r"\s+", " ", text).strip()[:200]
            return Licence(found[0], words, f"in {path.name} of its folder", found[1])
    return None


def _composer(file: SourceFile, head: Head) -> Composer | None:
    if file.corpus != BUNDLED:
        return resolve(dict(file.known).get("composer") or head.composer)
    row = work_row(file.relative)
    return resolve(row["composer"] or collection_of(file.relative)["composer"] or head.composer)
