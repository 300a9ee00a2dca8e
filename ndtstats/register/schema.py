"""Tables of the register, made from :mod:`ndtstats.columns` and from what the package adds.

Every table carries ``id``, ``batch`` (the log entry that brought the row) and ``superseded`` (the
log entry that replaced it, if any). Tables with a natural key carry it as one text, ``key``, unique
among the rows in force: the database itself refuses a double.
"""

from typing import Any, Final

import sqlalchemy as sa

from ndtstats.columns import IMPERFECTION_COLUMNS, TABLES, Column

#: Version of this schema; a register says which one it has. A change needs a new version, and a
#: step in :mod:`ndtstats.register.migrations` that leads to it.
SCHEMA_VERSION: Final = 5

metadata = sa.MetaData()

properties = sa.Table(
    "properties",
    metadata,
    sa.Column("name", sa.String, primary_key=True),
    sa.Column("value", sa.String, nullable=False),
)

batches = sa.Table(
    "batches",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    # ISO 8601 in UTC to the microsecond: sorts as text, and is the same in every database.
    sa.Column("at", sa.String(32), nullable=False, index=True),
    sa.Column("kind", sa.String, nullable=False),
    sa.Column("subject", sa.String, nullable=False),
    sa.Column("source", sa.String),
    sa.Column("sha256", sa.String(64)),
    sa.Column("by", sa.String),
    sa.Column("new", sa.Integer, nullable=False, default=0),
    sa.Column("unchanged", sa.Integer, nullable=False, default=0),
    sa.Column("corrected", sa.Integer, nullable=False, default=0),
    sa.Column("left_out", sa.Integer, nullable=False, default=0),
    # Over the entry, its rows and the digest before: see ndtstats.register.chain.
    sa.Column("digest", sa.String(64)),
    # True of batches that are older than the chain, and were chained at an upgrade.
    sa.Column("chained_later", sa.Boolean),
)

_JOB = Column("job", "text", "number of the hull or contract", required=True)
_JOINT = Column("joint", "text", "weld number within the job", required=True)
_METHOD = Column("method", "text", "ISO 9712", required=True)
_FROM = Column("from_mm", "number", "from the joint's datum", required=True, unit="mm")
_TO = Column("to_mm", "number", "from the joint's datum", required=True, unit="mm")

#: What the package keeps beside the tables that people load.
ADDED: Final[dict[str, tuple[Column, ...]]] = {
    "imperfections": (
        Column("examination", "whole", "id of the examination that shows it", required=True),
        _JOB,
        _JOINT,
        *(
            column
            for column in TABLES["examinations"].columns
            if column.name in IMPERFECTION_COLUMNS
        ),
    ),
    "rule_sets": (
        Column("sha256", "text", "of the text", required=True),
        Column("title", "text", "title of the rules"),
        Column("text", "text", "the rules file, word for word", required=True),
    ),
    "adoptions": (
        _JOB,
        Column("rules_sha256", "text", "the rules in force from here on", required=True),
        Column("agreed_by", "text", "with whom they were agreed"),
    ),
    "plans": (
        Column("plan", "text", "number of the plan", required=True),
        _JOB,
        Column("kind", "text", "draw, or extra", required=True),
        Column("seed", "whole", "seed of the draw", required=True),
        Column("rules_sha256", "text", "rules it follows"),
        Column("frame_sha256", "text", "frame it was drawn from", required=True),
        Column("drawn_at", "text", "instant of the draw, UTC", required=True),
        Column("risk_exponent", "number", "exponent of the risk in the draw"),
        Column("budget", "whole", "exposures beyond the rules, aimed by risk"),
        Column("evidence_days", "whole", "days ahead that certificates get their evidence"),
        Column("tightened", "text", "welders whose extent is multiplied, as a list in JSON"),
        Column("version", "text", "version of this package", required=True),
    ),
    "frame_cells": (
        Column("plan", "text", "number of the plan", required=True),
        Column("cell", "whole", "number within the plan", required=True),
        _JOB,
        _JOINT,
        Column("rule", "text", "extent rule it falls under", required=True),
        _METHOD,
        _FROM,
        _TO,
        Column("mandatory", "text", "point that must be examined, if any"),
        Column("stratum", "text", "stratum of the draw"),
        Column("welder", "text", "stamp of who welded most of it"),
        Column("risk", "number", "product of the risk factors"),
        Column("pi", "number", "inclusion probability"),
    ),
    "spots": (
        Column("spot", "text", "id, as asked from the contractor", required=True),
        Column("plan", "text", "number of the plan", required=True),
        _JOB,
        _JOINT,
        Column("rule", "text", "extent rule it serves"),
        _METHOD,
        _FROM,
        _TO,
        Column("part", "text", "required, random, targeted, extra or reserve", required=True),
        Column("why", "text", "why it was chosen"),
        Column("stratum", "text", "stratum of the draw"),
        Column("pi", "number", "inclusion probability"),
        Column("draw_order", "whole", "order in the draw; reserves follow"),
        Column("risk", "number", "product of the risk factors"),
        Column("acceptance", "text", "acceptance standard and level"),
        Column("technique", "text", "technique and class"),
        Column("conditions", "text", "what must hold when it is examined"),
        Column("round", "whole", "0, or the repair to be examined again"),
        Column("because", "text", "owed item that an extra spot answers"),
    ),
    "decisions": (
        Column("decision", "text", "number of the decision", required=True),
        Column("job", "text", "number of the hull or contract"),
        Column("kind", "text", "what was decided", required=True),
        Column("subject", "text", "name of what it is about", required=True),
        Column("detail", "text", "what it covers, where the subject alone does not tell"),
        Column("person", "text", "who decided", required=True),
        Column("reason", "text", "why", required=True),
    ),
    "warnings": (
        Column("table", "text", "table of the row it is about"),
        Column("row_key", "text", "natural key of the row it is about"),
        Column("job", "text", "number of the hull or contract"),
        Column("code", "text", "finding code", required=True),
        Column("file", "text", "file it came with"),
        Column("sheet", "text", "sheet"),
        Column("row", "whole", "row as the spreadsheet counts it"),
        Column("column", "text", "column"),
        Column("value", "text", "what stood there"),
        Column("reason", "text", "what is wrong", required=True),
        Column("remedy", "text", "what would be right"),
    ),
}

#: Columns of every stored table by name, without id, batch, superseded and key.
STORED: Final[dict[str, tuple[Column, ...]]] = {
    name: tuple(
        column
        for column in table.columns
        if name != "examinations" or column.name not in IMPERFECTION_COLUMNS
    )
    for name, table in TABLES.items()
} | ADDED

_TYPES: Final[dict[str, sa.types.TypeEngine[Any]]] = {
    "text": sa.String(),
    "numbers": sa.String(),
    "number": sa.Double(),
    "whole": sa.BigInteger(),
    "date": sa.Date(),
    "flag": sa.Boolean(),
}


def _stored(name: str, columns: tuple[Column, ...]) -> sa.Table:
    keyed = [sa.Column("key", sa.String, nullable=False)] if name in TABLES else []
    return sa.Table(
        name,
        metadata,
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("batch", sa.Integer, sa.ForeignKey("batches.number"), nullable=False),
        sa.Column("superseded", sa.Integer, sa.ForeignKey("batches.number")),
        *keyed,
        *(sa.Column(column.name, _TYPES[column.kind]) for column in columns),
    )


#: What every stored row has beside its own columns, as it is read.
ID: Final = Column("id", "whole", "id of the row")
KEY: Final = Column("key", "text", "natural key")
BATCH: Final = Column("batch", "whole", "log entry that brought the row")

#: The stored tables as SQLAlchemy sees them.
SQL_TABLES: Final[dict[str, sa.Table]] = {
    name: _stored(name, columns) for name, columns in STORED.items()
}

sa.Index("imperfections_of", SQL_TABLES["imperfections"].c.examination)
sa.Index("spots_by_name", SQL_TABLES["spots"].c.spot)
sa.Index("frame_cells_by_plan", SQL_TABLES["frame_cells"].c.plan)


def make_tables(connection: sa.Connection) -> None:
    """Make the tables and indexes of a register in an empty database."""
    metadata.create_all(connection)
    for name in TABLES:
        # Both databases read this alike. As an index of the metadata it would import the dialect of
        # PostgreSQL for every question to a register in SQLite.
        connection.exec_driver_sql(
            f'CREATE UNIQUE INDEX {name}_in_force ON {name} ("key") WHERE superseded IS NULL'
        )


def raw(column: sa.Column[Any]) -> sa.ColumnElement[Any]:
    """Return the column without conversion row by row; whole columns are converted later."""
    return sa.type_coerce(column, sa.types.NullType()).label(column.name)
