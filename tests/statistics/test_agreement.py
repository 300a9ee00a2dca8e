import numpy as np
import pytest
from scipy import stats
from statsmodels.stats import inter_rater

from ndtstats.errors import UseError
from ndtstats.statistics import cohens_kappa, fleiss_kappa, readings_table


def test_published_kappas_of_two_readers(reference):
    # Feinstein & Cicchetti 1990; epiR documentation epi.kappa (its interval uses the null error).
    for row in reference("kappa_2x2.csv").itertuples():
        both = cohens_kappa([[row.a, row.b], [row.c, row.d]])
        assert (both.agreed, both.by_chance, both.kappa) == pytest.approx(
            (row.po, row.pe, row.kappa), rel=1e-10
        )
        assert (both.standard_error, both.null_error, both.z) == pytest.approx(
            (row.ase, row.se_null, row.z), rel=1e-10
        )
        assert (both.lower, both.upper) == pytest.approx((row.lower, row.upper), rel=1e-10)
        assert both.prevalence_adjusted == pytest.approx(row.pabak, rel=1e-10)
        assert round(both.kappa, 2) == row.published_kappa
        half = stats.norm.ppf(0.975) * both.null_error
        assert (both.kappa - half, both.kappa + half) == pytest.approx(
            (row.null_se_lower, row.null_se_upper), rel=1e-9
        )


def test_agrees_with_statsmodels_on_more_verdicts():
    table = np.array([[40, 6, 1], [5, 22, 3], [2, 4, 11]])
    known = inter_rater.cohens_kappa(table)
    both = cohens_kappa(table)
    assert both.kappa == pytest.approx(known.kappa, rel=1e-10)
    assert both.standard_error == pytest.approx(known.std_kappa, rel=1e-10)
    assert both.null_error == pytest.approx(known.std_kappa0, rel=1e-10)
    assert (both.lower, both.upper) == pytest.approx((known.kappa_low, known.kappa_upp), rel=1e-9)


def test_plain_agreement_has_exact_bounds():
    # Clopper & Pearson by scipy.
    both = cohens_kappa([[40, 9], [6, 45]])
    known = stats.binomtest(85, 100).proportion_ci(0.95)
    assert (both.agreed_lower, both.agreed_upper) == pytest.approx(known, rel=1e-9)


def test_published_kappa_of_six_readers(reference):
    # Fleiss 1971 Psychol Bull 76:378.
    table = reference("kappa_fleiss_diagnoses.csv").drop(columns="subject")
    expected = reference("kappa_fleiss_expected.csv").set_index("quantity")
    several, each = fleiss_kappa(table)
    assert several.read == 30
    assert several.kappa == pytest.approx(expected["value"]["fleiss_kappa"], rel=1e-10)
    assert several.z == pytest.approx(expected["value"]["z"], rel=1e-10)
    assert round(several.z, 1) == expected["published"]["z"]
    for number, kappa in enumerate(each, start=1):
        name = f"category_kappa_{number}"
        assert kappa == pytest.approx(expected["value"][name], rel=1e-10)
        assert round(kappa, 3) == expected["published"][name]
    assert several.kappa == pytest.approx(inter_rater.fleiss_kappa(table.to_numpy()), rel=1e-10)


def test_error_over_films_agrees_with_a_jackknife(reference):
    # Leaving out one film after the other: another way to the same error, equal in the limit.
    table = reference("kappa_fleiss_diagnoses.csv").drop(columns="subject").to_numpy()
    large = np.random.default_rng(1).permutation(np.repeat(table, 4, axis=0))
    kappas = [fleiss_kappa(np.delete(large, i, axis=0))[0].kappa for i in range(len(large))]
    jackknife = np.sqrt((len(large) - 1) * np.var(kappas))
    # 120 films: the two differ by about 1 / 120.
    assert fleiss_kappa(large)[0].standard_error == pytest.approx(jackknife, rel=0.02)


def test_one_verdict_alone_says_nothing_beyond_chance():
    both = cohens_kappa([[30, 0], [0, 0]])
    assert both.agreed == 1.0
    assert np.isnan(both.kappa)
    several, each = fleiss_kappa([[3, 0], [3, 0]])
    assert np.isnan(several.kappa)
    assert np.isnan(each).all()


def test_films_not_read_by_both_are_left_out():
    table = readings_table(
        ["accept", None, "reject", "reject"], ["accept", "reject", "accept", None]
    )
    assert table.index.tolist() == ["accept", "reject"]
    assert table.to_numpy().tolist() == [[1, 0], [1, 0]]


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: cohens_kappa([[1, 2, 3], [4, 5, 6]]), "square table"),
        (lambda: cohens_kappa([[0, 0], [0, 0]]), "something in it"),
        (lambda: fleiss_kappa([[3, 0], [2, 0]]), "same number of readers"),
        (lambda: fleiss_kappa([[1, 0], [0, 1]]), "2 or more"),
        (lambda: readings_table(["a"], ["a", "b"]), "same films: 1 and 2"),
    ],
)
def test_impossible_tables_are_told(make, says):
    with pytest.raises(UseError, match=says):
        make()


def test_bounds_of_kappa_stay_where_kappa_can_lie():
    # Two images, never agreed on: kappa itself is at or near its least.
    few = cohens_kappa([[0, 1], [1, 0]])
    assert -1.0 <= few.lower <= few.kappa <= few.upper <= 1.0
    assert few.kappa == -1.0
