"""Whether a zone may be closed, turned, tested, painted or handed over, and what hinders it."""

from ndtstats.release.ask import (
    Release,
    override,
    release,
    releases,
    releases_table,
    sentence,
    sign,
)
from ndtstats.release.document import release_paper
from ndtstats.release.gates import CHECKS, GATES, Milestone
from ndtstats.release.paper import Paper, write_paper
from ndtstats.release.sheets import Walk, walk_page, write_walk
from ndtstats.release.tests import tightness_sentence, zone_tests
from ndtstats.release.walk import walk_list, walk_sentence, zones_asked
from ndtstats.release.warnings import answer_warnings, warnings_of, warnings_sentence

__all__ = [
    "CHECKS",
    "GATES",
    "Milestone",
    "Paper",
    "Release",
    "Walk",
    "answer_warnings",
    "override",
    "release",
    "release_paper",
    "releases",
    "releases_table",
    "sentence",
    "sign",
    "tightness_sentence",
    "walk_list",
    "walk_page",
    "walk_sentence",
    "warnings_of",
    "warnings_sentence",
    "write_paper",
    "write_walk",
    "zone_tests",
    "zones_asked",
]
