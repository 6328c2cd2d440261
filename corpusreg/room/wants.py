"""What a writer may want of a piece, chosen from lists instead of written in words.

`wanted` makes of a choice the words that `corpusreg.revision.intentions` reads.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import cast

from corpusreg.comparison.class_piece import ClassPiece
from corpusreg.revision.intentions import LIKE, intention
from corpusreg.session import PassageKind, Session
from corpusreg.system.errors import CorpusregError, UsageError

__all__ = ["WANTS", "Model", "bars", "fitting", "models", "parts_to_give", "wanted"]


@dataclass(frozen=True)
class _Want:
    """words: as on the page. needs: 'bar', 'bars' (which may be left out), 'model', 'part' or
    ''."""

    words: str
    needs: str
    form: str


WANTS: Mapping[str, _Want] = {
    "clear-low": _Want("The low register falls silent and enters in a chosen bar", "bar",
                       "clear low before {bar}"),
    "clear-high": _Want("The high register falls silent and enters in a chosen bar", "bar",
                        "clear high before {bar}"),
    "hold": _Want("The bass is withheld until a chosen bar", "bar", "hold bass until {bar}"),
    "lift": _Want("A held low sound stops in a chosen bar", "bar", "lift drone at {bar}"),
    "move-at": _Want("A clear shift of register in a chosen bar", "bar", "move more at {bar}"),
    "move": _Want("More movement between registers", "bars", "move more{bars}"),
    "narrower": _Want("Less space from the lowest to the highest note", "bars",
                      "narrower{bars}"),
    "respace": _Want("Low chords with more room in them", "bars", "respace{bars}"),
    "lighter": _Want("The same register with less sound", "bars", "lighter{bars}"),
    "give": _Want("A line that lies high or low, given to a player whom it suits", "part",
                  "give {part}{bars}"),
    "model": _Want("Something like a passage from another work", "model", "{model}"),
}  # fmt: skip
_EACH = 4  # passages of a kind


_DWELL = frozenset(("longest_dwell", "expected_dwell", "narrow_dwell"))
_MOVES = frozenset(("movement_beat", "movement_bar", "movement_phrase", "shift_rate"))
_SPACE = frozenset(("span", "core_span", "octaves_in_use"))
_OUTER = 25  # percentiles within which of an end a measure asks for the other way


def fitting(told: Sequence[ClassPiece]) -> dict[str, _Want]:
    """All wants, those first that what is told of a piece's works asks for.

    'give' is among them only where a part lies high or low.
    """
    ranks = {
        (name, place.percentile)
        for each in told
        for name, place in each.places.items()
        if place.percentile is not None and not place.tied
    }
    low = {name for name, rank in ranks if rank <= _OUTER}
    high = {name for name, rank in ranks if rank >= 100 - _OUTER}
    devices = {event.device for each in told for event in each.happenings}
    still = bool(low & _MOVES or high & _DWELL)
    lines = parts_to_give(told)
    fits = {
        "clear-low": still,
        "clear-high": still,
        "hold": "withheld_bass" not in devices and not all(each.single_line for each in told),
        "lift": "pedal_point" in devices,
        "move-at": still,
        "move": still,
        "narrower": bool(high & _SPACE),
        "lighter": bool(high & _DWELL),
        "give": bool(lines),
    }
    shown = {name: want for name, want in WANTS.items() if name != "give" or lines}
    return dict(sorted(shown.items(), key=lambda item: not fits.get(item[0], False)))


def parts_to_give(told: Sequence[ClassPiece]) -> tuple[str, ...]:
    """Parts that lie high or low for their instrument, each once."""
    return tuple(
        dict.fromkeys(line.part for each in told for line in each.players if line.part)
    )


@dataclass(frozen=True)
class Model:
    """A passage of the reference that can be aimed at. name: as intentions name it."""

    name: str
    words: str


def wanted(given: Mapping[str, str]) -> str:
    """The intention that a form has chosen: want, and bar, first and last, part, or model.

    Raises UsageError where something that it needs was not chosen.
    """
    want = WANTS.get(given.get("want", ""))
    if want is None:
        raise UsageError("nothing was chosen; choose what you want")
    bar, model, part = (given.get(name, "").strip() for name in ("bar", "model", "part"))
    if want.needs == "bar" and not bar:
        raise UsageError("this needs a bar; choose one")
    if want.needs == "model" and not model:
        raise UsageError("this needs a passage; choose one from the list")
    if want.needs == "part" and not part:
        raise UsageError("this needs a part; choose one from the list")
    run = bars(given)
    text = want.form.format(bar=bar, bars=run and f" in {run}", model=model, part=part)
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
        ).result.passages
    except CorpusregError:
        return ()
    return tuple(
        Model(each.name, f"{each.composer}: {each.title}, {each.bars}") for each in shown
    )
