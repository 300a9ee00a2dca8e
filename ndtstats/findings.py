"""Findings: problems in data, told as values, with their place and what would be right."""

from dataclasses import dataclass
from typing import Literal

Severity = Literal["error", "warning"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One problem in one place of one file.

    Attributes
    ----------
    code : str
        One of :data:`CODES`.
    severity : {"error", "warning"}
        An error stops its row; a warning is kept with the row and shown until it is dealt with.
    reason : str
        What is wrong, as the end of a sentence ("is not a verdict").
    remedy : str
        What would be right ("did you mean "reject"?").
    file, sheet, column, value : str or None
        Where it stands; ``column`` by its name in this package.
    row : int or None
        The row as the spreadsheet counts it, the first being 1.

    Examples
    --------
    >>> print(Finding("WORD", "error", "is not a verdict", 'did you mean "reject"?',
    ...               file="results.xlsx", sheet="Results", row=17, column="verdict",
    ...               value="rejcet"))
    results.xlsx, sheet Results, row 17, column verdict: "rejcet" is not a verdict;
    did you mean "reject"?
    """

    code: str
    severity: Severity
    reason: str
    remedy: str
    file: str | None = None
    sheet: str | None = None
    row: int | None = None
    column: str | None = None
    value: str | None = None

    def __str__(self) -> str:
        """Return the finding as one sentence."""
        place = ", ".join(
            part
            for part in (
                self.file,
                f"sheet {self.sheet}" if self.sheet else None,
                f"row {self.row}" if self.row is not None else None,
                f"column {self.column}" if self.column else None,
            )
            if part
        )
        shown = f'"{self.value}" ' if self.value is not None else ""
        lead = f"{place}: " if place else ""
        tail = f"; {self.remedy}" if self.remedy else ""
        return f"{lead}{shown}{self.reason}{tail}"


@dataclass(frozen=True, slots=True)
class Code:
    """What a finding code means, for the documentation and for tests."""

    severity: Severity
    meaning: str


#: Every code a finding can carry.
CODES: dict[str, Code] = {}
