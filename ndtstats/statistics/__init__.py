"""Pure mathematics on arrays: it knows neither the register nor the command line."""

from ndtstats.statistics.agreement import Agreement, cohens_kappa, fleiss_kappa, readings_table
from ndtstats.statistics.charts import ControlChart, p_chart, u_chart
from ndtstats.statistics.clusters import Clustering, joint_clustering
from ndtstats.statistics.comparison import false_discovery, proportion_difference_interval
from ndtstats.statistics.cusum import BernoulliCusum, choose_cusum
from ndtstats.statistics.detection import PodCurve, TrueRate, hit_miss_pod, true_rate
from ndtstats.statistics.drift import cusum_chart, ewma_chart
from ndtstats.statistics.expected import Comparison, compare_groups
from ndtstats.statistics.finite_lot import finite_lot_interval
from ndtstats.statistics.funnel import funnel_limits, overdispersion
from ndtstats.statistics.gaps import gap_chart
from ndtstats.statistics.hidden import BetaDetection, hidden_imperfections, hidden_sentence
from ndtstats.statistics.hierarchy import LikelyPriors, likely_priors
from ndtstats.statistics.lengths import intersect_length, union_intervals, union_length
from ndtstats.statistics.poisson import rate_interval
from ndtstats.statistics.proportions import Interval, proportion_interval
from ndtstats.statistics.survey import weighted_rate, weighted_ratio
from ndtstats.statistics.tolerance import (
    ShareBelow,
    lower_limit,
    normal_lower_limit,
    normal_share_below,
    share_below,
    tolerance_factor,
)

__all__ = [
    "Agreement",
    "BernoulliCusum",
    "BetaDetection",
    "Clustering",
    "Comparison",
    "ControlChart",
    "Interval",
    "LikelyPriors",
    "PodCurve",
    "ShareBelow",
    "TrueRate",
    "choose_cusum",
    "cohens_kappa",
    "compare_groups",
    "cusum_chart",
    "ewma_chart",
    "false_discovery",
    "finite_lot_interval",
    "fleiss_kappa",
    "funnel_limits",
    "gap_chart",
    "hidden_imperfections",
    "hidden_sentence",
    "hit_miss_pod",
    "intersect_length",
    "joint_clustering",
    "likely_priors",
    "lower_limit",
    "normal_lower_limit",
    "normal_share_below",
    "overdispersion",
    "p_chart",
    "proportion_difference_interval",
    "proportion_interval",
    "rate_interval",
    "readings_table",
    "share_below",
    "tolerance_factor",
    "true_rate",
    "u_chart",
    "union_intervals",
    "union_length",
    "weighted_rate",
    "weighted_ratio",
]
