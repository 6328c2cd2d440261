"""Ensembles of a fixed set of the scores that music21's package carries."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from corpusreg.instruments.ensembles import classify
from corpusreg.score.notes import Score
from corpusreg.score.readers import read_scores

EXPECTED = {
    "bach/bwv10.7.mxl": "choir",
    "bach/bwv1.6.mxl": "voices and instruments",
    "bach/bwv12.7.mxl": "voices and instruments",
    "bach/bwv248.64-6.mxl": "voices and orchestra",
    "bach/bwv846.mxl": "piano",
    "beach/prayer_of_a_tired_child.musicxml": "choir",
    "beethoven/opus18no1/movement1.krn": "string quartet",
    "beethoven/opus133.mxl": "string quartet",
    "chopin/mazurka06-2.krn": "piano",
    "ciconia/quod_jactatur.xml": "solo melody",
    "corelli/opus3no1/1grave.xml": "string ensemble",
    "cpebach/h186.mxl": "piano",
    "handel/rinaldo/Lascia_chio_pianga.mxl": "song",
    "haydn/opus1no1/movement1.mxl": "string quartet",
    "johnson_j_r/lift_every_voice.mxl": "choir",
    "joplin/maple_leaf_rag.mxl": "piano",
    "josquin/adieuMesAmours.abc": "solo melody",
    "leadSheet/fosterBrownHair.mxl": "solo melody",
    "liliuokalani/aloha_oe.mxl": "choir",
    "luca/gloria.xml": "choir",
    "lusitano/allor_che_ignuda.mxl": "choir",
    "monteverdi/madrigal.3.1.mxl": "choir",
    "mozart/k155/movement1.mxl": "string quartet",
    "palestrina/Agnus_00.krn": "choir",
    "schoenberg/opus19/movement2.mxl": "piano",
    "schubert/Lindenbaum.xml": "song",
    "schumann_clara/opus17/movement3.xml": "chamber",
    "schumann_robert/opus48no2.mxl": "song",
    "trecento/Fava_Dicant_nunc_iudei.xml": "choir",
    "trecento/PMFC_01-Rex quem metrorum.xml": "choir",
    "weber/concertino_clarinet.mxl": "chamber",
    "webern/webern_dormi_jesu_op_16_no_2.mxl": "voices and instruments",
}


def bundled(name: str) -> Path:
    spec = find_spec("music21")
    assert spec is not None
    assert spec.submodule_search_locations
    return Path(spec.submodule_search_locations[0]) / "corpus" / name


def polyphonic(score: Score, part: int) -> bool:
    notes = score.notes[(score.notes["part"] == part) & (score.notes["duration"] > 0)]
    spans = np.sort(notes, order="onset")
    ends = np.maximum.accumulate(spans["onset"] + spans["duration"])
    return bool((spans["onset"][1:] < ends[:-1]).any())


@pytest.mark.parametrize("name", EXPECTED)
def test_bundled_score(name: str) -> None:
    (score, *_) = read_scores(bundled(name))
    numbers = range(len(score.parts))
    active = [bool((score.notes["part"] == part).any()) for part in numbers]
    found = classify(score.parts, active, [polyphonic(score, part) for part in numbers])
    assert found.kind == EXPECTED[name]
    assert found.texture == ("single line" if found.kind == "solo melody" else "several voices")
