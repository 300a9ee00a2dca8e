"""The pages from the command line; what stands on them is tested with the pages."""

import pytest


@pytest.fixture
def job(ndtstats, tmp_path):
    """A register with a job in which nothing has happened yet."""
    (tmp_path / "jobs.csv").write_text("job,title\nL1,invented line\n")
    assert ndtstats("init")[0] == 0
    assert ndtstats("load", "jobs", "jobs.csv")[0] == 0


def test_all_pages_stand_beside_an_index(ndtstats, job, tmp_path):
    code, out, _ = ndtstats("report", "all", "--out", "pages", "--shared-assets")
    assert code == 0
    assert "Open pages/index.html" in out
    index = (tmp_path / "pages" / "index.html").read_text(encoding="utf-8")
    for name in ("management.html", "qa-L1.html"):
        assert f'href="{name}"' in index
        assert (tmp_path / "pages" / name).exists()


def test_what_is_impossible_is_told_before_the_work_begins(ndtstats, job):
    code, _, told = ndtstats("report", "management", "--out", "pages", "--cost-per-repair", "-1")
    assert code == 2
    assert "a repair cannot cost -1; write a number of 0 or more" in told
