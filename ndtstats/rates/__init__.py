"""How often welds are rejected at their first examination, and how sure that is."""

from ndtstats.rates.aside import set_aside
from ndtstats.rates.base import first_examinations
from ndtstats.rates.compare import compare_welders, comparison_sentence
from ndtstats.rates.rates import MEASURES, rates, trend
from ndtstats.rates.readings import readers_agree, readers_sentence
from ndtstats.rates.sample import BY
from ndtstats.rates.trend_charts import signal_sentences, trend_of, trend_sentence
from ndtstats.rates.trial import corrected_rate, trial_of, trial_sentence
from ndtstats.rates.words import sentence, worth

__all__ = [
    "BY",
    "MEASURES",
    "compare_welders",
    "comparison_sentence",
    "corrected_rate",
    "first_examinations",
    "rates",
    "readers_agree",
    "readers_sentence",
    "sentence",
    "set_aside",
    "signal_sentences",
    "trend",
    "trend_of",
    "trend_sentence",
    "trial_of",
    "trial_sentence",
    "worth",
]
