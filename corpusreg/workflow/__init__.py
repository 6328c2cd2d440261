"""What the commands do, as plain functions: no argument parsing, no printing."""

from corpusreg.workflow.ask import GROUPS, profiles, query, table
from corpusreg.workflow.build import DEFAULT_TIERS, Built, check, corpora_list, extract
from corpusreg.workflow.pictures import draw_map
from corpusreg.workflow.place import (
    Compared,
    compare_paths,
    heights,
    ranges,
    score_files,
    some_readable,
)

__all__ = [
    "DEFAULT_TIERS",
    "GROUPS",
    "Built",
    "Compared",
    "check",
    "compare_paths",
    "corpora_list",
    "draw_map",
    "extract",
    "heights",
    "profiles",
    "query",
    "ranges",
    "score_files",
    "some_readable",
    "table",
]
