"""The MusicXML 4.0 schema, for tests: from the package `musicxml`, which carries it.

The schema imports two others by address; stand-ins declare the attributes that it uses
(xml:lang, xml:space, xlink:*), so that nothing is fetched.
Source: MusicXML 4.0 XSD, W3C Music Notation Community Group 2021.
"""

from __future__ import annotations

import tempfile
from functools import lru_cache
from importlib.metadata import files
from pathlib import Path

from lxml import etree

from corpusreg.score.rewrite.musicxml import parsed

_ADDRESS = "http://www.musicxml.org/xsd/"
_SCHEMA = (
    '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="{space}">'
    "{attributes}</xs:schema>"
)
_IMPORTED = {
    "xml.xsd": (
        "http://www.w3.org/XML/1998/namespace",
        {"lang": "language", "space": "NCName"},
    ),
    "xlink.xsd": (
        "http://www.w3.org/1999/xlink",
        {"href": "anyURI"}
        | dict.fromkeys(("type", "role", "title", "show", "actuate"), "token"),
    ),
}


@lru_cache
def schema() -> etree.XMLSchema:
    """The schema, ready to validate."""
    (found,) = (f for f in files("musicxml") or () if f.name == "musicxml_4_0.xsd")
    with tempfile.TemporaryDirectory() as folder:
        for name, (space, kinds) in _IMPORTED.items():
            attributes = "".join(
                f'<xs:attribute name="{attribute}" type="xs:{kind}"/>'
                for attribute, kind in kinds.items()
            )
            text = _SCHEMA.format(space=space, attributes=attributes)
            (Path(folder) / name).write_text(text, encoding="utf-8")
        text = Path(str(found.locate())).read_text(encoding="utf-8").replace(_ADDRESS, "")
        main = Path(folder) / "musicxml.xsd"
        main.write_text(text, encoding="utf-8")
        return etree.XMLSchema(etree.parse(str(main)))


def faults(path: Path) -> list[str]:
    """What a MusicXML file, plain or .mxl, does against the schema, one line each."""
    checked = schema()
    checked.validate(parsed(path))
    return [f"line {error.line}: {error.message}" for error in checked.error_log]
