import pandas as pd
import pytest

from ndtstats.register.frames import typed
from ndtstats.register.schema import STORED


def table(name, rows):
    frame = pd.DataFrame(rows)
    return typed(frame, STORED[name])


@pytest.fixture
def certificates():
    """Certificates by what differs from a usual one."""

    def make(*changes):
        usual = {
            "welder": "K7", "certificate": "C-1", "standard": "ISO 9606-1", "process": "135",
            "qualified_on": "2024-06-15",
        }  # fmt: skip
        return table("qualifications", [usual | change for change in changes])

    return make


@pytest.fixture
def signed():
    """Confirmations of certificates of K7, C-1 unless another one is named."""

    def make(*dates, certificate="C-1"):
        rows = [{"welder": "K7", "certificate": certificate, "date": date} for date in dates]
        return table("confirmations", rows)

    return make


@pytest.fixture
def welded():
    """Days on which K7 welded, by process."""

    def make(**dates):
        rows = [
            {"welder": "K7", "process": process.removeprefix("p"), "date": date}
            for process, days in dates.items()
            for date in days
        ]
        frame = pd.DataFrame(rows, columns=["welder", "process", "date"])
        return frame.astype({"welder": "str", "process": "str", "date": "datetime64[s]"})

    return make
