"""Removal estimates against published examples, enumeration of the likelihood, and simulation."""

from __future__ import annotations

import math
import runpy
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import betaln, gammaln
from scipy.stats import chi2, multinomial

from fathomlight.errors import ArgumentError
from fathomlight.fish import (
    removal_estimate,
    removal_log_likelihood,
    zippin_probability,
    zippin_three_pass,
)

T = runpy.run_path(str(Path(__file__).parents[2] / "reference" / "fish_examples.py"))


@pytest.mark.parametrize(("counts", "n", "se", "p"), T["CARLE_STRUB"])
def test_carle_and_strub_own_examples(counts, n, se, p):
    result = removal_estimate(counts, "carle-strub", accept_no_depletion=True)
    assert result.n == n
    assert result.capture_probability == pytest.approx(p, abs=5e-4)
    if se is not None:
        assert result.se == pytest.approx(se, abs=0.05)


@pytest.mark.parametrize(("counts", "n", "p"), T["COWX"])
def test_cowx_page_77(counts, n, p):
    result = removal_estimate(counts, "carle-strub")
    assert result.n == n
    assert result.capture_probability == pytest.approx(p, abs=5e-4)


def test_zippin_1958_from_memory():
    counts, n = T["ZIPPIN_1958"]
    assert removal_estimate(counts).n == pytest.approx(n, rel=0.01)
    assert removal_estimate(counts).n_conditional == pytest.approx(n, rel=0.01)


def enumerate_likelihood(counts, numbers):
    """The multinomial itself, over a fine grid of p: nothing shared with the code under test."""
    k = len(counts)
    p = np.linspace(1e-4, 1 - 1e-4, 4000)
    cells = p * (1 - p) ** np.arange(k)[:, None]
    cells = np.vstack([cells, 1 - cells.sum(axis=0)]).T
    return np.array([multinomial.logpmf([*counts, n - sum(counts)], n, cells).max() for n in numbers])


@pytest.mark.parametrize("counts", [(38, 26, 12), (20, 9, 4), (30, 11), (7, 3, 1), (12, 7, 5, 2)])
def test_zippin_is_the_whole_number_with_the_highest_likelihood(counts):
    total = sum(counts)
    numbers = np.arange(total, 4 * total)
    found = enumerate_likelihood(counts, numbers)
    result = removal_estimate(counts)
    best = numbers[found.argmax()]
    assert abs(result.n - best) <= 1
    assert found[numbers == result.n][0] == pytest.approx(found.max(), abs=1e-5)
    inside = numbers[found >= found.max() - chi2.ppf(0.95, 1) / 2]
    assert abs(result.low - inside.min()) <= 1
    assert abs(result.high - inside.max()) <= 1


@pytest.mark.parametrize("counts", [(38, 26, 12), (72, 56, 46, 30, 24), (12, 7, 5, 2)])
def test_carle_strub_is_the_mode_under_a_flat_prior_on_p(counts):
    """Integrating p out under beta(1, 1): N!/(N-T)! B(T + 1, kN - X - T + 1), highest at the estimate."""
    k, total = len(counts), sum(counts)
    x = sum((k - i) * c for i, c in enumerate(counts, 1))
    n = np.arange(total, 5 * total)
    log = gammaln(n + 1) - gammaln(n - total + 1) + betaln(total + 1, k * n - x - total + 1)
    assert removal_estimate(counts, "carle-strub").n == n[log.argmax()]


def test_explicit_three_pass_solves_the_equation_of_zippin():
    for counts in [(40, 20, 10), (165, 101, 54), (77, 50, 37)]:
        n, p = zippin_three_pass(*counts)
        assert p == pytest.approx(zippin_probability(counts), abs=1e-10)
        assert n == pytest.approx(sum(counts) / (1 - (1 - p) ** 3), rel=1e-10)


def test_two_passes_have_the_textbook_answer():
    """Seber & Le Cren (1967): N = c1^2 / (c1 - c2), p = 1 - c2/c1."""
    assert zippin_probability([100, 60]) == pytest.approx(0.4)
    assert removal_estimate([100, 60]).n_conditional == pytest.approx(100**2 / 40)


@pytest.mark.parametrize("method", ["zippin", "carle-strub"])
@pytest.mark.parametrize("counts", [(5, 7, 8), (10, 10, 10), (10, 20), (0, 0, 9)])
def test_refuses_catches_that_do_not_deplete(method, counts):
    with pytest.raises(ArgumentError, match="do not deplete"):
        removal_estimate(counts, method)


def test_insisting_says_that_the_prior_decides():
    result = removal_estimate([5, 7, 8], "carle-strub", accept_no_depletion=True)
    assert not result.depletes
    assert math.isinf(result.high)
    assert any("prior" in note for note in result.notes)
    with pytest.raises(ArgumentError, match="do not deplete"):
        removal_estimate([5, 7, 8], "zippin", accept_no_depletion=True)


@pytest.mark.parametrize(
    "counts", [(5,), (), (0, 0, 0), (5, -1), (5, 2.5), (5, math.nan), (math.inf, 1)], ids=str
)
def test_refuses_what_cannot_be_catches(counts):
    with pytest.raises(ArgumentError) as error:
        removal_estimate(counts)
    assert error.value.argument == "counts"


@pytest.mark.parametrize(
    ("options", "name"),
    [({"method": "leslie"}, "method"), ({"confidence": 1.0}, "confidence"), ({"prior": (0, 1)}, "prior")],
)
def test_refuses_impossible_options(options, name):
    with pytest.raises(ArgumentError) as error:
        removal_estimate([30, 10], **options)
    assert error.value.argument == name


def test_everything_in_the_first_pass():
    result = removal_estimate([10, 0, 0])
    assert (result.n, result.se, result.capture_probability) == (10, 0.0, 1.0)
    assert (result.low, result.high) == (10, 10)


def test_weak_depletion_has_no_upper_limit_and_says_so():
    result = removal_estimate([20, 18, 15])
    assert math.isinf(result.high)
    assert any("no upper limit" in note for note in result.notes)
    assert any("low" in note for note in result.notes)


def test_unequal_capture_is_noticed():
    """First pass takes 9 of 10, later passes 1 of 10 of the rest: equal capture cannot be."""
    result = removal_estimate([450, 60, 50, 45, 40])
    assert result.chi2_p < 1e-6
    assert any("differ between passes" in note for note in result.notes)


depleting = st.lists(st.integers(0, 400), min_size=2, max_size=6).filter(
    lambda c: (
        2 * sum((len(c) - i) * x for i, x in enumerate(c, 1)) > 1.05 * sum(c) * (len(c) - 1) and sum(c) > 0
    )
)


@given(depleting)
def test_properties(counts):
    result = removal_estimate(counts)
    assert result.total == sum(counts) <= result.low <= result.n <= result.high
    assert 0 < result.capture_probability <= 1
    around = removal_log_likelihood([result.n - 1, result.n, result.n + 1], counts)
    assert around[1] >= around[0] - 1e-9
    assert around[1] >= around[2] - 1e-9
    assert removal_estimate(counts, "carle-strub").n <= result.n + 1


def test_limits_cover_the_truth_about_as_often_as_they_say():
    """300 simulated sites of 150 fish, p 0.45, three passes; binomial 99.9 % band around 95 %."""
    rng = np.random.default_rng(20250724)
    hits = 0
    for _ in range(300):
        left, counts = 150, []
        for _ in range(3):
            counts.append(int(rng.binomial(left, 0.45)))
            left -= counts[-1]
        result = removal_estimate(counts)
        hits += result.low <= 150 <= result.high
    assert 0.90 <= hits / 300 <= 0.985


def test_result_is_plain_data():
    assert removal_estimate([38, 26, 12]).to_dict()["counts"] == [38, 26, 12]
