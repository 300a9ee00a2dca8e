"""What is imported is declared, what is declared is used, and CI installs what was locked."""

import ast
import re
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterable
from importlib import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
LOCK = (ROOT / ".ci" / "lock.txt").read_text()

#: Declared and not imported by name: programs and types.
TOOLS = {"coverage", "hatchling", "mypy", "pandas-stubs", "pytest-xdist", "ruff", "scipy-stubs"}


def named(requirement: str) -> str:
    """Return the name of a requirement or distribution as indexes write it."""
    name = re.match(r"[\w.-]+", requirement)
    assert name
    return re.sub(r"[-_.]+", "-", name[0]).lower()


def imported(folder: str, leaving_out: Iterable[str] = ()) -> set[str]:
    """Return the distributions that the modules of a folder import from outside."""
    names: set[str] = set()
    for path in (ROOT / folder).rglob("*.py"):
        if set(path.parts) & set(leaving_out):
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Import):
                names |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                names.add(node.module.split(".")[0])
    outside = names - sys.stdlib_module_names - {"ndtstats"}
    made_by = metadata.packages_distributions()
    return {named(made_by[name][0]) if name in made_by else name for name in outside}


DECLARED = {named(line) for line in PROJECT["dependencies"]}
FOR_TESTS = {named(line) for line in PROJECT["optional-dependencies"]["test"]}


def test_the_library_imports_what_it_declares_and_nothing_else():
    assert imported("ndtstats") == DECLARED


def test_the_tests_import_what_they_declare_and_nothing_else():
    # Benchmarks compare with a library that is installed by hand (tests/benchmarks/planning.py).
    found = imported("tests", leaving_out=["benchmarks"])
    assert found - DECLARED == FOR_TESTS - TOOLS


@pytest.mark.parametrize(
    "line",
    [
        *PROJECT["dependencies"],
        *PROJECT["optional-dependencies"]["test"],
        *PROJECT["optional-dependencies"]["postgresql"],
    ],
)
def test_every_dependency_has_a_lower_bound_and_is_locked_above_it(line):
    bound = re.fullmatch(r"[\w.-]+(\[\w+\])?>=([\d.]+)", line)
    assert bound, f"{line} needs a lower bound, and no upper one"
    locked = re.search(rf"^{named(line)}(?:\[\w+\])?==([\d.]+)", LOCK, re.MULTILINE)
    assert locked, f"{line} is not in .ci/lock.txt"
    low, now = ([int(part) for part in text.split(".")] for text in (bound[2], locked[1]))
    assert now >= low


def test_every_line_of_the_lock_names_one_version_and_its_digests():
    blocks = re.split(r"^(?=[a-z])", re.sub(r"^ *#.*\n", "", LOCK, flags=re.MULTILINE), flags=re.M)
    packages = [block for block in blocks if block.strip()]
    assert len(packages) > len(DECLARED | FOR_TESTS)
    for block in packages:
        first, *digests = (line.strip(" \\") for line in block.splitlines())
        assert re.fullmatch(r"[a-z0-9-]+(\[\w+\])?==[\w.]+", first)
        assert digests
        assert all(re.fullmatch(r"--hash=sha256:[0-9a-f]{64}", digest) for digest in digests)


def built(folder: Path) -> Path:
    """Build the wheel in a folder."""
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    return next(folder.glob("*.whl"))


def test_the_wheel_holds_the_package_and_nothing_else_and_is_the_same_each_time(tmp_path):
    wheel, again = built(tmp_path / "one"), built(tmp_path / "two")
    assert wheel.read_bytes() == again.read_bytes()
    package = {
        path.relative_to(ROOT): path.read_bytes()
        for path in ROOT.glob("ndtstats/**/*.*")
        if path.is_file() and path.suffix != ".pyc"
    }
    with zipfile.ZipFile(wheel) as packed:
        held = {Path(name): packed.read(name) for name in packed.namelist()}
    about = {path for path in held if path.parts[0].endswith(".dist-info")}
    assert {path.name for path in about} == {
        "METADATA", "WHEEL", "RECORD", "entry_points.txt", "LICENSE",
    }  # fmt: skip
    assert {path: held[path] for path in held.keys() - about} == package
