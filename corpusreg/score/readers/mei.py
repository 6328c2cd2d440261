"""What music21 leaves out of an MEI file, read from its XML.

music21 gives the notes; it passes over braces, labels of staves, the title of the
file, dynamics and pedal (version 10.5). Staves, names and titles are read here;
dynamics, hairpins and pedal are only counted, so that their loss can be told.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

__all__ = ["MeiFacts", "read_facts"]

_UNREAD = {
    "dynam": "dynamics (music21 does not read them from MEI)",
    "hairpin": "hairpins (music21 does not read them from MEI)",
    "pedal": "pedal marks (music21 does not read them from MEI)",
}
_VARIANTS = frozenset(("rdg", "sic", "abbr", "orig"))  # the other reading is the text


@dataclass
class MeiFacts:
    """Facts of one MEI file.

    braces: for each staff in score order, the number of its brace, or -1. names:
    its label. notes: pitched notes in the text, readings counted once.
    """

    braces: list[int] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    metadata: dict[str, str] = field(default_factory=dict)
    unread: dict[str, int] = field(default_factory=dict)
    notes: int = 0


def read_facts(path: Path) -> MeiFacts:
    """Read the facts; entities are not expanded and nothing is fetched.

    What is not well formed is passed over here: music21 decides what it refuses.
    """
    from lxml import etree

    # recover: many files have xml:id values that begin with a digit, which lxml refuses
    parser = etree.XMLParser(resolve_entities=False, no_network=True, recover=True)
    root = etree.parse(str(path), parser).getroot()
    facts = MeiFacts()
    if root is None:
        return facts
    braces: dict[Any, int] = {}
    seen: set[str] = set()
    counts: Counter[str] = Counter()
    for element in root.iter("{*}*"):
        tag = etree.QName(element).localname
        if tag == "staffDef" and element.get("n") not in seen:
            seen.add(element.get("n"))
            groups = [g for g in element.iterancestors("{*}staffGrp") if _is_braced(g)]
            group = groups[0] if groups else None
            number = -1 if group is None else braces.setdefault(group, len(braces))
            facts.braces.append(number)
            facts.names.append(_label(element) or ("" if group is None else _label(group)))
        elif tag in _UNREAD:
            counts[_UNREAD[tag]] += 1
        elif tag == "note" and not _is_variant(element):
            facts.notes += 1
    facts.unread = dict(counts)
    facts.metadata = _titles(root)
    return facts


def _is_braced(group: Any) -> bool:
    """Whether a brace stands before the staves: an attribute, or an element since MEI 4."""
    sign = group.find("{*}grpSym")
    return "brace" in (group.get("symbol"), None if sign is None else sign.get("symbol"))


def _label(element: Any) -> str:
    child = element.find("{*}label")
    text = element.get("label") or ("" if child is None else "".join(child.itertext()))
    return " ".join(text.split())


def _is_variant(element: Any) -> bool:
    return any(a.tag.rpartition("}")[2] in _VARIANTS for a in element.iterancestors("{*}*"))


def _titles(root: Any) -> dict[str, str]:
    found: dict[str, str] = {}
    for key, paths in (
        ("title", (".//{*}fileDesc/{*}titleStmt/{*}title",)),
        (
            "composer",
            (
                ".//{*}titleStmt/{*}composer",
                ".//{*}titleStmt/{*}respStmt/{*}persName[@role='composer']",
            ),
        ),
        ("rights", (".//{*}pubStmt/{*}availability",)),
    ):
        elements = (root.find(path) for path in paths)
        texts = (" ".join("".join(e.itertext()).split()) for e in elements if e is not None)
        if text := next(filter(None, texts), ""):
            found[key] = text
    return found
