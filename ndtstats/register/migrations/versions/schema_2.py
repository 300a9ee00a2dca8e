"""Plans keep the exposures beyond the rules, and how far ahead certificates get their evidence."""

import sqlalchemy as sa
from alembic import op

revision = "2"
down_revision = None


def upgrade() -> None:
    """Add the columns; plans drawn before had neither."""
    op.add_column("plans", sa.Column("budget", sa.BigInteger()))
    op.add_column("plans", sa.Column("evidence_days", sa.BigInteger()))
