"""``python -m ndtstats.simulation.calibration [--yards 2000] [--seed 0]``: print the study."""

import argparse
import sys

from ndtstats.errors import UseError
from ndtstats.simulation.calibration import as_markdown, calibrate


def main() -> int:
    """Print the study as Markdown; progress goes to the other stream."""
    parser = argparse.ArgumentParser(prog="python -m ndtstats.simulation.calibration")
    parser.add_argument("--yards", type=int, default=2000, help="simulated yards of each kind")
    parser.add_argument("--seed", type=int, default=0, help="seed of the chance")
    asked = parser.parse_args()

    def progress(what: str, done: int, total: int) -> None:
        sys.stderr.write(f"{what}: {done} of {total}\n")

    try:
        study = calibrate(asked.yards, seed=asked.seed, progress=progress)
    except UseError as error:
        parser.error(str(error))
    sys.stdout.write(as_markdown(study) + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
