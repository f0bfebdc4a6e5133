"""The local clarity relation against published models, statsmodels, and a real river's readings."""

import io
import math
import runpy
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fathomlight.errors import ArgumentError
from fathomlight.indices.clarity import ClarityRelation, fit_clarity_relation

T = runpy.run_path(str(Path(__file__).parents[2] / "reference" / "index_tables.py"))


def made(n=60, noise=0.1, seed=2):
    rng = np.random.default_rng(seed)
    disc = np.exp(rng.uniform(np.log(0.3), np.log(4), n))
    return disc, 8.0 * disc**-1.3 * 10 ** (noise * rng.standard_normal(n))


def published(intercept, slope, smearing):
    return ClarityRelation(
        x_parameter="turbidity_fnu", y_parameter="suspended_matter", usable=True, reason="", n=13, left_out=0,
        confidence=0.95, reading="", method="", intercept=intercept, slope=slope, smearing=smearing,
        residual_sd=0.1, x_low=1.0, x_high=500.0, log_x_mean=1.0, log_x_ss=5.0,
    )  # fmt: skip


def test_published_power_model():
    """USGS SIR 2007-5164 table 3."""
    p = T["SSC_POWER"]
    got = published(math.log10(p["coefficient"]), p["exponent"], p["bias"]).predict(p["at"])
    assert got.median == pytest.approx(p["plain"], abs=5e-3)
    assert got.mean == pytest.approx(p["corrected"], abs=1e-2)


def test_published_log_model():
    """USGS model for site 03374100."""
    p = T["SSC_LOG"]
    got = published(p["intercept"], p["slope"], p["smearing"]).predict(p["at"])
    assert got.median == pytest.approx(p["plain"], abs=0.1)
    assert got.mean == pytest.approx(p["corrected"], abs=0.1)


def test_against_statsmodels():
    import statsmodels.api as sm

    disc, ntu = made()
    relation = fit_clarity_relation(disc, ntu)
    model = sm.OLS(np.log10(ntu), sm.add_constant(np.log10(disc))).fit()
    assert (relation.intercept, relation.slope) == pytest.approx(tuple(model.params))
    assert (relation.slope_low, relation.slope_high) == pytest.approx(tuple(model.conf_int()[1]))
    assert relation.r2 == pytest.approx(model.rsquared)
    assert relation.residual_sd == pytest.approx(math.sqrt(model.mse_resid))
    assert relation.smearing == pytest.approx(np.mean(10**model.resid))
    new = np.array([0.5, 1.0, 3.0])
    frame = model.get_prediction(sm.add_constant(np.log10(new))).summary_frame(alpha=0.05)
    got = relation.predict(new)
    assert got.low == pytest.approx(10 ** frame.obs_ci_lower.to_numpy())
    assert got.high == pytest.approx(10 ** frame.obs_ci_upper.to_numpy())
    assert got.median == pytest.approx(10 ** frame["mean"].to_numpy())


def test_residual_checks_against_statsmodels():
    import statsmodels.api as sm
    from statsmodels.stats.diagnostic import het_breuschpagan

    disc, ntu = made()
    relation = fit_clarity_relation(disc, ntu)
    x = np.log10(disc)
    model = sm.OLS(np.log10(ntu), sm.add_constant(x)).fit()
    assert relation.p_even == pytest.approx(het_breuschpagan(model.resid, model.model.exog)[1])
    assert relation.p_normal == pytest.approx(stats.shapiro(model.resid).pvalue)
    curved = sm.OLS(np.log10(ntu), np.column_stack([np.ones_like(x), x, x**2])).fit()
    assert relation.p_curved == pytest.approx(curved.pvalues[2])


def test_the_corrected_mean_is_unbiased_where_the_plain_one_is_low():
    disc, ntu = made(n=4000, noise=0.3)
    relation = fit_clarity_relation(disc, ntu)
    got = relation.predict(disc)
    assert got.mean.mean() == pytest.approx(ntu.mean(), rel=0.05)
    assert got.median.mean() < 0.85 * ntu.mean()
    assert np.mean((ntu >= got.low) & (ntu <= got.high)) == pytest.approx(0.95, abs=0.015)


def test_exact_line():
    disc = np.linspace(0.4, 4, 12)
    relation = fit_clarity_relation(disc, 10 / disc)
    assert relation.slope == pytest.approx(-1)
    assert relation.smearing == pytest.approx(1)
    assert relation.notes == ()
    got = relation.predict(2.0)
    assert isinstance(got.mean, float)
    assert (got.low, got.mean, got.high) == pytest.approx((5, 5, 5))
    assert "multiplied by about 0.5" in relation.reading


def test_refusals_with_a_reason():
    disc, ntu = made()
    few = fit_clarity_relation(disc[:9], ntu[:9])
    assert not few.usable
    assert few.reason == "9 pairs of at least 10"
    narrow = fit_clarity_relation(np.linspace(1, 2, 20), np.linspace(8, 4, 20))
    assert not narrow.usable
    assert "2 times the smallest" in narrow.reason
    rng = np.random.default_rng(0)
    none = fit_clarity_relation(disc, np.exp(rng.standard_normal(disc.size)))
    assert not none.usable
    assert "zero" in none.reason
    with pytest.raises(ArgumentError, match="9 pairs of at least 10"):
        few.predict(1.0)
    assert "no telling" in few.reading


def test_qualified_pairs_and_gaps_are_left_out_and_counted():
    disc, ntu = made()
    marks = ["="] * disc.size
    marks[0] = ">"
    ntu[1] = np.nan
    relation = fit_clarity_relation(disc, ntu, x_qualifiers=marks)
    assert (relation.n, relation.left_out) == (58, 2)
    assert any("1 pairs with a qualifier" in note for note in relation.notes)
    clean = fit_clarity_relation(disc[2:], ntu[2:])
    assert relation.slope == pytest.approx(clean.slope)


def test_extrapolation_is_marked():
    disc, ntu = made()
    relation = fit_clarity_relation(disc, ntu)
    assert relation.predict([0.05, 1.0, 9.0]).extrapolated.tolist() == [True, False, True]


def test_a_bend_and_uneven_scatter_are_noticed():
    disc, _ = made(n=80)
    rng = np.random.default_rng(5)
    bent = 10 ** (1 - np.log10(disc) + 1.5 * np.log10(disc) ** 2 + 0.05 * rng.standard_normal(80))
    assert any("bends" in note for note in fit_clarity_relation(disc, bent).notes)
    funnel = 10 ** (1 - np.log10(disc) + 0.15 * disc * rng.standard_normal(80))
    assert any("scatter" in note for note in fit_clarity_relation(disc, funnel).notes)
    skewed = 10 ** (1 - 2 * np.log10(disc) + 0.2 * rng.exponential(size=80))
    assert any("not normal" in note for note in fit_clarity_relation(disc, skewed).notes)


def test_kinds_of_turbidity_are_never_related():
    disc, ntu = made()
    with pytest.raises(ArgumentError, match="never"):
        fit_clarity_relation(ntu, ntu, x_parameter="turbidity_ntu", y_parameter="turbidity_fnu")
    for arguments, name in [
        ({"confidence": 0.0}, "confidence"),
        ({"min_pairs": 2}, "min_pairs"),
        ({"min_ratio": 1.0}, "min_ratio"),
        ({"y": ntu[:3]}, "y"),
        ({"x": -disc}, "x"),
    ]:
        with pytest.raises(ArgumentError) as caught:
            fit_clarity_relation(**{"x": disc, "y": ntu, **arguments})
        assert caught.value.argument == name


@pytest.mark.reference
def test_a_real_river():
    """Rhone data of the R package ade4 (Acta Oecologica 7:189-203, 1986): disc in cm, suspended matter in
    mg/L.

    Spearman of the two -0.96780, Pearson of the logarithms -0.95114 (computed apart from this package).
    """
    if shutil.which("Rscript") is None:
        pytest.skip("R is not installed")
    script = 'suppressWarnings(library(ade4)); data(rhone); write.csv(rhone$tab[, c("secchi", "suspension")])'
    done = subprocess.run(["Rscript", "-e", script], capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip("the R package ade4 is not installed")
    table = pd.read_csv(io.StringIO(done.stdout))
    assert len(table) == 39
    disc, suspended = table.secchi / 100, table.suspension
    assert stats.spearmanr(disc, suspended).statistic == pytest.approx(-0.96780, abs=1e-5)
    relation = fit_clarity_relation(disc, suspended, y_parameter="suspended_matter")
    assert relation.usable
    assert -math.sqrt(relation.r2) == pytest.approx(-0.95114, abs=1e-5)
    held = relation.predict(disc)
    assert ((suspended >= held.low) & (suspended <= held.high)).mean() > 0.9
