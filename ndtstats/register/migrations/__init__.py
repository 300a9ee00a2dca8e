"""Steps from each older schema to the next, so that no register is ever left behind.

Each step is a module of ``versions``, written with Alembic's operations and named after the schema
it leads to. A step spells out what it makes: it must still do the same when :mod:`schema
<ndtstats.register.schema>` has long moved on. All steps of an upgrade are one transaction.
"""

from pathlib import Path
from typing import Final

import sqlalchemy as sa

FOLDER: Final = Path(__file__).parent


def migrate(connection: sa.Connection, found: int) -> None:
    """Bring the tables of a register from the schema found to the newest one.

    Rows are left as they are; the caller says in the register which schema it has now.

    Parameters
    ----------
    connection : Connection
        Within a transaction of the only writer.
    found : int
        Schema that the register has.
    """
    from alembic.operations import Operations  # noqa: PLC0415  (only an upgrade needs it)
    from alembic.runtime.migration import MigrationContext  # noqa: PLC0415
    from alembic.script import ScriptDirectory  # noqa: PLC0415

    steps = reversed(list(ScriptDirectory(FOLDER).walk_revisions()))
    with Operations.context(MigrationContext.configure(connection)):
        for step in steps:
            if int(step.revision) > found:
                step.module.upgrade()
