"""Choosing readings, checked against pandas' own filters on the same table."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from fathomlight.errors import ArgumentError
from fathomlight.model import READING_COLUMNS
from fathomlight.store import BatchInfo

SORT = ["station", "parameter", "time", "depth_m", "replicate"]


@pytest.fixture
def filled(store, make):
    """Three stations, two parameters, three depths, names not in the order they were loaded in."""
    rng = np.random.default_rng(7)
    pieces = []
    for station in ("Otter Point", "Heron Bay", "Adder Creek"):
        for parameter in ("temperature", "secchi"):
            for depth in (2.0, 0.0, 1.0) if parameter == "temperature" else (0.0,):
                pieces.append(
                    make(rng.normal(10, 1, 5), station=station, parameter=parameter, depth_m=depth,
                         flag=rng.choice([1, 2, 3, 4], 5))
                )  # fmt: skip
    store.load_readings(pd.concat(pieces[:6]), BatchInfo(file="a"))
    store.load_readings(pd.concat(pieces[6:]), BatchInfo(file="b"))
    table = pd.concat(pieces).assign(batch=[1] * 30 + [2] * 30)
    table = table.sort_values(SORT, ignore_index=True)[list(READING_COLUMNS)].astype(dict(READING_COLUMNS))
    return store, table


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({}, lambda t: t["value"] == t["value"]),
        ({"station": "Heron Bay"}, lambda t: t["station"] == "Heron Bay"),
        ({"station": ["Heron Bay", "Otter Point"], "parameter": "secchi"},
         lambda t: t["station"].isin(["Heron Bay", "Otter Point"]) & (t["parameter"] == "secchi")),
        ({"parameter": "temperature", "depth": 1.0}, lambda t: (t["parameter"] == "temperature") & (t["depth_m"] == 1)),
        ({"depth": (0.5, 2.0)}, lambda t: t["depth_m"].between(0.5, 2.0)),
        ({"start": "2025-07-02T15:00Z", "end": "2025-07-04T15:00Z"},
         lambda t: t["time"].between(pd.Timestamp("2025-07-02T15:00Z"), pd.Timestamp("2025-07-04T15:00Z"))),
        ({"start": pd.Timestamp("2025-07-03T10:00", tz="America/New_York")},
         lambda t: t["time"] >= pd.Timestamp("2025-07-03T14:00Z")),
        ({"flags": (1, 2)}, lambda t: t["flag"].isin([1, 2])),
        ({"flags": ()}, lambda t: t["flag"] == 0),
        ({"batch": 2}, lambda t: t["batch"] == 2),
        ({"batch": 2, "station": "Heron Bay", "flags": [1]},
         lambda t: (t["batch"] == 2) & (t["station"] == "Heron Bay") & (t["flag"] == 1)),
        ({"station": "nowhere"}, lambda t: t["flag"] == 0),
    ],
)  # fmt: skip
def test_choices_agree_with_pandas(filled, query, expected):
    store, table = filled
    wanted = table[expected(table)].reset_index(drop=True)
    pd.testing.assert_frame_equal(store.readings(**query), wanted)


def test_only_some_columns_in_their_order(filled):
    store, table = filled
    read = store.readings(columns=["value", "station", "time"])
    pd.testing.assert_frame_equal(read, table[["station", "time", "value"]])
    with pytest.raises(ArgumentError, match="colour"):
        store.readings(columns=["colour"])


def test_a_wrong_time_names_the_argument(store):
    with pytest.raises(ArgumentError, match="start"):
        store.readings(start="last week", station=[])


def test_latest_is_the_last_instant_of_each_series(filled):
    store, table = filled
    last = table.groupby(["station", "parameter"])["time"].transform("max")
    pd.testing.assert_frame_equal(store.latest(), table[table["time"] == last].reset_index(drop=True))
    secchi = store.latest("secchi")
    assert secchi["station"].tolist() == ["Adder Creek", "Heron Bay", "Otter Point"]


def test_latest_among_some_flags(filled):
    store, table = filled
    good = table[table["flag"].isin([1, 2])]
    last = good.groupby(["station", "parameter"])["time"].transform("max")
    pd.testing.assert_frame_equal(
        store.latest(flags=(1, 2)), good[good["time"] == last].reset_index(drop=True)
    )


def test_counts(filled):
    store, table = filled
    counted = store.counts()
    wanted = table.groupby(["station", "parameter"], as_index=False).agg(
        n=("value", "size"), first=("time", "min"), last=("time", "max")
    )
    pd.testing.assert_frame_equal(counted, wanted)


def test_an_empty_store_answers_with_empty_tables(store):
    assert {n: str(d) for n, d in store.readings().dtypes.items()} == dict(READING_COLUMNS)
    assert {n: str(d) for n, d in store.latest().dtypes.items()} == dict(READING_COLUMNS)
    assert store.counts().empty
    assert store.batches().empty
    assert store.check().ok


def test_the_plain_views_say_the_same_to_a_database_shell(url, make):
    import sqlalchemy as sa

    from fathomlight.store import open_store

    with open_store(url) as store:
        store.load_readings(make([1.5], qualifier=">"), BatchInfo(file="july.csv"))
    engine = sa.create_engine(url if "://" in url else f"sqlite:///{url}")
    with engine.connect() as connection:
        row = connection.execute(sa.text("SELECT * FROM readings_plain")).mappings().one()
        assert (row["station"], row["time"], str(row["local_date"])) == (
            "Heron Bay", "2025-07-01T15:00:00Z", "2025-07-01",
        )  # fmt: skip
        assert (row["value"], row["qualifier"], row["original_unit"], row["method"]) == (
            1.5,
            ">",
            "m",
            "disc",
        )
        assert connection.execute(sa.text("SELECT file FROM batches_plain")).scalar_one() == "july.csv"
    engine.dispose()
