"""What a report says is what the workspace answers, in the units asked for, and nothing later than its year."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from fathomlight.cli import main
from fathomlight.errors import ArgumentError
from fathomlight.model import Parameter
from fathomlight.report import Report, network_report, station_report, volunteer_report
from fathomlight.report.completeness import pause_sentence
from fathomlight.report.facts import against, gather, median_of
from fathomlight.report.period import Period
from fathomlight.report.words import percent, standing_of_year

from .conftest import Page, rows_of

DISC = Parameter("secchi", "Disc depth", "m", clearer="higher")
MURK = Parameter("turbidity_ntu", "Turbidity", "NTU", clearer="lower")


def readings(*values: float, qualifiers: str = "") -> pd.DataFrame:
    days = pd.date_range("2025-06-01", periods=len(values), freq="D").astype("datetime64[us]")
    return pd.DataFrame({
        "local_date": days, "value": values, "qualifier": list(qualifiers) or ["="] * len(values), "flag": 1
    })  # fmt: skip


def band(low: float, high: float) -> pd.DataFrame:
    days = np.arange(1, 366)
    return pd.DataFrame({"day_of_year": days, "low": low, "median": (low + high) / 2, "high": high})


def test_where_a_reading_lies_in_the_head() -> None:
    found = against(readings(1.0, 2.0, 3.0, 4.0, 5.0), band(2.0, 4.0), DISC)
    assert list(found["where"]) == ["murkier", "usual", "usual", "usual", "clearer"]
    found = against(readings(1.0, 5.0), band(2.0, 4.0), MURK)
    assert list(found["where"]) == ["clearer", "murkier"]


def test_a_bound_counts_only_as_far_as_it_goes() -> None:
    # More than 1 m may be anything; more than 5 m is above 4 m; less than 5 m may be anything; less than 1 m is below.
    found = against(readings(1.0, 5.0, 5.0, 1.0, qualifiers=">><<"), band(2.0, 4.0), DISC)
    assert list(found["where"]) == ["usual", "clearer", "usual", "murkier"]


def test_days_without_a_band_are_not_compared() -> None:
    found = against(readings(1.0, 9.0), band(math.nan, math.nan), DISC)
    assert list(found["where"]) == ["", ""]


def test_a_median_of_bounds_is_a_bound() -> None:
    assert median_of(readings(1.0, 2.0, 3.0)) == (2.0, "=")
    assert median_of(readings(1.0, 2.0, 3.0, qualifiers="==>")) == (2.0, "=")
    assert median_of(readings(1.0, 2.0, 3.0, qualifiers="=>>")) == (2.0, ">")
    value, sign = median_of(readings())
    assert math.isnan(value)
    assert sign == "="


@pytest.mark.parametrize(
    ("where", "word"),
    [
        (["usual"] * 10, "usual"),
        (["clearer"] * 2 + ["usual"] * 8, "usual"),  # one in five is not more than one in five
        (["clearer"] * 3 + ["usual"] * 7, "clearer"),
        (["murkier"] * 6 + ["usual"] * 4, "murkier"),
        (["murkier"] * 3 + ["clearer"] * 3 + ["usual"] * 4, "swinging"),
        (["clearer"] * 2, "usual"),  # two readings are too few
        ([], ""),
    ],
)
def test_how_a_year_is_called(where: list[str], word: str) -> None:
    class Year:
        rows = pd.DataFrame({"where": pd.Series(where, dtype="str")})

    assert standing_of_year(Year()) == word  # type: ignore[arg-type]


def test_percent_never_claims_certainty() -> None:
    assert [percent(p) for p in (0.0, 0.5, 0.994, 0.996, 1.0)] == [
        "under 1 %",
        "50 %",
        "99 %",
        "over 99 %",
        "over 99 %",
    ]


def test_the_state_is_what_the_workspace_answers(demo_ws: Any, station: Report) -> None:
    trend = demo_ws.trend("QUE-2", end=2025)
    assert f"getting {trend.clarity}" in station.state[1]
    assert f"{10 * trend.seasonal.slope:+.2f} m a decade" in station.state[1]
    latest = demo_ws.trophic("QUE-2").latest
    assert f"{latest['class_name']} in {latest['year']}" in station.state[1]
    assert f"index {latest['index']:.0f}" in station.state[1]
    series = demo_ws.series("QUE-2")
    now = series[(series["local_date"].dt.year == 2025) & series["flag"].isin([1, 2])]
    # An independent way to the same median: pandas, where no reading is a bound.
    assert set(now["qualifier"]) == {"="}
    assert f"the median disc depth was {now['value'].median():.1f} m" in station.state[0]
    assert f"of {len(now)} readings" in station.state[0]


def test_the_table_of_flags_adds_up(demo_ws: Any, station: Report) -> None:
    rows = rows_of(station.html, "Readings of 2025 by flag")
    head, body = rows[0], rows[1:]
    store = demo_ws.store.readings(station="QUE-2")
    there = store[store["local_date"].dt.year == 2025]
    for row in body:
        number = dict(zip(head, [int(c.replace(",", "")) if c[0].isdigit() else c for c in row], strict=True))
        name = next(p.name for p in demo_ws.parameters.values() if p.label == row[0])
        mine = there[there["parameter"] == name]
        assert number["Readings"] == len(mine)
        assert number["Days"] == mine["local_date"].nunique()
        flags = ("Pass", "Not evaluated", "Suspect", "Fail", "Missing")
        assert sum(number[f] for f in flags) == number["Readings"]
        assert number["Pass"] == int((mine["flag"] == 1).sum())
    assert {r[0] for r in body} == {demo_ws.parameters[p].label for p in there["parameter"].unique()}


def test_class_probabilities_are_those_of_the_index(demo_ws: Any, station: Report) -> None:
    rows = rows_of(station.html, "Index and class probabilities, 2025")
    table = demo_ws.trophic("QUE-2").yearly
    table = table[(table["year"] == 2025) & table["covered"]]
    assert len(rows) - 1 == len(table)
    for row, answer in zip(rows[1:], table.to_dict("records"), strict=True):
        assert row[2] == f"{answer['index']:.0f}"
        assert row[4:] == [
            percent(answer[f"p: {c}"]) for c in ("oligotrophic", "mesotrophic", "eutrophic", "hypereutrophic")
        ]


def test_feet_are_metres_times_3_28(demo_ws: Any) -> None:
    metric = volunteer_report(demo_ws, "QUE-2", units="metric")
    feet = volunteer_report(demo_ws, "QUE-2", units="us")
    pattern = r"latest reading was ([\d.]+) (m|ft) on (.*?):"
    a, b = (re.search(pattern, " ".join(r.state)) for r in (metric, feet))
    assert a
    assert b
    value = demo_ws.standing("QUE-2").value
    assert float(a[1]) == pytest.approx(value, abs=0.051)
    # International foot: 0.3048 m (NIST Handbook 44, appendix C).
    assert float(b[1]) == pytest.approx(value / 0.3048, abs=0.051)
    assert (a[2], b[2]) == ("m", "ft")
    assert a[3] == b[3]
    assert " m " not in " ".join(feet.state)


def test_nothing_later_than_its_year_is_in_a_report(demo_ws: Any) -> None:
    facts = gather(demo_ws, "VEL-1", 2015, habitat=False)
    assert facts.rows["local_date"].max() < pd.Timestamp("2016-01-01")
    assert facts.every["local_date"].max() < pd.Timestamp("2016-01-01")
    assert facts.trend.last_year == 2015
    assert facts.days_by_year.index.max() == 2015
    assert facts.past_years == (2006, 2014)
    assert facts.standing.date == facts.rows["local_date"].max()
    assert (facts.episodes["opened"] < pd.Timestamp("2016-01-01")).all()
    text = Page(station_report(demo_ws, "VEL-1", 2015).html).text
    assert not set(re.findall(r"\b20(?:1[6-9]|2\d)\b", text.partition("Methods and sources")[0])) - {"2025"}
    assert text.partition("Methods and sources")[0].count("2025") == 0


def test_a_short_record_is_not_called_a_trend(demo_ws: Any) -> None:
    made = station_report(demo_ws, "TAN-3")
    assert "3 years of readings are too few" in made.state[1]
    assert "The trend season by season" not in made.html


def test_light_without_warmth_is_told_as_such(demo_ws: Any) -> None:
    text = Page(station_report(demo_ws, "RIV-1").html).text
    assert "with the light (warmth not known) that suits walleye" in text


def test_the_network_counts_what_its_tables_list(demo_ws: Any, network: Report) -> None:
    rows = rows_of(network.html, "Disc depth (Secchi) in 2025 against the past")
    assert [r[0] for r in rows[1:]] == [s.name for s in demo_ws.stations.values()]
    standings = demo_ws.standings().set_index("name")["standing"]
    for row in rows[1:]:
        words = {"too little past": "too little past", "no recent reading": "no recent reading"}
        word = str(standings[row[0]])
        assert words.get(word, word.split(" ")[0]) in row[2]
    trends = demo_ws.trends(end=2025)
    long = trends[trends["last_year"] - trends["first_year"] >= 4]
    for word in ("clearer", "murkier"):
        n = int(((long["clarity"] == word) & long["sure"]).sum())
        assert re.search(
            rf"\b{n} (?:of {len(long)} stations are surely getting|surely) {word}|{n} surely {word}",
            network.state[1],
        )
    slopes = rows_of(network.html, "Trend of disc depth at every station")
    assert {r[0]: r[3] for r in slopes[1:]}["Vellumere deep hole"] == (
        f"{10 * float(trends.set_index('station')['slope']['VEL-1']):+.2f}"
    )


def test_set_aside_readings_are_told_to_the_volunteer(demo_ws: Any) -> None:
    series = demo_ws.series("VEL-1")
    bad = series[~series["flag"].isin([1, 2])]
    assert len(bad)  # the demo has some on purpose
    year = int(bad["local_date"].dt.year.iloc[0])
    text = Page(volunteer_report(demo_ws, "VEL-1", year).html).text
    n = int((bad["local_date"].dt.year == year).sum())
    assert f"{n} of them looked unusual" in text


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        main(list(arguments))
    out, err = capsys.readouterr()
    return int(left.value.code or 0), out, err


def test_report_from_the_command_line(
    own_workspace: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where = ["--workspace", str(own_workspace)]
    file = tmp_path / "page.html"
    code, out, _ = run(capsys, "report", "--station", "Upper arm", "--volunteer", "--year", "2019", "--out", str(file),
                       "--json", *where)  # fmt: skip
    assert code == 0
    told = json.loads(out)[0]
    assert (told["station"], told["year"], told["kind"], told["file"]) == (
        "QUE-2",
        2019,
        "volunteer",
        str(file),
    )
    assert file.read_text(encoding="utf-8").startswith("<!doctype html>")
    folder = tmp_path / "all"
    code, out, _ = run(capsys, "report", "--all", "--volunteer", "--out", str(folder), "--json", *where)
    assert code == 0
    assert len(list(folder.glob("*.html"))) == len(json.loads(out)) == 14
    for wrong in (["report"], ["report", "--network", "--all"], ["report", "--network", "--volunteer"],
                  ["report", "--station", "QUE-2", "--out", "x.doc"], ["report", "--station", "nowhere"]):  # fmt: skip
        code, out, err = run(capsys, *wrong, *where)
        assert (code, out) == (2, "")
        assert err


@pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")
def test_notify_and_feed_from_the_command_line(
    own_workspace: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where = ["--workspace", str(own_workspace)]
    code, out, _ = run(capsys, "notify", "--dry-run", "--json", *where)
    assert code == 0
    assert {t["outcome"] for t in json.loads(out)["targets"]} == {"off"}
    feed = tmp_path / "a.atom"
    code, out, _ = run(capsys, "feed", str(feed), "--json", *where)
    assert (code, json.loads(out)) == (0, {"file": str(feed), "changed": True})
    path = own_workspace / "config" / "notices.toml"
    path.write_text(
        '[notices]\nretries = 0\n[webhook]\nenabled = true\nurl = "json://127.0.0.1:9/"\n', encoding="utf-8"
    )
    pytest.importorskip("apprise")
    code, out, _ = run(capsys, "notify", *where)
    assert code == 1
    assert "could not be sent" in out


def test_a_report_on_some_days_holds_those_days_only(demo_ws: Any) -> None:
    first, last = dt.date(2024, 6, 15), dt.date(2025, 7, 20)
    facts = gather(demo_ws, "VEL-1", Period(first, last), habitat=False)
    series = demo_ws.series("VEL-1", "secchi")
    series = series[series["flag"].isin([1, 2])]
    inside = series[
        (series["local_date"] >= pd.Timestamp(first)) & (series["local_date"] <= pd.Timestamp(last))
    ]
    assert len(facts.rows) == len(inside) > 0
    assert facts.rows["value"].sum() == pytest.approx(inside["value"].sum())
    assert facts.past_years == (2006, 2023)  # the years before the one it begins in
    assert facts.trend.last_year == 2025
    assert set(facts.every["local_date"].dt.year) == {2024, 2025}
    whole = demo_ws.trend("VEL-1", "secchi", end=2025)
    assert facts.trend.seasonal.slope == whole.seasonal.slope  # the trend is that of the whole years


def test_a_report_on_some_days_says_so_everywhere(demo_ws: Any) -> None:
    made = station_report(demo_ws, "VEL-1", start="2024-06-15", end=dt.date(2025, 7, 20))
    text = " ".join(Page(made.html).text.split())
    assert made.title == "Vellumere deep hole, 15 Jun 2024 to 20 Jul 2025"
    assert made.state[0].startswith("From 15 Jun 2024 to 20 Jul 2025, Vellumere deep hole")
    assert (made.first, made.last, made.year) == (dt.date(2024, 6, 15), dt.date(2025, 7, 20), 2025)
    assert made.file_stem == "VEL-1-2024-06-15-to-2025-07-20-report"
    for said in (
        "What asked for attention from 15 Jun 2024 to 20 Jul 2025",
        "Days with readings from 15 Jun 2024 to 20 Jul 2025",
        "The trend rests on every reading of the years 2006 to 2025, not on those of the period alone.",
        "their past is the years before 2024",
        "Readings from 15 Jun 2024 to 20 Jul 2025 by flag",
    ):
        assert said in text or said in made.html, said
    assert " in 15 Jun" not in text
    assert "Median 2025" not in text


def test_the_days_of_a_year_are_that_year(demo_ws: Any) -> None:
    one = volunteer_report(demo_ws, "VEL-1", 2024)
    two = volunteer_report(demo_ws, "VEL-1", start="2024-01-01", end="2024-12-31")
    assert one.html == two.html
    assert one.file_stem == two.file_stem


def test_a_network_report_on_many_years_counts_by_year(demo_ws: Any) -> None:
    made = network_report(demo_ws, start="2020-03-01", end="2025-08-31")
    text = " ".join(Page(made.html).text.split())
    assert "Days with readings by station and year, 1 Mar 2020 to 31 Aug 2025" in made.html
    assert "From 1 Mar 2020 to 31 Aug 2025, of" in made.state[0]
    assert "The trends rest on every reading of the years up to 2025" in text


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"start": "2025-08-01", "end": "2025-07-01"}, "ends before it begins"),
        ({"end": "2025-07-01"}, "needs its first day"),
        ({"start": "2030-01-01"}, "no report can be made from this day on"),
        ({"year": 2024, "start": "2025-01-01"}, "not both"),
        ({"start": "July"}, "not a day"),
    ],
)
def test_days_that_make_no_period_are_refused(demo_ws: Any, given: dict[str, Any], said: str) -> None:
    with pytest.raises(ArgumentError, match=said):
        volunteer_report(demo_ws, "VEL-1", **given)


def test_longest_pause_counts_the_open_water_of_each_year_by_itself(demo_ws: Any) -> None:
    """A winter between two seasons is no pause: the longest one of both years is the longer of the two."""

    def days(period: Any) -> int:
        facts = gather(demo_ws, "VEL-1", period, habitat=False)
        return int(re.search(r"was (\d+) days", pause_sentence(demo_ws, facts)).group(1))  # type: ignore[union-attr]

    both = days(Period(dt.date(2023, 1, 1), dt.date(2024, 12, 31)))
    assert both == max(days(2023), days(2024))


def test_a_period_from_the_command_line(demo_workspace: Path, tmp_path: Path, capsys: Any) -> None:
    file = tmp_path / "some-days.html"
    code, out, _ = run(capsys, "report", "--station", "VEL-1", "--volunteer", "--from", "2024-06-15", "--to",
        "2025-07-20", "--out", str(file), "--workspace", str(demo_workspace), "--json")  # fmt: skip
    assert code == 0
    told = json.loads(out)[0]
    assert (told["first"], told["last"]) == ("2024-06-15", "2025-07-20")
    assert "15 Jun 2024 to 20 Jul 2025" in file.read_text("utf-8")
