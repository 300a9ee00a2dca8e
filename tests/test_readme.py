"""What the README tells a reader to type can be typed; what its commands say: demo/test_tour.py."""

import re
import shlex
import shutil
from pathlib import Path

import click
import pytest

from ndtstats.cli.root import root

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = re.findall(r"^\$ ndtstats (.*)$", README, flags=re.MULTILINE)
PYTHON = re.findall(r"```python\n(.*?)```", README, flags=re.DOTALL)


def parsed(arguments: list[str]) -> click.Command:
    """Read a command line as the program does, up to where the command would start."""
    command: click.Command = root
    context: click.Context | None = None
    while True:
        context = command.make_context(None, arguments, parent=context)
        if not isinstance(command, click.Group):
            return command
        name, found, arguments = command.resolve_command(
            context, [*context._protected_args, *context.args]
        )
        assert found is not None, name
        command = found


@pytest.mark.parametrize("line", COMMANDS)
def test_a_command_of_the_readme_can_be_typed(line, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    arguments = shlex.split(line, comments=True)
    # Files that the demo makes on its way.
    for name in arguments:
        if name.endswith((".xlsx", ".csv", ".toml")):
            Path(name).touch()
    assert parsed(arguments).callback is not None


def test_a_command_that_is_not_there_cannot_be_typed():
    with pytest.raises(click.UsageError):
        parsed(["plan", "drawn"])
    with pytest.raises(click.UsageError):
        parsed(["plan", "draw", "--jop", "WB-41"])


@pytest.mark.parametrize("block", PYTHON)
def test_the_readme_runs_in_a_notebook(block, ndtstats):
    demo = ROOT / "datasets" / "demo"
    for name in ("register.xlsx", "contractor-spring.csv", "contractor.mapping.toml"):
        shutil.copy(demo / name, name)
    ndtstats("init")
    for table in ("jobs", "zones", "joints"):
        assert ndtstats("load", table, "register.xlsx")[0] == 0
    done = ndtstats(
        "load", "examinations", "contractor-spring.csv", "--mapping", "contractor.mapping.toml"
    )
    assert done[0] == 0, done
    names: dict[str, object] = {}
    exec(block, names)  # noqa: S102  (our own README)
    assert not names["table"].empty
