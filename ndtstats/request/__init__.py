"""The blind list for the contractor, and what came back against it."""

from ndtstats.request.matching import match_examinations
from ndtstats.request.open_spots import open_spots
from ndtstats.request.reconcile import STATES, reconcile
from ndtstats.request.write import Request, request_rows, write_request

__all__ = [
    "STATES",
    "Request",
    "match_examinations",
    "open_spots",
    "reconcile",
    "request_rows",
    "write_request",
]
