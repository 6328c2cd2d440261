"""What the commands do, as plain functions: no argument parsing, no printing."""

from corpusreg.workflow.ask import GROUPS, profiles, query, table
from corpusreg.workflow.build import DEFAULT_TIERS, Built, check, extract
from corpusreg.workflow.corpora import (
    Change,
    Shown,
    add_corpus,
    corpora_list,
    corpora_template,
    get_corpus,
    remove_corpus,
    show_corpus,
)
from corpusreg.workflow.coverage import Coverage, coverage
from corpusreg.workflow.examples import Examples, examples
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
    "Change",
    "Compared",
    "Coverage",
    "Examples",
    "Shown",
    "add_corpus",
    "check",
    "compare_paths",
    "corpora_list",
    "corpora_template",
    "coverage",
    "draw_map",
    "examples",
    "extract",
    "get_corpus",
    "heights",
    "profiles",
    "query",
    "ranges",
    "remove_corpus",
    "score_files",
    "show_corpus",
    "some_readable",
    "table",
]
