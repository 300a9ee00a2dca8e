"""``ndtstats owed``."""

from datetime import datetime

import click

from ndtstats.cli.console import Shown, emit, note, say
from ndtstats.cli.options import as_of_option, format_option, job_option, opened, register_option

_COLUMNS = (
    Shown("handle", "item"),
    Shown("job", "job"),
    Shown("lot", "lot"),
    Shown("procedure", "procedure"),
    Shown("round", "round", "count"),
    Shown("what", "what"),
    Shown("count", "count", "count"),
    Shown("where", "where"),
    Shown("because", "because"),
    Shown("state", "state"),
)


@click.command()
@job_option
@click.option("--explain", "item", metavar="ITEM", help="Tell the story of one item.")
@click.option("--everything", is_flag=True, help="Also what is owed no longer.")
@click.option("--rules", metavar="FILE|PRESET", help="Judge by these rules, not those in force.")
@register_option
@as_of_option
@format_option
def owed(
    job: str | None,
    item: str | None,
    everything: bool,
    rules: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """List each extra examination and repair owed, and the examinations that caused it.

    ITEM is the short name in the first column, or the whole one that --format json gives.
    """
    from ndtstats import escalation  # noqa: PLC0415
    from ndtstats.register import jobs_known, require_job  # noqa: PLC0415
    from ndtstats.rules import load_rules, rules_in_force  # noqa: PLC0415

    with opened(register) as reg:
        job = require_job(reg, job, as_of) if job else None
        given = load_rules(rules) if rules else None
        if item:
            for line in escalation.explain(reg, item, job=job, as_of=as_of, rules=given):
                say(line)
            return
        every = escalation.owed(reg, job=job, as_of=as_of, rules=given, everything=True)
        jobs = [job] if job else jobs_known(reg, as_of)
        lawless = [name for name in jobs if not given and rules_in_force(reg, name, as_of) is None]
        told = [
            *escalation.waived_sentences(every),
            *escalation.orphaned_waivers(reg, every, job=job, as_of=as_of),
        ]
    still = every[every["count"] > 0]
    table = every if everything else still.drop(columns=["answered_by", "decided"])
    shown = table.assign(where=table["places"].map(_where)) if fmt == "table" else table
    emit(shown, fmt, columns=_COLUMNS, conclusion=escalation.sentence(still))
    for name in lawless:
        note(f"Job {name} has no rules in force, so only repairs are listed for it.")
    for text in told:
        note(text)
    click.get_current_context().exit(1 if len(still) else 0)


def _where(places: list[dict[str, object]]) -> str:
    shown = [
        f"{place['joint']} {place['from_mm']:g}-{place['to_mm']:g} mm"
        if "from_mm" in place
        else str(place["joint"])
        for place in places[:3]
    ]
    more = f" and {len(places) - 3} more" if len(places) > 3 else ""
    return ", ".join(shown) + more
