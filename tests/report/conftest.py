import json
import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest

from ndtstats.register import Register
from ndtstats.report import management_facts, qa_facts, render_page
from ndtstats.report.management.page import page_of as management_page_of
from ndtstats.report.qa.page import page_of as qa_page_of
from ndtstats.rules import adopt, load_rules

HOSTILE = '<script>alert("x")</script>'
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def fill(register: Register, now: datetime) -> None:
    """Load a small invented job with rejects, repairs, warnings, and names that try to do harm."""
    rng = np.random.default_rng(5)
    number = 40
    names = [f"B-{n:02d}" for n in range(number - 2)] + [HOSTILE, "\u202eB-99" + "x" * 300]
    joints = pd.DataFrame(
        {
            "job": "H1", "zone": "TANK", "joint": names, "category": "SHELL-BUTT",
            "joint_type": "butt", "length_mm": 3000.0, "process": "131", "position": "PF",
        }
    )  # fmt: skip
    deposits = joints[["job", "joint"]].assign(
        welder=["K7", "M2", HOSTILE, "N3"] * 10, date=pd.Timestamp("2026-01-10")
    )
    exams = joints[["job", "joint"]].assign(
        method="RT", from_mm=300.0, to_mm=600.0, round=0, report="R-1",
        verdict=np.where(rng.random(number) < 0.15, "reject", "accept"),
        date=pd.Timestamp("2026-01-20") + pd.to_timedelta(rng.integers(0, 90, number), unit="D"),
    )  # fmt: skip
    bad = exams.index[exams["verdict"] == "reject"]
    found = pd.DataFrame(
        {
            "examination": bad, "imperfection": "401", "imp_from_mm": 350.0,
            "imp_length_mm": 40.0, "imp_rejectable": True,
        }
    )  # fmt: skip
    rules = load_rules("aluminium-hull")
    adopt(register, "H1", rules, agreed_by=None, by="lead", now=now)
    with register.batch(kind="load", subject="all", now=now + timedelta(hours=1)) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"], "title": [f"invented {HOSTILE}"]}))
        batch.merge("zones", pd.DataFrame({"job": ["H1"], "zone": ["TANK"]}))
        batch.merge("joints", joints)
        batch.merge("deposits", deposits)
        batch.merge("examinations", exams, found)
        warning = {
            "job": "H1", "code": "NO-REASON", "file": HOSTILE, "row": 3, "column": "verdict",
            "value": "not done", "reason": "has no reason", "remedy": "say why",
        }  # fmt: skip
        batch.insert("warnings", pd.DataFrame([warning]))


def fill_second(register: Register, now: datetime) -> None:
    """Load a job where one of two welders makes one bad place in two, and a certificate lapses."""
    number = 80
    joints = pd.DataFrame(
        {
            "job": "P2", "zone": "LINE", "joint": [f"W-{n:03d}" for n in range(number)],
            "category": "SHELL-BUTT", "joint_type": "butt", "length_mm": 1000.0, "process": "141",
            "position": "PA",
        }
    )  # fmt: skip
    bad = np.arange(number) % 4 == 0
    exams = joints[["job", "joint"]].assign(
        method="RT", from_mm=0.0, to_mm=300.0, round=0, report="P-1",
        verdict=np.where(bad, "reject", "accept"), date=pd.Timestamp("2026-02-20"),
    )  # fmt: skip
    deposits = joints[["job", "joint"]].assign(
        welder=np.where(np.arange(number) % 2 == 0, "Z9", "Y1"), date=pd.Timestamp("2026-02-10")
    )
    repair = exams[bad].head(3).assign(round=1, verdict="accept", report="P-2")
    ticket = {
        "welder": "Z9", "certificate": "C-9", "process": "141", "standard": "ISO 9606-1",
        "qualified_on": pd.Timestamp("2025-10-01"), "confirmed_on": pd.Timestamp("2025-10-01"),
        "valid_until": pd.Timestamp("2027-10-01"),
    }  # fmt: skip
    with register.batch(kind="load", subject="second", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["P2"], "title": ["invented piping"]}))
        batch.merge("zones", pd.DataFrame({"job": ["P2"], "zone": ["LINE"]}))
        batch.merge("joints", joints)
        batch.merge("deposits", deposits)
        batch.merge("examinations", pd.concat([exams, repair], ignore_index=True))
        batch.merge("welders", pd.DataFrame({"welder": ["Z9", "Y1"], "name": ["invented", None]}))
        batch.merge("qualifications", pd.DataFrame([ticket]))


@pytest.fixture
def yard(register: Register, now: datetime) -> Register:
    """The small job, in a register of its own that a test may write to."""
    fill(register, now)
    return register


@pytest.fixture(scope="session")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Register]:
    """Both jobs, in a register that is only read."""
    path = tmp_path_factory.mktemp("report") / "kept.sqlite"
    opened = Register.open(path, create=True)
    fill(opened, NOW)
    fill_second(opened, NOW + timedelta(hours=2))
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def qa(kept: Register):
    """What the QA lead's page of the first job says."""
    return qa_facts(kept, job="H1")


@pytest.fixture(scope="session")
def qa_html(qa) -> str:
    return render_page(qa_page_of(qa))


@pytest.fixture(scope="session")
def management(kept: Register):
    """What the page for management says."""
    return management_facts(kept)


@pytest.fixture(scope="session")
def management_html(management) -> str:
    return render_page(management_page_of(management))


@pytest.fixture(scope="session")
def figure_of() -> Callable[[str, str], Any]:
    """Return a figure of a page, by its name, as the page carries it."""

    def read(html: str, name: str) -> Any:
        found = re.search(rf'id="data-{name}">(.*?)</script>', html, re.DOTALL)
        assert found, f"no figure {name}"
        return json.loads(found[1])

    return read
