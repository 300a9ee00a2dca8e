"""Schemes of welder qualification as data: ISO 9606-1, -2 and -3, ASME IX, AWS D1.1.

The figures stand in ``schemes.toml`` beside this module, each with its source.
"""

import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Literal

import pandas as pd
from pydantic import BaseModel, ConfigDict, Field

_FILE = Path(__file__).with_name("schemes.toml")

#: National and European bodies that publish a standard again under its own number.
_PUBLISHERS = re.compile(r"^(?:(?:DIN|BS|NF|UNI|NS|SS|SFS|DS|NEN|NBN|PN|CSN|EN)[-_ ]?)+(?=ISO)")


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Route(_Part):
    """A way of renewing validity.

    Attributes
    ----------
    years : int or None
        How long a certificate is valid by it; None: as long as it is kept alive.
    tested : int
        Production welds to be tested inside, and accepted, for a prolongation by so many years.
    note : str
        What its reader must know.
    """

    years: int | None = None
    tested: int = 0
    note: str = ""


class Scheme(_Part):
    """What keeps certificates by one standard alive.

    Attributes
    ----------
    name : str
        The standard.
    written : tuple of str
        What certificates by it begin with.
    continuity : {"certificate", "process"}
        Whether each certificate is confirmed by itself, or any weld by the process keeps all of
        a welder's certificates for it.
    months : int
        Calendar months from one confirmation, or use, to the next; the last day belongs to them.
    tested_months : int
        Tested welds of so many months before the end of validity count for a prolongation.
    renewal_restores : bool
        Whether a new test by the process brings back the certificates that lapsed.
    usual_route : str or None
        The route of certificates that state none; None: there are several, and none is assumed.
    route : dict
        The routes by their letter.
    """

    name: str
    written: tuple[str, ...]
    continuity: Literal["certificate", "process"]
    months: int
    tested_months: int = 0
    renewal_restores: bool = False
    usual_route: str | None = None
    route: dict[str, Route] = Field(default_factory=dict)


@cache
def schemes() -> dict[str, Scheme]:
    """Return the schemes by name.

    Examples
    --------
    >>> list(schemes())
    ['ISO 9606-1', 'ISO 9606-2', 'ISO 9606-3', 'ASME IX', 'AWS D1.1']
    >>> schemes()["ISO 9606-1"].route["b"].tested
    2
    """
    raw = tomllib.loads(_FILE.read_text(encoding="utf-8"))
    return {scheme.name: scheme for scheme in map(Scheme.model_validate, raw["scheme"])}


def scheme_of(standard: str) -> Scheme | None:
    """Return the scheme that a certificate's standard names, or None if it is not known.

    Case, blanks, the year and the publisher's letters do not matter.

    Examples
    --------
    >>> scheme_of("DIN EN ISO 9606-1:2017-12").name
    'ISO 9606-1'
    >>> scheme_of("asme section ix").name
    'ASME IX'
    >>> scheme_of("ISO 14732") is None
    True
    """
    text = _plain(_PUBLISHERS.sub("", standard.strip().upper()))
    for scheme in schemes().values():
        for written in map(_plain, scheme.written):
            # "D1.1" is not the beginning of "D1.10".
            if text.startswith(written) and not text[len(written) :][:1].isdigit():
                return scheme
    return None


def schemes_of(standards: "pd.Series[str]") -> "pd.Series[str]":
    """Return the name of the scheme of each standard, aligned to it; missing where not known."""
    names = {text: scheme_of(text) for text in standards.dropna().unique()}
    return standards.map({text: found.name for text, found in names.items() if found}).astype("str")


def _plain(text: str) -> str:
    return re.sub(r"\s", "", text)
