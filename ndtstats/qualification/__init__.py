"""Who may weld what, for how long, and on what evidence.

Schemes of qualification are data (:mod:`ndtstats.qualification.schemes`); from certificates, their
confirmations and the welder's work follow the spans in which each is in force
(:mod:`ndtstats.qualification.spans`), and from spans and ranges who may weld what.
"""

from ndtstats.qualification.cover import covered, pieces
from ndtstats.qualification.outside import outside, outside_of
from ndtstats.qualification.papers import Papers, papers_of
from ndtstats.qualification.schemes import Scheme, scheme_of, schemes
from ndtstats.qualification.spans import spans
from ndtstats.qualification.validity import validity
from ndtstats.qualification.who import (
    certificates,
    evidence,
    lapsing,
    may_weld,
    require_welder,
    sentence,
    with_evidence,
)

__all__ = [
    "Papers",
    "Scheme",
    "certificates",
    "covered",
    "evidence",
    "lapsing",
    "may_weld",
    "outside",
    "outside_of",
    "papers_of",
    "pieces",
    "require_welder",
    "scheme_of",
    "schemes",
    "sentence",
    "spans",
    "validity",
    "with_evidence",
]
