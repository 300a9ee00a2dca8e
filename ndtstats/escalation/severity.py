"""How strictly each welder's work is examined today, and why: signals, and lots in order."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from ndtstats.escalation.history import History, first_by_welder, history_of
from ndtstats.escalation.lots import lots_of_examinations
from ndtstats.escalation.owed import told_by_partner
from ndtstats.escalation.signals import CHANGE_COLUMNS, SEVERITIES, severity_of
from ndtstats.escalation.switching import Step, switch
from ndtstats.rates.charge import UNKNOWN
from ndtstats.rates.chosen import charged_once, chosen
from ndtstats.rates.sample import first_charged
from ndtstats.register import Register, decisions_in_force
from ndtstats.rules import ExtentRule, Rules, is_under, rules_in_force
from ndtstats.rules.signals import Signals

#: Methods that prove a weld inside or at its surface; without rules these are watched.
_METHODS = ("RT", "UT", "PT", "MT")

STANDING_COLUMNS = (
    "welder", "method", "severity", "since", "rejected", "examined", "accepts_in_a_row", "factor",
    "cause", "because",
)  # fmt: skip

#: Lots that are switched where the lot of the rule is neither a month's nor an increment's work.
_LOT = ("welder", "month")


@dataclass(frozen=True, slots=True)
class Severity:
    """How each welder stands.

    Parameters
    ----------
    standing : DataFrame
        A row a welder and method, the strictest first: ``welder``, ``method``, ``severity``,
        ``since`` (day; missing if never changed), ``rejected`` of ``examined`` since then,
        ``accepts_in_a_row``, ``factor`` (what his extent is multiplied by; missing if stopped),
        ``cause`` and ``because`` of the last change.
    changes : DataFrame
        Every change (:func:`ndtstats.escalation.signals.severity_of`), with ``method``.
    settings : Signals
        What it was judged by.
    remarks : tuple of str
        What has to be known to read it rightly, in sentences.
    """

    standing: pd.DataFrame
    changes: pd.DataFrame
    settings: Signals
    remarks: tuple[str, ...]


def severity(
    register: Register, *, job: str, as_of: datetime | None = None, rules: Rules | None = None
) -> Severity:
    """Return how strictly each welder's work on a job is examined, and what changed it.

    Parameters
    ----------
    job : str
        The job; each has its own rules.
    as_of : datetime, optional
        What was known then.
    rules : Rules, optional
        Judge by their ``[signals]`` instead of those in force.

    Notes
    -----
    First examinations of places that rules or chance chose, where there are any: what was aimed, or
    owed, would be held against a welder twice. See :func:`severity_of` for the signals.
    """
    frozen = register.snapshot(as_of)
    rules = rules or rules_in_force(register, job, as_of)
    stated = rules.file.signals if rules else None
    settings = stated or Signals()
    every = [method for rule in rules.extent for method in rule.methods] if rules else _METHODS
    methods = dict.fromkeys(every)
    charges = first_charged(frozen, ["welder", "id", "date"], method=None, job=job, as_of=None)
    basis = chosen(charges)
    seen = charged_once(basis.charges.seen, "welder")
    seen = seen[(seen["welder"] != UNKNOWN) & seen["method"].isin(list(methods))]
    refs = history_of(frozen, job, None).rows.set_index("id")["ref"]
    seen = seen.assign(ref=seen["id"].map(refs)).sort_values(["date", "id"], ignore_index=True)
    reviews = reviews_of(register, job, as_of)
    parts = [
        severity_of(mine, settings, reviews).assign(method=method)
        for method, mine in seen.groupby("method")
    ]
    columns = ["method", *CHANGE_COLUMNS]
    changes = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)
    changes = changes[columns].sort_values(["day", "welder", "method"], kind="stable")
    standing = _standing(seen, changes, settings)
    remarks = tuple(filter(None, [basis.remark, "" if stated else _unstated(rules, settings)]))
    return Severity(standing, changes.reset_index(drop=True), settings, remarks)


class InForce(NamedTuple):
    """Whose extent is multiplied in the next plan.

    ``factors``: by welder and method; ``remark``: what has to be known of it, in a sentence, or "".
    """

    factors: dict[tuple[str, str], float]
    remark: str


def tightened_in_force(
    register: Register, *, job: str, rules: Rules, as_of: datetime | None = None
) -> InForce:
    """Return by what the extent of welders is multiplied in a plan that is drawn now.

    Parameters
    ----------
    job : str
        The job.
    rules : Rules
        Rules to plan by. Only what they state under ``[signals]`` was agreed and multiplies an
        extent; without, signals by figures chosen here are told, no more.
    as_of : datetime, optional
        What was known then.

    Notes
    -----
    What a welder made before he was stopped is examined like that of one who is tightened.
    """
    table = severity(register, job=job, as_of=as_of, rules=rules).standing
    strict = table[table["severity"] != "normal"]
    if rules.file.signals is None:
        named = ", ".join(strict["welder"].unique())
        stated = f'the rules "{rules.title}" state no [signals], so nobody\'s extent is multiplied'
        return InForce({}, f"by figures chosen here {named} signalled; {stated}" if named else "")
    pairs = zip(strict["welder"], strict["method"], strict=True)
    return InForce(dict.fromkeys(pairs, rules.file.signals.factor), "")


def reviews_of(register: Register, job: str, as_of: datetime | None) -> pd.DataFrame:
    """Return the reviews of welders: ``welder``, ``day``, ``decision``, oldest first."""
    made = decisions_in_force(register, kind="review", job=job, as_of=as_of)
    day = made["at"].dt.tz_localize(None).dt.normalize() if len(made) else pd.to_datetime([])
    return pd.DataFrame({"welder": made["subject"], "day": day, "decision": made["decision"]})


def _standing(seen: pd.DataFrame, changes: pd.DataFrame, settings: Signals) -> pd.DataFrame:
    """Return where each welder stands after his last change."""
    keys = ["welder", "method"]
    last = changes.drop_duplicates(keys, keep="last").set_index(keys)
    number = seen.groupby(keys).cumcount()
    used = changes.groupby(keys)["examined"].sum()
    pairs = pd.MultiIndex.from_frame(seen[keys])
    mine = seen[number >= used.reindex(pairs).fillna(0).to_numpy()]
    after_last_bad = mine.groupby(keys)["rejected"].transform(lambda bad: bad[::-1].cumsum()[::-1])
    every = seen.groupby(keys).size().index
    count = mine.groupby(keys)["rejected"].agg(["size", "sum"]).reindex(every, fill_value=0)
    sound = mine[after_last_bad == 0].groupby(keys).size().reindex(every, fill_value=0)
    told = last.reindex(every)
    state = told["after"].astype("str").fillna("normal")
    table = pd.DataFrame(
        {
            "severity": state, "since": told["day"], "rejected": count["sum"].astype("int64"),
            "examined": count["size"], "accepts_in_a_row": sound,
            "factor": state.map({"normal": 1.0, "tightened": settings.factor}),
            "cause": told["cause"].astype("str").fillna(""),
            "because": told["because"].astype("str").fillna(""),
        }
    )  # fmt: skip
    rank = table["severity"].map({name: -at for at, name in enumerate(SEVERITIES)})
    ordered = table.assign(rank=rank).reset_index().sort_values(["rank", *keys], ignore_index=True)
    result: pd.DataFrame = ordered[list(STANDING_COLUMNS)]
    return result


def _unstated(rules: Rules | None, settings: Signals) -> str:
    where = f'The rules "{rules.title}" state' if rules else "No rules in force state"
    return (
        f"{where} no [signals]: judged by figures chosen here, limit {settings.limit:.0%}, rate "
        f"borne {settings.borne:.0%}, released after {settings.release_after} accepts in a row. "
        "Agree your own."
    ).replace("%", " %")


def severity_sentence(found: Severity) -> str:
    """Return in a sentence who is tightened and who is stopped."""
    table = found.standing
    if table.empty:
        return "No first examination is charged to a known welder yet."
    parts = []
    for name, follows in (
        ("stopped", "production stops until a named review"),
        ("tightened", f"extent × {found.settings.factor:g}"),
    ):
        who = table.loc[table["severity"] == name, "welder"].drop_duplicates()
        if len(who):
            named = ", ".join(who.head(8)) + (f" and {len(who) - 8} more" if len(who) > 8 else "")
            parts.append(f"{name} ({follows}): {named}")
    number = table["welder"].nunique()
    everybody = "the one welder" if number == 1 else f"all {number:,} welders"
    return (
        ". ".join(part[0].upper() + part[1:] for part in parts) + "."
        if parts
        else (f"Nobody is tightened or stopped: {everybody} examined as the rules say.")
    )


# ------------------------------------------------------------------ lots in order


def switching(
    register: Register,
    *,
    job: str,
    as_of: datetime | None = None,
    rules: Rules | None = None,
    steady: bool = False,
) -> pd.DataFrame:
    """Return the severity of each welder's lots in order, after the switching rules of ISO 2859-1.

    Parameters
    ----------
    job, as_of, rules
        As in :func:`severity`.
    steady : bool
        Production is steady and the authority wants reduced inspection where it is earned.

    Returns
    -------
    DataFrame
        A row a lot: ``rule``, ``welder``, ``lot``, ``first_welded``, ``examined``, ``rejected``,
        ``accepted`` (no first examination of it was rejected), ``during`` and ``after`` (severity),
        ``because`` (the rejects).

    Notes
    -----
    The lot is that of the rule if it is a welder's work of a month or an increment; else it is his
    work of a month under the rule. Extras do not count: lots are judged at their first inspection
    (:func:`ndtstats.escalation.switching.switch`). Once discontinued, lots begun after a review of
    the welder are examined tightened; any review, of any method, for it is the welder who is
    reviewed. An analogy and no code: common practice, no source.
    """
    rules = rules or rules_in_force(register, job, as_of)
    past = history_of(register, job, as_of)
    if rules is None or past.rows.empty:
        return _no_lots()
    charged = first_by_welder(past)
    charged = charged[(charged["role"] != "extra") & (charged["welder"] != UNKNOWN)]
    resumed = reviews_of(register, job, as_of)
    parts = [_lots(charged, past, rules, rule, resumed, steady=steady) for rule in rules.extent]
    return pd.concat([_no_lots(), *(part for part in parts if len(part))], ignore_index=True)


def _no_lots() -> pd.DataFrame:
    text = ["rule", "welder", "lot", "during", "after", "because"]
    columns = ["rule", "welder", "lot", "first_welded", "examined", "rejected", "accepted",
               "during", "after", "because"]  # fmt: skip
    types = dict.fromkeys(text, "str") | {"first_welded": "datetime64[us]", "accepted": "bool"}
    return pd.DataFrame(columns=columns).astype(types | {"examined": "int64", "rejected": "int64"})


def _lots(
    charged: pd.DataFrame,
    past: History,
    rules: Rules,
    rule: ExtentRule,
    resumed: pd.DataFrame,
    *,
    steady: bool,
) -> pd.DataFrame:
    """Return the lots of one rule with their severity."""
    under = past.joints[is_under(past.joints, rule)]
    mine = charged[charged["method"].isin(rule.methods) & charged["joint"].isin(under["joint"])]
    if mine.empty or told_by_partner(rules, rule):
        return _no_lots()
    columns = rules.lot_of(rule)
    serial = "welder" in columns and bool({"month", "increment"} & set(columns))
    by = rule.model_copy(update={"lot": columns if serial else _LOT})
    rows = lots_of_examinations(mine.reset_index(drop=True), under, past.deposits, rules, by)
    lots = rows.groupby(["welder", "lot"]).agg(
        first_welded=("welded", "min"), examined=("rejected", "size"), rejected=("rejected", "sum")
    )
    bad = rows[rows["rejected"]].groupby(["welder", "lot"])["ref"].agg("; ".join)
    lots = lots.assign(because=bad.reindex(lots.index).fillna("")).reset_index()
    lots = lots.assign(accepted=lots["rejected"] == 0, rule=rule.name)
    lots = lots.sort_values(["welder", "first_welded", "lot"], ignore_index=True)
    steps: list[Step] = []
    for welder, own in lots.groupby("welder"):
        days = resumed.loc[resumed["welder"] == welder, "day"]
        steps += _switched(own["accepted"].tolist(), own["first_welded"], days, steady=steady)
    severities = np.array(steps, dtype=object).reshape(-1, 2)
    return lots.assign(during=severities[:, 0], after=severities[:, 1])[list(_no_lots().columns)]


def _switched(
    accepted: list[bool], begun: "pd.Series[Any]", reviews: "pd.Series[Any]", *, steady: bool
) -> list[Step]:
    """Return the steps of one welder; what was discontinued resumes, tightened, after a review."""
    steps: list[Step] = []
    begins = begun.to_numpy()
    severity: Any = "normal"
    while len(steps) < len(accepted):
        if severity == "discontinued":
            # The first review after the lot that stopped it; lots begun later are examined again.
            days = reviews[reviews >= begins[len(steps) - 1]]
            later = begins > days.min() if len(days) else np.zeros(len(begins), bool)
            idle = int(np.argmax(later)) if later.any() else len(accepted)
            steps += [Step("discontinued", "discontinued")] * (idle - len(steps))
            severity = "tightened"
        for step in switch(accepted[len(steps) :], start=severity, steady=steady):
            steps.append(step)
            severity = step.after
            if severity == "discontinued":
                break
    return steps


def switching_now(lots: pd.DataFrame) -> pd.DataFrame:
    """Return the last lot of each welder and rule: ``after`` is the severity of the next one."""
    return lots.drop_duplicates(["rule", "welder"], keep="last", ignore_index=True)
