"""On which line of a TOML text each key stands, since the parser of Python does not tell.

The text is assumed to be valid: it is read by :mod:`tomllib` first. Only the outline is followed
here: headings, keys, and where values begin and end; what a value means is the parser's business.
"""

import re

Path = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_COMMENT = re.compile(r"#[^\n]*")
_SPACES = re.compile(r"[ \t]*")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}'
    r"|'''.*?'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]+")


def lines_of(text: str) -> dict[Path, int]:
    r"""Return the line of each key and of each item of an array, by its path.

    The first line is 1; tables and items of an array are numbered from 0.

    Parameters
    ----------
    text : str
        Valid TOML.

    Examples
    --------
    >>> lines_of('title = "x"\n[[extent]]\nfirst = ["ends"]\n')
    {('title',): 1, ('extent', 0): 2, ('extent', 0, 'first'): 3, ('extent', 0, 'first', 0): 3}
    """
    return _Outline(text).found


def comments_of(text: str) -> dict[int, str]:
    r"""Return the comment on each line that has one, without its mark.

    Parameters
    ----------
    text : str
        Valid TOML.

    Examples
    --------
    >>> comments_of('# by hand\ntitle = "No. #1"  # seen\n')
    {1: 'by hand', 2: 'seen'}
    """
    return _Outline(text).comments


def line_at(lines: dict[Path, int], path: Path) -> int | None:
    """Return the line of a path, or of the nearest part above it that has one."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


class _Outline:
    """One walk through a text: the line of each path, and the comments by line."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.found: dict[Path, int] = {}
        self.comments: dict[int, str] = {}
        self._last: dict[Path, int] = {}  # number of the last table of each array of tables
        self._walk()

    def _walk(self) -> None:
        table: Path = ()
        self._skip_blank()
        while self.at < len(self.text):
            if self._next("["):
                table = self._heading()
            else:
                self._pair(table)
            self._skip_blank()

    def _heading(self) -> Path:
        line = self._line()
        in_array = self._take("[[")
        if not in_array:
            self._take("[")
        path: Path = ()
        keys = self._keys()
        for key in keys[:-1]:
            path = (*path, key)
            # A heading below an array of tables speaks of the table that was begun last.
            path = (*path, self._last[path]) if path in self._last else path
        path = (*path, keys[-1])
        if in_array:
            self._last[path] = self._last.get(path, -1) + 1
            path = (*path, self._last[path])
        elif path in self._last:
            path = (*path, self._last[path])
        self.found.setdefault(path, line)
        self._take("]]" if in_array else "]")
        return path

    def _pair(self, table: Path) -> None:
        line = self._line()
        path = (*table, *self._keys())
        self.found.setdefault(path, line)
        self._take("=")
        self._skip(_SPACES)
        self._value(path)

    def _value(self, path: Path) -> None:
        if self._take("["):
            self._array(path)
        elif self._take("{"):
            self._inline_table(path)
        elif not self._skip(_STRING):
            self._skip(_SCALAR)

    def _array(self, path: Path) -> None:
        item = 0
        self._skip_blank()
        while not self._take("]") and self.at < len(self.text):
            self.found[*path, item] = self._line()
            self._value((*path, item))
            item += 1
            self._skip_blank()
            self._take(",")
            self._skip_blank()

    def _inline_table(self, path: Path) -> None:
        self._skip_blank()
        while not self._take("}") and self.at < len(self.text):
            self._pair(path)
            self._skip_blank()
            self._take(",")
            self._skip_blank()

    def _keys(self) -> list[str]:
        keys: list[str] = []
        while not keys or self._take("."):
            self._skip(_SPACES)
            start = self.at
            quoted = self._skip(_STRING)
            if not quoted:
                self._skip(_BARE_KEY)
            key = self.text[start : self.at]
            keys.append(key[1:-1] if quoted else key)
            self._skip(_SPACES)
        return keys

    def _skip_blank(self) -> None:
        start = self.at
        self._skip(_BLANK)
        for comment in _COMMENT.finditer(self.text, start, self.at):
            self.comments[self._line(comment.start())] = comment[0].lstrip("#").strip()

    def _line(self, at: int | None = None) -> int:
        return self.text.count("\n", 0, self.at if at is None else at) + 1

    def _next(self, mark: str) -> bool:
        return self.text.startswith(mark, self.at)

    def _take(self, mark: str) -> bool:
        found = self._next(mark)
        self.at += len(mark) if found else 0
        return found

    def _skip(self, pattern: re.Pattern[str]) -> bool:
        match = pattern.match(self.text, self.at)
        self.at = match.end() if match else self.at
        return match is not None
