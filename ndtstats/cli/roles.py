"""``ndtstats roles``."""

import click

from ndtstats.cli.console import say


@click.command()
def roles() -> None:
    """Print the SQL that makes the roles for loading, planning and reading in PostgreSQL.

    The owner of the tables runs it, after init and after each upgrade:
    ndtstats roles | psql DATABASE
    """
    from ndtstats.register.roles import roles_sql  # noqa: PLC0415

    say(roles_sql())
