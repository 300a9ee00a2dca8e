"""The page for the examination contractor: his own images and answers, and nothing of the welds."""

from ndtstats.report.contractor.facts import ContractorFacts, contractor_facts
from ndtstats.report.contractor.page import contractor_page

__all__ = ["ContractorFacts", "contractor_facts", "contractor_page"]
