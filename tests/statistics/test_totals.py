import numpy as np
import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.statistics.totals import hansen_hurwitz, hartley_rao_joint, horvitz_thompson

# Sum of pi² over all counties, over n = 40: recomputed with R (tests/references/README.md).
HARTLEY_RAO = 0.103210272662 * 40


@pytest.fixture(scope="module")
def counties(reference):
    return reference("pps_election_sample.csv")


@pytest.fixture(scope="module")
def joint(request):
    folder = request.config.rootpath / "tests" / "references"
    return pd.read_csv(folder / "pps_election_joint.csv", header=None).to_numpy()


@pytest.mark.parametrize("candidate", ["Bush", "Kerry", "Nader"])
@pytest.mark.parametrize(
    ("name", "how"),
    [
        ("horvitz_thompson_joint", "horvitz-thompson"),
        ("yates_grundy_joint", "yates-grundy"),
        ("hartley_rao_ht", "horvitz-thompson"),
        ("hartley_rao_yg", "yates-grundy"),
        ("hartley_rao_sample_sum_ht", "horvitz-thompson"),
        ("brewer", "brewer"),
        ("with_replacement", "with-replacement"),
    ],
)
def test_totals_of_the_sample_of_counties(reference, counties, joint, candidate, name, how):
    # Lumley, survey package vignette on PPS designs (seen); R's survey recomputes all of them.
    table = reference("pps_election_expected.csv").set_index(["variance", "variable"])
    expected = table.loc[(name, candidate)]
    pi = counties["inclusion_prob"]
    given = None
    if name.startswith("hartley_rao"):
        given = hartley_rao_joint(pi, None if "sample_sum" in name else HARTLEY_RAO)
    elif name.endswith("_joint"):
        given = joint
    total = horvitz_thompson(counties[candidate], pi, joint=given, variance=how)
    assert total.value == pytest.approx(expected["total"], rel=1e-10)
    # The joint probabilities are kept to ten digits.
    assert total.standard_error == pytest.approx(expected["se"], rel=1e-7)


def test_every_sample_of_the_supermarkets(reference):
    # Lohr, Sampling: Design and Analysis, ch. 6 (from memory; enumerated).
    units = reference("pps_supermarkets_units.csv").set_index("unit")
    for row in reference("pps_supermarkets_samples.csv").itertuples():
        two = units.loc[[row.unit_i, row.unit_k]]
        pi = two["inclusion_prob"].to_numpy()
        both = np.array([[pi[0], row.joint], [row.joint, pi[1]]])
        total = horvitz_thompson(two["y"], pi, joint=both)
        assert total.value == pytest.approx(row.ht_total, rel=1e-9)
        assert total.standard_error**2 == pytest.approx(row.var_syg, rel=1e-8)
        other = horvitz_thompson(two["y"], pi, joint=both, variance="horvitz-thompson")
        if row.var_ht < 0:
            assert np.isnan(other.standard_error)
        else:
            assert other.standard_error**2 == pytest.approx(row.var_ht, rel=1e-8)


def test_total_and_variance_are_unbiased_over_all_samples(reference):
    units = reference("pps_supermarkets_units.csv").set_index("unit")
    samples = reference("pps_supermarkets_samples.csv")
    assert samples["joint"].sum() == pytest.approx(1.0)
    mean = (samples["joint"] * samples["ht_total"]).sum()
    assert mean == pytest.approx(units["y"].sum())
    spread = (samples["joint"] * (samples["ht_total"] - mean) ** 2).sum()
    assert (samples["joint"] * samples["var_syg"]).sum() == pytest.approx(spread)


def test_the_audit_with_replacement(reference):
    # Lohr, ch. 6: overstatement in 25 accounts (data seen, figures from memory).
    drawn = reference("audit_input.csv")
    expected = reference("pps_audit_expected.csv").set_index("quantity")["value"]
    total = hansen_hurwitz(drawn["bookvalue"] - drawn["auditvalue"], drawn["psi"])
    assert total.value == pytest.approx(expected["overstatement_total"], rel=1e-9)
    assert total.standard_error == pytest.approx(expected["standard_error"], rel=1e-9)


def test_what_cannot_be_is_refused():
    with pytest.raises(UseError, match="above 0"):
        horvitz_thompson([1.0], [0.0])
    with pytest.raises(UseError, match="joint probabilities"):
        horvitz_thompson([1.0, 2.0], [0.5, 0.5], variance="yates-grundy")
