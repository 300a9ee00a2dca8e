"""Decisions by name, confirmations of certificates, and the row that each warning is about."""

import sqlalchemy as sa
from alembic import op

revision = "3"
down_revision = "2"


def upgrade() -> None:
    """Add two tables and some columns; what was not asked before is missing."""
    # Registers of schema 2 were made with this column and without it.
    spots = sa.inspect(op.get_bind()).get_columns("spots")
    if "conditions" not in {column["name"] for column in spots}:
        op.add_column("spots", sa.Column("conditions", sa.String()))
    for table, name, kind in (
        ("zones", "test_pressure_bar", sa.Double()),
        ("joints", "replaces", sa.String()),
        ("qualifications", "route", sa.String()),
        ("warnings", "table", sa.String()),
        ("warnings", "row_key", sa.String()),
    ):
        op.add_column(table, sa.Column(name, kind))
    _make("decisions", ("decision", "job", "kind", "subject", "detail", "person", "reason"))
    _make("confirmations", ("welder", "certificate", "date", "by", "evidence"), keyed=True)
    in_force = sa.text("superseded IS NULL")
    op.create_index(
        "confirmations_in_force",
        "confirmations",
        ["key"],
        unique=True,
        sqlite_where=in_force,
        postgresql_where=in_force,
    )


def _make(table: str, columns: tuple[str, ...], *, keyed: bool = False) -> None:
    kinds = {"date": sa.Date()}
    op.create_table(
        table,
        sa.Column("id", sa.BigInteger(), primary_key=True, autoincrement=False),
        sa.Column("batch", sa.Integer(), sa.ForeignKey("batches.number"), nullable=False),
        sa.Column("superseded", sa.Integer(), sa.ForeignKey("batches.number")),
        *([sa.Column("key", sa.String(), nullable=False)] if keyed else []),
        *(sa.Column(name, kinds.get(name, sa.String())) for name in columns),
    )
