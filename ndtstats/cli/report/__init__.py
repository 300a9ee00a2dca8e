"""``ndtstats report``: pages to read, as HTML."""

import click

from ndtstats.cli.root import LazyGroup


@click.group(
    cls=LazyGroup,
    verbs={
        "qa": ("ndtstats.cli.report.qa:qa", "The page for the welding QA lead, of one job."),
        "management": (
            "ndtstats.cli.report.management:management",
            "The page for management, of all jobs.",
        ),
        "contractor": (
            "ndtstats.cli.report.contractor:contractor",
            "The page for the examination contractor, of one job or all.",
        ),
        "welder": ("ndtstats.cli.report.welder:welder", "The page for a welder, or one for each."),
        "all": ("ndtstats.cli.report.every:every", "Every page of every job, and an index."),
    },
)
def report() -> None:
    """Write pages to read, as HTML that opens without a network."""
