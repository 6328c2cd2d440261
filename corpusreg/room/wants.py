"""What a writer may want of a piece, chosen from lists instead of written in words.

`wanted` makes of a choice the words that `corpusreg.revision.intentions` reads.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import cast

from corpusreg.revision.intentions import LIKE, intention
from corpusreg.session import PassageKind, Session
from corpusreg.system.errors import CorpusregError, UsageError

__all__ = ["WANTS", "Model", "bars", "models", "wanted"]


@dataclass(frozen=True)
class _Want:
    """words: as on the page. needs: 'bar', 'bars' (which may be left out), 'model' or ''."""

    words: str
    needs: str
    form: str


WANTS: Mapping[str, _Want] = {
    "clear-low": _Want("The low register falls silent, and enters in a bar", "bar",
                       "clear low before {bar}"),
    "clear-high": _Want("The high register falls silent, and enters in a bar", "bar",
                        "clear high before {bar}"),
    "hold": _Want("The bass waits for a bar", "bar", "hold bass until {bar}"),
    "lift": _Want("A held low sound stops in a bar", "bar", "lift drone at {bar}"),
    "move-at": _Want("A clear shift of register in a bar", "bar", "move more at {bar}"),
    "move": _Want("More movement between registers", "bars", "move more{bars}"),
    "narrower": _Want("Less space from the lowest to the highest note", "bars",
                      "narrower{bars}"),
    "respace": _Want("Low chords with more room in them", "bars", "respace{bars}"),
    "lighter": _Want("The same register with less sound", "bars", "lighter{bars}"),
    "model": _Want("Something like a passage from another work", "model", "{model}"),
}  # fmt: skip
_EACH = 4  # passages of a kind


@dataclass(frozen=True)
class Model:
    """A passage of the reference that can be aimed at. name: as intentions name it."""

    name: str
    words: str


def wanted(given: Mapping[str, str]) -> str:
    """The intention that a form has chosen: want, and bar, first and last, or model.

    Raises UsageError where something that it needs was not chosen.
    """
    want = WANTS.get(given.get("want", ""))
    if want is None:
        raise UsageError("nothing was chosen; choose what you want")
    bar, model = (given.get(name, "").strip() for name in ("bar", "model"))
    if want.needs == "bar" and not bar:
        raise UsageError("this needs a bar; choose one")
    if want.needs == "model" and not model:
        raise UsageError("this needs a passage; choose one from the list")
    run = bars(given)
    text = want.form.format(bar=bar, bars=run and f" in {run}", model=model)
    if want.needs == "model" and bar:
        text += f" at {bar}"
    intention(text)
    return text


def bars(given: Mapping[str, str]) -> str:
    """Bars that a form has chosen, as in '5-8', '' for all of them."""
    first, last = (given.get(name, "").strip() for name in ("first", "last"))
    if not first and not last:
        return ""
    first, last = first or last, last or first
    return first if first == last else f"{first}-{last}"


@lru_cache(maxsize=32)
def models(reference: str, ensemble: str) -> Mapping[str, tuple[Model, ...]]:
    """Passages by kind that can be aimed at, from works for an ensemble where there are any.

    reference: the id of the one in force, so that another one is asked anew.
    """
    found: dict[str, tuple[Model, ...]] = {}
    with Session() as session:
        for kind in LIKE:
            several = _passages(session, kind, ensemble) or _passages(session, kind, None)
            if several:
                found[kind] = several
    return found


def _passages(session: Session, kind: str, ensemble: str | None) -> tuple[Model, ...]:
    """Passages of a kind; none where the reference has no such works."""
    try:
        shown = session.examples(
            cast("PassageKind", kind), ensemble=ensemble, count=_EACH
        ).found.found
    except CorpusregError:
        return ()
    return tuple(
        Model(each.name, f"{each.composer}: {each.title}, {each.bars}") for each in shown
    )
