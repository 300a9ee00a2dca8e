"""Options that all pages share."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


def out_option(function: F) -> F:
    """Add ``--out`` and ``--shared-assets``: the folder, as ``out``, and ``shared_assets``."""
    folder = click.option(
        "--out",
        type=click.Path(path_type=Path, file_okay=False),
        required=True,
        metavar="DIR",
        help="Folder for the page.",
    )
    shared = click.option(
        "--shared-assets",
        is_flag=True,
        help="Small pages beside one script file, to be kept together; else each page carries "
        "all it needs.",
    )
    return folder(shared(function))


def method_option(function: F) -> F:
    """Add ``--method`` as ``method``; None: the one used most."""
    return click.option(
        "--method", metavar="METHOD", help="Method of the rates; else the one used most."
    )(function)


def level_option(function: F) -> F:
    """Add ``--level`` as ``level``: of the bounds."""
    return click.option(
        "--level", type=float, default=0.95, show_default=True, help="Of the bounds."
    )(function)


def cost_options(function: F) -> F:
    """Add ``--cost-per-exposure``, ``--cost-per-repair`` and ``--currency``, for management."""
    exposure = click.option(
        "--cost-per-exposure",
        type=float,
        metavar="NUMBER",
        help="Of one examination other than by eye; else they are counted.",
    )
    repair = click.option("--cost-per-repair", type=float, metavar="NUMBER", help="Of one repair.")
    currency = click.option(
        "--currency", default="", metavar="TEXT", help="Of the costs, such as EUR."
    )
    return exposure(repair(currency(function)))
