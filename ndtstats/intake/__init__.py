"""Files in: read as text, convert by the table's columns, check by the trade, load in one batch."""

from ndtstats.intake.headings import heading
from ndtstats.intake.load import LoadResult, load
from ndtstats.intake.mapping import Mapping, read_mapping
from ndtstats.intake.spreadsheet import Sheet, write_sheets, write_table, write_template

__all__ = [
    "LoadResult",
    "Mapping",
    "Sheet",
    "heading",
    "load",
    "read_mapping",
    "write_sheets",
    "write_table",
    "write_template",
]
