"""How many to examine, and what a plan does to good and to bad work.

Everything here takes a *place* that is examined as one unit, found bad or not: a spot, a joint, a
test piece. Places must be chosen by chance; of places chosen by risk, nothing here says anything.

========================  =====================================================================
:mod:`.chance`            chance of passing: stream or finite lot, with misses and false calls
:mod:`.needed`            least number to examine to show a rate to be below a limit
:mod:`.margin`            number to examine to know a rate within a margin
:mod:`.single`            single plans: rates passed, AOQ, AOQL, ATI, plan through two points
:mod:`.indications`       plans that count indications per metre
:mod:`.double`            double plans
:mod:`.sequential`        Wald's sequential test
:mod:`.mil_std_105e`      attribute plans of MIL-STD-105E
:mod:`.curves`            all of them as tables over the true rate
========================  =====================================================================
"""

from ndtstats.statistics.acceptance.chance import accept_probability, bad_in_lot
from ndtstats.statistics.acceptance.curves import (
    double_curve,
    sequential_card,
    sequential_curve,
    single_curve,
)
from ndtstats.statistics.acceptance.double import DoubleOutcome, DoublePlan, double_outcome
from ndtstats.statistics.acceptance.indications import (
    accept_probability_indications,
    indication_rate_accepted,
)
from ndtstats.statistics.acceptance.margin import MarginSize, examinations_for_margin
from ndtstats.statistics.acceptance.mil_std_105e import StandardPlan, code_letters, standard_plan
from ndtstats.statistics.acceptance.needed import examinations_needed
from ndtstats.statistics.acceptance.sequential import (
    SequentialOutcome,
    SequentialPlan,
    WaldOutcome,
    sequential_outcome,
    wald_outcome,
)
from ndtstats.statistics.acceptance.single import (
    OutgoingLimit,
    TwoPointPlan,
    average_examined,
    outgoing_limit,
    outgoing_rate,
    rate_accepted,
    two_point_plan,
)

__all__ = [
    "DoubleOutcome",
    "DoublePlan",
    "MarginSize",
    "OutgoingLimit",
    "SequentialOutcome",
    "SequentialPlan",
    "StandardPlan",
    "TwoPointPlan",
    "WaldOutcome",
    "accept_probability",
    "accept_probability_indications",
    "average_examined",
    "bad_in_lot",
    "code_letters",
    "double_curve",
    "double_outcome",
    "examinations_for_margin",
    "examinations_needed",
    "indication_rate_accepted",
    "outgoing_limit",
    "outgoing_rate",
    "rate_accepted",
    "sequential_card",
    "sequential_curve",
    "sequential_outcome",
    "single_curve",
    "standard_plan",
    "two_point_plan",
    "wald_outcome",
]
