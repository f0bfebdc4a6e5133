"""Clarity and catch: planted effects recovered, false ones not, and words that do not promise too much.

All surveys here are simulated; what is known of them is what was planted.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy.stats import spearmanr

from fathomlight.errors import ArgumentError
from fathomlight.fish import clarity_effect, clarity_effects, fit_counts
from fathomlight.fish.linkage_models import fieller

COLUMNS = [
    "survey",
    "water",
    "year",
    "gear",
    "effort",
    "effort_unit",
    "species",
    "count",
    "clarity",
    "temperature",
]


def plant(rng, waters=12, each=8, slope=-0.5, bend=0.0, top=1.0, theta=2.0, spread=0.4):
    """Surveys whose log catch changes by ``slope`` a doubling of clarity, or bends around 2^top metres."""
    rows = []
    for w in range(waters):
        base, level = rng.normal(1.0, 0.8), rng.normal(0, spread)
        for k in range(each):
            x, warm, effort = base + rng.normal(0, 0.4), rng.normal(18, 3), rng.uniform(0.5, 2)
            log = 1.5 + slope * x + bend * (x - top) ** 2 + 0.05 * (warm - 18) + level
            mean = effort * math.exp(log)
            count = rng.poisson(mean * rng.gamma(theta, 1 / theta) if theta else mean)
            rows.append(
                (f"{w}-{k}", f"w{w}", 2000 + k, "seine", effort, "haul", "walleye", count, 2.0**x, warm)
            )
    return pd.DataFrame(rows, columns=COLUMNS)


@pytest.fixture(scope="module")
def murky_helps():
    table = plant(np.random.default_rng(1))
    return table, clarity_effect(table)


def test_the_numbers_come_from_the_model_they_say(murky_helps):
    table, result = murky_helps
    assert result.level == "model"
    assert result.family == "nb2"
    warm = (table["temperature"] - table["temperature"].mean()) / table["temperature"].std()
    design = np.column_stack([np.ones(len(table)), np.log2(table["clarity"]), warm])
    fit = fit_counts(table["count"], design, table["effort"], family="nb2")
    assert result.effect_per_halving == pytest.approx(math.exp(-fit.coefficients[1]), rel=1e-6)
    assert result.theta == pytest.approx(fit.theta, rel=1e-4)
    cpe = table["count"] / table["effort"]
    assert result.rank_correlation == pytest.approx(spearmanr(table["clarity"], cpe).statistic)
    assert result.covariates == ("temperature",)
    assert result.effect_low < math.exp(0.5) < result.effect_high
    assert result.optimum is None


def test_clustered_errors_agree_with_the_sandwich_of_statsmodels(murky_helps):
    """Jackknife and sandwich estimate the same thing; the jackknife is the wider one."""
    import statsmodels.api as sm

    table, result = murky_helps
    warm = (table["temperature"] - table["temperature"].mean()) / table["temperature"].std()
    design = np.column_stack([np.ones(len(table)), np.log2(table["clarity"]), warm])
    glm = sm.GLM(
        table["count"],
        design,
        sm.families.NegativeBinomial(alpha=result.alpha),
        offset=np.log(table["effort"]),
    )
    sandwich = glm.fit(cov_type="cluster", cov_kwds={"groups": table["water"].astype("category").cat.codes})
    ours = math.log(result.effect_high / result.effect_low) / 2 / 2.200985  # t(11), 97.5 %
    assert 0.9 * sandwich.bse.iloc[1] < ours < 1.6 * sandwich.bse.iloc[1]


def test_units_of_clarity_and_of_effort_do_not_matter(murky_helps):
    table, result = murky_helps
    feet = clarity_effect(table.assign(clarity=table["clarity"] / 0.3048, effort=table["effort"] * 60))
    for name in ("effect_per_halving", "effect_low", "effect_high", "rank_correlation", "theta"):
        assert getattr(feet, name) == pytest.approx(getattr(result, name), rel=1e-4), name


def test_the_order_of_the_rows_does_not_matter(murky_helps):
    table, result = murky_helps
    mixed = clarity_effect(table.sample(frac=1, random_state=3))
    assert mixed.effect_low == pytest.approx(result.effect_low, rel=1e-5)


def test_curve_band_points_and_left_out_waters(murky_helps):
    table, result = murky_helps
    curve = result.curve
    assert curve["clarity"].iloc[0] == pytest.approx(table["clarity"].min())
    assert curve["clarity"].iloc[-1] == pytest.approx(table["clarity"].max())
    assert ((curve["low"] < curve["fitted"]) & (curve["fitted"] < curve["high"])).all()
    steps = np.diff(np.log(curve["fitted"])) / np.diff(np.log2(curve["clarity"]))
    assert steps == pytest.approx(-math.log(result.effect_per_halving), rel=1e-6)
    assert len(result.points) == len(table) == result.n
    assert set(result.left_out_table["water"]) == set(table["water"])
    one = result.left_out_table.iloc[0]
    rest = clarity_effect(table[table["water"] != one["water"]])
    assert one["effect"] == pytest.approx(
        rest.effect_per_halving, rel=0.05
    )  # same but for theta and centring


def test_it_speaks_plainly(murky_helps):
    _, result = murky_helps
    text = " ".join(result.sentences)
    assert "96 surveys with seine in 12 waters, 2000 to 2007" in text
    assert "Each halving of disc depth went with" in text
    assert "This is an association, not a cause" in text
    assert "how well each gear catches" in text
    for word in ("causes", "because of", "proves", "due to"):
        assert word not in text
    assert "haul" in text
    assert result.to_dict()["curve"][0]["fitted"] > 0


def test_planted_slope_is_covered_at_nominal_rate_with_waters_that_differ():
    """60 records of 12 waters: 95 % limits; the binomial 99.9 % band is about 0.85 to 1."""
    rng = np.random.default_rng(99)
    hits = 0
    for _ in range(60):
        result = clarity_effect(plant(rng))
        hits += result.effect_low <= math.exp(0.5) <= result.effect_high
    assert hits / 60 >= 0.85


@pytest.mark.slow
@pytest.mark.parametrize(
    ("waters", "each", "theta", "spread"), [(20, 5, 2.0, 0.4), (8, 10, None, 0.4), (3, 20, 2.0, 0.0)]
)
def test_coverage_in_other_designs(waters, each, theta, spread):
    rng = np.random.default_rng(7)
    hits = 0
    for _ in range(60):
        result = clarity_effect(plant(rng, waters, each, theta=theta, spread=spread))
        hits += result.effect_low <= math.exp(0.5) <= result.effect_high
    assert hits / 60 >= 0.85


def test_no_effect_is_seldom_called_one():
    """50 records without an effect, waters that differ: about one in twenty (99.9 % band: to 0.16)."""
    rng = np.random.default_rng(12)
    found = [clarity_effect(plant(rng, 10, 6, slope=0.0)) for _ in range(50)]
    assert np.mean([not r.effect_low <= 1 <= r.effect_high for r in found]) <= 0.16
    assert np.mean([r.shape == "hump" for r in found]) <= 0.16
    calm = next(r for r in found if r.effect_low <= 1 <= r.effect_high)
    assert any("do not show whether" in s for s in calm.sentences)


def test_a_planted_hump_is_found_with_its_top():
    """20 records with the top at 2 m: most are found, and the limits of the top hold 2 m nearly always."""
    rng = np.random.default_rng(21)
    found = [clarity_effect(plant(rng, 15, 10, slope=0.0, bend=-0.6)) for _ in range(20)]
    humps = [r for r in found if r.shape == "hump"]
    assert len(humps) >= 15
    inside = [r.optimum.low <= 2.0 <= r.optimum.high for r in humps]
    assert np.mean(inside) >= 0.8
    top = humps[0]
    assert top.shapes.aic_hump < top.shapes.aic_linear
    assert "catch was highest near" in " ".join(top.sentences)
    peak = top.curve.loc[top.curve["fitted"].idxmax(), "clarity"]
    assert peak == pytest.approx(top.optimum.clarity, rel=0.1)


def test_a_bend_at_the_edge_is_not_an_optimum():
    rng = np.random.default_rng(2)
    result = clarity_effect(plant(rng, 15, 12, slope=0.0, bend=-0.25, top=-2.5, theta=20.0, spread=0.05))
    assert result.shape in ("linear", "curved")
    assert result.optimum is None


def test_fieller_by_simulation_of_its_definition():
    """A value is inside exactly where b1 + 2 r b2 is no more than t standard errors from zero."""
    covariance = np.array([[0.04, 0.01], [0.01, 0.02]])
    low, high = fieller(0.8, -0.6, covariance, 2.0)
    for r, inside in ((low - 1e-6, False), (low + 1e-6, True), (high - 1e-6, True), (high + 1e-6, False)):
        value = 0.8 - 1.2 * r
        error = math.sqrt(0.04 + 4 * r * 0.01 + 4 * r * r * 0.02)
        assert (abs(value) <= 2 * error) == inside
    assert fieller(0.8, -0.1, covariance, 2.0) == (-math.inf, math.inf)


def test_poisson_catches_are_fitted_as_poisson():
    result = clarity_effect(plant(np.random.default_rng(3), theta=None, spread=0.0))
    assert result.family == "poisson"
    assert math.isnan(result.theta)
    assert result.dispersion_p > 0.05


def test_two_trends_that_merely_coincide_lose_their_clarity():
    """Clarity and catch both change with the years and share nothing else."""
    rng = np.random.default_rng(5)
    rows = []
    for w in range(6):
        for year in range(1990, 2015):
            x = 0.5 + 0.06 * (year - 1990) + rng.normal(0, 0.15)
            count = rng.poisson(math.exp(3 - 0.05 * (year - 1990)) * rng.gamma(8, 1 / 8))
            rows.append((f"{w}-{year}", f"w{w}", year, "seine", 1.0, "haul", "walleye", count, 2.0**x, 18.0))
    result = clarity_effect(pd.DataFrame(rows, columns=COLUMNS))
    assert result.effect_low > 1
    assert result.detrended.possible
    assert result.detrended.low < 1 < result.detrended.high
    assert any("no longer clear" in s for s in result.sentences)


def test_waters_that_differ_do_not_stand_for_waters_that_change():
    """Murky waters happen to be rich; within a water clarity does nothing. The within-water check sees it."""
    rng = np.random.default_rng(6)
    rows = []
    for w in range(20):
        base = rng.normal(1, 1)
        for k in range(8):
            x = base + rng.normal(0, 0.5)
            count = rng.poisson(math.exp(2 - 0.8 * base) * rng.gamma(5, 1 / 5))
            rows.append((f"{w}-{k}", f"w{w}", 2000 + k, "seine", 1.0, "haul", "walleye", count, 2.0**x, 18.0))
    result = clarity_effect(pd.DataFrame(rows, columns=COLUMNS))
    assert result.effect_low > 1
    assert result.within_water.low < 1 < result.within_water.high
    assert any("does not vary" in note for note in result.notes)  # temperature


def test_habitat_area_as_the_better_predictor():
    rng = np.random.default_rng(9)
    table = plant(rng, 15, 8, slope=0.0)
    habitat = np.exp(rng.normal(3, 0.8, len(table)))
    table["count"] = rng.poisson(table["effort"] * 0.2 * habitat)
    table["habitat_ha"] = habitat
    result = clarity_effect(table, alternative="habitat_ha")
    other = result.alternative
    assert other.aic < other.aic_clarity - 10
    assert other.scale == "log2"
    assert other.low < 0.5 < other.high  # catch was planted in proportion to area
    assert any("better than disc depth" in s for s in result.sentences)
    table.loc[:100, "habitat_ha"] = math.nan
    sparse = clarity_effect(table, alternative="habitat_ha")
    assert sparse.alternative is None
    assert any("too few surveys" in note for note in sparse.notes)
    with pytest.raises(ArgumentError, match="alternative"):
        clarity_effect(table, alternative="nothing")


def test_gears_units_species_and_windows_are_never_pooled(murky_helps):
    table, result = murky_helps
    other = table.assign(gear="gill net", effort_unit="net-night", survey="g" + table["survey"])
    both = pd.concat([table, other])
    with pytest.raises(ArgumentError, match="never pooled"):
        clarity_effect(both)
    assert clarity_effect(both, gear="Beach seine").effect_low == pytest.approx(result.effect_low)
    assert sorted(clarity_effects(both)) == ["gill net", "seine"]
    with pytest.raises(ArgumentError, match="units of effort"):
        clarity_effect(pd.concat([table, other.assign(gear="seine")]))
    with pytest.raises(ArgumentError, match="species"):
        clarity_effect(pd.concat([table, table.assign(species="sauger", survey="x" + table["survey"])]))
    with pytest.raises(ArgumentError, match="window"):
        clarity_effect(pd.concat([table.assign(window="a"), table.assign(window="b")]))
    with pytest.raises(ArgumentError, match="twice"):
        clarity_effect(pd.concat([table, table]))


def test_too_few_surveys_fall_back_to_description():
    result = clarity_effect(plant(np.random.default_rng(4), 3, 6))
    assert result.level == "description"
    assert result.family is None
    assert math.isnan(result.effect_per_halving)
    assert result.curve is None
    assert "Only 18 surveys" in result.reason
    assert math.isfinite(result.rank_correlation)
    assert any("murkier half" in s for s in result.sentences)
    assert any("association" in s for s in result.sentences)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"count": 0}, "Only 0 surveys caught any"),
        ({"clarity": 2.0}, "hardly differ in clarity"),
        ({"count": 1.5}, "not whole numbers"),
    ],
)
def test_other_reasons_to_describe_only(murky_helps, change, words):
    result = clarity_effect(murky_helps[0].assign(**change))
    assert result.level == "description"
    assert words in result.reason


def test_three_surveys_and_none_do_not_break_it(murky_helps):
    assert clarity_effect(murky_helps[0].iloc[:3]).n == 3
    unknown = clarity_effect(murky_helps[0].assign(effort=math.nan))
    assert unknown.n == 0
    assert "unknown effort" in unknown.notes[0]


def test_bounds_are_left_out_and_counted_or_used_when_asked(murky_helps):
    table, _ = murky_helps
    clear = table["clarity"] > table["clarity"].quantile(0.8)
    marked = table.assign(clarity_qualifier=np.where(clear, ">", "="))
    result = clarity_effect(marked)
    assert result.bounds == clear.sum()
    assert result.n == (~clear).sum()
    assert any("only a bound" in note for note in result.notes)
    used = clarity_effect(marked, bounds="as values")
    assert used.n == len(table)
    assert any("as asked" in note for note in used.notes)


def test_missing_covariates(murky_helps):
    table, _ = murky_helps
    few, many = table.copy(), table.copy()
    few.loc[:4, "temperature"] = math.nan
    many.loc[:40, "temperature"] = math.nan
    assert clarity_effect(few).n == len(table) - 5
    left = clarity_effect(many)
    assert left.n == len(table)
    assert left.covariates == ()
    assert any("temperature is unknown" in note for note in left.notes)
    small = clarity_effect(table.iloc[:24])
    assert small.covariates == ()
    assert any("Too few surveys to also allow" in note for note in small.notes)


def test_text_covariates_enter_as_groups(murky_helps):
    table, _ = murky_helps
    mesh = np.where(np.arange(len(table)) % 2, "38 mm", "51 mm")
    twice = table.assign(mesh=mesh, count=table["count"] * np.where(mesh == "51 mm", 4, 1))
    result = clarity_effect(twice, covariates=("temperature", "mesh"))
    assert result.covariates == ("temperature", "mesh")
    assert result.effect_low < math.exp(0.5) < result.effect_high


def test_one_water_says_that_it_is_one():
    result = clarity_effect(plant(np.random.default_rng(8), 1, 40))
    assert result.level == "model"
    assert result.left_out_table is None
    assert "independent" in result.errors
    assert any("nothing can be said of other waters" in s for s in result.sentences)
    assert not result.within_water.possible


def test_excess_zeros_are_pointed_out():
    rng = np.random.default_rng(10)
    table = plant(rng, 12, 10, theta=None, spread=0.0, slope=-0.1)
    table["count"] = np.where(rng.random(len(table)) < 0.4, 0, table["count"] + 15)
    result = clarity_effect(table)
    assert result.zeros > result.expected_zeros + 8
    assert any("something besides these terms" in note for note in result.notes)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"clarity": 0.0}, "clarity"),
        ({"effort": -1.0}, "effort"),
        ({"count": -1}, "count"),
        ({"water": None}, "water"),
    ],
)
def test_impossible_values(murky_helps, change, name):
    with pytest.raises(ArgumentError) as error:
        clarity_effect(murky_helps[0].assign(**change))
    assert error.value.argument == name


@pytest.mark.parametrize(
    ("options", "name"),
    [
        ({"confidence": 95}, "confidence"),
        ({"minimum_surveys": 3}, "minimum_surveys"),
        ({"bounds": "halve"}, "bounds"),
        ({"clarity": "turbidity"}, "table"),
        ({"gear": "trawl"}, "gear"),
    ],
)
def test_impossible_options(murky_helps, options, name):
    with pytest.raises(ArgumentError) as error:
        clarity_effect(murky_helps[0], **options)
    assert error.value.argument == name


def test_turbidity_can_stand_for_clarity(murky_helps):
    """Turbidity that is the inverse of disc depth: a halving of one is a doubling of the other."""
    table, result = murky_helps
    cloudy = clarity_effect(
        table.assign(turbidity=10 / table["clarity"]), clarity="turbidity", label="turbidity", unit="NTU"
    )
    assert cloudy.effect_per_halving == pytest.approx(1 / result.effect_per_halving, rel=1e-5)
    assert any("turbidity" in s for s in cloudy.sentences)


def test_from_tables_to_answer():
    """Readings, surveys and catches as a store gives them; the effect planted in them comes out."""
    from fathomlight.fish import linkage_table, match_readings
    from fathomlight.model import CATCH_COLUMNS, READING_COLUMNS, SURVEY_COLUMNS

    rng = np.random.default_rng(31)
    readings, surveys, catches = [], [], []
    for w in range(10):
        for year in range(2012, 2020):
            clarity = 2.0 ** rng.normal(1, 0.7)
            for day in ("07-05", "07-15", "07-25"):
                noise = float(np.exp(rng.normal(0, 0.05)))
                readings.append((f"st{w}", "secchi", 0.0, f"{year}-{day}", clarity * noise, "="))
                readings.append((f"st{w}", "temperature", 0.5, f"{year}-{day}", rng.normal(20, 2), "="))
            name, effort = f"{w}-{year}", float(rng.uniform(0.5, 2))
            surveys.append((name, f"w{w}", "boat electrofishing", f"{year}-07-28", effort))
            count = int(rng.poisson(effort * 8 / clarity * rng.gamma(3, 1 / 3)))
            if count:
                catches.append((name, "Walleye", count))
    frame = pd.DataFrame(
        readings, columns=["station", "parameter", "depth_m", "local_date", "value", "qualifier"]
    )
    frame["local_date"] = pd.to_datetime(frame["local_date"])
    frame = frame.assign(flag=1, time=frame["local_date"].dt.tz_localize("UTC"), replicate=1, batch=1)
    frame = frame.assign(original_value="", original_unit="", method="", note="")[list(READING_COLUMNS)]
    asked = pd.DataFrame(surveys, columns=["survey", "water", "gear", "start", "effort"])
    asked = asked.assign(
        start=pd.to_datetime(asked["start"]), station="", end=pd.NaT, effort_unit="hour", note=""
    )
    caught = pd.DataFrame(catches, columns=["survey", "species", "count"]).assign(
        pass_number=1, mesh_mm=math.nan
    )
    match = match_readings(
        asked[list(SURVEY_COLUMNS)], frame, stations={f"st{w}": f"w{w}" for w in range(10)}
    )
    table = linkage_table(match, caught[list(CATCH_COLUMNS)], "Sander vitreus")
    result = clarity_effect(table)
    assert result.n == len(asked)
    assert result.zeros == len(asked) - len(catches)
    assert "temperature" in result.covariates
    assert result.effect_low < 2 < result.effect_high  # catch was planted inversely to clarity
    assert result.effect_low > 1
    assert "boat electrofishing" in result.sentences[0]
    assert "stunned" in result.sentences[-1]
