"""Famous high and low passages of open scores, and what is said of each.

A player knows these passages as high or low. The page has the sentence that `heights` says
of each, so that a player can judge it; nothing is asserted.

Run: python tests/benchmarks/famous.py FOLDER [--write]
FOLDER holds the open corpora by name, as `corpusreg corpora get NAME` fetches them.
`--write` stores the page as reports/guide/passages.md.
"""

from __future__ import annotations

import sys
from pathlib import Path

from corpusreg.session import Session
from corpusreg.text.heights import passage_words
from corpusreg.text.tabular import wrap

PAGE = Path(__file__).resolve().parents[2] / "reports" / "guide" / "passages.md"
_BRAHMS = "orchestra/data/Brahms,_Johannes/"
_BEETHOVEN = "orchestra/data/Beethoven,_Ludwig_van/"
_BACH = "orchestra/data/Bach,_Johann_Sebastian/B_Minor_Mass,_BWV.232/"
_HAYDN = "String_Quartet_in_C_major,_Hob.III32,_Op.20_No.2/sq8088531.mxl"
_DEBUSSY = "String_Quartet_in_G_minor,_Op.10/sq8661306.mxl"
_MOZART = "String_Quartet_No.21_in_D_major,_K.575/sq16138966.mxl"
# Work, who plays, file, bars, part, number, instrument where the file names none.
PASSAGES = (
    ("Mozart, The Magic Flute: the Queen of the Night's second aria", "soprano", "library/ftp/"
     "MozartWA/KV620/magicflute-14-aria/magicflute-14-aria-lys/MF14-ArieScore.ly", "24-44",
     "nacht", None, "soprano"),
    ("Beethoven, Symphony No. 9, finale: 'vor Gott'", "the sopranos",
     f"{_BEETHOVEN}Symphony_No.9,_Op.125/4/Beethoven_Op.125_4.mxl", "326-331", "soprano",
     None, ""),
    ("Beethoven, Symphony No. 9, finale: 'O Freunde'", "the bass soloist",
     f"{_BEETHOVEN}Symphony_No.9,_Op.125/4/Beethoven_Op.125_4.mxl", "216-236", "bass solo",
     None, ""),
    ("Bach, Mass in B minor: Gloria", "the first trumpet", f"{_BACH}04/Bach_BWV.232_04.mxl",
     "10-21", "Tromba 1", None, ""),
    ("Bach, Mass in B minor: Quoniam", "the first bassoon",
     f"{_BACH}09a/Bach_BWV.232_09a.mxl", "56-65", "Bassoon 1", None, ""),
    ("Beethoven, Symphony No. 9: Adagio", "the fourth horn",
     f"{_BEETHOVEN}Symphony_No.9,_Op.125/3/Beethoven_Op.125_3.mxl", "83-96", "Horn 4", None,
     ""),
    ("Brahms, Symphony No. 1: Andante", "the solo violin",
     f"{_BRAHMS}Symphony_No.1,_Op.68/2/Brahms_Op.68_2.mxl", "90-105", "violin 1 solo", None,
     ""),
    ("Boulanger, D'un matin de printemps", "the second flute",
     "orchestra/data/Boulanger,_Lili/D'un_matin_de_printemps/D'un_matin_de_printemps.mxl",
     "144-159", "Flute 2", None, ""),
    ("Haydn, Quartet op. 20 no. 2: opening", "the cello, with the tune",
     f"quartets/scores/Haydn,_Joseph/{_HAYDN}", "1-6", "cello", "1", ""),
    ("Mozart, Quartet K. 575: Andante", "the cello",
     f"quartets/scores/Mozart,_Wolfgang_Amadeus/{_MOZART}", "37-49", "cello", "2", ""),
    ("Debussy, Quartet: Andantino", "the viola", f"quartets/scores/Debussy,_Claude/{_DEBUSSY}",
     "62-75", "viola", "3", ""),
    ("Beethoven, Symphony No. 5: trio of the scherzo", "the double basses",
     f"{_BEETHOVEN}Symphony_No.5,_Op.67/3/Beethoven_Op.67_3.mxl", "141-160", "contrabass",
     None, ""),
    ("Chopin, Prelude op. 28 no. 2", "the piano, low and dark",
     "first-editions/kern/028-1-BH-002.krn", "1-12", None, None, "piano"),
)  # fmt: skip


def page(folder: Path) -> str:
    """The page in Markdown."""
    lines = [
        "# Famous high and low passages",
        "",
        "What `heights` says of passages that players know as high or low, in scores of the",
        "open corpora, among what the reference that ships holds. Made by",
        "`python tests/benchmarks/famous.py FOLDER --write`.",
    ]
    with Session() as session:
        for work, who, file, bars, part, number, on in PASSAGES:
            answer = session.heights(
                folder / file, bars, part=part, number=number, on=[on] if on else []
            )
            said = passage_words(answer.result)
            where = f"bars {bars.replace('-', '–')}"
            lines += ["", f"**{work}**, {who}, {where}.", *wrap(said, "> ", "> ")]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Print the page, and store it where that is asked for."""
    folder, *options = sys.argv[1:]
    text = page(Path(folder))
    print(text)
    if "--write" in options:
        PAGE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
