"""Questions that the database answers itself: what every command asks first, and counts."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

import pandas as pd
import sqlalchemy as sa

from ndtstats.columns import Column
from ndtstats.errors import UseError, nearest
from ndtstats.progress import EACH_JOB
from ndtstats.register.decisions import decisions_in_force
from ndtstats.register.frames import from_rows
from ndtstats.register.overturned import subjects_of
from ndtstats.register.schema import SQL_TABLES, STORED
from ndtstats.register.store import Register

#: Joints that are named to the database one by one; of more it is asked for all there are.
MOST_JOINTS_NAMED = 5_000

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


def each_job(register: Register, job: str | None, as_of: datetime | None = None) -> Iterator[str]:
    """Yield the job asked for, or else one job after the other, telling how many are done."""
    jobs = [job] if job is not None else jobs_known(register, as_of)
    for number, name in enumerate(jobs):
        register.progress(EACH_JOB, number, len(jobs))
        yield name


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


#: What is known of the first examinations of a joint, or of joints that are counted together.
_OF_FIRST = (
    Column("number", "whole", "how many were accepted"),
    Column("rejected", "whole", "how many were rejected"),
    Column("joints", "whole", "on how many joints none was rejected"),
    Column("rejected_joints", "whole", "on how many one was"),
    Column("no_length", "whole", "rejectable indications of unknown length"),
    Column("first_day", "date", "day of the earliest"),
    Column("last_day", "date", "day of the latest"),
    Column("from_mm", "number", "where the nearest begins"),
    Column("to_mm", "number", "where the farthest ends"),
    Column("least_mm", "number", "length of the shortest"),
    Column("open_from_mm", "number", "where the farthest begins that goes to the joint's end"),
)

_LEAST = {"first_day", "from_mm", "least_mm"}
_MOST = {"last_day", "to_mm", "open_from_mm"}


class Asked(NamedTuple):
    """What first examinations are told apart by when they are counted.

    Parameters
    ----------
    apart : sequence of str
        Columns of the examinations, or "month".
    of_deposit, of_joint : sequence of str
        Columns of deposits and joints; what is in both is the joint's where the deposit is blank.
    together : bool
        Whether joints may be counted together.
    """

    apart: Sequence[str] = ()
    of_deposit: Sequence[str] = ()
    of_joint: Sequence[str] = ()
    together: bool = True


def first_on_joints(
    register: Register,
    asked: Asked,
    *,
    overturned: Sequence[int] = (),
    job: str | None = None,
    method: str | None = None,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return how many first examinations were made on each joint, counted by the database.

    Joints on which all of them are charged to the same are counted together: without a spot or an
    overturned reject, and if deposits are asked for, all of the whole joint, of the same, and from
    before it was examined; a joint with a reject has no more than one deposit.

    Parameters
    ----------
    overturned, job, method, as_of
        As in :func:`verdict_counts`.

    Returns
    -------
    DataFrame
        ``joint``, missing of joints counted together; ``job``, the columns asked for; ``number``
        of those accepted and ``rejected``; ``joints`` without and ``rejected_joints`` with a
        reject; ``no_length``, rejectable indications of unknown length; ``first_day`` and
        ``last_day``; ``from_mm``, ``to_mm`` and ``least_mm``, between which they all lie and how
        long the shortest is, of those whose end is recorded; ``open_from_mm``, where the last
        begins of those that go to the joint's end. Nothing begins before 0.
    """
    with register.reading() as connection:
        force = {
            name: register.in_force(connection, name, as_of)
            for name in ("examinations", "imperfections", "deposits", "joints", "spots")
        }
        seen = _first_seen(asked.apart, overturned, force, job, method)
        told = _with_weld(seen, asked, force) if asked.together else _apart(seen, asked)
        names = [column.name for column in told.c if column.name in _keys(asked)]
        keys = [told.c[name] for name in names]
        sums = (_united(column.name, told.c[column.name]) for column in _OF_FIRST)
        query = sa.select(*keys, *sums).group_by(*keys)
        rows = connection.execute(query).all()
    known = {c.name: c for c in (*STORED["deposits"], *STORED["joints"])} | _OF_EXAMINATIONS
    return from_rows(rows, [*(known[name] for name in names), *_OF_FIRST])


def _keys(asked: Asked) -> list[str]:
    return list(dict.fromkeys(["joint", "job", *asked.apart, *asked.of_deposit, *asked.of_joint]))


def _united(name: str, value: sa.ColumnElement[Any]) -> sa.ColumnElement[Any]:
    """Return what is true of several joints together."""
    if name in _LEAST:
        return _plain(sa.func.min(value), name)
    if name in _MOST:
        return _plain(sa.func.max(value), name)
    # PostgreSQL makes decimals of sums.
    return _plain(sa.cast(sa.func.sum(value), sa.BigInteger), name)


def _first_seen(
    apart: Sequence[str],
    overturned: Sequence[int],
    force: Mapping[str, sa.ColumnElement[bool]],
    job: str | None,
    method: str | None,
) -> sa.Subquery:
    """Return the first examinations of each joint, one row for each that is told apart."""
    begins = sa.case((_EXAMINATIONS["from_mm"] > 0, _EXAMINATIONS["from_mm"]), else_=0.0)
    ends, day, verdict = _EXAMINATIONS["to_mm"], _EXAMINATIONS["date"], _EXAMINATIONS["verdict"]
    reject, again = verdict == "reject", _EXAMINATIONS["id"].in_(list(overturned))
    rejected = sa.func.sum(sa.case((reject, 1), else_=0))
    values = {
        "number": sa.func.sum(sa.case((verdict == "accept", 1), else_=0)),
        "rejected": rejected,
        "joints": 1 - sa.func.max(sa.case((reject, 1), else_=0)),
        "rejected_joints": sa.func.max(sa.case((reject, 1), else_=0)),
        "no_length": sa.func.sum(sa.case((reject, _no_length(force["imperfections"])), else_=0)),
        "first_day": sa.func.min(day), "last_day": sa.func.max(day),
        "from_mm": sa.func.min(begins), "to_mm": sa.func.max(ends),
        "least_mm": sa.func.min(ends - begins),
        "open_from_mm": sa.func.max(sa.case((ends.is_(None), begins))),
        "overturned": sa.func.max(sa.case((again, 1), else_=0)) if overturned else sa.literal(0),
    }  # fmt: skip
    # Joints first: they differ oftener than jobs, and what differs first is compared least.
    keys = [_plain(_APART[name], name) for name in dict.fromkeys(("joint", "job", *apart))]
    query = sa.select(*keys, *(_plain(value, name) for name, value in values.items()))
    query = query.where(_EXAMINATIONS["round"] == 0, verdict.in_(["accept", "reject"]))
    query = _only(query.where(force["examinations"]), job, method)
    return query.group_by(*keys).subquery("seen")


def _no_length(force: sa.ColumnElement[bool]) -> sa.ScalarSelect[Any]:
    """Return how many rejectable indications of an examination have no length; one if none is."""
    shown = SQL_TABLES["imperfections"].c
    without = sa.func.sum(sa.case((shown["imp_length_mm"] > 0, 0), else_=1))
    query = sa.select(sa.case((sa.func.count() == 0, 1), else_=without))
    query = query.where(shown["examination"] == _EXAMINATIONS["id"], force)
    query = query.where(shown["imp_rejectable"].is_not(sa.false()))
    return query.correlate(SQL_TABLES["examinations"]).scalar_subquery()


def _apart(seen: sa.Subquery, asked: Asked) -> sa.Subquery:
    """Return each joint by itself."""
    names = [name for name in _keys(asked) if name in seen.c]
    values = (seen.c[column.name] for column in _OF_FIRST)
    return sa.select(*(seen.c[name] for name in names), *values).subquery("told")


def _with_weld(
    seen: sa.Subquery, asked: Asked, force: Mapping[str, sa.ColumnElement[bool]]
) -> sa.Subquery:
    """Return what is asked of the weld too, and no joint where it can be counted together."""
    source: sa.FromClause = seen
    told: dict[str, sa.ColumnElement[Any]] = {
        name: seen.c[name] for name in _keys(asked) if name in seen.c
    }
    alike = [_unplanned(seen, force["spots"]), seen.c["overturned"] == 0]
    if asked.of_joint:
        welds = _welds(asked.of_joint, force["joints"])
        source = source.outerjoin(welds, _same_joint(seen, welds))
        told |= {name: welds.c[name] for name in asked.of_joint}
    if asked.of_deposit:
        made = _made(asked.of_deposit, force["deposits"])
        source = source.outerjoin(made, _same_joint(seen, made))
        for name in asked.of_deposit:
            said = made.c[name]
            told[name] = sa.func.coalesce(said, told[name]) if name in told else said
        alike.append(_charged_alike(seen, made))
    # A joint is counted together with others in all that is told apart, or in nothing.
    each = sa.func.min(sa.case((sa.and_(*alike), 1), else_=0))
    together = each.over(partition_by=(seen.c["job"], seen.c["joint"])) == 1
    told["joint"] = sa.case((together, sa.null()), else_=seen.c["joint"])
    values = (seen.c[column.name] for column in _OF_FIRST)
    keys = (_plain(value, name) for name, value in told.items())
    return sa.select(*keys, *values).select_from(source).subquery("told")


def _unplanned(seen: sa.Subquery, force: sa.ColumnElement[bool]) -> sa.ColumnElement[bool]:
    """Return whether no plan has a spot on a joint."""
    spots = SQL_TABLES["spots"].c
    planned = sa.select(spots["job"], spots["joint"]).where(force)
    return sa.tuple_(seen.c["job"], seen.c["joint"]).not_in(planned)


def _welds(columns: Sequence[str], force: sa.ColumnElement[bool]) -> sa.Subquery:
    """Return some columns of the joints in force."""
    joints = SQL_TABLES["joints"].c
    wanted = (_plain(joints[name], name) for name in ("job", "joint", *columns))
    return sa.select(*wanted).where(force).subquery("welds")


def _same_joint(one: sa.Subquery, other: sa.Subquery) -> sa.ColumnElement[bool]:
    return sa.and_(one.c["job"] == other.c["job"], one.c["joint"] == other.c["joint"])


def _made(columns: Sequence[str], force: sa.ColumnElement[bool]) -> sa.Subquery:
    """Return the deposits of each joint: how many, how late, and whether they say the same."""
    made, every = SQL_TABLES["deposits"].c, sa.func.count()
    same = [
        sa.or_(
            sa.func.count(made[name]) == 0,
            sa.and_(
                sa.func.count(made[name]) == every,
                sa.func.min(made[name]) == sa.func.max(made[name]),
            ),
        )
        for name in columns
    ]
    bounded = sa.func.count(made["from_mm"]) + sa.func.count(made["to_mm"]) > 0
    values = {
        "deposits": every, "day": sa.func.max(made["date"]),
        "same": sa.case((bounded, 0), (sa.and_(*same), 1), else_=0),
        **{name: sa.func.min(made[name]) for name in columns},
    }  # fmt: skip
    query = sa.select(
        made["job"], made["joint"], *(_plain(value, name) for name, value in values.items())
    )
    return query.where(force).group_by(made["joint"], made["job"]).subquery("made")


def _charged_alike(seen: sa.Subquery, made: sa.Subquery) -> sa.ColumnElement[bool]:
    """Return whether all examinations are charged to the same deposits, or to none."""
    whole = sa.and_(
        made.c["same"] == 1,
        made.c["day"] <= seen.c["first_day"],
        seen.c["least_mm"] > 0,
        seen.c["open_from_mm"].is_(None),
        # Which of several holds an indication is told by its place and pass.
        sa.or_(made.c["deposits"] == 1, seen.c["rejected"] == 0),
    )
    return sa.or_(made.c["deposits"].is_(None), whole)


def told_one_by_one(
    register: Register,
    joints: pd.DataFrame,
    columns: Sequence[str],
    *,
    rejected_on: pd.DataFrame,
    job: str | None = None,
    method: str | None = None,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return first examinations that cannot be told by their number alone.

    They are those rejected on some joints, all judged on some of these, and in every round those
    not done.

    Parameters
    ----------
    joints, rejected_on : DataFrame
        Columns ``job``, ``joint``: where those accepted, and where those rejected are told one by
        one. If the second is empty, so is the answer.
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
    on = {"accept": joints, "reject": rejected_on}
    wanted = [sa.and_(first, verdict == name, _named(some)) for name, some in on.items()]
    wanted.append(verdict == "not done" if len(rejected_on) else sa.false())
    names = ["id", "batch", *columns]
    query = sa.select(*(_plain(_EXAMINATIONS[name], name) for name in names))
    query = query.where(sa.or_(*wanted)).order_by(_EXAMINATIONS["id"])
    rows = _answer(register, query, names, job, method, as_of)
    place = pd.MultiIndex.from_frame(rows[["job", "joint"]])
    kept = rows["verdict"] == "not done"
    for name, some in on.items():
        on_these = place.isin(pd.MultiIndex.from_frame(some[["job", "joint"]]))
        kept |= on_these & (rows["verdict"] == name)
    return rows[kept].reset_index(drop=True)


def _named(joints: pd.DataFrame) -> sa.ColumnElement[bool]:
    """Return the condition that an examination is on some joints; of many it holds on all."""
    if len(joints) > MOST_JOINTS_NAMED:
        return sa.true()
    if joints.empty:
        return sa.false()
    place = sa.tuple_(_EXAMINATIONS["job"], _EXAMINATIONS["joint"])
    return place.in_(list(zip(joints["job"].tolist(), joints["joint"].tolist(), strict=True)))


def _answer(
    register: Register,
    query: sa.Select[Any],
    columns: Sequence[str | Column],
    job: str | None,
    method: str | None,
    as_of: datetime | None,
) -> pd.DataFrame:
    """Return what the examinations in force answer to a query, as a typed frame."""
    query = _only(query, job, method)
    with register.reading() as connection:
        query = query.where(register.in_force(connection, "examinations", as_of))
        rows = connection.execute(query).all()
    typed = [_OF_EXAMINATIONS[c] if isinstance(c, str) else c for c in columns]
    return from_rows(rows, typed)


def _only(query: sa.Select[Any], job: str | None, method: str | None) -> sa.Select[Any]:
    if job is not None:
        query = query.where(_EXAMINATIONS["job"] == job)
    if method is not None:
        query = query.where(_EXAMINATIONS["method"] == method)
    return query


def _plain(value: Any, name: str) -> sa.ColumnElement[Any]:
    """Return a column without conversion row by row; whole columns are converted later."""
    return sa.type_coerce(value, sa.types.NullType()).label(name)
