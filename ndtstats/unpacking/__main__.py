"""The process itself: a spreadsheet on standard input, its cells on standard output."""

import marshal
import sys

from ndtstats.unpacking.cells import read_cells
from ndtstats.unpacking.limits import limit_process


def main() -> None:
    """Answer with the cells, or with what is wrong."""
    limit_process()
    sheet = sys.argv[1] or None
    marshal.dump(read_cells(sys.stdin.buffer.read(), sheet), sys.stdout.buffer)


if __name__ == "__main__":
    main()
