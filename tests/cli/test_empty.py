"""Whoever asks too early gets an answer or a sentence, whatever he asks."""

import pytest

QUESTIONS = (
    "beads --job X1", "walk --zone T --job X1", "welders", "welders --outside", "repairs",
    "repairs --ages", "severity --job X1", "owed", "owed --everything", "tightness --job X1",
    "release --job X1", "release T --job X1", "warnings", "warnings --all", "decisions",
    "warnings --answer W1 --by a --reason b", "decisions --withdraw D1 --by a --reason b",
    "waive nothing --by a --reason b", "overturn nothing --by a --reason b",
    "review H1 --job X1 --by a --reason b", "verify", "history", "rates", "rates --apart",
    "compare", "trend", "hidden", "extent --job X1", "plan list",
    "report management --out pages", "report contractor --out pages",
    "report welder --welder H1 --out pages", "report qa --job X1 --out pages",
)  # fmt: skip


@pytest.fixture(params=["nothing", "a job with a zone"])
def early(request, ndtstats, tmp_path):
    """A register in which there is next to nothing."""
    ndtstats("init")
    if request.param != "nothing":
        for table, text in (("jobs", "job\nX1\n"), ("zones", "job,zone,leak_test\nX1,T,yes\n")):
            (tmp_path / f"{table}.csv").write_text(text)
            assert ndtstats("load", table, f"{table}.csv")[0] == 0
    return ndtstats


def test_every_question_is_answered(early):
    for question in QUESTIONS:
        # What is not told in words comes through as an exception, and fails here.
        code, out, err = early(*question.split())
        assert code in {0, 1, 2}, question
        assert (out + err).strip(), question
