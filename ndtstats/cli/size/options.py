"""Options that the verbs of ``ndtstats size`` share."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


def option(name: str, **settings: Any) -> Callable[[F], F]:
    """Return a click option that shows its default, if it has one."""
    return click.option(name, show_default="default" in settings, **settings)


rate_option = option(
    "--rate", type=float, required=True, help="True share that is bad; 0.05 for 5 %."
)
confidence_option = option(
    "--confidence", type=float, default=0.95, help="Confidence wanted, between 0 and 1."
)
lot_option = option("--lot", type=int, help="Places in the lot; left out: they come without end.")
allowed_option = option(
    "--allowed", type=int, default=0, help="Rejects with which the work still passes."
)
detection_option = option(
    "--detection", type=float, default=1.0, help="Share of the bad places that the method finds."
)
picture_option = option(
    "--picture",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Also draw the curves, as a .html page or a .svg picture.",
)


def two_points(function: F) -> F:
    """Add ``--good``, ``--bad``, ``--producer-risk`` and ``--consumer-risk``."""
    for add in (
        option("--consumer-risk", type=float, default=0.10, help="Chance that bad work passes."),
        option("--producer-risk", type=float, default=0.05, help="Chance that good work fails."),
        option("--bad", type=float, required=True, help="Rate that ought to fail."),
        option("--good", type=float, required=True, help="Rate that ought to pass."),
    ):
        function = add(function)
    return function
