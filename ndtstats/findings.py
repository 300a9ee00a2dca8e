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
        text = f"{lead}{shown}{self.reason}{tail}"
        # A cell may hold what steers a terminal, or turns its writing direction.
        return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


@dataclass(frozen=True, slots=True)
class Code:
    """What a finding code means, for the documentation and for tests."""

    severity: Severity
    meaning: str


#: Every code a finding can carry.
CODES: dict[str, Code] = {
    # what stands in one cell
    "MISSING": Code("error", "a required cell is blank"),
    "NUMBER": Code("error", "not a number"),
    "NUMBER-AMBIGUOUS": Code("error", "a number that can be read two ways"),
    "NUMBERS": Code("error", "not a list of positions"),
    "WHOLE": Code("error", "not a whole number"),
    "BOUND": Code("error", "a number outside its bounds"),
    "DATE": Code("error", "not a date"),
    "DATE-AMBIGUOUS": Code("error", "a date that can be read two ways"),
    "FLAG": Code("error", "neither yes nor no"),
    "WORD": Code("error", "not one of the words allowed"),
    # what the row is about
    "TWICE": Code("error", "the same key twice in one file, with other content"),
    "JOB-UNKNOWN": Code("error", "the register has no such job"),
    "ZONE-UNKNOWN": Code("error", "the job has no such zone"),
    "JOINT-UNKNOWN": Code("error", "the job has no such joint"),
    "WELDER-UNKNOWN": Code("error", "the register has no such welder"),
    "CERTIFICATE-UNKNOWN": Code("error", "the welder has no such certificate"),
    "REQUEST-JOINT": Code("error", "the requested spot is on another joint"),
    "CATEGORY-UNKNOWN": Code("error", "no rule in force names the category"),
    # what the trade forbids
    "BEYOND-JOINT": Code("error", "a place beyond the end of its joint"),
    "BEFORE-WELDED": Code("error", "examined before it was welded"),
    "NO-REJECT-BEFORE": Code("error", "a repair examined with no reject before it"),
    "OUTSIDE-SPOT": Code("error", "an indication outside its spot"),
    "ACCEPTED-REJECTABLE": Code("error", "accepted with a rejectable indication"),
    # what somebody has to look at
    "REQUEST-UNKNOWN": Code("warning", "no plan asked for such a spot"),
    "REQUEST-METHOD": Code("warning", "the spot was requested by another method"),
    "RT-ON-FILLET": Code("warning", "a fillet examined by a method that looks inside"),
    "EXPOSURE-TWICE": Code("warning", "one exposure number for two places"),
    "UNQUALIFIED": Code("warning", "welded without a qualification that covers it on the day"),
    "HOLD-TIME": Code("warning", "examined sooner after welding than the rule's hold time"),
    "NO-VISUAL": Code("warning", "examined inside with no accepted visual examination before"),
    "NO-REASON": Code("warning", "not done, without a reason"),
    "IMPERFECTION-UNKNOWN": Code("warning", "not a known ISO 6520-1 number"),
    "CERTIFICATE-OUT": Code("warning", "a certificate that ends before it begins"),
}
