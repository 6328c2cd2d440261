"""Profiles as text and as JSON: those of a reference, and the one of a piece."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from corpusreg.norms.reference import MINIMUM_UNITS, MINIMUM_WORKS
from corpusreg.system.phrases import capital, plural
from corpusreg.system.plaintext import plain
from corpusreg.text.lines import items, wrap

__all__ = ["profiles_text"]


def profiles_text(found: Sequence[Mapping[str, Any]]) -> str:
    """All groups of works that were looked at, each with its profiles or with none."""
    if not found:
        return (
            "No group of works is large enough to look for profiles (wanted: "
            f"{MINIMUM_WORKS} works by {MINIMUM_UNITS} composers)."
        )
    return "\n\n".join("\n".join(_rung(rung)) for rung in found)


def _rung(rung: Mapping[str, Any]) -> list[str]:
    title = str(rung["title"])
    composers = plural(rung["composers"], "composer")
    counts = f"{plural(rung['works'], 'work')} by {composers}"
    lines = wrap(f"{capital(title)} ({counts}): {rung['words']}.")
    if rung["tried"] is not None:
        lines += wrap(_evidence(rung), indent="  ")
    for profile in rung["profiles"]:
        size = plural(profile["size"], "work")
        by = plural(profile["composers"], "composer")
        typical = "; ".join(f"{t['title']} ({t['composer']})" for t in profile["typical"])
        lines += items([f"Profile {profile['profile']}: {profile['words']} ({size} by {by})."])
        lines += wrap(plain(f"Typical: {typical}."), indent="    ")
    return lines


def _evidence(rung: Mapping[str, Any]) -> str:
    """The figures behind the verdict."""
    said = f"{rung['tried']} groups stand out most: silhouette {rung['silhouette']:.2f}, "
    said += f"against {rung['silhouette_null']:.2f} where there are no groups; "
    said += f"stability {rung['stability']:.2f}"
    if rung["stability_null"] is not None:
        said += f", against {rung['stability_null']:.2f}"
    return f"({said}.)"
