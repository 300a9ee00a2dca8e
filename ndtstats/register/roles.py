"""Who may do what in PostgreSQL: the least rights that loading, planning and reading need.

Nobody but the owner of the tables may drop, empty or change them. Loaders add rows and mark those
that they supersede, once; planners add rows; the log is closed for each batch when it is written.
What rights cannot prevent, such as a row added under the number of an older batch, the chain over
the log shows (:mod:`ndtstats.register.chain`).
"""

from typing import Final

from ndtstats.columns import TABLES
from ndtstats.register.schema import ADDED

#: Tables whose rows come from files.
LOADED: Final = (*TABLES, "imperfections", "warnings")

#: Tables whose rows are drawn, adopted or decided.
PLANNED: Final = tuple(name for name in ADDED if name not in LOADED)

#: Tables in which a row can supersede another one.
MARKED: Final = (*TABLES, "imperfections")

_SQL = """\
-- Rights of ndtstats in PostgreSQL. Run by the owner of the tables, after ndtstats init and after
-- each ndtstats upgrade:  ndtstats roles | psql DATABASE
-- Then give each person a role:  GRANT ndtstats_load TO somebody;
BEGIN;
DO $$
DECLARE wanted text;
BEGIN
    FOREACH wanted IN ARRAY ARRAY['ndtstats_read', 'ndtstats_load', 'ndtstats_plan'] LOOP
        IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = wanted) THEN
            EXECUTE 'CREATE ROLE ' || quote_ident(wanted) || ' NOLOGIN';
        END IF;
    END LOOP;
END $$;
GRANT ndtstats_read TO ndtstats_load, ndtstats_plan;

REVOKE CREATE ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO ndtstats_read;
REVOKE ALL ON ALL TABLES IN SCHEMA public FROM PUBLIC, ndtstats_read, ndtstats_load, ndtstats_plan;

GRANT SELECT ON ALL TABLES IN SCHEMA public TO ndtstats_read;
GRANT INSERT, UPDATE (new, unchanged, corrected, digest) ON batches TO ndtstats_load, ndtstats_plan;
GRANT INSERT ON {loaded} TO ndtstats_load;
GRANT UPDATE (superseded) ON {marked} TO ndtstats_load;
GRANT INSERT ON {planned} TO ndtstats_plan;

-- An entry of the log is open until it has its digest, within the one transaction that writes it.
CREATE OR REPLACE FUNCTION ndtstats_closed_entry() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.digest IS NOT NULL THEN
        RAISE EXCEPTION 'permission denied: the log stays as it was written'
            USING ERRCODE = 'insufficient_privilege';
    END IF;
    RETURN CASE TG_OP WHEN 'DELETE' THEN OLD ELSE NEW END;
END $$;
DROP TRIGGER IF EXISTS closed_entry ON batches;
CREATE TRIGGER closed_entry BEFORE UPDATE OR DELETE ON batches
    FOR EACH ROW EXECUTE FUNCTION ndtstats_closed_entry();

-- A row is superseded once, and stays so.
CREATE OR REPLACE FUNCTION ndtstats_marked_once() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.superseded IS NOT NULL OR NEW.superseded IS NULL THEN
        RAISE EXCEPTION 'permission denied: a superseded row stays superseded'
            USING ERRCODE = 'insufficient_privilege';
    END IF;
    RETURN NEW;
END $$;
{triggers}
COMMIT;
"""

_TRIGGER = """\
DROP TRIGGER IF EXISTS marked_once ON {table};
CREATE TRIGGER marked_once BEFORE UPDATE OF superseded ON {table}
    FOR EACH ROW EXECUTE FUNCTION ndtstats_marked_once();
"""


def roles_sql() -> str:
    """Return the SQL that parts the rights of a register in PostgreSQL; it may be run again.

    Examples
    --------
    >>> "GRANT SELECT ON ALL TABLES" in roles_sql()
    True
    """
    return _SQL.format(
        loaded=", ".join(LOADED),
        marked=", ".join(MARKED),
        planned=", ".join(PLANNED),
        triggers="".join(_TRIGGER.format(table=table) for table in MARKED),
    )
