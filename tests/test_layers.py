"""A stage imports the shared ground and the stages before it; mathematics imports no storage."""

import ast
from pathlib import Path

import pytest

import ndtstats

PACKAGE = Path(ndtstats.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))


def imported(path: Path) -> set[str]:
    """Return the dotted names a module imports from this package, and other top-level names."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def stage_of(path: Path) -> str | None:
    part = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    return part if part in ndtstats.STAGES else None


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_module_imports_only_what_comes_before_it(path):
    stage = stage_of(path)
    parts = {name.split(".")[1] for name in imported(path) if name.startswith("ndtstats.")}
    stages = parts & set(ndtstats.STAGES)
    # "python -m ndtstats" is the command line, whatever its place in the tree.
    if path.name == "__main__.py":
        return
    if stage is None:
        assert not stages, "the shared ground imports no stage"
        return
    later = set(ndtstats.STAGES[ndtstats.STAGES.index(stage) + 1 :])
    # The demo types commands as a newcomer would, so it calls the command line.
    assert not stages & later - ({"cli"} if stage == "demo" else set())


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_only_the_command_line_knows_click(path):
    if stage_of(path) not in {"cli"}:
        assert not any(name.split(".")[0] == "click" for name in imported(path))


@pytest.mark.parametrize("name", ["statistics", "escalation/decide.py"])
def test_mathematics_knows_no_storage(name):
    for path in MODULES:
        if str(path.relative_to(PACKAGE)).startswith(name):
            assert not any("register" in name or "sqlalchemy" in name for name in imported(path))


def test_every_part_is_a_stage_or_ground():
    parts = {path.stem for path in PACKAGE.iterdir() if path.name[0] not in "_."}
    assert parts == {*ndtstats.STAGES, *ndtstats.GROUND}
