"""The folder of a demo: made, recognised again, and cleared of what an earlier demo left in it."""

from pathlib import Path

from ndtstats.errors import CannotGoOn, UseError

#: Says that the folder is a demo's, and which files in it are.
MARK = "DEMO.txt"

_TEXT = """\
This folder was made by: ndtstats demo
Everything in it is invented for demonstration. Running the demo here again replaces these files:
"""


def prepare(directory: Path) -> None:
    """Make the folder, or clear one that an earlier demo made; files of others are left alone.

    Raises
    ------
    UseError
        If the folder holds something and is no demo's, or is not a folder.
    CannotGoOn
        If the disk does not allow it.
    """
    if directory.exists() and not directory.is_dir():
        raise UseError(f"{directory} is a file; name a folder for the demo")
    try:
        directory.mkdir(parents=True, exist_ok=True)
        mark = directory / MARK
        if not mark.exists() and any(directory.iterdir()):
            raise UseError(
                f"{directory} holds files and was not made by the demo; name an empty folder or "
                "a new one: ndtstats demo DIR"
            )
        for path in _listed(directory):
            path.unlink(missing_ok=True)
        keep_list(directory, [])
    except OSError as error:
        raise CannotGoOn(f"{directory} cannot be prepared: {error.strerror}") from error


def keep_list(directory: Path, before: list[Path]) -> None:
    """Note in the folder's mark all files that are there now and were not before."""
    mine = sorted(
        path.relative_to(directory).as_posix()
        for path in directory.rglob("*")
        if path.is_file() and path not in before
    )
    names = [name for name in mine if name != MARK]
    (directory / MARK).write_text(_TEXT + "".join(f"- {name}\n" for name in names), "utf-8")


def _listed(directory: Path) -> list[Path]:
    """Return the files that the mark of an earlier demo lists, if they lie in its folder."""
    mark = directory / MARK
    if not mark.is_file():
        return []
    lines = mark.read_text(encoding="utf-8").splitlines()
    named = [directory / line.removeprefix("- ") for line in lines if line.startswith("- ")]
    home = directory.resolve()
    return [path for path in named if path.resolve().parent.is_relative_to(home)]
