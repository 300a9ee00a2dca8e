"""Fills the console blocks of a text, such as the README, with what the demo's commands say.

    python -m ndtstats.demo.readme README.md

runs the demo in a folder of its own and writes its output into the file. Command lines stay as they
are written there. Where a block has a line "…", as many lines of output are kept as stand above it.
"""

import io
import re
import shlex
import sys
import tempfile
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

from ndtstats.cli.root import run

_CONSOLE = re.compile(r"```console\n(.*?)\n```", re.DOTALL)
_PROMPT = "$ ndtstats "
_MORE = "…"
_EXIT = "(exit code"
_WIDTH = 118

#: Last lines that say what to do next, shown whatever is left out.
_NEXT = ("Ask for", "See them", "Open", "Written")


def said_by_demo(folder: Path) -> tuple[int, str]:
    """Run the demo in a folder; return its exit code, and all that it and its commands say."""
    out = io.StringIO()
    with redirect_stdout(out), redirect_stderr(out):
        code = run(["demo", str(folder)])
    return code, out.getvalue()


def outputs(said: str) -> dict[str, list[str]]:
    """Return what stands below each command line; of one that was typed twice, the last time."""
    found: dict[str, list[str]] = {}
    current: list[str] = []
    # The demo ends with how long it took, which is no output of a command.
    told = re.sub(r"\n\d+ commands in [^$]*\Z", "", said)
    for line in told.splitlines():
        if line.startswith(_PROMPT):
            current = []
            found[_bare(line)] = current
        elif line.startswith(("# ", "## ", "$ ")):
            current = []
        else:
            current.append(line.rstrip())
    return {command: _stripped(lines) for command, lines in found.items()}


def filled(text: str, found: dict[str, list[str]]) -> str:
    """Return the text with the output of each command in its console blocks."""
    return _CONSOLE.sub(lambda block: f"```console\n{_block(block[1], found)}\n```", text)


def _block(text: str, found: dict[str, list[str]]) -> str:
    parts = re.split(rf"^(?={re.escape(_PROMPT)})", text, flags=re.MULTILINE)
    lines: list[str] = []
    for part in filter(None, parts):
        command, *old = part.rstrip("\n").split("\n")
        lines.append(command)
        if old:
            lines += _shortened(_output(command, found), old)
    return "\n".join(lines)


def _output(command: str, found: dict[str, list[str]]) -> list[str]:
    bare = _bare(command)
    if bare not in found:
        out = io.StringIO()
        with redirect_stdout(out), redirect_stderr(out):
            run(shlex.split(bare.removeprefix(_PROMPT)))
        found[bare] = _stripped(out.getvalue().splitlines())
    return found[bare]


def _shortened(new: list[str], old: list[str]) -> list[str]:
    code = [line for line in new if line.startswith(_EXIT)]
    body = [line for line in new if not line.startswith(_EXIT)]
    if _MORE not in old:
        return [_cut(line) for line in body + code]
    tail = [line for line in body[-1:] if line.startswith(_NEXT)]
    body = body[: len(body) - len(tail)]
    kept = body[: old.index(_MORE)]
    more = [_MORE] if len(kept) < len(body) else []
    return [_cut(line) for line in kept] + more + [_cut(line) for line in tail + code]


def _cut(line: str) -> str:
    return line if len(line) <= _WIDTH else line[: _WIDTH - 1].rstrip() + _MORE


def _bare(command: str) -> str:
    """Return a command line without remark, and without who typed it."""
    return re.sub(r"\s+#.*$", "", command).replace(" --by lead", "").strip()


def _stripped(lines: list[str]) -> list[str]:
    text = "\n".join(line.rstrip() for line in lines).strip("\n")
    return text.split("\n") if text else []


def main(path: Path) -> None:
    """Run the demo and write what its commands say into a file."""
    with tempfile.TemporaryDirectory() as folder:
        code, said = said_by_demo(Path(folder) / "demo")
    if code:
        sys.exit(said)
    text = path.read_text(encoding="utf-8")
    path.write_text(filled(text, outputs(said)), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
