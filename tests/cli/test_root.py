import subprocess
import sys

import pytest

from ndtstats.cli.root import VERBS, root

HEAVY = ("pandas", "numpy", "scipy", "sqlalchemy", "plotly", "pydantic", "jinja2", "statsmodels")


def test_help_imports_no_heavy_library():
    script = (
        "import sys\n"
        "from ndtstats.cli.root import run\n"
        "run(['--help'])\n"
        f"print(sorted(set({HEAVY!r}) & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_small_commands_import_nothing_that_they_do_not_need(tmp_path):
    unneeded = ("scipy", "plotly", "alembic", "jinja2", "xlsxwriter", "python_calamine",
                "sqlalchemy.dialects.postgresql")  # fmt: skip
    small = ("init", "history", "plan list", "decisions", "rules list", "rates", "owed",
             "warnings", "release")  # fmt: skip
    script = (
        "import sys\n"
        "from ndtstats.cli.root import run\n"
        f"codes = [run(line.split()) for line in {small!r}]\n"
        f"print(codes, sorted(set({unneeded!r}) & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    # Without a job there is nothing to release, which is told as wrong use.
    assert done.stdout.splitlines()[-1] == "[0, 0, 0, 0, 0, 0, 0, 0, 2] []"


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_has_help(verb, ndtstats):
    code, out, _ = ndtstats(verb, "--help")
    assert code == 0
    assert out.startswith(f"Usage: ndtstats {verb}")


def test_the_package_is_the_command():
    command = [sys.executable, "-m", "ndtstats", "lode"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "No such command" in done.stderr


def test_verbs_stand_in_the_order_of_the_work():
    assert root.list_commands(None) == list(VERBS)


def test_an_unknown_verb_is_wrong_use(ndtstats):
    code, _, err = ndtstats("lode")
    assert code == 2
    assert "lode" in err


@pytest.mark.parametrize(
    ("register", "says"),
    [
        ("mysql://yard@127.0.0.1/yard", '"mysql" is not supported as a register'),
        ("postgresql+nothing://yard@127.0.0.1/yard", "pip install 'ndtstats[postgresql]'"),
        ("post gres://", "is neither a path nor a database URL"),
    ],
)
def test_a_register_of_another_kind_is_wrong_use(ndtstats, register, says):
    code, _, err = ndtstats("history", "--register", register)
    assert code == 2
    assert says in err
    assert "Traceback" not in err


def test_a_missing_register_is_wrong_use_without_traceback(ndtstats):
    code, _, err = ndtstats("history")
    assert code == 2
    assert "ndtstats init" in err
    assert "Traceback" not in err


def test_init_twice_keeps_the_register(ndtstats):
    assert ndtstats("init")[0] == 0
    code, out, _ = ndtstats("init")
    assert code == 0
    assert "is ready" in out


def test_the_environment_names_the_register(ndtstats, monkeypatch, tmp_path):
    monkeypatch.setenv("NDTSTATS_REGISTER", str(tmp_path / "named.sqlite"))
    assert ndtstats("init")[0] == 0
    assert (tmp_path / "named.sqlite").exists()


def test_an_impossible_as_of_is_told(ndtstats):
    ndtstats("init")
    code, _, err = ndtstats("history", "--as-of", "31.2.2026")
    assert code == 2
    assert "2026-03-01" in err


def test_what_the_file_system_refuses_is_told(ndtstats):
    code, _, err = ndtstats("rules", "check", "x" * 5000)
    assert code == 3
    assert "File name too long" in err
