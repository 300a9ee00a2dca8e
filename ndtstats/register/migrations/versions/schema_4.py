"""Each entry of the log carries a digest that chains it to the one before."""

import sqlalchemy as sa
from alembic import op

revision = "4"
down_revision = "3"


def upgrade() -> None:
    """Add the columns; the digests themselves are worked out after all steps."""
    op.add_column("batches", sa.Column("digest", sa.String(64)))
    op.add_column("batches", sa.Column("chained_later", sa.Boolean()))
