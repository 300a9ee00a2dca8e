"""Every table that people load and every column of it, defined once.

Loading, templates, the schema of the register and the documentation are all driven by
:data:`TABLES`. Words of standards: processes ISO 4063, positions ISO 6947, methods ISO 9712,
imperfections ISO 6520-1, joint types ISO 17659, material groups ISO/TR 15608.
"""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["text", "number", "numbers", "whole", "date", "flag"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    name : str
        Its name, with the unit where it has one.
    kind : str
        ``text``, ``number``, ``numbers`` (several, parted by semicolons), ``whole``, ``date`` or
        ``flag`` (yes or no).
    meaning : str
        What stands in it, in a few words.
    required : bool
        Whether a row without it can be used.
    unit : str or None
        Unit of the stored number.
    allowed : tuple of str
        The words or figures allowed; empty where any is.
    above, at_least : float or None
        Bounds of a number: greater than; greater than or equal to.
    beyond, not_below : str or None
        Another column of the row that the number must exceed, or must not be less than.
    """

    name: str
    kind: Kind
    meaning: str
    required: bool = False
    unit: str | None = None
    allowed: tuple[str, ...] = ()
    above: float | None = None
    at_least: float | None = None
    beyond: str | None = None
    not_below: str | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """A table that people load: its columns, and those that tell one row from another.

    A row in which every one of the columns ``answers`` is blank asks a question that nobody
    answered yet, as lists that are handed out do.
    """

    name: str
    meaning: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    answers: tuple[str, ...] = ()

    def column(self, name: str) -> Column:
        """Return the column of that name; KeyError if there is none."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the columns, in order."""
        return tuple(column.name for column in self.columns)


#: Columns of an examination's row that describe one imperfection: they may repeat per spot.
IMPERFECTION_COLUMNS = (
    "imperfection",
    "imp_from_mm",
    "imp_length_mm",
    "imp_height_mm",
    "imp_pass",
    "imp_side",
    "imp_rejectable",
)


#: What an answered row says, by table.
_ANSWERS = {
    "examinations": ("verdict", "date", "report", "exposure", *IMPERFECTION_COLUMNS, "remark"),
    "beads": ("length_mm", "wrapped", "date", "inspector"),
}


def _table(name: str, meaning: str, key: tuple[str, ...], *columns: Column) -> Table:
    return Table(name, meaning, key, columns, _ANSWERS.get(name, ()))


_ALL = (
    _table(
        "jobs",
        "hulls and contracts",
        ("job",),
        Column("job", "text", "number of the hull or contract", required=True),
        Column("title", "text", "what it is"),
        Column("started", "date", "first welding"),
    ),
    _table(
        "zones",
        "parts of a job that are closed, turned, tested or painted as one",
        ("job", "zone"),
        Column("job", "text", "number of the hull or contract", required=True),
        Column("zone", "text", "name within the job", required=True),
        Column("parent", "text", "zone that contains it"),
        Column("due", "date", "last day on which its welds can still be reached"),
        Column(
            "milestone",
            "text",
            "what happens on the due date",
            allowed=("close", "turn", "test", "paint", "hand over"),
        ),
        Column("leak_test", "flag", "a leak or pressure test is required"),
        Column(
            "test_pressure_bar",
            "number",
            "test pressure that the drawing states, gauge",
            unit="bar",
            above=0.0,
        ),
    ),
    _table(
        "joints",
        "welds, each with one number",
        ("job", "joint"),
        Column("job", "text", "number of the hull or contract", required=True),
        Column("zone", "text", "name within the job", required=True),
        Column("joint", "text", "weld number unique within the job", required=True),
        Column("category", "text", "examination category; must stand in the rules", required=True),
        Column(
            "joint_type",
            "text",
            "ISO 17659",
            required=True,
            allowed=("butt", "tee", "corner", "lap", "cruciform", "edge"),
        ),
        Column(
            "penetration", "text", "full, partial or fillet", allowed=("full", "partial", "fillet")
        ),
        Column(
            "length_mm",
            "number",
            "welded length; a circumferential weld its circumference",
            required=True,
            unit="mm",
            above=0.0,
        ),
        Column("whole", "flag", "examined whole or not at all (pipe butts)"),
        Column("thickness_mm", "number", "thickness of the thinner part", unit="mm", above=0.0),
        Column("material", "text", "ISO/TR 15608 group such as 22.3"),
        Column("process", "text", "ISO 4063 number"),
        Column("position", "text", "ISO 6947"),
        Column("procedure", "text", "WPS number"),
        Column(
            "crossings_mm",
            "numbers",
            "positions of T and cruciform crossings; several parted by a semicolon",
            unit="mm",
        ),
        Column(
            "bead_length_mm",
            "number",
            "intermittent fillet: specified bead length",
            unit="mm",
            above=0.0,
        ),
        Column(
            "bead_pitch_mm",
            "number",
            "intermittent fillet: specified centre-to-centre distance",
            unit="mm",
            above=0.0,
        ),
        Column(
            "bead_pattern",
            "text",
            "continuous, chain or staggered beads",
            allowed=("continuous", "chain", "staggered"),
        ),
        Column(
            "bead_end_mm",
            "number",
            "intermittent fillet: specified length of the first and last bead",
            unit="mm",
            above=0.0,
        ),
        Column("ends_wrapped", "flag", "the bead must be carried round the end"),
        Column("drawing", "text", "drawing number"),
        Column("replaces", "text", "joint that was cut out, in whose place this one was welded"),
    ),
    _table(
        "deposits",
        "who welded what of a joint, and when",
        ("job", "joint", "welder", "date", "pass", "side", "from_mm", "to_mm"),
        Column("job", "text", "number of the hull or contract", required=True),
        Column("joint", "text", "weld number within the job", required=True),
        Column("welder", "text", "stamp", required=True),
        Column("date", "date", "day welded", required=True),
        Column("pass", "text", "root, fill or cap", allowed=("root", "fill", "cap")),
        Column("side", "text", "first or second side", allowed=("first", "second")),
        Column("from_mm", "number", "blank: the whole joint", unit="mm", at_least=0.0),
        Column("to_mm", "number", "blank: the whole joint", unit="mm", beyond="from_mm"),
        Column("process", "text", "where it differs from the joint"),
        Column("position", "text", "where it differs from the joint"),
        Column("procedure", "text", "where it differs from the joint"),
    ),
    _table(
        "welders",
        "welders by stamp",
        ("welder",),
        Column("welder", "text", "stamp", required=True),
        Column("name", "text", "name of the welder"),
        Column("employer", "text", "who employs the welder"),
    ),
    _table(
        "qualifications",
        "what each welder is qualified for",
        ("welder", "certificate", "process"),
        Column("welder", "text", "stamp", required=True),
        Column("certificate", "text", "certificate number", required=True),
        Column("standard", "text", "such as ISO 9606-2", required=True),
        Column("process", "text", "ISO 4063 number", required=True),
        Column("material", "text", "groups covered; several parted by a semicolon"),
        Column("joint_types", "text", "joint types covered; several parted by a semicolon"),
        Column("positions", "text", "positions covered; several parted by a semicolon"),
        Column("thickness_min_mm", "number", "least thickness covered", unit="mm", at_least=0.0),
        Column(
            "thickness_max_mm",
            "number",
            "greatest thickness covered",
            unit="mm",
            not_below="thickness_min_mm",
        ),
        Column("qualified_on", "date", "day of the test weld", required=True),
        Column("confirmed_on", "date", "latest six-monthly confirmation"),
        Column("valid_until", "date", "where the certificate states it"),
        Column(
            "route",
            "text",
            "a, b or c: how validity is renewed, ISO 9606-1, 9.3, where the certificate states it",
            allowed=("a", "b", "c"),
        ),
    ),
    _table(
        "confirmations",
        "six-monthly confirmations of certificates",
        ("welder", "certificate", "date"),
        Column("welder", "text", "stamp", required=True),
        Column("certificate", "text", "certificate number", required=True),
        Column("date", "date", "day of the confirmation", required=True),
        Column("by", "text", "who confirmed"),
        Column("evidence", "text", "production record or report it rests on"),
    ),
    _table(
        "examinations",
        "one method applied to one spot in one round, with its verdict",
        ("job", "joint", "method", "request", "from_mm", "to_mm", "round", "report", "exposure"),
        Column("job", "text", "number of the hull or contract", required=True),
        Column("joint", "text", "weld number within the job", required=True),
        Column(
            "method",
            "text",
            "VT PT MT RT UT LT, ISO 9712",
            required=True,
            allowed=("VT", "PT", "MT", "RT", "UT", "LT"),
        ),
        Column("from_mm", "number", "blank: from the joint's datum", unit="mm", at_least=0.0),
        Column("to_mm", "number", "blank: to the joint's end", unit="mm", beyond="from_mm"),
        Column("round", "whole", "0 first examination; 1 2 … after repair; blank: 0", at_least=0.0),
        Column(
            "verdict",
            "text",
            "accept, reject, re-shoot (the image is no good) or not done",
            required=True,
            allowed=("accept", "reject", "re-shoot", "not done"),
        ),
        Column("date", "date", "day examined", required=True),
        Column("report", "text", "report number", required=True),
        Column("exposure", "text", "film or exposure or scan number"),
        Column("technician", "text", "who examined"),
        Column("technician_level", "whole", "ISO 9712 level", allowed=("1", "2", "3")),
        Column("request", "text", "id of the requested spot"),
        Column("imperfection", "text", "ISO 6520-1 number; a spot with several has a row for each"),
        Column("imp_from_mm", "number", "from the joint's datum", unit="mm", at_least=0.0),
        Column("imp_length_mm", "number", "length along the weld", unit="mm", at_least=0.0),
        Column("imp_height_mm", "number", "through-wall size if known", unit="mm", at_least=0.0),
        Column(
            "imp_pass",
            "text",
            "pass that holds the imperfection, if known",
            allowed=("root", "fill", "cap"),
        ),
        Column(
            "imp_side",
            "text",
            "side that holds the imperfection, if known",
            allowed=("first", "second"),
        ),
        Column(
            "imp_rejectable", "flag", "beyond the acceptance level; blank on a rejected spot: yes"
        ),
        Column("remark", "text", "reason for not done or re-shoot"),
    ),
    _table(
        "beads",
        "measured beads of intermittent welds",
        ("job", "joint", "side", "from_mm"),
        Column("job", "text", "number of the hull or contract", required=True),
        Column("joint", "text", "weld number within the job", required=True),
        Column("side", "text", "first or second side", required=True, allowed=("first", "second")),
        Column(
            "from_mm",
            "number",
            "start of the bead from the joint's datum",
            required=True,
            unit="mm",
            at_least=0.0,
        ),
        Column(
            "length_mm",
            "number",
            "measured length of the bead",
            required=True,
            unit="mm",
            above=0.0,
        ),
        Column("wrapped", "flag", "end carried round; for the first and last bead"),
        Column("date", "date", "day measured"),
        Column("inspector", "text", "who measured"),
    ),
    _table(
        "tests",
        "leak and pressure tests of zones",
        ("job", "zone", "test", "date", "report"),
        Column("job", "text", "number of the hull or contract", required=True),
        Column("zone", "text", "name within the job", required=True),
        Column("test", "text", "leak or pressure", required=True, allowed=("leak", "pressure")),
        Column("date", "date", "day tested", required=True),
        Column("pressure_bar", "number", "gauge", unit="bar", above=0.0),
        Column("verdict", "text", "accept or reject", required=True, allowed=("accept", "reject")),
        Column("report", "text", "report number", required=True),
    ),
)

#: The tables by name, in the order in which a yard loads them.
TABLES: dict[str, Table] = {table.name: table for table in _ALL}
