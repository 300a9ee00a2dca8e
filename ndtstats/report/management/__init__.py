"""The page for management: all jobs, which welder, which job, how sure, and what it will cost."""

from ndtstats.report.management.facts import Costs, ManagementFacts, management_facts
from ndtstats.report.management.page import management_page

__all__ = ["Costs", "ManagementFacts", "management_facts", "management_page"]
