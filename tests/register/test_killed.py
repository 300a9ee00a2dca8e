"""A short run of the benchmark that kills loads and plans: nothing is lost or left half done."""

import subprocess
import sys
from pathlib import Path

KILLED = Path(__file__).parents[1] / "benchmarks" / "killed.py"


def test_what_is_killed_at_a_random_moment_is_kept_whole_or_not_at_all():
    command = [sys.executable, str(KILLED), "--kills", "20", "--rows", "30"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=900, check=False)
    assert done.returncode == 0, done.stderr
    assert "20 killed" in done.stdout
    assert "none was half done" in done.stdout
