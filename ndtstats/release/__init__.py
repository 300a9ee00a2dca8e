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
from ndtstats.release.warnings import answer_warnings, warnings_of, warnings_sentence

__all__ = [
    "CHECKS",
    "GATES",
    "Milestone",
    "Paper",
    "Release",
    "answer_warnings",
    "override",
    "release",
    "release_paper",
    "releases",
    "releases_table",
    "sentence",
    "sign",
    "warnings_of",
    "warnings_sentence",
    "write_paper",
]
