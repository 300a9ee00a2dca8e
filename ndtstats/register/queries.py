"""Questions that the database answers itself: what every command asks first, and counts."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import pandas as pd
import sqlalchemy as sa

from ndtstats.columns import Column
from ndtstats.errors import UseError, nearest
from ndtstats.register.decisions import decisions_in_force
from ndtstats.register.frames import from_rows
from ndtstats.register.overturned import subjects_of
from ndtstats.register.schema import SQL_TABLES, STORED
from ndtstats.register.store import Register

#: Joints that are named to the database one by one; of more it is asked for all there are.
MOST_NAMED = 10_000

_EXAMINATIONS = SQL_TABLES["examinations"].c
_COUNTED = ("repair", "overturned", "number")
_WHOLE = {name: Column(name, "whole", "count") for name in ("id", "batch", *_COUNTED)}
#: What examinations can be told apart by; the month as in 2026-03, cut from the day as text.
_APART: dict[str, sa.ColumnElement[Any]] = {
    **dict(_EXAMINATIONS.items()),
    "month": sa.func.substr(
        sa.cast(_EXAMINATIONS["date"], sa.String), sa.literal_column("1"), sa.literal_column("7")
    ),
}

_KEY = Column("key", "text", "natural key")
_MONTH = Column("month", "text", "year and month")
_OF_EXAMINATIONS = {c.name: c for c in (*STORED["examinations"], _KEY, _MONTH)} | _WHOLE


def jobs_known(register: Register, as_of: datetime | None = None) -> list[str]:
    """Return the jobs of the register in the order in which they came."""
    return list(register.table("jobs", as_of=as_of, columns=["job"])["job"])


def require_job(register: Register, job: str | None, as_of: datetime | None = None) -> str:
    """Return the job asked for; with None, the only job there is.

    Raises
    ------
    UseError
        If the register has no such job, or several and none was named.
    """
    known = jobs_known(register, as_of)
    if job is None:
        if len(known) == 1:
            return known[0]
        listed = ", ".join(known)
        raise UseError(
            f"name the job with --job; the register has {listed}"
            if known
            else f"{register.name} has no jobs yet; load them with: ndtstats load jobs FILE"
        )
    if job in known:
        return job
    close = nearest(job, known)
    hint = f'did you mean "{close}"?' if close else f"known: {', '.join(known) or 'none'}"
    raise UseError(f'job "{job}" is not in {register.name}; {hint}')


def verdict_counts(
    register: Register,
    by: Sequence[str] = (),
    *,
    overturned: Sequence[int] = (),
    job: str | None = None,
    method: str | None = None,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return how many examinations there are of each verdict, counted by the database.

    Parameters
    ----------
    by : sequence of str
        Columns of the examinations to tell apart, or "month".
    overturned : sequence of int
        Examinations whose verdict a second reading does not share, by id; not many.
    job, method : str, optional
        Only of these.
    as_of : datetime, optional
        What was known then.

    Returns
    -------
    DataFrame
        The columns of ``by``; ``verdict`` as it was first; ``repair``, 1 from round 1 on, else 0;
        ``overturned``, 1 or 0; ``number``.
    """
    first = _EXAMINATIONS["round"]
    repair = sa.case((first > 0, 1), (first == 0, 0))
    again = sa.case((_EXAMINATIONS["id"].in_(list(overturned)), 1), else_=0)
    keys = [_plain(_APART[name], name) for name in [*by, "verdict"]]
    keys += [repair.label("repair"), again.label("overturned")]
    query = sa.select(*keys, sa.func.count().label("number"))
    # By the names of the columns: what stands in them holds parameters, and would be told twice.
    query = query.group_by(*(sa.text(f'"{key.name}"') for key in keys))
    names = [*by, "verdict", "repair", "overturned", "number"]
    return _answer(register, query, names, job, method, as_of)


def overturned_ids(
    register: Register, *, job: str | None = None, as_of: datetime | None = None
) -> list[int]:
    """Return the ids of the rejects that a second reading does not share.

    As :func:`~ndtstats.register.overturned_examinations`, which says who decided so too; here the
    database reads the rejects alone.
    """
    decided = decisions_in_force(register, kind="overturned", job=job, as_of=as_of)
    if decided.empty:
        return []
    query = sa.select(_EXAMINATIONS["id"], _EXAMINATIONS["key"])
    query = query.where(_EXAMINATIONS["verdict"] == "reject")
    rejects = _answer(register, query, ["id", "key"], job, None, as_of)
    return rejects.loc[subjects_of(rejects["key"]).isin(decided["subject"]), "id"].tolist()


#: What is known of the accepted first examinations of a joint.
_OF_ACCEPTED = (
    Column("number", "whole", "how many"),
    Column("first_day", "date", "day of the earliest"),
    Column("last_day", "date", "day of the latest"),
    Column("from_mm", "number", "where the nearest begins"),
    Column("to_mm", "number", "where the farthest ends"),
    Column("least_mm", "number", "length of the shortest"),
    Column("open_from_mm", "number", "where the farthest begins that goes to the joint's end"),
)


def accepted_on_joints(
    register: Register,
    apart: Sequence[str] = (),
    *,
    job: str | None = None,
    method: str | None = None,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return how many first examinations were accepted on each joint, counted by the database.

    Parameters
    ----------
    apart : sequence of str
        Columns of the examinations to tell apart, or "month".
    job, method, as_of
        As in :func:`verdict_counts`.

    Returns
    -------
    DataFrame
        ``joint``, ``job``, the columns of ``apart``, ``number``; ``first_day`` and ``last_day``;
        ``from_mm``, ``to_mm`` and ``least_mm``, between which they all lie and how long the
        shortest is, of those whose end is recorded; ``open_from_mm``, where the last begins of
        those that go to the joint's end. Nothing begins before 0.
    """
    begins = sa.case((_EXAMINATIONS["from_mm"] > 0, _EXAMINATIONS["from_mm"]), else_=0.0)
    ends, day = _EXAMINATIONS["to_mm"], _EXAMINATIONS["date"]
    # Joints first: they differ oftener than jobs, and what differs first is compared least.
    keys = [_plain(_APART[name], name) for name in ("joint", "job", *apart)]
    counted = (
        sa.func.count(), sa.func.min(day), sa.func.max(day), sa.func.min(begins),
        sa.func.max(ends), sa.func.min(ends - begins),
        sa.func.max(sa.case((ends.is_(None), begins))),
    )  # fmt: skip
    named = (
        _plain(value, column.name) for value, column in zip(counted, _OF_ACCEPTED, strict=True)
    )
    query = sa.select(*keys, *named).group_by(*keys)
    query = query.where(_EXAMINATIONS["round"] == 0, _EXAMINATIONS["verdict"] == "accept")
    columns = [*(_OF_EXAMINATIONS[key.name] for key in keys), *_OF_ACCEPTED]
    return _answer(register, query, columns, job, method, as_of)


def told_one_by_one(
    register: Register,
    joints: pd.DataFrame,
    columns: Sequence[str],
    *,
    job: str | None = None,
    method: str | None = None,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return first examinations that cannot be told by their number alone.

    They are those rejected, all judged on some joints, and in every round those not done.

    Parameters
    ----------
    joints : DataFrame
        Columns ``job``, ``joint``: where those accepted are told one by one too.
    columns : sequence of str
        Of the examinations, besides ``id`` and ``batch``; they hold ``job`` and ``joint``.
    job, method, as_of
        As in :func:`verdict_counts`.

    Returns
    -------
    DataFrame
        As :meth:`~ndtstats.register.Register.table` gives them, in order of ``id``.
    """
    first, verdict = _EXAMINATIONS["round"] == 0, _EXAMINATIONS["verdict"]
    wanted = [sa.and_(first, verdict == "reject"), verdict == "not done"]
    accepted = sa.and_(first, verdict == "accept")
    if len(joints) > MOST_NAMED:
        wanted.append(accepted)
    elif len(joints):
        place = sa.tuple_(_EXAMINATIONS["job"], _EXAMINATIONS["joint"])
        named = list(zip(joints["job"].tolist(), joints["joint"].tolist(), strict=True))
        wanted.append(sa.and_(accepted, place.in_(named)))
    names = ["id", "batch", *columns]
    query = sa.select(*(_plain(_EXAMINATIONS[name], name) for name in names))
    query = query.where(sa.or_(*wanted)).order_by(_EXAMINATIONS["id"])
    rows = _answer(register, query, names, job, method, as_of)
    if len(joints) <= MOST_NAMED:
        return rows
    keys = ["job", "joint"]
    on_these = pd.MultiIndex.from_frame(rows[keys]).isin(pd.MultiIndex.from_frame(joints[keys]))
    return rows[on_these | (rows["verdict"] != "accept")].reset_index(drop=True)


def _answer(
    register: Register,
    query: sa.Select[Any],
    columns: Sequence[str | Column],
    job: str | None,
    method: str | None,
    as_of: datetime | None,
) -> pd.DataFrame:
    """Return what the examinations in force answer to a query, as a typed frame."""
    if job is not None:
        query = query.where(_EXAMINATIONS["job"] == job)
    if method is not None:
        query = query.where(_EXAMINATIONS["method"] == method)
    with register.reading() as connection:
        query = query.where(register.in_force(connection, "examinations", as_of))
        rows = connection.execute(query).all()
    typed = [_OF_EXAMINATIONS[c] if isinstance(c, str) else c for c in columns]
    return from_rows(rows, typed)


def _plain(value: Any, name: str) -> sa.ColumnElement[Any]:
    """Return a column without conversion row by row; whole columns are converted later."""
    return sa.type_coerce(value, sa.types.NullType()).label(name)
