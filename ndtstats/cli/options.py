"""Options that several verbs share, so that they mean the same everywhere."""

import getpass
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeVar

import click

from ndtstats.clock import parse_as_of

if TYPE_CHECKING:
    from datetime import datetime

    from ndtstats.register import Register

F = TypeVar("F", bound=Callable[..., Any])

DEFAULT_REGISTER = "ndtstats.sqlite"


def register_option(function: F) -> F:
    """Add ``--register``: the target of :func:`opened`, as ``register``."""
    return click.option(
        "--register",
        envvar="NDTSTATS_REGISTER",
        default=DEFAULT_REGISTER,
        show_default=True,
        metavar="PATH|URL",
        help="The register: a file, or a database URL. Also NDTSTATS_REGISTER.",
    )(function)


def _as_of(_ctx: click.Context, _param: click.Parameter, value: str | None) -> "datetime | None":
    return None if value is None else parse_as_of(value)


def as_of_option(function: F) -> F:
    """Add ``--as-of``: an aware instant in UTC, or None for now, as ``as_of``."""
    return click.option(
        "--as-of",
        callback=_as_of,
        metavar="DATE[TIME]",
        help="Answer with what was known then, such as 2026-03-01 or 2026-03-01T14:30.",
    )(function)


def format_option(function: F) -> F:
    """Add ``--format table|json|csv`` as ``fmt``."""
    return click.option(
        "--format",
        "fmt",
        type=click.Choice(["table", "json", "csv"]),
        default="table",
        show_default=True,
        help="A table to read, or JSON or CSV at full precision for machines.",
    )(function)


def job_option(function: F) -> F:
    """Add ``--job`` as ``job``; give it to :func:`ndtstats.register.require_job`."""
    return click.option(
        "--job", metavar="JOB", help="Number of the job; may be left out if there is only one."
    )(function)


def by_option(function: F) -> F:
    """Add ``--by``: who does it, for the log, as ``by``."""
    return click.option(
        "--by", default=getpass.getuser, metavar="NAME", help="Who does this, for the log."
    )(function)


def decided_options(function: F) -> F:
    """Add ``--by`` and ``--reason``: who decides, by name, and why, as ``by`` and ``reason``."""
    why = click.option("--reason", metavar="TEXT", help="Why it is decided; kept.")
    who = click.option("--by", metavar="NAME", help="Who decides, by name; kept.")
    return who(why(function))


def seed_option(**more: Any) -> Callable[[F], F]:
    """Add ``--seed``: seed of the chance, as ``seed``; a whole number the register can keep."""
    return click.option(
        "--seed",
        type=click.IntRange(min=0, max=2**63 - 1),
        help="Seed of the chance; kept with the plan, so that anybody can repeat the draw.",
        **more,
    )


@contextmanager
def opened(target: str, *, create: bool = False, way: str = "") -> "Iterator[Register]":
    """Yield the register named on the command line and close it afterwards.

    ``way`` tells apart ways of a verb to work whose time goes elsewhere.
    """
    import pandas as pd  # noqa: PLC0415  (heavy; only when a verb runs)

    from ndtstats.cli.console import paced  # noqa: PLC0415  (so is what it is printed with)
    from ndtstats.cli.pace import MARKS  # noqa: PLC0415
    from ndtstats.register import (  # noqa: PLC0415  (as heavy)
        Register,
        blamed_on_damage,
    )

    marks = MARKS.get(f"{_verb()} {way}".strip(), {})
    # Whatever takes long tells so, also where it cannot say how far it is. Text is kept by pandas
    # itself: by pyarrow, where that is installed, pages take half as long again.
    with pd.option_context("mode.string_storage", "python"), paced(marks) as tell:
        register = Register.open(target, create=create, progress=tell)
        try:
            with blamed_on_damage(register):
                yield register
        finally:
            register.close()


def _verb() -> str:
    """Return the verb that runs, as it is typed: "plan draw"."""
    context = click.get_current_context(silent=True)
    return context.command_path.partition(" ")[2] if context else ""
