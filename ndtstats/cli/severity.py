"""``ndtstats severity``."""

from datetime import datetime
from typing import TYPE_CHECKING

import click

from ndtstats.cli.console import Shown, emit, say
from ndtstats.cli.options import as_of_option, format_option, job_option, opened, register_option

if TYPE_CHECKING:
    import pandas as pd

_STANDING = (
    Shown("welder", "welder"),
    Shown("method", "method"),
    Shown("severity", "severity"),
    Shown("since", "since", "date"),
    Shown("factor", "extent ×", "number"),
    Shown("rejected", "rejected since", "count"),
    Shown("examined", "examined since", "count"),
    Shown("accepts_in_a_row", "accepts in a row", "count"),
    Shown("cause", "cause"),
    Shown("because", "examinations"),
)
_CHANGES = (
    Shown("day", "day", "date"),
    Shown("welder", "welder"),
    Shown("method", "method"),
    Shown("before", "from"),
    Shown("after", "to"),
    Shown("cause", "cause"),
    Shown("rejected", "rejected", "count"),
    Shown("examined", "examined", "count"),
    Shown("because", "examinations"),
)
_LOTS = (
    Shown("rule", "rule"),
    Shown("welder", "welder"),
    Shown("lot", "lot"),
    Shown("first_welded", "first welded", "date"),
    Shown("rejected", "rejected", "count"),
    Shown("examined", "examined", "count"),
    Shown("during", "examined at"),
    Shown("after", "next lot"),
    Shown("because", "rejects"),
)


@click.command()
@job_option
@click.option("--show", type=click.Choice(["welders", "changes", "lots"]), default="welders",
              show_default=True,
              help="Where each welder stands; each change and what caused it; lots in order, "
                   "switched after ISO 2859-1.")  # fmt: skip
@click.option("--steady", is_flag=True,
              help="Lots: production is steady, and reduced inspection is wanted.")  # fmt: skip
@click.option("--rules", metavar="FILE|PRESET", help="Judge by these rules, not those in force.")
@register_option
@as_of_option
@format_option
def severity(
    job: str | None,
    show: str,
    steady: bool,
    rules: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Whose examination is tightened, who is stopped, and which examinations caused it.

    What the signals are stands under [signals] of the rules. The extent of a welder who is
    tightened is the rule's times the factor in every plan drawn until he is released; what earlier
    plans cover keeps its extent. Draw more of it with: ndtstats plan draw --budget.
    """
    from ndtstats.escalation import severity as standing  # noqa: PLC0415
    from ndtstats.escalation import severity_sentence, switching  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415
    from ndtstats.rules import load_rules  # noqa: PLC0415

    with opened(register, way="lots" if show == "lots" else "") as reg:
        job = require_job(reg, job, as_of)
        given = load_rules(rules) if rules else None
        if show == "lots":
            lots = switching(reg, job=job, as_of=as_of, rules=given, steady=steady)
            emit(lots, fmt, columns=_LOTS, conclusion=_lots_told(lots))
            return
        found = standing(reg, job=job, as_of=as_of, rules=given)
    if show == "changes":
        emit(found.changes, fmt, columns=_CHANGES, conclusion=severity_sentence(found))
    else:
        emit(found.standing, fmt, columns=_STANDING, conclusion=severity_sentence(found))
    if fmt == "table":
        for remark in found.remarks:
            say(remark)
    click.get_current_context().exit(1 if (found.standing["severity"] != "normal").any() else 0)


def _lots_told(lots: "pd.DataFrame") -> str:
    from ndtstats.escalation import switching_now  # noqa: PLC0415

    counts = switching_now(lots)["after"].value_counts()
    told = ", ".join(f"{number} {name}" for name, number in counts.items()) or "nothing examined"
    return f"Next lots of each welder and rule: {told}. Lot by lot after ISO 2859-1, an analogy."
