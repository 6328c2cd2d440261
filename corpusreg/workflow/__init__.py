"""What the commands do, as plain functions: no argument parsing, no printing."""

from corpusreg.workflow.ask import COLUMNS, GROUPS, profiles, query, table, ungrouped
from corpusreg.workflow.build import DEFAULT_TIERS, Built, check, extract, reference_state
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
    one_draft,
    ranges,
    score_files,
    some_readable,
)
from corpusreg.workflow.revise import Contrast, Revised, Revision, contrast, intention, revise

__all__ = [
    "COLUMNS",
    "DEFAULT_TIERS",
    "GROUPS",
    "Built",
    "Change",
    "Compared",
    "Contrast",
    "Coverage",
    "Examples",
    "Revised",
    "Revision",
    "Shown",
    "add_corpus",
    "check",
    "compare_paths",
    "contrast",
    "corpora_list",
    "corpora_template",
    "coverage",
    "draw_map",
    "examples",
    "extract",
    "get_corpus",
    "heights",
    "intention",
    "one_draft",
    "profiles",
    "query",
    "ranges",
    "reference_state",
    "remove_corpus",
    "revise",
    "score_files",
    "show_corpus",
    "some_readable",
    "table",
    "ungrouped",
]
