"""A plan says whose extent it multiplied."""

import sqlalchemy as sa
from alembic import op

revision = "5"
down_revision = "4"


def upgrade() -> None:
    """Add a column; no earlier plan multiplied anybody's extent."""
    op.add_column("plans", sa.Column("tightened", sa.String()))
