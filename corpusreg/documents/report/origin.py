"""How the numbers of a report were made, and how each can be followed up."""

from __future__ import annotations

from corpusreg.comparison.comparison import Comparison, PlacedMeasure
from corpusreg.documents.report.model import Origin, Trace
from corpusreg.documents.report.terms import Explainer
from corpusreg.measures.definitions import VERSION
from corpusreg.norms.profiles.model import PlacedProfile
from corpusreg.system.plaintext import plain
from corpusreg.text import sentences

__all__ = ["origin"]

_ASKED_BY = ("ensemble", "family", "texture")  # parameters of behind_a_percentile


def origin(c: Comparison, reference_id: str, explain: Explainer) -> Origin:
    """Cohort, counts, versions, and queries by which they are traced."""
    cohort = c.cohort
    said = (
        f"Compared with {sentences.cohort_words(cohort)}.",
        "Every composer, and every source of anonymous music, counts the same, however many "
        f"works are there: together they are worth {cohort.effective:.1f} works that all "
        "weigh the same.",
        "Works of about the piece's own length count most; of a piece that is in the "
        "reference its own copies are left out.",
        "A rank says how many of these works in 100 lie below the piece; with other works of "
        "the same kind it would lie within its interval about 19 times in 20. It describes "
        "a place and is no mark: neither end is better.",
    )
    return Origin(
        sentences=said,
        cohort=cohort.rung.name,
        works=cohort.works,
        composers=cohort.composers,
        sources=cohort.sources,
        collections=cohort.collections,
        effective=round(cohort.effective, 1),
        reference_id=reference_id,
        definitions=VERSION,
        traces=tuple(_traces(c)),
        terms=explain(said),
    )


def _traces(c: Comparison) -> list[Trace]:
    found = [Trace("Which reference is in force, and is all well with it?", _check())]
    where = c.cohort.rung.where
    if set(where) <= set(_ASKED_BY):
        for each in _traced(c):
            asked = [f"value={round(each.value or 0.0, 4):g}", f"measure={each.measure.name}"]
            asked += [f"{name}={value}" for name, value in where.items()]
            found.append(
                Trace(
                    f"Which works lie where this piece lies in {each.measure.title}?",
                    _query("behind_a_percentile", asked),
                )
            )
    if isinstance(c.profile, PlacedProfile) and c.profile.nearest:
        near = c.profile.nearest[0]
        work = [f"work={near.work}"]
        found.append(
            Trace(
                f"In which bars does {plain(near.title)} stay and shift?",
                _query("bars_of_work", work),
            )
        )
    found.append(Trace("How many works has each ensemble and period?", _query("thin_cohorts")))
    return found


def _traced(c: Comparison) -> list[PlacedMeasure]:
    """The measures that stand out, otherwise the first that is placed."""
    out = [each for each, _ in sentences.leading(c)[:3]]
    placed = [each for each in c.measures if each.placement.percentile is not None]
    return [each for each in out or placed[:1] if each.value is not None]


def _check() -> str:
    return "corpusreg check"


def _query(name: str, asked: list[str] | None = None) -> str:
    """A command line; words with spaces or signs are quoted as a shell wants them."""
    import shlex

    return " ".join(["corpusreg query", name, *map(shlex.quote, asked or [])])
