"""Pages to read: gathered from the other stages, rendered without a network, rounded only here.

A page is built by one function (:func:`qa_page`, :func:`management_page` …) as a
:class:`ndtstats.report.page.Page` and written by :func:`write_page`;
:data:`ndtstats.report.pages.KINDS` lists the kinds there are.
"""

from ndtstats.report.management import management_facts, management_page
from ndtstats.report.page import Page
from ndtstats.report.qa import qa_facts, qa_page
from ndtstats.report.render import render_page, write_page

__all__ = [
    "Page",
    "management_facts",
    "management_page",
    "qa_facts",
    "qa_page",
    "render_page",
    "write_page",
]
