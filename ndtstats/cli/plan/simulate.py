"""``ndtstats plan simulate``."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ndtstats.cli.console import Shown, emit, note, progress, say
from ndtstats.cli.options import format_option, job_option, opened, register_option
from ndtstats.errors import UseError
from ndtstats.units import MM_PER_M

if TYPE_CHECKING:
    from ndtstats.rules import Rules
    from ndtstats.simulation import Assumptions, Setting, Simulated

#: Characters of the longest bar of the curve.
_BAR = 40
#: Welders told one by one: those who would most likely slip through.
_MOST_WELDERS = 10


@click.command()
@click.option("--rules", metavar="FILE|PRESET", help="Rules to try; else those in force.")
@click.option("--against", metavar="FILE|PRESET", help="Other rules, to be put beside them.")
@click.option(
    "--bad-rate",
    type=float,
    default=0.10,
    show_default=True,
    help="Share of the places of a bad welder that hold something rejectable.",
)
@click.option(
    "--good-rate", type=float, default=0.02, show_default=True, help="The same of a good welder."
)
@click.option(
    "--bad-share", type=float, default=0.10, show_default=True, help="Chance of a welder to be bad."
)
@click.option("--place-mm", type=float, help="Length of a place; else the spot of the first rule.")
@click.option(
    "--allowed",
    type=int,
    default=0,
    show_default=True,
    help="First examinations rejected with which a welder is not yet caught.",
)
@click.option(
    "--replicates", type=int, default=10_000, show_default=True, help="Yards to simulate."
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    help="Seed of the chance; the same one gives the same figures.",
)
@click.option("--exposure-cost", type=click.FloatRange(min=0), help="Cost of an exposure.")
@click.option("--repair-cost", type=click.FloatRange(min=0), help="Cost of a repair.")
@click.option("--welders", type=int, help="Invent a yard with so many welders; 20 if left out.")
@click.option("--joints-each", type=int, help="Joints of each of them; 15 if left out.")
@click.option("--joint-mm", type=float, help="Length of each joint; 3000 if left out.")
@click.option(
    "--picture",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Also draw the curve, as a .html page or a .svg picture.",
)
@job_option
@register_option
@format_option
def simulate(
    rules: str | None,
    against: str | None,
    bad_rate: float,
    good_rate: float,
    bad_share: float,
    place_mm: float | None,
    allowed: int,
    replicates: int,
    seed: int,
    exposure_cost: float | None,
    repair_cost: float | None,
    welders: int | None,
    joints_each: int | None,
    joint_mm: float | None,
    picture: Path | None,
    job: str | None,
    register: str,
    fmt: str,
) -> None:
    """Say what rules would catch, cost and leave, before anything is spent.

    Many yards are made up whose truth is known: each welder is bad with a stated chance. The
    planner draws, rejects are followed up as the rules say, and it is counted who is caught when,
    which good welders are put into extra examination, how many exposures it takes and what is left.

    Tried on the joints of a job, if there is a register, or on an invented yard.
    """
    from ndtstats.simulation import Assumptions, Costs, simulate  # noqa: PLC0415

    invented = {"welders": welders, "joints_each": joints_each, "joint_mm": joint_mm}
    asked = {name: value for name, value in invented.items() if value is not None}
    first, setting = _setting(rules, job, register, asked)
    plans = _named(first, rules, against)
    assumptions = Assumptions(
        bad_rate, good_rate, bad_share, place_mm or first.extent[0].spot_length_mm, allowed
    )
    costs = None
    if exposure_cost is not None or repair_cost is not None:
        costs = Costs(exposure_cost or 0.0, repair_cost or 0.0)
    with progress() as tell:
        found = simulate(
            setting.yard,
            list(plans.values()),
            assumptions,
            replicates=replicates,
            seed=seed,
            costs=costs,
            progress=tell,
        )
    results = dict(zip(plans, found, strict=True))
    about = f"Tried on {setting.described}; {replicates:,} replicates, seed {seed}."
    _show(results, assumptions, about, fmt, picture, by_name=not asked)


def _setting(
    rules: str | None, job: str | None, register: str, invented: dict[str, Any]
) -> "tuple[Rules, Setting]":
    from ndtstats.rules import load_rules  # noqa: PLC0415
    from ndtstats.simulation import invented_setting  # noqa: PLC0415

    if job is not None and invented:
        raise UseError(
            "--welders, --joints-each and --joint-mm invent a yard; leave them out with --job"
        )
    if job is not None or (not invented and ("://" in register or Path(register).exists())):
        return _of_job(rules, job, register)
    if rules is None:
        raise UseError("name the rules to try with --rules FILE|PRESET; see: ndtstats rules list")
    chosen = load_rules(rules)
    return chosen, invented_setting(chosen, **invented)


def _of_job(rules: str | None, job: str | None, register: str) -> "tuple[Rules, Setting]":
    from ndtstats.register import require_job  # noqa: PLC0415
    from ndtstats.rules import load_rules, rules_in_force  # noqa: PLC0415
    from ndtstats.simulation import setting_of_job  # noqa: PLC0415

    with opened(register) as reg:
        job = require_job(reg, job)
        chosen = load_rules(rules) if rules else rules_in_force(reg, job)
        if chosen is None:
            raise UseError(f"job {job} has no rules in force; name a file with --rules")
        return chosen, setting_of_job(reg, job, chosen)


def _named(first: "Rules", rules: str | None, against: str | None) -> "dict[str, Rules]":
    from ndtstats.rules import load_rules  # noqa: PLC0415

    name = Path(rules).name if rules else "in force"
    if against is None:
        return {name: first}
    other = Path(against).name
    return {name: first, other if other != name else f"{other} (2)": load_rules(against)}


def _show(
    results: "dict[str, Simulated]",
    assumptions: "Assumptions",
    about: str,
    fmt: str,
    picture: Path | None,
    *,
    by_name: bool,
) -> None:
    from ndtstats.simulation.telling import comparison, sentence, tidy  # noqa: PLC0415

    said = [sentence(one, assumptions) for one in results.values()]
    drawn = said[0]
    if len(results) > 1:
        first, second = results
        said = [f"{name}: {text}" for name, text in zip(results, said, strict=True)]
        said.append(comparison(results))
        drawn = f"First plan: {first}; second plan: {second}. {said[-1]}"
    if picture is not None:
        _draw(results, drawn, picture)
    if fmt == "table":
        _show_tables(results, "\n".join([*said, about]), by_name=by_name)
    else:
        emit(tidy(results), fmt)


def _show_tables(results: "dict[str, Simulated]", conclusion: str, *, by_name: bool) -> None:
    from ndtstats.simulation.telling import (  # noqa: PLC0415
        ASSUMED,
        check_sentence,
        side_by_side,
    )

    table = side_by_side(results)
    headings = [Shown(str(c), str(c).replace(" interval", ", 95 %")) for c in table.columns]
    emit(table, "table", columns=headings, conclusion=conclusion)
    _show_curves(results)
    if by_name:
        _show_welders(results)
    first = next(iter(results.values()))
    if first.nobody_mm > 0:
        say(
            f"Nobody is known to have welded {first.nobody_mm / MM_PER_M:,.2f} m; it is drawn "
            "from, but is no welder's."
        )
    say(check_sentence(first.check))
    say(ASSUMED)
    for line in dict.fromkeys(line for one in results.values() for line in one.notes):
        note(line)


def _show_curves(results: "dict[str, Simulated]") -> None:
    """Print the curves as numbers and bars."""
    from ndtstats.simulation.telling import curves  # noqa: PLC0415

    table = curves(results)
    columns = [Shown("rate", "true bad", "percent")]
    length = _BAR // len(results)
    for name in results:
        table[f"{name} bar"] = [round(length * value) * "█" for value in table[name]]
        heading = f"caught, {name}" if len(results) > 1 else "caught"
        columns += [Shown(name, heading, "percent"), Shown(f"{name} bar", "")]
    emit(table, "table", columns=columns)


def _show_welders(results: "dict[str, Simulated]") -> None:
    """Print the welders who would most likely slip through under the first rules."""
    first = next(iter(results.values())).welders
    last = first.sort_values("caught_if_bad", kind="stable").head(_MOST_WELDERS)
    emit(
        last,
        "table",
        columns=(
            Shown("welder", "welder"),
            Shown("welded_mm", "welded [m]", "m"),
            Shown("examined", "first examinations", "number"),
            Shown("caught_if_bad", "caught if bad", "percent"),
            Shown("caught_if_good", "caught if good", "percent"),
        ),
        conclusion="Least likely to be caught:",
    )


def _draw(results: "dict[str, Simulated]", conclusion: str, picture: Path) -> None:
    from ndtstats.report.oc_figures import write_picture  # noqa: PLC0415
    from ndtstats.simulation.telling import curves  # noqa: PLC0415

    columns = ["caught_first_probability", "caught_second_probability"]
    if len(results) == 1:
        columns = ["caught_probability"]
    renamed = dict(zip(results, columns, strict=True))
    fine, coarse = (curves(results, every).rename(columns=renamed) for every in (1, 10))
    write_picture(fine, coarse, conclusion, picture)
    note(f"Drawn in {picture}.")
