"""What the README shows is what the commands say."""

from pathlib import Path

import pytest

from ndtstats.demo.readme import filled, outputs

README = Path(__file__).parents[2] / "README.md"

pytestmark = pytest.mark.xdist_group("demo")


def test_the_readme_shows_what_the_commands_say(ran):
    shown = README.read_text(encoding="utf-8")
    # Made anew with: python -m ndtstats.demo.readme README.md
    assert filled(shown, outputs(ran.out)).splitlines() == shown.splitlines()


def test_a_block_is_filled_as_far_as_it_was_shown_before():
    said = (
        "$ ndtstats a --by lead\none\ntwo\nthree\nOpen it\n(exit code 1)\n\n"
        "# told\n$ ndtstats b\nx\n"
    )
    text = "```console\n$ ndtstats a   # why\nold\n…\n$ ndtstats b\nold\n```"
    assert filled(text, outputs(said)).splitlines() == [
        "```console", "$ ndtstats a   # why", "one", "…", "Open it", "(exit code 1)",
        "$ ndtstats b", "x", "```",
    ]  # fmt: skip
