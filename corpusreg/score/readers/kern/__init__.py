"""Humdrum kern files -> Score.

Reads spine splits, joins, exchanges, additions and ends (`spines`), tokens
(`tokens`), parts and staves (`parts`), times, barlines,
sections and played order (`timing`), **dynam columns and pedals
(`dynamics`). Columns of any other kind (text, figured bass, fingering,
alternative readings) are passed over.

Conventions: kern pitch is sounding pitch. *ITr (how a transposing instrument is
notated), octave clefs (*clefGv2) and ottava lines (*8va) change nothing; *Tr (the
encoding was moved) is taken back; see `parts`. Hidden notes (yy) sound,
notes between *cue and *Xcue are left out and counted.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from corpusreg.score.notes import Score, Sign, Tempo, note_table
from corpusreg.score.readers.kern.dynamics import dynamics_of, pedals_of
from corpusreg.score.readers.kern.parts import changes_of_instrument, place_tracks
from corpusreg.score.readers.kern.spines import Table, read_table
from corpusreg.score.readers.kern.timing import Measure, bar_table, expansion_list, run_table
from corpusreg.system.errors import ReadError

__all__ = ["read_kern", "read_kern_all"]

_MAX_BYTES = 64_000_000  # the largest open kern file seen is under 1 MB
_SEGMENT = "!!!!SEGMENT"
_MAPPED = (
    ("composer", ("COM",)),
    ("lyricist", ("LYR",)),
    ("rights", ("YEC", "YEM")),
    ("date", ("ODT", "PDT")),
    ("encoder", ("ENC", "EED")),
)


def read_kern(path: Path) -> Score:
    """The score of a kern file; of several segments, the first.

    Raises ReadError (file, line, what to do) where there is no note, the columns
    do not add up, or the file cannot be read.
    """
    name, segments = _segments(path)
    return _score(segments[0], name)


def read_kern_all(path: Path) -> list[Score]:
    """One Score for each !!!!SEGMENT of a file, in order; raises as `read_kern`."""
    name, segments = _segments(path)
    return [_score(segment, name) for segment in segments]


def _text(path: Path) -> str:
    """The file as text: UTF-8, with or without a mark, else Latin-1."""
    try:
        if path.stat().st_size > _MAX_BYTES:
            raise ReadError(f"{path.name}: over {_MAX_BYTES} bytes; split the file")
        data = path.read_bytes()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise ReadError(f"{path.name}: cannot be read ({reason}); check the path") from error
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _segments(path: Path) -> tuple[str, list[list[tuple[int, str]]]]:
    """The file's name and the numbered lines of each segment that has columns."""
    path = Path(path)
    segments: list[list[tuple[int, str]]] = [[]]
    open_columns = False
    for number, line in enumerate(_text(path).split("\n"), 1):
        if line.startswith(_SEGMENT) and open_columns:
            segments.append([])
            open_columns = False
        open_columns = open_columns or line.startswith("**")
        segments[-1].append((number, line))
    if not open_columns and len(segments) > 1:
        segments.pop()
    if not open_columns and len(segments) == 1:
        raise ReadError(f"{path.name}: no ** line begins a column; give a Humdrum kern file")
    return path.name, segments


def _metadata(table: Table) -> dict[str, str]:
    """Reference records under their own keys, and the keys used everywhere."""
    found: dict[str, list[str]] = {}
    for key, value in table.references:
        if value:
            found.setdefault(key, []).append(value)
    metadata = {key: "; ".join(values) for key, values in found.items()}
    for name, keys in _MAPPED:
        text = "; ".join(metadata[key] for key in keys if key in metadata)
        if text:
            metadata[name] = text if name == "rights" else text.split("; ")[0]
    titles = {"title": "OTL", "movement": "OMV", "number": "ONM"}
    if "OPR" in metadata:  # a movement or piece of a larger work
        titles = {"title": "OPR", "movement": "OTL", "number": "OMV"}
    metadata.update({name: metadata[key] for name, key in titles.items() if key in metadata})
    return metadata


def _wanted(table: Table) -> list[str] | None:
    """The default expansion list, where the file has one."""
    for track in table.tracks:
        for record in track.records:
            labels = expansion_list(record)
            if labels is not None:
                return labels
    return None


def _score(lines: list[tuple[int, str]], name: str) -> Score:
    table = read_table(lines, name)
    metadata = _metadata(table)
    parts, places = place_tracks(
        table, metadata.get("AIN", ""), metadata.get("system-decoration", "")
    )
    timeline = run_table(table, places)
    if not timeline.rows:
        raise ReadError(f"{name}: no **kern notes; nothing to measure in this file")
    count = len(timeline.measures)
    labels = [(bar, label) for bar, label in timeline.labels if bar < count and label]
    dynamics = dynamics_of(timeline, table, places)
    pedals = pedals_of(timeline, parts, places)
    bars, assumed = bar_table(timeline.measures, labels, _wanted(table), timeline.ticks)
    changed = changes_of_instrument(table)
    if changed:
        assumed.append(f"{changed} columns change instrument: the first one is kept")
    other = Counter(track.kind for track in table.tracks if "kern" in track.kind)
    del other["**kern"]
    left_out = timeline.left_out + Counter({f"spine {kind}": n for kind, n in other.items()})
    return Score(
        ticks=timeline.ticks,
        parts=parts,
        bars=bars,
        notes=note_table(timeline.rows),
        dynamics=dynamics,
        pedals=pedals,
        tempos=tuple(Tempo(tick, speed) for tick, speed in dict(timeline.tempos).items()),
        metadata=metadata,
        assumed=tuple(assumed + timeline.assumed),
        lost=dict(timeline.lost),
        left_out=dict(left_out),
        format="kern",
        signs=_signs(timeline.measures),
    )


def _signs(measures: list[Measure]) -> tuple[Sign, ...]:
    """What shows where movements end and begin: final barlines, new metres."""
    found = []
    for bar, measure in enumerate(measures):
        if bar and measure.metre != measures[bar - 1].metre:
            found.append(Sign(bar, "metre"))
        if measure.final:
            found.append(Sign(bar, "final"))
    return tuple(found)
