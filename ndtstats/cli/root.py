"""The ``ndtstats`` command: its verbs in the order of the work, each imported when it is used."""

import gc
import importlib
import os
import sys
from collections.abc import Sequence

import click

from ndtstats import __version__
from ndtstats.errors import CannotGoOn, NdtstatsError

#: Verb, where it stands, and what ``--help`` says of it without importing it.
VERBS: dict[str, tuple[str, str]] = {
    "demo": ("ndtstats.cli.demo:demo", "Run the whole job on an invented yard."),
    "size": (
        "ndtstats.cli.size:size",
        "How many to examine, and what a plan does to good and bad work.",
    ),
    "init": ("ndtstats.cli.init:init", "Make an empty register."),
    "upgrade": (
        "ndtstats.cli.upgrade:upgrade",
        "Bring a register of an older ndtstats up to date.",
    ),
    "template": ("ndtstats.cli.template:template", "Write an empty table to fill in."),
    "load": ("ndtstats.cli.load:load", "Load a table from a spreadsheet or CSV file."),
    "history": ("ndtstats.cli.history:history", "List what was loaded, when and by whom."),
    "verify": ("ndtstats.cli.verify:verify", "Check that nobody changed what was written."),
    "backup": ("ndtstats.cli.backup:backup", "Copy the register and check the copy."),
    "welders": ("ndtstats.cli.welders:welders", "Who may weld what, and what lapses soon."),
    "roles": ("ndtstats.cli.roles:roles", "Print the SQL of the roles in PostgreSQL."),
    "rules": ("ndtstats.cli.rules:rules", "Rules files: list, show, copy, check, adopt."),
    "plan": ("ndtstats.cli.plan:plan", "Where the exposures go: draw, show, repeat, extra."),
    "request": ("ndtstats.cli.request:request", "The contractor's list: write, reconcile."),
    "extent": ("ndtstats.cli.extent:extent", "Extent required against extent achieved."),
    "rates": ("ndtstats.cli.rates:rates", "Reject rates with bounds."),
    "compare": ("ndtstats.cli.compare:compare", "Welders side by side, allowing for the work."),
    "trend": ("ndtstats.cli.trend:trend", "Months outside chance, welders whose rate went up."),
    "hidden": ("ndtstats.cli.hidden:hidden", "What is likely still hidden in the welds."),
    "readers": ("ndtstats.cli.readers:readers", "Whether readers of the same images agree."),
    "detection": ("ndtstats.cli.detection:detection", "Which sizes of flaw a method finds."),
    "beads": ("ndtstats.cli.beads:beads", "Beads of intermittent welds: what is wrong, where."),
    "walk": ("ndtstats.cli.walk:walk", "What to look at or finish in a zone, in walking order."),
    "tightness": ("ndtstats.cli.tightness:tightness", "Leak and pressure tests of zones."),
    "owed": ("ndtstats.cli.owed:owed", "Extra examinations and repairs owed."),
    "repairs": ("ndtstats.cli.repairs:repairs", "Each reject from found to closed."),
    "severity": ("ndtstats.cli.severity:severity", "Whose examination is tightened or stopped."),
    "waive": ("ndtstats.cli.waive:waive", "Ask no more for an owed item, by name."),
    "overturn": ("ndtstats.cli.overturn:overturn", "Overturn a reject by a second reading."),
    "review": ("ndtstats.cli.review:review", "Review a welder who is stopped or tightened."),
    "warnings": ("ndtstats.cli.warnings:warnings", "Warnings that wait for an answer."),
    "release": ("ndtstats.cli.release:release", "Whether a zone can be released, or what hinders."),
    "decisions": ("ndtstats.cli.decisions:decisions", "What was decided by name, and why."),
    "report": ("ndtstats.cli.report:report", "Pages to read, as HTML."),
}


#: Exit code of what was stopped with Ctrl-C: 128 and the number of the signal, as shells have it.
STOPPED = 130


class LazyGroup(click.Group):
    """A group whose commands are imported only when they run."""

    def __init__(self, *args: object, verbs: dict[str, tuple[str, str]], **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]  # passed on as they come
        self._verbs = verbs

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the verbs in the order of the work."""
        return list(self._verbs)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import and return one command; None if there is none of that name."""
        if cmd_name not in self._verbs:
            return None
        module, attribute = self._verbs[cmd_name][0].split(":")
        command = getattr(importlib.import_module(module), attribute)
        assert isinstance(command, click.Command)  # noqa: S101  (a slip in the table above)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the verbs with their one-line help, importing none of them."""
        with formatter.section("Commands, in the order of the work"):
            formatter.write_dl([(name, text) for name, (_, text) in self._verbs.items()])


@click.group(
    cls=LazyGroup,
    verbs=VERBS,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="ndtstats")
def root() -> None:
    """Decide where the few weld exposures go, and say what their results mean.

    Exit codes: 0 fine; 1 a finding, such as problems in a file or something owed; 2 wrong use;
    3 cannot go on; 130 stopped with Ctrl-C.
    """


def run(arguments: Sequence[str]) -> int:
    """Run one command line and return its exit code; mistakes are told in a sentence.

    Examples
    --------
    >>> run(["--version"])  # doctest: +ELLIPSIS
    ndtstats, version ...
    0
    """
    try:
        outcome = root.main(list(arguments), prog_name="ndtstats", standalone_mode=False)
    except click.exceptions.Abort:
        click.echo("Stopped; nothing was left half done.", err=True)
        return STOPPED
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except NdtstatsError as error:
        from ndtstats.cli.console import note  # noqa: PLC0415  (not needed to show the help)

        note(f"ndtstats: {error}", colour="red")
        return error.exit_code
    except OSError as error:
        # What the file system refuses in a place where nothing more can be said of it.
        from ndtstats.cli.console import note  # noqa: PLC0415  (as above)

        named = f"{error.filename}: " if error.filename else ""
        note(f"ndtstats: {named}{error.strerror or error}", colour="red")
        return CannotGoOn.exit_code
    return outcome if isinstance(outcome, int) else 0


def main() -> None:
    """Run the command line of this process."""
    # Matrices are small here: threads for them cost more than they save. Who wants them says so.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # A command soon ends. Looking for what refers only to itself, among a million cells that do
    # not, takes a tenth of its time, and looking through all at the end a fifth of a small one.
    gc.set_threshold(200_000, 50, 50)
    code = run(sys.argv[1:])
    gc.freeze()
    sys.exit(code)
