"""Required against achieved: how much of what the rules ask for has been examined.

Achieved is the union of examined intervals, so that overlapping exposures count once; a re-shoot
and a not-done count nothing. What is examined of one class counts for no other.
"""

from ndtstats.extent.sentence import amount_text, sentence
from ndtstats.extent.table import extent, extent_table

__all__ = ["amount_text", "extent", "extent_table", "sentence"]
