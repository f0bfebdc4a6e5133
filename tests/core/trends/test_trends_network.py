"""The network kernel gives the numbers of the single test, whatever holds the cube."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from fathomlight.errors import ArgumentError
from fathomlight.trends import (
    network_trends,
    seasonal_kendall,
    seasonal_kendall_kernel,
    with_false_discovery,
)

SAME = (
    "n", "s", "variance", "z", "p", "tau", "slope", "slope_low", "slope_high", "variance_independent", "z_independent",
    "p_independent", "variance_covariance", "z_covariance", "p_covariance", "covariance_used", "homogeneity_chi2",
    "homogeneity_df", "homogeneity_p", "confidence",
)  # fmt: skip


def cube(seed, stations=3, years=12, seasons=4):
    rng = np.random.default_rng(seed)
    data = rng.standard_normal((stations, years, seasons)) + 0.05 * np.arange(years)[:, None]
    data += 0.7 * rng.standard_normal((stations, years, 1))
    coords = {
        "station": [f"S{k}" for k in range(stations)],
        "year": 2000 + np.arange(years),
        "season": range(seasons),
    }
    return xr.DataArray(data, dims=("station", "year", "season"), coords=coords)


@settings(max_examples=25)
@given(
    st.integers(0, 2**32), st.integers(2, 15), st.integers(1, 5), st.sampled_from([0, 0.3, 0.8]), st.booleans(),
    st.booleans(), st.booleans(),
)  # fmt: skip
def test_same_as_one_by_one(seed, years, seasons, gaps, rounded, qualified, dependence):
    data = cube(seed, 2, years, seasons)
    rng = np.random.default_rng(seed)
    data = data.where(rng.random(data.shape) >= gaps)
    data = data.round(0) if rounded else data
    marks = xr.full_like(data, "=", dtype=object)
    if qualified:
        marks = marks.copy(data=rng.choice(["=", "=", "<", ">"], data.shape))
    found = network_trends(data, qualifiers=marks if qualified else None, serial_dependence=dependence)
    y, g = np.meshgrid(data.year, data.season, indexing="ij")
    for k in range(2):
        one = seasonal_kendall(
            data[k].values.ravel(), y.ravel(), g.ravel(), qualifiers=marks[k].values.ravel(),
            serial_dependence=dependence,
        )  # fmt: skip
        for name in SAME:
            ours, theirs = float(found[name][k]), float(getattr(one, name))
            if name == "homogeneity_df" and theirs == 0:
                continue
            if name == "confidence" and np.isnan(one.p):
                continue
            assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-9, nan_ok=True), name


def test_dask_stays_lazy_and_agrees():
    data = cube(1, stations=40)
    eager = network_trends(data)
    lazy = network_trends(data.chunk(station=7, year=5))
    assert lazy.slope.chunks is not None
    xr.testing.assert_identical(lazy.compute().drop_attrs(), eager.drop_attrs())
    assert list(eager.station.values[:2]) == ["S0", "S1"]


def test_numpy_arrays_and_other_dimension_orders():
    data = cube(2)
    known = network_trends(data)
    xr.testing.assert_allclose(network_trends(data.values).drop_vars([]), known.drop_vars("station"))
    xr.testing.assert_allclose(network_trends(data.transpose("season", "station", "year")), known)
    xr.testing.assert_allclose(network_trends(data.isel(year=slice(None, None, -1))), known)
    two = xr.concat([data, -data], dim="parameter")
    both = network_trends(two)
    assert both.s.dims == ("parameter", "station")
    np.testing.assert_allclose(both.slope[1], -both.slope[0])


def test_threads_and_progress_change_nothing():
    data = cube(3, stations=600, years=6, seasons=2)
    seen = []
    one = network_trends(data, workers=1)
    many = network_trends(data, workers=3, progress=lambda done, total: seen.append((done, total)))
    xr.testing.assert_identical(one, many)
    assert seen[-1] == (600, 600)
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)


def test_kernel_is_a_generalized_ufunc():
    kernel, fields, working_arrays = seasonal_kendall_kernel()
    data = cube(4)
    codes = np.zeros(data.shape, dtype=np.int8)
    working = working_arrays(data.sizes["year"], data.sizes["season"])
    out = kernel(data.values, codes, data.year.values.astype(float), 1.96, True, *working)
    assert out.shape == (3, len(fields))
    assert out[:, fields.index("s")].tolist() == network_trends(data).s.values.tolist()


def test_years_need_not_be_even_and_may_be_unsorted():
    data = cube(5).isel(year=[0, 1, 5, 11])
    known = network_trends(data)
    xr.testing.assert_allclose(network_trends(data.isel(year=[2, 0, 3, 1])), known)
    assert float(known.slope[0]) != float(network_trends(data.drop_vars("year")).slope[0])


def test_empty_station_is_not_tested():
    data = cube(6)
    data[1] = np.nan
    found = with_false_discovery(network_trends(data))
    assert np.isnan(found.p[1])
    assert np.isnan(found.slope[1])
    assert int(found.n[1]) == 0
    assert not bool(found.discovered[1])
    assert np.all(found.p_adjusted[[0, 2]] >= found.p[[0, 2]])


def test_integer_codes_as_qualifiers():
    data = cube(7)
    marks = xr.where(data > 1, ">", "=")
    codes = xr.where(data > 1, 1, 0).astype(np.int8)
    xr.testing.assert_identical(
        network_trends(data, qualifiers=marks), network_trends(data, qualifiers=codes)
    )


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (np.zeros((2, 3)), "three dimensions"),
        (xr.DataArray(np.zeros((2, 3, 4)), dims=("station", "time", "season")), "lacks a dimension"),
        (cube(8).assign_coords(year=[2000] * 12), "appears twice"),
    ],
)
def test_wrong_cubes(bad, message):
    with pytest.raises(ArgumentError, match=message):
        network_trends(bad)


def test_qualifiers_of_another_shape():
    with pytest.raises(ArgumentError, match="shape of the cube"):
        network_trends(cube(9), qualifiers=np.full((1, 12, 4), "="))


def test_null_network_makes_few_discoveries():
    """Independent stations without trend: Benjamini-Hochberg finds next to none, plain p one in twenty."""
    data = xr.DataArray(
        np.random.default_rng(10).standard_normal((2000, 15, 4)), dims=("station", "year", "season")
    )
    found = with_false_discovery(network_trends(data, serial_dependence=False), level=0.05)
    assert 0.035 < float((found.p <= 0.05).mean()) < 0.065
    assert int(found.discovered.sum()) <= 3


@pytest.mark.slow
@pytest.mark.usefixtures("plain_main")
def test_two_workers_give_the_same_numbers():
    distributed = pytest.importorskip("distributed")
    import dask

    data = cube(11, stations=200, years=20, seasons=6)
    known = network_trends(data)
    with (
        dask.config.set({"distributed.worker.daemon": False}),
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
        ) as cluster,
        distributed.Client(cluster),
    ):
        found = network_trends(data.chunk(station=25)).compute()
    xr.testing.assert_identical(found.drop_attrs(), known.drop_attrs())
