"""How often welds are rejected at their first examination, and how sure that is."""

from ndtstats.rates.aside import set_aside
from ndtstats.rates.base import first_examinations
from ndtstats.rates.rates import MEASURES, rates, trend
from ndtstats.rates.sample import BY
from ndtstats.rates.words import sentence

__all__ = ["BY", "MEASURES", "first_examinations", "rates", "sentence", "set_aside", "trend"]
