"""``ndtstats size below | miss | margin | curve | plan``: one sample, one decision."""

from pathlib import Path

import click

from ndtstats.cli.console import Shown, emit
from ndtstats.cli.options import format_option
from ndtstats.cli.size.options import (
    allowed_option,
    confidence_option,
    detection_option,
    lot_option,
    option,
    picture_option,
    rate_option,
    two_points,
)
from ndtstats.cli.size.show import by_method, given, of_lot, or_fewer, percent, show_curve

_MISS = (
    Shown("examined", "examined", "count"),
    Shown("see_nothing_probability", "sees nothing", "percent"),
)
_MARGIN = (
    Shown("examine", "examine", "count"),
    Shown("expected_rejected", "rejected, if as expected", "count"),
    Shown("lower", "exact lower bound", "percent"),
    Shown("upper", "exact upper bound", "percent"),
)


@click.command()
@rate_option
@confidence_option
@lot_option
@allowed_option
@detection_option
@picture_option
@format_option
def below(
    rate: float,
    confidence: float,
    lot: int | None,
    allowed: int,
    detection: float,
    picture: Path | None,
    fmt: str,
) -> None:
    """Say how many show that a rate is below a limit."""
    from ndtstats.statistics import acceptance  # noqa: PLC0415

    n = int(
        acceptance.examinations_needed(
            rate, confidence, allowed=allowed, lot=lot, detection=detection
        )
    )
    claim = f"the true rate is below {given(rate)}"
    if lot is not None:
        bad = int(acceptance.bad_in_lot(rate, lot))
        claim = f"fewer than {bad} of the {lot:,} are bad ({percent(bad / lot)})"
    show_curve(
        lambda points: acceptance.single_curve(
            n, allowed, points=points, lot=lot, detection=detection
        ),
        {"examine": n, "allowed": allowed},
        f"Examine {of_lot(n, lot)} chosen by chance{by_method(detection)}: with "
        f"{or_fewer(allowed)} rejected, {claim} with {given(confidence)} confidence.",
        fmt,
        picture,
    )


@click.command()
@option("--examined", type=int, required=True, help="Places examined.")
@rate_option
@lot_option
@detection_option
@format_option
def miss(examined: int, rate: float, lot: int | None, detection: float, fmt: str) -> None:
    """Say how likely nothing of what is there is seen."""
    import numpy as np  # noqa: PLC0415
    import pandas as pd  # noqa: PLC0415

    from ndtstats.statistics.acceptance import accept_probability, bad_in_lot  # noqa: PLC0415
    from ndtstats.statistics.acceptance.arguments import counts  # noqa: PLC0415

    # What more would buy stands below what was asked.
    times = np.array([1.0, 2.0, 3.0, 5.0, 10.0, 20.0]) * examined
    most = np.inf if lot is None else float(max(lot, examined))
    more = counts(np.unique(np.minimum(times, most)), "examined")
    chance = accept_probability(rate, more, lot=lot, detection=detection)
    there = "bad places" if lot is None else f"{int(bad_in_lot(rate, lot))} bad places"
    emit(
        pd.DataFrame({"examined": more, "see_nothing_probability": chance}),
        fmt,
        columns=_MISS,
        conclusion=f"With {of_lot(examined, lot)} examined{by_method(detection)}, the chance that "
        f"none of the {there} ({given(rate)}) is seen is {percent(float(chance[0]))}.",
    )


@click.command()
@rate_option
@option("--margin", type=float, required=True, help="Plus or minus; 0.05 for 5 points.")
@confidence_option
@lot_option
@format_option
def margin(rate: float, margin: float, confidence: float, lot: int | None, fmt: str) -> None:
    """Say how many tell a rate within a margin."""
    import pandas as pd  # noqa: PLC0415

    from ndtstats.statistics import proportion_interval  # noqa: PLC0415
    from ndtstats.statistics.acceptance import examinations_for_margin  # noqa: PLC0415

    n = int(examinations_for_margin(rate, margin, level=confidence, lot=lot).examine)
    rejected = round(rate * n)
    lower, upper = proportion_interval(rejected, n, level=confidence)
    row = {
        "examine": n,
        "expected_rejected": rejected,
        "lower": float(lower),
        "upper": float(upper),
    }
    emit(
        pd.DataFrame([row]),
        fmt,
        columns=_MARGIN,
        conclusion=f"Examine {of_lot(n, lot)} chosen by chance: a rate of about {given(rate)} is "
        f"then known to about {100 * margin:.10g} points either way with {given(confidence)} "
        "confidence.",
    )


@click.command()
@option("--examine", type=int, required=True, help="Places to examine.")
@allowed_option
@lot_option
@detection_option
@picture_option
@format_option
def curve(
    examine: int, allowed: int, lot: int | None, detection: float, picture: Path | None, fmt: str
) -> None:
    """Show what a plan passes, leaves and costs."""
    from ndtstats.statistics import acceptance  # noqa: PLC0415

    rates = acceptance.rate_accepted([0.95, 0.10], examine, allowed, lot=lot, detection=detection)
    often, seldom = (float(rate) for rate in rates)
    conclusion = (
        f"Examine {of_lot(examine, lot)} chosen by chance{by_method(detection)}, pass with "
        f"{or_fewer(allowed)} rejected: work with up to {percent(often)} bad passes at least 19 "
        f"times in 20, work with more than {percent(seldom)} bad less than once in 10."
    )
    if detection == 1:
        left = float(acceptance.outgoing_limit(examine, allowed, lot=lot).outgoing)
        conclusion += (
            " Where what fails is examined whole and repaired, at the worst rate "
            f"{percent(left)} bad is left on average."
        )
    show_curve(
        lambda points: acceptance.single_curve(
            examine, allowed, points=points, lot=lot, detection=detection
        ),
        {"examine": examine, "allowed": allowed},
        conclusion,
        fmt,
        picture,
    )


@click.command()
@two_points
@lot_option
@picture_option
@format_option
def plan(
    good: float,
    bad: float,
    producer_risk: float,
    consumer_risk: float,
    lot: int | None,
    picture: Path | None,
    fmt: str,
) -> None:
    """Find the smallest plan between two rates."""
    from ndtstats.statistics.acceptance import single_curve, two_point_plan  # noqa: PLC0415

    found = two_point_plan(
        good, bad, producer_risk=producer_risk, consumer_risk=consumer_risk, lot=lot
    )
    n, c = found.examine, found.allowed
    show_curve(
        lambda points: single_curve(n, c, points=points, lot=lot),
        {"examine": n, "allowed": c},
        f"Examine {of_lot(n, lot)} chosen by chance, pass with {or_fewer(c)} rejected: the chance "
        f"that work with {percent(found.good)} bad fails is {percent(found.good_fails)}, that "
        f"work with {percent(found.bad)} bad passes {percent(found.bad_passes)}.",
        fmt,
        picture,
    )
