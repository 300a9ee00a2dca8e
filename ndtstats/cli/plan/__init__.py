"""``ndtstats plan``: where the exposures go, why there, and what each of them buys."""

import click

from ndtstats.cli.root import LazyGroup


@click.group(
    cls=LazyGroup,
    verbs={
        "draw": ("ndtstats.cli.plan.draws:draw", "Draw where to examine, by rule, chance, risk."),
        "list": ("ndtstats.cli.plan.draws:list_plans", "List the plans of the register."),
        "show": ("ndtstats.cli.plan.draws:show", "Show the spots of a plan and why each is there."),
        "why": ("ndtstats.cli.plan.why:why", "Say why a spot is where it is, factor by factor."),
        "value": ("ndtstats.cli.plan.value:value", "Show what exposures buy, planned and further."),
        "repeat": ("ndtstats.cli.plan.draws:repeat", "Draw a plan again and prove it the same."),
        "extra": ("ndtstats.cli.plan.extra:extra", "Plan the extra examinations that are owed."),
        "shifts": ("ndtstats.cli.plan.shifts:shifts", "Group open spots in shifts, due first."),
        "shortfall": ("ndtstats.cli.plan.shortfall:shortfall", "Name what no shift can reach."),
        "simulate": (
            "ndtstats.cli.plan.simulate:simulate",
            "Say what rules catch, cost and leave.",
        ),
        "strip": ("ndtstats.cli.plan.strip:strip", "Picture a joint or a zone to scale, as text."),
    },
)
def plan() -> None:
    """Decide where the exposures go."""
