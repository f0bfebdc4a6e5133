"""One value a day, and the day of the year, as bare arrays and as tables."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fathomlight.errors import ArgumentError
from fathomlight.model import Flag
from fathomlight.seasons import day_of_year, day_values
from fathomlight.seasons.days import day_numbers, days_of

days = st.dates(min_value=pd.Timestamp("1900-01-01").date(), max_value=pd.Timestamp("2099-12-31").date())


def readings(rows):
    """Return readings from (date, value, qualifier, flag)."""
    table = pd.DataFrame(rows, columns=["local_date", "value", "qualifier", "flag"])
    return table.astype({"local_date": "datetime64[us]", "value": float, "qualifier": "str", "flag": "int64"})


@given(st.lists(days, min_size=1, max_size=20))
def test_dates_have_the_number_that_pandas_gives(dates):
    # against pandas' day_of_year and is_leap_year
    stamps = pd.Series(pd.to_datetime(dates))
    day = stamps.dt.day_of_year
    expected = (day - (stamps.dt.is_leap_year & (day >= 60))).tolist()
    assert day_numbers(np.array(dates, dtype="datetime64[D]")).tolist() == expected
    assert day_of_year(stamps).tolist() == expected


def test_days_in_the_head():
    found = days_of(
        readings([
            ("2024-07-02", 3.0, ">", 1),
            ("2024-07-01", 1.0, "=", 1),
            ("2024-07-03", 9.0, "=", int(Flag.FAIL)),  # not used
            ("2024-07-04", np.nan, "=", 1),  # no value
            ("2024-07-05", 2.0, "<", 1),
        ])
    )  # fmt: skip
    assert found.dates.astype(str).tolist() == ["2024-07-01", "2024-07-02", "2024-07-05"]
    assert found.values.tolist() == [1.0, 3.0, 2.0]
    assert found.codes.tolist() == [0, 1, -1]


def test_several_readings_a_day_are_their_median_and_a_bound_where_bounds_decide():
    found = days_of(
        readings([
            ("2024-07-01", 1.0, "=", 1), ("2024-07-01", 2.0, "=", 1), ("2024-07-01", 9.0, ">", 1),
            ("2024-07-02", 4.0, ">", 1), ("2024-07-02", 4.0, ">", 1),
        ])
    )  # fmt: skip
    assert found.values.tolist() == [2.0, 4.0]
    assert found.codes.tolist() == [0, 1]


def test_the_table_says_the_same_and_keeps_its_types():
    table = readings([("2024-07-02T10:00", 3.0, ">", 1), ("2024-07-01", 1.0, "=", 1)])
    found = day_values(table)
    assert found.dtypes.astype(str).to_dict() == {
        "date": "datetime64[us]",
        "value": "float64",
        "code": "int8",
    }
    assert found["date"].tolist() == [pd.Timestamp("2024-07-01"), pd.Timestamp("2024-07-02")]
    assert day_values(table[:0]).dtypes.equals(found.dtypes)


def test_a_missing_column_is_named():
    with pytest.raises(ArgumentError, match="qualifier"):
        days_of(readings([("2024-07-01", 1.0, "=", 1)]).drop(columns="qualifier"))
