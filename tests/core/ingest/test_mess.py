"""What real files do to an importer, one kind of mess after another; the files here are invented.

Each expectation is one that a person works out in the head: 10 ft is 3.048 m, 68 degF is 20 degC, noon in Chicago
in summer is 17:00 UTC (daylight time, UTC-5), in winter 18:00 UTC (UTC-6).
"""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from fathomlight.errors import RecipeError
from fathomlight.ingest import read_rows, recheck_row
from fathomlight.model import READING_COLUMNS, REFUSED_COLUMNS


def instants(result):
    return result.frame["time"].dt.strftime("%Y-%m-%dT%H:%MZ").tolist()


def dates(result):
    return result.frame["local_date"].dt.strftime("%Y-%m-%d").tolist()


def test_columns_and_types_are_those_of_the_model(read, make_recipe):
    got = read("Site,Date,Secchi\nH-2,7/24/2025,2.1\n", make_recipe())
    want = {k: v for k, v in READING_COLUMNS.items() if k != "batch"}
    assert {k: str(v) for k, v in got.frame.dtypes.items()} == want
    assert list(got.refused.columns) == list(REFUSED_COLUMNS)
    assert got.counts["readings"] == 1
    assert got.frame.loc[0, "flag"] == 2


# -- 1. dates ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "formats", "date"),
    [
        ("7/4/95", "%m/%d/%y", "1995-07-04"),
        ("7/4/1995", "%m/%d/%Y", "1995-07-04"),
        ("24-Sep-19", "%d-%b-%y", "2019-09-24"),
        ("2019-09-24T15:00:00Z", "iso", "2019-09-24"),
        ("9/24/2019 8:05", "%m/%d/%Y %H:%M", "2019-09-24"),
        ("4/24/1995 0:00:00", "%m/%d/%Y", "1995-04-24"),
        ("43732", "excel", "2019-09-24"),
        ("42270", "excel-1904", "2019-09-24"),
        ("24.9.2019", "%d.%m.%Y", "2019-09-24"),
        ("8/14/38", "%m/%d/%y", "1938-08-14"),
    ],
)
def test_date_formats(read, make_recipe, text, formats, date):
    got = read(
        f"Site,Date,Secchi\nH-2,{text},2.1\n", make_recipe(time={"column": "Date", "formats": formats})
    )
    assert dates(got) == [date], got.refused.to_dict("records")


def test_two_formats_in_sibling_files(read, make_recipe):
    recipe = make_recipe(time={"column": "Date", "formats": ["%m/%d/%Y", "%d-%b-%y"]})
    got = read("Site,Date,Secchi\nH-2,7/24/2019,2\nH-2,25-Jul-19,2\n", recipe)
    assert dates(got) == ["2019-07-24", "2019-07-25"]


def test_a_date_that_can_be_two_days_is_refused_and_the_others_are_not(read, make_recipe):
    recipe = make_recipe(time={"column": "Date", "formats": ["%m/%d/%Y", "%d/%m/%Y"]})
    got = read("Site,Date,Secchi\nH-2,3/4/2020,2\nH-2,24/7/2020,2\nH-2,7/25/2020,2\nH-2,5/5/2020,2\n", recipe)
    assert dates(got) == ["2020-07-24", "2020-07-25", "2020-05-05"]
    assert got.refused["reason"].tolist() == ["could be 4 Mar 2020 or 3 Apr 2020"]
    assert got.refused["line"].tolist() == [2]


def test_date_split_in_columns(read, make_recipe):
    recipe = make_recipe(time={"year_column": "Y", "month_column": "M", "day_column": "D"})
    got = read(
        "Site,Y,M,D,Secchi\nH-2,2019,July,24,2\nH-2,19,jul,25,2\nH-2,2019,2,30,2\nH-2,2019,13,1,2\nH-2,95,7,1,2\n",
        recipe,
    )
    assert dates(got) == ["2019-07-24", "2019-07-25", "1995-07-01"]
    assert got.refused[["line", "reason"]].values.tolist() == [
        [4, "this month has no such day"],
        [5, "not a month"],
    ]


def test_day_number_without_year(read, make_recipe):
    recipe = make_recipe(time={"day_number_column": "day", "reference_date": "2001-01-01"})
    got = read("Site,day,Secchi\nH-2,1,2\nH-2,33,2\nH-2,367,2\n", recipe)
    assert dates(got) == ["2001-01-01", "2001-02-02", "2002-01-02"]


def test_year_and_day_number_with_a_clock_of_digits(read, make_recipe):
    recipe = make_recipe(
        time={"year_column": "yr", "day_number_column": "doy", "time_column": "hm", "zone": "UTC"},
    )
    got = read("Site,yr,doy,hm,Secchi\nH-2,2020,61,1430,2\nH-2,2020,61,2400,2\n", recipe)
    assert instants(got) == ["2020-03-01T14:30Z", "2020-03-02T00:00Z"]


def test_future_and_ancient_dates_are_refused(read, make_recipe):
    got = read("Site,Date,Secchi\nH-2,7/24/2081,2\nH-2,7/24/0203,2\nH-2,7/24/1938,2\n", make_recipe())
    assert dates(got) == ["1938-07-24"]
    assert "future" in got.refused.loc[0, "reason"]
    assert got.refused["line"].tolist() == [2, 3]


@pytest.mark.parametrize("text", ["9999-12-31", "9999-12-31T23:59:59", "9999-12-31T23:59:59Z", "0001-01-01"])
def test_the_ends_of_the_calendar_cost_one_row_only(read, make_recipe, text):
    recipe = make_recipe(time={"column": "Date", "clock": "as written"})
    got = read(f"Site,Date,Secchi\nH-2,{text},2\nO-1,2019-07-24T10:00:00,2\n", recipe)
    assert len(got.frame) == 1
    assert got.refused["line"].tolist() == [2]


# -- 2. clock times ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("930", "14:30"),
        ("0930", "14:30"),
        ("752", "12:52"),
        ("12/30/1899 9:35:00", "14:35"),
        ("9:35 PM", "02:35"),
    ],
)
def test_clock_times(read, make_recipe, text, utc):
    recipe = make_recipe(time={"column": "Date", "formats": "%m/%d/%Y", "time_column": "Time"})
    got = read(f"Site,Date,Time,Secchi\nH-2,7/24/2019,{text},2\n", recipe)
    assert instants(got)[0].endswith(f"T{utc}Z")
    assert dates(got) == ["2019-07-24"]
    assert got.frame.loc[0, "note"] == ""


def test_no_clock_time_is_noon_at_the_station_and_says_so(read, make_recipe):
    recipe = make_recipe(time={"column": "Date", "formats": "%m/%d/%Y", "time_column": "Time"})
    got = read("Site,Date,Time,Secchi\nH-2,7/24/2019,,2\nH-2,1/24/2019,NA,2\nH-2,7/25/2019,25:61,2\n", recipe)
    assert instants(got) == ["2019-07-24T17:00Z", "2019-01-24T18:00Z"]
    assert got.frame["note"].str.contains("noon assumed").all()
    assert got.refused["reason"].tolist() == ["not a clock time"]


# -- 3. time zones -------------------------------------------------------------------------------------


def test_dates_written_as_midnight_utc_stay_on_their_day(read, make_recipe):
    recipe = make_recipe(time={"column": "Date"})
    got = read("Site,Date,Secchi\nH-2,2019-07-24T00:00:00Z,2\nO-1,2019-08-01T00:00:00Z,2\n", recipe)
    assert dates(got) == ["2019-07-24", "2019-08-01"]
    assert any("midnight" in w for w in got.warnings)


def test_midnight_is_kept_when_the_recipe_says_so(read, make_recipe):
    recipe = make_recipe(time={"column": "Date", "clock": "as written"})
    got = read("Site,Date,Secchi\nH-2,2019-07-24T00:00:00Z,2\n", recipe)
    assert instants(got) == ["2019-07-24T00:00Z"]
    assert dates(got) == ["2019-07-23"]


def test_local_midnight_turned_into_utc_is_turned_back(read, make_recipe):
    recipe = make_recipe(time={"column": "Date", "clock": "local midnight in utc"})
    text = "Site,Date,Secchi\nO-1,2019-07-24T07:00:00Z,2\nO-1,2019-01-24T08:00:00Z,2\nO-1,2019-07-01T08:00:00Z,2\n"
    got = read(text + "O-1,2019-07-02T15:00:00Z,2\n", recipe)
    assert dates(got) == ["2019-07-24", "2019-01-24", "2019-07-01"]
    assert got.frame["note"].str.contains("noon").all()
    assert got.refused["line"].tolist() == [5]


def test_sonde_time_without_zone_is_the_stations_own(read, make_recipe):
    recipe = make_recipe(time={"column": "Date", "formats": "%m/%d/%Y %H:%M"})
    got = read("Site,Date,Secchi\nH-2,7/24/2019 22:30,2\nO-1,7/24/2019 22:30,2\n", recipe)
    assert instants(got) == ["2019-07-25T03:30Z", "2019-07-25T05:30Z"]
    assert dates(got) == ["2019-07-24", "2019-07-24"]


def test_zone_column_wins(read, make_recipe):
    recipe = make_recipe(time={"column": "Date", "time_column": "T", "zone_column": "Z"})
    got = read(
        "Site,Date,T,Z,Secchi\nH-2,2019-07-24,9:00,EST,2\nH-2,2019-07-24,10:00,,2\nH-2,2019-07-25,9:00,-07:00,2\n"
        "H-2,2019-07-26,9:00,Mars,2\n",
        recipe,
    )
    assert instants(got) == ["2019-07-24T14:00Z", "2019-07-24T15:00Z", "2019-07-25T16:00Z"]
    assert got.refused["reason"].tolist() == ["unknown time zone"]


def test_the_hour_that_does_not_exist_is_refused(read, make_recipe):
    # clocks went from 2:00 to 3:00 on 10 Mar 2019 in Chicago
    recipe = make_recipe(time={"column": "Date", "formats": "%m/%d/%Y %H:%M"})
    got = read("Site,Date,Secchi\nH-2,3/10/2019 2:30,2\nH-2,3/10/2019 3:30,2\n", recipe)
    assert instants(got) == ["2019-03-10T08:30Z"]
    assert "does not exist" in got.refused.loc[0, "reason"]


def test_the_hour_that_comes_twice(read, make_recipe):
    # clocks went back from 2:00 to 1:00 on 3 Nov 2019 in Chicago
    recipe = make_recipe(time={"column": "Date", "formats": "%m/%d/%Y %H:%M"})
    got = read("Site,Date,Secchi\nH-2,11/3/2019 1:30,2\nH-2,11/3/2019 1:30,3\nH-2,11/3/2019 2:30,4\n", recipe)
    assert instants(got) == ["2019-11-03T06:30Z", "2019-11-03T07:30Z", "2019-11-03T08:30Z"]
    assert "twice" in got.frame.loc[0, "note"]


# -- 4. missing ----------------------------------------------------------------------------------------


def test_missing_codes_are_counted_and_not_refused(read, make_recipe):
    recipe = make_recipe(values=[
        {"column": "Secchi", "parameter": "secchi", "unit": "m"},
        {"column": "T", "parameter": "temperature", "unit": "degC"},
    ])  # fmt: skip
    cells = ["NA", "", ".", "-99", "-99.99", "-999", "N/A", "-999.0"]
    rows = "".join(f"H-2,7/{i + 1}/2019,{c},20\n" for i, c in enumerate(cells))
    got = read("Site,Date,Secchi,T\n" + rows, recipe)
    assert len(got.refused) == 0
    assert got.counts["blank"] == len(cells)
    assert got.frame["parameter"].unique().tolist() == ["temperature"]


# -- 5. censoring --------------------------------------------------------------------------------------


def one_value(read, make_recipe, cell, **entry):
    part = {"column": "X", "parameter": "chlorophyll", "unit": "ug/L"} | entry
    extra = "".join(f",{v}" for v in entry.values() if isinstance(v, str) and v in ("Sign", "Limit"))
    return read(f'Site,Date,X{extra}\nH-2,7/1/2019,"{cell}"\n', make_recipe(values=[part]))


@pytest.mark.parametrize(
    ("cell", "value", "sign"),
    [("<0.05", 0.05, "<"), ("< 2", 2, "<"), (">5.2", 5.2, ">"), ("≤3", 3, "<"), ("12", 12, "=")],
)
def test_sign_in_the_value(read, make_recipe, cell, value, sign):
    got = one_value(read, make_recipe, cell)
    assert (got.frame.loc[0, "value"], got.frame.loc[0, "qualifier"]) == (value, sign)
    assert got.frame.loc[0, "original_value"] == cell


def test_sign_in_its_own_column(read, make_recipe):
    recipe = make_recipe(values=[
        {"column": "X", "parameter": "chlorophyll", "unit": "ug/L", "qualifier_column": "Sign"}
    ])  # fmt: skip
    text = "Site,Date,X,Sign\nH-2,7/1/2019,2,<\nH-2,7/2/2019,2,=\nH-2,7/3/2019,2,\nH-2,7/4/2019,2,%%\n"
    got = read(text, recipe)
    assert got.frame["qualifier"].tolist() == ["<", "=", "="]
    assert got.refused[["column", "value", "reason"]].values.tolist() == [["Sign", "%%", "unknown qualifier"]]


def test_disc_on_the_bottom(read, make_recipe):
    recipe = make_recipe(values=[
        {"column": "Secchi", "parameter": "secchi", "unit": "ft", "qualifier_column": "Code",
         "on_bottom_codes": ["B", "Y"]}
    ])  # fmt: skip
    text = "Site,Date,Secchi,Code\nH-2,7/1/2019,10,B\nH-2,7/2/2019,10,y\nH-2,7/3/2019,,B\nH-2,7/4/2019,10,\n"
    got = read(text, recipe)
    assert got.frame["qualifier"].tolist() == [">", ">", ">", "="]
    assert got.frame["value"].round(3).tolist() == [3.048, 3.048, 5.0, 3.048]  # H-2 is 5 m deep
    assert "bottom" in got.frame.loc[2, "note"]


def test_code_in_place_of_the_value(read, make_recipe):
    recipe = make_recipe(values=[
        {"column": "Secchi", "parameter": "secchi", "unit": "m", "on_bottom_codes": ["B"], "bottom_column": "Max"},
        {"column": "Chl", "parameter": "chlorophyll", "unit": "ug/L", "limit_column": "Limit"},
    ])  # fmt: skip
    text = "Site,Date,Secchi,Max,Chl,Limit\nH-2,7/1/2019,B,3.5,ND,0.4\nH-2,7/2/2019,3.2 B,,ND,\nH-2,7/3/2019,2+,,1,\n"
    got = read(text, recipe)
    assert got.frame[["parameter", "value", "qualifier"]].values.tolist() == [
        ["secchi", 3.5, ">"], ["chlorophyll", 0.4, "<"], ["secchi", 3.2, ">"], ["secchi", 2.0, ">"],
        ["chlorophyll", 1.0, "="],
    ]  # fmt: skip
    assert got.refused[["line", "column", "reason"]].values.tolist() == [
        [3, "Chl", "beyond a limit that is not given"]
    ]


def test_negative_and_zero_concentrations_are_refused_with_a_remedy(read, make_recipe):
    got = read("Site,Date,Chl\nH-2,7/1/2019,-6.3\nH-2,7/2/2019,0\n",
               make_recipe(values=[{"column": "Chl", "parameter": "chlorophyll", "unit": "ug/L"}]))  # fmt: skip
    assert len(got.frame) == 0
    assert "negative" in got.refused.loc[0, "reason"]
    assert "<" in got.refused.loc[1, "remedy"]


# -- 6. units ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "parameter", "cell", "value"),
    [
        ("Secchi (ft)", "secchi", "10", 3.048),
        ("Secchi [cm]", "secchi", "210", 2.1),
        ("Secchi", "secchi", "1 Meters", 1.0),
        ("Secchi", "secchi", "1m", 1.0),
        ("Secchi", "secchi", '5\' 6""', 1.6764),
        ("Temp (°F)", "temperature", "68", 20.0),
        ("TP (mg/L)", "total_phosphorus", "0.012", 12.0),
        ("TP (µg/L)", "total_phosphorus", "12", 12.0),
        ("TN (mg/L as N)", "total_nitrogen", "0.6", 0.6),
        ("Cond (uS/cm@25 degC)", "specific_conductance", "300", 300.0),
        ("Turbid..NTU", "turbidity_ntu", "3", 3.0),
        ("Turbidity FNU", "turbidity_fnu", "3", 3.0),
    ],
)
def test_units_from_header_or_value(read, make_recipe, header, parameter, cell, value):
    recipe = make_recipe(values=[{"column": header, "parameter": parameter}])
    got = read(f'Site,Date,{header}\nH-2,7/1/2019,"{cell}"\n', recipe)
    assert got.frame["value"].tolist() == pytest.approx([value]), got.refused.to_dict("records")


def test_units_per_row_and_absent(read, make_recipe):
    recipe = make_recipe(values=[
        {"column": "Secchi", "parameter": "secchi", "unit_column": "U", "unit_from_header": False}
    ])  # fmt: skip
    got = read(
        "Site,Date,Secchi,U\nH-2,7/1/2019,10,ft\nH-2,7/2/2019,2,m\nH-2,7/3/2019,2,\nH-2,7/4/2019,2,NTU\n",
        recipe,
    )
    assert got.frame["value"].tolist() == pytest.approx([3.048, 2.0])
    assert got.frame["original_unit"].tolist() == ["ft", "m"]
    assert got.refused["line"].tolist() == [4, 5]
    assert got.refused.loc[0, "reason"] == "no unit for secchi"


def test_ntu_never_becomes_fnu(read, make_recipe):
    recipe = make_recipe(values=[{"column": "Turbidity (NTU)", "parameter": "turbidity_fnu"}])
    got = read("Site,Date,Turbidity (NTU)\nH-2,7/1/2019,3\n", recipe)
    assert len(got.frame) == 0
    assert "cannot" in got.refused.loc[0, "reason"]


def test_a_wrong_label_can_be_overruled(read, make_recipe):
    recipe = make_recipe(values=[
        {"column": "Secchi (m)", "parameter": "secchi", "unit": "ft", "trust_unit": False}
    ])  # fmt: skip
    assert read("Site,Date,Secchi (m)\nH-2,7/1/2019,10\n", recipe).frame.loc[0, "value"] == pytest.approx(
        3.048
    )


def test_depth_in_feet_and_a_column_of_tenths(read, make_recipe):
    recipe = make_recipe(
        kind="profiles", depth={"column": "Depth (ft)"},
        values=[{"column": "T", "parameter": "temperature", "unit": "degC", "scale": 0.1}],
    )  # fmt: skip
    got = read("Site,Date,Depth (ft),T\nH-2,7/1/2019,10,215\nH-2,7/1/2019,-3,200\n", recipe)
    assert got.frame[["depth_m", "value"]].values.tolist() == [[pytest.approx(3.048), pytest.approx(21.5)]]
    assert got.refused["column"].tolist() == ["Depth (ft)"]


# -- 7. headers ----------------------------------------------------------------------------------------


def test_banner_and_two_row_header(read, make_recipe):
    text = "Clarity cards, invented\n\nSite,Date,Disc\n,,Secchi (ft)\nH-2,7/1/2019,10\nH-2,7/2/2019,bad\n"
    recipe = make_recipe(
        file={"header_rows": [3, 4]}, values=[{"column": "Disc Secchi (ft)", "parameter": "secchi"}]
    )  # fmt: skip
    got = read(text, recipe)
    assert got.frame.loc[0, "value"] == pytest.approx(3.048)
    assert got.refused["line"].tolist() == [6]


def test_unit_row_under_the_header(read, make_recipe):
    recipe = make_recipe(file={"unit_row": 3}, values=[{"column": "Secchi", "parameter": "secchi"}])
    got = read("invented\nSite,Date,Secchi\n,,ft\nH-2,7/1/2019,10\n", recipe)
    assert got.frame.loc[0, "value"] == pytest.approx(3.048)


def test_renamed_and_moved_columns(read, make_recipe):
    recipe = make_recipe(
        values=[{"column": ["Secchi", "SD_m", "Clarity"], "parameter": "secchi", "unit": "m"}]
    )
    assert read("Site,Date,Secchi\nH-2,7/1/2019,2\n", recipe).frame.loc[0, "value"] == 2
    assert read("sd m,site,DATE\n2,H-2,7/1/2019\n", recipe).frame.loc[0, "value"] == 2


def test_a_missing_column_names_itself_and_the_nearest(read, make_recipe):
    with pytest.raises(RecipeError, match=r"Did you mean 'Sechi'"):
        read("Site,Date,Sechi\nH-2,7/1/2019,2\n", make_recipe())


def test_columns_that_nobody_reads_are_said(read, make_recipe):
    got = read("Site,Date,Secchi,Mood\nH-2,7/1/2019,2,fine\n", make_recipe())
    assert got.unused_columns == ("Mood",)


# -- 8. encodings and cells ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "cp1252", "latin-1", "utf-16", "utf-16-le", "utf-32"]
)
def test_encodings(read, make_recipe, encoding):
    recipe = make_recipe(values=[{"column": "Temp (°C)", "parameter": "temperature"}])
    got = read("Site,Date,Temp (°C)\nH-2,7/1/2019,20\n".encode(encoding), recipe)
    assert got.frame.loc[0, "value"] == 20


def test_declared_encoding_that_does_not_fit(read, make_recipe):
    from fathomlight.errors import UnreadableFileError

    recipe = make_recipe(file={"encoding": "utf-8"})
    with pytest.raises(UnreadableFileError, match="encoding"):
        read("Site,Date,Secchi\nH-2,7/1/2019,2°\n".encode("cp1252"), recipe)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_and_multi_line_cells_keep_line_numbers(read, make_recipe, end):
    lines = ["Banner", "Site,Date,Secchi,Remark", 'H-2,7/1/2019,bad,"one', "two", 'three"', "H-2,7/2/2019,2,x", "",
             "H-2,7/3/2019,worse,y"]  # fmt: skip
    got = read(end.join(lines) + end, make_recipe(not_imported=["Remark"]))
    assert got.refused["line"].tolist() == [3, 8]
    assert len(got.frame) == 1


def test_decimal_comma_with_semicolons(read, make_recipe):
    got = read("Site;Date;Secchi\nH-2;7/1/2019;2,5\nH-2;7/2/2019;<3,5\n", make_recipe(file={"decimal": ","}))
    assert got.frame["value"].tolist() == [2.5, 3.5]


def test_an_undeclared_comma_is_not_guessed(read, make_recipe):
    got = read("Site;Date;Secchi\nH-2;7/1/2019;2,5\n", make_recipe())
    assert len(got.frame) == 0
    assert "comma" in got.refused.loc[0, "reason"]


def test_tabs(read, make_recipe):
    assert (
        read("Site\tDate\tSecchi\nH-2\t7/1/2019\t2\n", make_recipe(), name="a.tsv").frame.loc[0, "value"] == 2
    )


def test_footnotes_under_the_data(read, make_recipe):
    text = "Site,Date,Secchi\nH-2,7/1/2019,2\nNote: provisional\n\n* see protocol, page 3, and again, 4\n"
    got = read(text, make_recipe(file={"footer_starts": ["Note"]}))
    assert (len(got.frame), len(got.refused)) == (1, 0)
    bare = read(text, make_recipe())
    assert len(bare.frame) == 1
    assert bare.refused["line"].tolist() == [5]  # too many cells: told, not dropped
    assert read(text, make_recipe(file={"footer_rows": 2})).counts["refused"] == 0


def test_a_row_with_too_many_cells_is_refused_alone(read, make_recipe):
    got = read(
        "Site,Date,Secchi\nH-2,7/1/2019,2,5\nH-2,7/2/2019,2\nH-2,7/3/2019\nH-2,7/4/2019,2,,\n", make_recipe()
    )
    assert dates(got) == ["2019-07-02", "2019-07-04"]
    assert got.refused["line"].tolist() == [2]
    assert got.counts["empty_rows"] == 1


def test_a_stray_quotation_mark_does_not_swallow_the_rows_below(read, make_recipe):
    text = (
        'Site,Date,Secchi,Remark\nH-2,7/1/2019,2,"12 inch\nH-2,7/2/2019,2,x\nH-2,7/3/2019,2,"calm, warm"\n'
        'H-2,7/4/2019,2,"two\nlines, of, many, commas"\nH-2,7/5/2019,bad,\n'
    )
    got = read(text, make_recipe(not_imported=["Remark"]))
    assert dates(got) == ["2019-07-02", "2019-07-03", "2019-07-04"]
    assert got.refused[["line", "reason"]].values.tolist() == [
        [2, "a quotation mark is opened and never closed"], [7, "not a number"],
    ]  # fmt: skip
    at_the_end = read('Site,Date,Secchi,Remark\nH-2,7/1/2019,2,"x\n' + "H-2,7/2/2019,2,\n" * 20_000,
                      make_recipe(not_imported=["Remark"]))  # fmt: skip
    assert at_the_end.refused["line"].tolist() == [2]
    assert at_the_end.counts["readings"] + at_the_end.counts["duplicates"] == 20_000


# -- 9. keys -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "station"),
    [
        ("0070", "H-070"), ("070", "H-070"), ("70.0", "H-070"), ("heron  deep", "H-070"), ("HERON DEEP", "H-070"),
        ("Heron Lake 70", "H-070"), ("h-2", "H-2"), ("O'Dell's Pit, east (old)", "O-1"),
    ],
)  # fmt: skip
def test_station_spellings(read, make_recipe, text, station):
    got = read(f'Site,Date,Secchi\n"{text}",7/1/2019,2\n', make_recipe())
    assert got.frame["station"].tolist() == [station]


def test_one_name_for_several_stations_is_not_guessed(read, make_recipe):
    got = read("Site,Date,Secchi\nMud Pond,7/1/2019,2\n", make_recipe())
    assert got.refused.loc[0, "reason"] == "2 stations go by this name: M-1, M-2"
    helped = read("Site,Date,Secchi\nMud Pond,7/1/2019,2\n",
                  make_recipe(station={"column": "Site", "aliases": {"Mud Pond": "M-2"}}))  # fmt: skip
    assert helped.frame["station"].tolist() == ["M-2"]


def test_station_from_two_columns(read, make_recipe):
    recipe = make_recipe(station={"columns": ["Lake", "No"], "aliases": {"HERON 2": "H-2"}})
    got = read("Lake,No,Date,Secchi\nHERON,2,7/1/2019,2\nHERON,9,7/1/2019,2\n", recipe)
    assert got.frame["station"].tolist() == ["H-2"]
    assert got.refused[["column", "value"]].values.tolist() == [["Lake + No", "HERON 9"]]


def test_an_alias_to_nowhere_is_a_mistake_of_the_recipe(read, make_recipe):
    with pytest.raises(RecipeError, match="nowhere"):
        read(
            "Site,Date,Secchi\nx,7/1/2019,2\n",
            make_recipe(station={"column": "Site", "aliases": {"x": "nowhere"}}),
        )


# -- 10. structure -------------------------------------------------------------------------------------

LONG = {
    "layout": "long",
    "values": [{
        "column": "Result", "parameter_column": "Analyte", "unit_column": "Unit", "skip_parameters": ["Colour"],
        "parameters": {"Disc": "secchi", "Turb": ["turbidity_ntu", "turbidity_fnu"]},
    }],
}  # fmt: skip


def test_long_layout(read, make_recipe):
    text = (
        "Site,Date,Analyte,Result,Unit\nH-2,7/1/2019,Disc,10,ft\nH-2,7/1/2019,Turb,3,FNU\nH-2,7/1/2019,Turb,3,NTU\n"
        "H-2,7/1/2019,Colour,3,x\nH-2,7/1/2019,pH,7,-\nH-2,7/1/2019,temperature,68,degF\n"
    )
    got = read(text, make_recipe(**LONG))
    assert got.frame["parameter"].tolist() == ["secchi", "turbidity_fnu", "turbidity_ntu", "temperature"]
    assert got.refused[["line", "reason"]].values.tolist() == [[6, "unknown parameter"]]
    assert got.counts["not_wanted"] == 1
    assert any("Colour (1)" in w for w in got.warnings)


def test_exact_duplicates_and_legitimate_repeats(read, make_recipe):
    text = "Site,Date,Secchi\nH-2,7/1/2019,2.1\nH-2,7/1/2019,2.1\nH-2,7/1/2019,2.4\nH-2,7/2/2019,2\n"
    kept = read(text, make_recipe())
    assert kept.counts["duplicates"] == 1
    assert kept.frame["replicate"].tolist() == [1, 1, 1]
    assert any("replicates" in w for w in kept.warnings)
    numbered = read(text, make_recipe(repeats="replicates"))
    assert numbered.frame[["value", "replicate"]].values.tolist() == [[2.1, 1], [2.4, 2], [2.0, 1]]


def test_equal_repeats_that_are_different_rows_are_both_kept(read, make_recipe):
    text = "Site,Date,Secchi,Remark\nH-2,7/1/2019,2.1,first\nH-2,7/1/2019,2.1,second\n"
    got = read(text, make_recipe(repeats="replicates", not_imported=["Remark"]))
    assert got.frame["replicate"].tolist() == [1, 2]


def test_one_disc_reading_on_every_depth_row(read, make_recipe):
    recipe = make_recipe(
        kind="profiles", depth={"column": "z", "unit": "m"},
        values=[
            {"column": "Secchi", "parameter": "secchi", "unit": "m"},
            {"column": "T", "parameter": "temperature", "unit": "degC"},
        ],
    )  # fmt: skip
    got = read(
        "Site,Date,z,Secchi,T\nH-2,7/1/2019,0,2,20\nH-2,7/1/2019,1,2,19\nH-2,7/1/2019,2,2,18\n", recipe
    )
    assert got.frame["parameter"].tolist() == ["secchi", "temperature", "temperature", "temperature"]
    assert got.frame["depth_m"].tolist() == [0, 0, 1, 2]


def test_surface_and_bottom_column_pairs_and_layer_codes(read, make_recipe):
    pairs = make_recipe(values=[
        {"column": "T surface", "parameter": "temperature", "unit": "degC", "depth": 0},
        {"column": "T bottom", "parameter": "temperature", "unit": "degC", "depth_code": "bottom"},
    ])  # fmt: skip
    got = read("Site,Date,T surface,T bottom\nH-2,7/1/2019,20,8\n", pairs)
    assert got.frame["depth_m"].tolist() == [0, 5]
    layers = make_recipe(
        depth={"column": "Layer", "codes": {"E": 1, "M": 4, "H": "bottom"}, "numbers": False},
        values=[{"column": "T", "parameter": "temperature", "unit": "degC"}],
    )  # fmt: skip
    got = read(
        "Site,Date,Layer,T\nH-2,7/1/2019,E,20\nH-2,7/1/2019,h,8\nH-2,7/1/2019,5,9\nH-2,7/1/2019,I,9\n", layers
    )
    assert got.frame["depth_m"].tolist() == [1, 5]
    assert got.refused["value"].tolist() == ["5", "I"]


def test_rows_that_are_not_wanted(read, make_recipe):
    got = read("Site,Date,Secchi,Type\nH-2,7/1/2019,2,Routine\nH-2,7/2/2019,2,quality control blank\n",
               make_recipe(leave_out={"Type": ["Quality Control*"]}))  # fmt: skip
    assert len(got.frame) == 1
    assert got.counts["left_out"] == 1


# -- 11. values ----------------------------------------------------------------------------------------


def test_one_bad_cell_does_not_lose_its_neighbours(read, make_recipe):
    recipe = make_recipe(values=[
        {"column": "Secchi", "parameter": "secchi", "unit": "m"},
        {"column": "T", "parameter": "temperature", "unit": "degC"},
        {"column": "Chl", "parameter": "chlorophyll", "unit": "ug/L"},
    ])  # fmt: skip
    got = read("Site,Date,Secchi,T,Chl\nH-2,7/1/2019,murky,20,4\n", recipe)
    assert got.frame["parameter"].tolist() == ["temperature", "chlorophyll"]
    refused = got.refused.iloc[0].to_dict()
    assert (refused["file"], refused["line"], refused["column"], refused["value"]) == (
        "sheet.csv",
        2,
        "Secchi",
        "murky",
    )
    assert json.loads(refused["row_text"]) == {
        "Site": "H-2",
        "Date": "7/1/2019",
        "Secchi": "murky",
        "T": "20",
        "Chl": "4",
    }


def test_a_refused_cell_mended_and_tried_again(read, make_recipe, parameters, stations, now):
    recipe = make_recipe(values=[
        {"column": "Secchi", "parameter": "secchi", "unit": "m"},
        {"column": "T", "parameter": "temperature", "unit": "degC"},
    ])  # fmt: skip
    refused = read("Site,Date,Secchi,T\nH-2,7/1/2019,murky,20\n", recipe).refused.iloc[0].to_dict()
    again = recheck_row(refused, {"Secchi": "1.2"}, recipe, parameters=parameters, stations=stations, now=now)
    assert again.frame[["parameter", "value"]].values.tolist() == [["secchi", 1.2]]
    still = recheck_row(
        refused, {"Secchi": "muddy"}, recipe, parameters=parameters, stations=stations, now=now
    )
    assert still.refused["line"].tolist() == [2]


def test_a_refused_row_mended_gives_all_its_readings(read, make_recipe, parameters, stations, now):
    recipe = make_recipe(values=[
        {"column": "Secchi", "parameter": "secchi", "unit": "m"},
        {"column": "T", "parameter": "temperature", "unit": "degC"},
    ])  # fmt: skip
    refused = read("Site,Date,Secchi,T\nH-2,13/1/2019,2,20\n", recipe).refused
    assert len(refused) == 1
    again = recheck_row(
        refused.iloc[0].to_dict(),
        {"Date": "12/1/2018"},
        recipe,
        parameters=parameters,
        stations=stations,
        now=now,
    )
    assert len(again.frame) == 2


@pytest.mark.parametrize(
    "cell", ["2-3", "2 to 3", "1e999", "two", "1,200", "=1+1", "@A1", "~2", "0x10", "inf", "--"]
)
def test_what_is_not_one_number(read, make_recipe, cell):
    got = read(f'Site,Date,Secchi\nH-2,7/1/2019,"{cell}"\n', make_recipe())
    assert len(got.frame) == 0
    assert len(got.refused) == (cell != "--")


def test_deep_but_possible_disc_is_kept_and_questioned(read, make_recipe):
    got = read("Site,Date,Secchi\nH-2,7/1/2019,31.5\nH-2,7/2/2019,315\n", make_recipe())
    assert got.frame["value"].tolist() == [31.5]
    assert got.doubts["reason"].tolist() == ["deeper than the station's bottom"]
    assert got.refused["line"].tolist() == [3]


def test_a_visit_decades_before_the_next_is_kept_and_told(read, make_recipe):
    got = read("Site,Date,Secchi\nH-2,7/1/1938,2\nH-2,7/1/1992,2\nH-2,7/1/2001,2\n", make_recipe())
    assert len(got.frame) == 3
    assert [w for w in got.warnings if "54 years before the next" in w]


def test_suspect_code_keeps_the_value_with_its_flag(read, make_recipe):
    recipe = make_recipe(values=[
        {"column": "Secchi", "parameter": "secchi", "unit": "m", "qualifier_column": "Q", "suspect_codes": ["S"]}
    ])  # fmt: skip
    got = read("Site,Date,Secchi,Q\nH-2,7/1/2019,2,S\nH-2,7/2/2019,2,\n", recipe)
    assert got.frame["flag"].tolist() == [3, 2]


def test_flags_from_a_column(read, make_recipe):
    recipe = make_recipe(
        values=[{"column": "Secchi", "parameter": "secchi", "unit": "m", "flag_column": "F"}]
    )
    got = read("Site,Date,Secchi,F\nH-2,7/1/2019,2,4\nH-2,7/2/2019,2,\nH-2,7/3/2019,2,5\n", recipe)
    assert got.frame["flag"].tolist() == [4, 2]
    assert got.refused["reason"].tolist() == ["not a quality flag"]


def make_past(values, parameter="secchi", station="H-2"):
    days = pd.date_range("2010-06-01", periods=len(values), freq="30D")
    return pd.DataFrame({"station": station, "parameter": parameter, "value": values, "local_date": days})


def test_did_you_mean_feet(read, make_recipe):
    past = make_past(np.tile([2.0, 2.5, 3.0], 20))
    got = read(
        "Site,Date,Secchi\nH-2,7/1/2019,8.2\nH-2,7/2/2019,2.6\nH-2,7/3/2019,3.4\n", make_recipe(), past=past
    )
    assert got.frame["value"].tolist() == [8.2, 2.6, 3.4]
    assert got.doubts["reason"].tolist() == ["did you mean feet?"]
    assert "feet" in got.frame.loc[0, "note"]
    # no past, no question; another station's past is no past
    assert len(read("Site,Date,Secchi\nH-070,7/1/2019,8.2\n", make_recipe(), past=past).doubts) == 0


def test_the_past_may_come_as_ranges(read, make_recipe):
    past = pd.DataFrame({"station": ["H-2"], "parameter": ["secchi"], "low": [2.0], "high": [3.0]})
    got = read("Site,Date,Secchi\nH-2,7/1/2019,8.2\n", make_recipe(), past=past)
    assert got.doubts["reason"].tolist() == ["did you mean feet?"]


def test_impossible_temperature_asks_for_fahrenheit(read, make_recipe):
    recipe = make_recipe(values=[{"column": "T", "parameter": "temperature", "unit": "degC"}])
    got = read("Site,Date,T\nH-2,7/1/2019,71\n", recipe)
    assert "degF" in got.refused.loc[0, "remedy"]


def test_limits_of_the_workspace_win(read, make_recipe):
    got = read("Site,Date,Secchi\nH-2,7/1/2019,9\n", make_recipe(), possible={"secchi": (0.1, 8.0)})
    assert "8 m" in got.refused.loc[0, "reason"]


# -- 12. people ----------------------------------------------------------------------------------------


def test_comments_are_not_imported_unless_named(read, make_recipe):
    text = "Site,Date,Secchi,Observer,Comment\nH-2,7/1/2019,2,A. Person,calm\n"
    silent = read(text, make_recipe(not_imported=["Observer", "Comment"]))
    assert silent.frame["note"].str.contains("Person|calm").sum() == 0
    assert silent.unused_columns == ()
    part = {"column": "Secchi", "parameter": "secchi", "unit": "m", "note_column": "Comment"}
    assert read(text, make_recipe(values=[part])).frame.loc[0, "note"].endswith("calm")


# -- rows without a file -------------------------------------------------------------------------------


def test_typed_rows(make_recipe, parameters, stations, now):
    got = read_rows(
        [{"Site": "H-2", "Date": "7/1/2019", "Secchi": "2"}, {"Site": "H-2", "Date": "x", "Secchi": "2"}],
        make_recipe(), parameters=parameters, stations=stations, now=now, lines=[17, 18],
    )  # fmt: skip
    assert len(got.frame) == 1
    assert got.refused["line"].tolist() == [18]
