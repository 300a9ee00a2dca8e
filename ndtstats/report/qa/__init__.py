"""The page for the welding QA lead: of one job, what needs a decision first."""

from ndtstats.report.qa.facts import QaFacts, qa_facts
from ndtstats.report.qa.page import qa_page

__all__ = ["QaFacts", "qa_facts", "qa_page"]
