"""Pages to read: gathered from the other stages, rendered without a network, rounded only here."""

from ndtstats.report.context import QaPage, qa_page
from ndtstats.report.render import render_qa, write_qa

__all__ = ["QaPage", "qa_page", "render_qa", "write_qa"]
