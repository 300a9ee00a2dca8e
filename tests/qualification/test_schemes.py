"""How certificates name their standard (common practice, no source), and whence figures come."""

from importlib import resources

import pytest

from ndtstats.qualification import scheme_of
from ndtstats.rules.locate import comments_of, lines_of


@pytest.mark.parametrize(
    ("written", "scheme"),
    [
        ("ISO 9606-1", "ISO 9606-1"),
        ("iso9606-1:2012", "ISO 9606-1"),
        (" BS EN ISO 9606-1:2017 ", "ISO 9606-1"),
        ("EN-ISO 9606-2", "ISO 9606-2"),
        ("NF EN ISO 9606-3", "ISO 9606-3"),
        ("ASME IX", "ASME IX"),
        ("ASME BPVC.IX-2023", "ASME IX"),
        ("Asme Section IX QW-322", "ASME IX"),
        ("AWS D1.1/D1.1M:2020", "AWS D1.1"),
        ("AWS D1.2", None),
        ("AWS D1.10", None),
        ("ISO 9606-4", None),
        ("ISO 14732", None),
        ("", None),
    ],
)
def test_a_standard_is_known_however_it_is_written(written, scheme):
    found = scheme_of(written)
    assert (found and found.name) == scheme


def test_every_figure_has_its_source():
    text = (resources.files("ndtstats.qualification") / "schemes.toml").read_text(encoding="utf-8")
    comments = comments_of(text)
    marks = ("seen", "from memory", "no source", "chosen here")
    for path, line in lines_of(text).items():
        if len(path) >= 3 and isinstance(path[-1], str):
            said = comments.get(line) or comments[line - 1]
            assert any(mark in said for mark in marks), (line, said)
