"""The story of an owed item in plain sentences, with dates and report numbers."""

from datetime import datetime
from typing import Any

import pandas as pd

from ndtstats.escalation.decided import find_item
from ndtstats.escalation.history import History, history_of
from ndtstats.escalation.owed import owed
from ndtstats.rates.charge import UNKNOWN, charge_welders
from ndtstats.register import Register
from ndtstats.rules import Procedure, Rules, rules_in_force

#: Places named in a sentence; the table has them all.
_MOST_NAMED = 8

_ASTRAY = "; does not cover the place: "


def explain(
    register: Register,
    item: str,
    *,
    job: str | None = None,
    as_of: datetime | None = None,
    rules: Rules | None = None,
) -> list[str]:
    """Return the story of an owed item, a sentence each.

    What was found where, by whom it was welded, which rule and stage follow, what was asked for,
    what answered it, what is still owed and what clears it, and who waived or overturned it.

    Parameters
    ----------
    item : str
        Name or handle of the item (:func:`ndtstats.escalation.owed`).
    job, as_of, rules
        As there.

    Raises
    ------
    UseError
        If there is no such item.
    """
    table = owed(register, job=job, as_of=as_of, rules=rules, everything=True)
    told = find_item(table, item)
    name = str(told["job"])
    past = history_of(register, name, as_of).as_first_read()
    rules = rules or rules_in_force(register, name, as_of)
    rows = past.rows.drop_duplicates("ref").set_index("ref")
    rejects = str(told["because"]).split(_ASTRAY)[0].split("; ")
    mine = table[table["job"] == told["job"]]
    lines = [
        *(line for ref in rejects for line in _found(ref, rows, past, mine, told)),
        _rule_told(told, rules),
        _asked(told),
        *_answered(told, rows),
        _standing(told),
    ]
    return [f"Job {name}, item {told['handle']}.", *(line for line in lines if line)]


def _found(
    ref: str, rows: pd.DataFrame, past: History, table: pd.DataFrame, told: pd.Series
) -> list[str]:
    """Return what was found, by whom it was welded, and what the examination had been made for."""
    if ref not in rows.index:
        return [f"{ref}: this examination is not in the register any more."]
    row = rows.loc[ref]
    one = past.rows[past.rows["ref"] == ref]
    shown = past.shown[past.shown["id"].isin(one["id"])]
    found = _indications(shown)
    by = _welders(one, shown, past)
    head = (
        f"On {row['date']:%Y-%m-%d} report {row['report']} rejected joint {row['joint']}, "
        f"{row['from_mm']:g} to {row['to_mm']:g} mm, by {row['method']}"
        f"{', after repair ' + str(row['round']) if row['round'] else ''}{found}; {by}."
    )
    for_it = table[_names(table["answered_by"], ref) & (table["what"] == "extra")]
    for_it = for_it[for_it["item"] != told["item"]]
    more = [
        f"It had been examined as an extra of stage {other.round} (item {other.handle}), because "
        f"of {other.because}."
        for other in for_it.itertuples()
    ]
    return [head, *more]


def _indications(shown: pd.DataFrame) -> str:
    kind = ("imperfection " + shown["imperfection"].astype("str")).fillna("an imperfection")
    low, high = (shown[name].map("{:g}".format).astype("str") for name in ("start_mm", "end_mm"))
    at = " at " + low + " to " + high
    told = kind + (at + " mm").where(shown["located"], "")
    parts = told[shown["imperfection"].notna() | shown["located"]]
    return f" ({', '.join(parts)})" if len(parts) else ""


def _welders(row: pd.DataFrame, shown: pd.DataFrame, past: History) -> str:
    charged = charge_welders(row, shown, past.deposits)
    who = sorted(set(charged.loc[charged["rejected"], "welder"]) - {UNKNOWN})
    if not who:
        return "nobody is recorded as the welder"
    made = past.deposits[
        past.deposits["joint"].isin(row["joint"]) & past.deposits["welder"].isin(who)
    ]
    return f"welded by {' and '.join(who)} on {made['date'].min():%Y-%m-%d}"


def _names(answers: "pd.Series[str]", ref: str) -> Any:
    padded = "; " + answers.fillna("") + "; "
    return padded.str.contains(f"; {ref}; ", regex=False)


def _rule_told(told: pd.Series, rules: Rules | None) -> str:
    if told["what"] in {"repair", "re-examine"}:
        return (
            "A reject is repaired and the same place examined again by the same method "
            "(ASME B31.3, 341.3.3; seen); the contract's edition governs."
        )
    name = str(told["procedure"])
    procedure = rules.procedures.get(name) if rules else None
    if procedure is None:
        return f"It follows the procedure {name}."
    return f"It follows the procedure {name} ({procedure.source}): {in_words(procedure)}."


def in_words(procedure: Procedure) -> str:
    """Return what a procedure asks for, in words.

    Examples
    --------
    >>> from ndtstats.rules.procedures import PRESETS
    >>> in_words(PRESETS["progressive-piping"])
    '2 more of the lot for each reject, in 2 stages; a reject in the last: the whole lot'
    >>> in_words(PRESETS["percent-of-lot"])
    '10 % more of the lot, in 1 stage; a reject in the last: the whole lot'
    >>> in_words(PRESETS["until-sound-hull"]).partition("; ")[2]
    'after 4 rejected ones in a row: the whole lot'
    """
    if procedure.where == "adjacent":
        return (
            "the place on each side of a reject, until sound weld; after "
            f"{procedure.most_steps} rejected ones in a row: the whole lot"
        )
    if procedure.extra_shares:
        shares = ", then ".join(f"{100 * share:g} %" for share in procedure.extra_shares)
        extras = f"{shares} more of the lot"
    else:
        extras = f"{procedure.extras_per_reject} more of the lot for each reject"
    stages = "1 stage" if procedure.stages == 1 else f"{procedure.stages} stages"
    return f"{extras}, in {stages}; a reject in the last: the whole lot"


def _asked(told: pd.Series) -> str:
    where = _places(told["places"])
    if told["what"] == "extra":
        of = f" at {where}" if where else f" of other places of the lot ({told['lot']})"
        return f"That asks for extra examinations, stage {told['round']}{of}."
    if told["what"] == "whole lot":
        return f"That asks for the whole lot ({told['lot']})."
    if told["what"] == "repair":
        return f"That asks for repair {told['round']} of {where}."
    if not told["round"]:
        return f"The joint was cut out; what was welded in its place is examined at {where}."
    return f"That asks for {where} to be examined again after repair {told['round']}."


def _places(places: list[dict[str, Any]]) -> str:
    shown = [
        f"joint {one['joint']}, {one['from_mm']:g} to {one['to_mm']:g} mm"
        for one in places[:_MOST_NAMED]
    ]
    more = [f"{len(places) - _MOST_NAMED:,} more"] if len(places) > _MOST_NAMED else []
    return "; ".join([*shown, *more])


def _answered(told: pd.Series, rows: pd.DataFrame) -> list[str]:
    """Return what answered it, with each verdict, and what was thought to and did not."""
    lines = []
    for ref in filter(None, str(told["answered_by"]).split("; ")):
        if ref in rows.index:
            row = rows.loc[ref]
            verdict = "rejected" if row["rejected"] else "accepted"
            lines.append(f"On {row['date']:%Y-%m-%d} it was answered by {ref}: {verdict}.")
        else:
            lines.append(f"It was answered: {ref}.")
    _, _, astray = str(told["because"]).partition(_ASTRAY)
    if astray:
        lines.append(f"{astray} does not cover the place, so it answers nothing.")
    return lines


def _standing(told: pd.Series) -> str:
    """Return what is still owed, and what clears it."""
    count, state, what = int(told["count"]), str(told["state"]), str(told["what"])
    if state in {"waived", "overturned"}:
        return f"Nothing is owed of it any more: {told['decided']}."
    if state == "exhausted":
        left = f"{count:,} of them can still be examined" if count else "nothing is left to examine"
        return (
            f"The lot is exhausted: it has fewer unexamined places than are asked for; {left}. "
            "Once all of it is examined the whole lot is (common practice, no source)."
        )
    if state == "whole lot":
        return "It is taken up by the whole lot, which is owed since."
    if state == "cut out":
        return "Nothing is left to repair: the joint was cut out."
    if not count:
        return "It is closed."
    places = f"{count:,} place{'' if count == 1 else 's'}"
    clears = {
        "extra": f"Still owed: {places}. Accepted examinations of as many clear it; a reject among "
        "them asks for more.",
        "whole lot": f"Still owed: {places} ({_places(told['places'])}). Examining all of it "
        "clears it; each reject found is repaired.",
        "repair": "Still owed: the repair. The accepted re-examination of the place clears it.",
        "re-examine": "Still owed: the re-examination. One that covers the place clears it; if it "
        "rejects, the next repair is owed.",
    }
    return clears[what]
