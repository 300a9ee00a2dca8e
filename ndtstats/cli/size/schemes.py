"""``ndtstats size double | sequential | card | mil-std-105e``: schemes that are not one sample."""

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ndtstats.cli.console import Shown, emit
from ndtstats.cli.options import format_option
from ndtstats.cli.size.options import lot_option, option, picture_option, two_points
from ndtstats.cli.size.show import FINE, given, or_fewer, percent, show_curve

if TYPE_CHECKING:
    from ndtstats.statistics.acceptance import StandardPlan

_CARD = (
    Shown("examined", "from so many examined", "count"),
    Shown("accept", "pass with rejects up to", "count"),
    Shown("reject", "fail with rejects from", "count"),
)
_most_option = option(
    "--most", type=int, help="Break off after so many; left out: where little is undecided."
)


@click.command()
@option("--first", type=int, required=True, help="Places in the first sample.")
@option("--allowed", type=int, required=True, help="Rejects with which the first sample passes.")
@option("--rejected", type=int, required=True, help="Rejects with which the first sample fails.")
@option("--second", type=int, required=True, help="Places in the second sample.")
@option("--allowed-both", type=int, required=True, help="Rejects with which both together pass.")
@lot_option
@picture_option
@format_option
def double(
    first: int,
    allowed: int,
    rejected: int,
    second: int,
    allowed_both: int,
    lot: int | None,
    picture: Path | None,
    fmt: str,
) -> None:
    """Show what a double plan passes and costs."""
    from ndtstats.statistics.acceptance import DoublePlan, double_curve  # noqa: PLC0415

    plan = DoublePlan(first, allowed, rejected, second, allowed_both)
    most = math.ceil(double_curve(plan, points=FINE, lot=lot)["average_examined"].max())
    show_curve(
        lambda points: double_curve(plan, points=points, lot=lot),
        {
            "first": first,
            "allowed": allowed,
            "rejected": rejected,
            "second": second,
            "allowed_both": allowed_both,
        },
        f"Examine {first:,}; pass with {or_fewer(allowed)} rejected, fail with {rejected} or more; "
        f"in between examine {second:,} more and pass with {or_fewer(allowed_both)} rejected in "
        f"both together. On average {most:,} are examined at the worst rate, fewer at others.",
        fmt,
        picture,
    )


@click.command()
@two_points
@_most_option
@picture_option
@format_option
def sequential(
    good: float,
    bad: float,
    producer_risk: float,
    consumer_risk: float,
    most: int | None,
    picture: Path | None,
    fmt: str,
) -> None:
    """Examine one by one until the rejects decide (Wald's test)."""
    from ndtstats.statistics import acceptance  # noqa: PLC0415

    plan = acceptance.SequentialPlan(good, bad, producer_risk, consumer_risk)
    most = plan.practical_end if most is None else most
    at = acceptance.sequential_outcome([good, bad], plan, most=most)
    conclusion = (
        f"Examined one by one, work without a reject passes after {plan.first_acceptance:,}. "
        f"Broken off after {most:,}: with {given(good)} bad {at.average_examined[0]:,.0f} are "
        f"examined on average and the work fails with a chance of {percent(at.failed[0])}; with "
        f"{given(bad)} bad {at.average_examined[1]:,.0f}, and it passes with a chance of "
        f"{percent(at.passed[1])}."
    )
    show_curve(
        lambda points: acceptance.sequential_curve(plan, most=most, points=points),
        {"first_acceptance": plan.first_acceptance, "most": most},
        conclusion,
        fmt,
        picture,
    )


@click.command()
@two_points
@_most_option
@format_option
def card(
    good: float,
    bad: float,
    producer_risk: float,
    consumer_risk: float,
    most: int | None,
    fmt: str,
) -> None:
    """Print the card to work from in a sequential test."""
    from ndtstats.statistics.acceptance import SequentialPlan, sequential_card  # noqa: PLC0415

    plan = SequentialPlan(good, bad, producer_risk, consumer_risk)
    most = plan.practical_end if most is None else most
    emit(
        sequential_card(plan, most=most),
        fmt,
        columns=_CARD,
        conclusion=f"Examine one by one in an order left to chance, {most:,} at most. Each row "
        "holds from its number on, until the next.",
    )


@click.command("mil-std-105e")
@option("--lot", type=int, required=True, help="Places in the lot.")
@option("--aql", type=float, required=True, help="Acceptance quality level in per cent, as 1.0.")
@option("--level", default="II", help="Inspection level: I, II, III, or S1 to S4.")
@option("--inspection", default="normal", help="Severity: normal, tightened or reduced.")
@picture_option
@format_option
def mil_std_105e(
    lot: int, aql: float, level: str, inspection: str, picture: Path | None, fmt: str
) -> None:
    """Look up a single plan of MIL-STD-105E."""
    from ndtstats.statistics.acceptance import single_curve, standard_plan  # noqa: PLC0415

    plan = standard_plan(lot, aql, level=level, inspection=inspection)
    show_curve(
        # The chance is that of a stream, as the standard's own curves: lots follow each other.
        lambda points: single_curve(plan.examine, plan.allowed, points=points)[
            ["rate", "pass_probability"]
        ],
        {"examine": plan.examine, "accept": plan.accept, "reject": plan.reject},
        f"Lot of {lot:,}, level {level}, AQL {aql:g} %, {inspection} inspection: "
        + _standard_words(plan),
        fmt,
        picture,
    )


def _standard_words(plan: "StandardPlan") -> str:
    letter = f"letter {plan.letter}"
    if plan.used_letter != plan.letter:
        letter += f", whose arrow leads to {plan.used_letter}"
    examine = f"all {plan.examine:,}" if plan.whole_lot else f"{plan.examine:,}"
    between = ""
    if plan.allowed > plan.accept:
        numbers = f"{plan.accept + 1}" + (
            f" to {plan.allowed}" if plan.allowed > plan.accept + 1 else ""
        )
        between = f", accept and return to normal inspection with {numbers}"
    return (
        f"{letter}; examine {examine}, accept with {or_fewer(plan.accept)} rejected{between}, "
        f"reject with {plan.reject} or more."
    )
