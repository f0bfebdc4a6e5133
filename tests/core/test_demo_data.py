"""The invented demo waters: the files are what the script writes, and they hold what data/README.md says.

The checks on the planted truth use scipy, statsmodels and pandas alone, on the files as they are: they test
the demo, not Fathomlight. The last part loads the files through Fathomlight.
"""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fathomlight.alerts import Context, evaluate
from fathomlight.config import Config, load_config
from fathomlight.ingest import ReadLimits, ReadResult, load_recipes, read_file
from fathomlight.model import IDENTITY, Flag
from fathomlight.quality.frame import flag_frame

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "data"
HAND_WRITTEN = {"README.md", "load.toml", "make_demo.py"}
FEET = 0.3048


def _written() -> set[str]:
    return {
        p.relative_to(DATA).as_posix()
        for p in DATA.rglob("*")
        if p.is_file() and "__pycache__" not in p.parts and p.parent.name != "maker"
    } - HAND_WRITTEN


def _stations() -> pd.DataFrame:
    return pd.read_csv(ROOT / "config" / "stations.csv").set_index("id")


def _discs() -> pd.DataFrame:
    """Every disc reading as station, date, metres, on the bottom; read without Fathomlight."""
    wide = pd.concat(
        [pd.read_csv(DATA / f"readings/{n}.csv", dtype=str) for n in ("crew_2006_2013", "crew_2014_2020")]
    )
    crew = pd.DataFrame(
        {
            "station": wide["Station"],
            "date": pd.to_datetime(wide["Date"]),
            "m": wide["Disc (m)"].astype(float),
            "bottom": wide["Bottom"].eq("B").to_numpy(),
        }
    )
    long = pd.concat(
        [pd.read_csv(DATA / f"readings/{n}.csv", dtype=str) for n in ("crew_2021_2024", "crew_2025")]
    ).query("parameter == 'disc' and value != 'cloudy' and station != 'TAN-9'")
    newer = pd.DataFrame(
        {
            "station": long["station"],
            "date": pd.to_datetime(long["sampled"]).dt.normalize(),
            "m": long["value"].str.lstrip(">").astype(float),
            "bottom": long["value"].str.startswith(">"),
        }
    )
    names = {a: i for i, row in _stations().iterrows() for a in row["aliases"].split(";")}
    card = pd.concat(
        [
            pd.read_csv(DATA / f"readings/volunteers_{y}.csv", skiprows=1, dtype=str, encoding="cp1252")
            for y in ("2006_2024", "2025")
        ]
    )
    card = card[~card["Date"].str.endswith("2081") & ~card["Disc seen to (ft)"].str.startswith("about")]
    cards = pd.DataFrame(
        {
            "station": card["Where"].map(names),
            "date": pd.to_datetime(card["Date"], format="%m/%d/%Y"),
            "m": card["Disc seen to (ft)"].astype(float) * FEET,
            "bottom": card["On bottom?"].eq("Y"),
        }
    )
    out = pd.concat([crew, newer, cards], ignore_index=True)
    return out[out["m"] < 12.0]  # leaves out the two readings with planted mistakes of value


def _open_water_medians(table: pd.DataFrame, column: str = "m") -> pd.Series:
    season = table[table["date"].dt.month.between(5, 10)]
    return season.groupby(season["date"].dt.year)[column].median()


PLANTED = pd.read_csv(DATA / "planted.csv")
DISC_TRUTH = PLANTED[(PLANTED["parameter"] == "secchi") & (PLANTED["station"] != "TAN-3")]


def test_the_files_are_what_the_script_writes(tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, "-B", str(DATA / "make_demo.py"), "--out", str(tmp_path)],
        check=True,
        capture_output=True,
    )
    made = {p.relative_to(tmp_path).as_posix() for p in tmp_path.rglob("*") if p.is_file()}
    assert made == _written()
    different = [n for n in sorted(made) if (tmp_path / n).read_bytes() != (DATA / n).read_bytes()]
    assert different == []


def test_the_files_are_small() -> None:
    assert sum((DATA / n).stat().st_size for n in _written()) < 5_000_000


def test_the_first_load_names_files_and_recipes_that_exist() -> None:
    with (DATA / "load.toml").open("rb") as file:
        jobs = tomllib.load(file)["load"]
    recipes = {
        tomllib.loads(p.read_text("utf-8"))["name"] for p in (ROOT / "config" / "recipes").glob("demo-*.toml")
    }
    assert {j["recipe"] for j in jobs} == recipes
    named = {j["file"] for j in jobs}
    folders = ("readings/", "profiles/", "lab/", "logger/", "surveys/", "hold_back/")
    assert named == {n for n in _written() if n.startswith(folders)}
    assert {j["file"] for j in jobs if j.get("hold_back")} == {n for n in named if n.startswith("hold_back/")}


def _inside(ring: list[list[float]], x: float, y: float) -> bool:
    """Even-odd rule: a ray to the east crosses the outline an odd number of times."""
    p = np.array(ring)
    (x0, y0), (x1, y1) = p[:-1].T, p[1:].T
    spans = (y0 > y) != (y1 > y)
    crossing = x0[spans] + (y - y0[spans]) / (y1[spans] - y0[spans]) * (x1[spans] - x0[spans])
    return bool((crossing > x).sum() % 2)


def _ring_area_m2(ring: list[list[float]]) -> float:
    p = np.radians(np.array(ring))
    x, y = p[:, 0] * np.cos(p[:, 1].mean()) * 6.371e6, p[:, 1] * 6.371e6
    return float(abs(np.dot(x[:-1], y[1:]) - np.dot(y[:-1], x[1:])) / 2)


def test_shores_hold_their_stations_and_fit_the_depth_areas() -> None:
    shores = json.loads((DATA / "shoreline.geojson").read_text("utf-8"))
    areas = pd.read_csv(DATA / "depth_areas.csv")
    stations = _stations()
    with (ROOT / "config" / "waters.toml").open("rb") as file:
        waters = {w["id"]: w for w in tomllib.load(file)["water"]}
    assert {f["properties"]["water"] for f in shores["features"]} == set(waters) == set(areas["water"])
    assert len(stations) == 14
    for feature in shores["features"]:
        water = feature["properties"]["water"]
        rings = feature["geometry"]["coordinates"]
        assert all(ring[0] == ring[-1] for ring in rings)
        assert len(rings) > 1 or waters[water]["kind"] == "river"
        for _, s in stations[stations["water"] == water].iterrows():
            where = [_inside(ring, s["longitude"], s["latitude"]) for ring in rings]
            assert where == [True] + [False] * (len(rings) - 1), s["name"]
            assert s["bottom_depth_m"] <= waters[water]["max_depth_m"]
        table = areas[areas["water"] == water]
        assert (np.diff(table["depth_m"]) > 0).all()
        assert (np.diff(table["area_m2"]) < 0).all()
        assert table["depth_m"].iloc[-1] == waters[water]["max_depth_m"]
        net = _ring_area_m2(rings[0]) - sum(map(_ring_area_m2, rings[1:]))
        assert table["area_m2"].iloc[0] == pytest.approx(net, rel=0.01)


@pytest.mark.parametrize("station", DISC_TRUTH["station"])
def test_planted_disc_truth_is_in_the_files(station: str) -> None:
    # scipy.stats.theilslopes on the medians of May to October
    truth = DISC_TRUTH.set_index("station").loc[station]
    discs = _discs()
    medians = _open_water_medians(discs[discs["station"] == station])
    if truth["kind"] == "step":
        year = int(truth["note"][:4])
        before, after = medians[medians.index < year], medians[medians.index >= year]
        assert after.median() - before.median() == pytest.approx(truth["value"], abs=0.2)
        for part in (before, after):
            _, _, low, high = stats.theilslopes(part, part.index)
            assert low <= 0 <= high
        return
    slope, _, low, high = stats.theilslopes(medians, medians.index)
    assert low <= truth["value"] <= high
    if truth["kind"] == "slope":
        assert np.sign(low) == np.sign(high) == np.sign(truth["value"])
        assert slope == pytest.approx(truth["value"], rel=0.5)


def test_planted_turbidity_and_phosphorus_are_in_the_files() -> None:
    wide = pd.concat(
        [pd.read_csv(DATA / f"readings/{n}.csv", dtype=str) for n in ("crew_2006_2013", "crew_2014_2020")]
    )
    long = pd.concat(
        [pd.read_csv(DATA / f"readings/{n}.csv", dtype=str) for n in ("crew_2021_2024", "crew_2025")]
    )
    long = long[(long["parameter"] == "turbidity") & (long["unit"] == "NTU")]
    turbidity = pd.concat(
        [
            wide[["Station", "Date", "Turbidity (NTU)"]].set_axis(["station", "date", "ntu"], axis=1),
            long[["station", "sampled", "value"]].set_axis(["station", "date", "ntu"], axis=1),
        ]
    )
    turbidity["date"] = pd.to_datetime(turbidity["date"].str[:10])
    for station in ("RIV-1", "RIV-2"):
        rows = turbidity[turbidity["station"] == station].assign(ntu=lambda t: t["ntu"].astype(float))
        medians = _open_water_medians(rows[rows["ntu"] > 0], "ntu")
        _, _, low, high = stats.theilslopes(medians, medians.index)
        assert (
            low
            <= PLANTED.query("station == @station and parameter == 'turbidity_ntu'")["value"].item()
            <= high
        )
    lab = pd.concat(
        [pd.read_csv(DATA / f"lab/{n}.csv", dtype=str) for n in ("lab_2006_2014", "lab_2015_2025")]
    )
    for _, truth in PLANTED[PLANTED["parameter"] == "total_phosphorus"].iterrows():
        rows = lab[(lab["Analyte"] == "Total phosphorus") & (lab["Sample place"] == truth["station"])]
        value = rows["Result"].str.lstrip("<").astype(float) * rows["Unit"].map({"mg/L": 1000.0, "ug/L": 1.0})
        table = pd.DataFrame({"date": pd.to_datetime(rows["Sampled"], format="%d-%b-%Y"), "m": value})
        medians = _open_water_medians(table)
        _, _, low, high = stats.theilslopes(medians, medians.index)
        assert low <= truth["value"] <= high, truth["station"]


def test_discs_on_the_bottom_gaps_and_the_new_station_are_there() -> None:
    discs = _discs()
    share = discs.groupby("station")["bottom"].mean()
    assert 0.05 < share["PIN-1"] < 0.20
    assert 0.20 < share["PIN-2"] < 0.45
    assert set(share[share > 0].index) == {"PIN-1", "PIN-2"}
    years = discs.groupby("station")["date"].agg(lambda d: set(d.dt.year))
    assert set(range(2006, 2026)) - years["VEL-3"] == {2013}
    assert years["TAN-3"] == {2023, 2024, 2025}
    last = discs.groupby("station")["date"].max()
    schedule = _stations()["schedule_days"].reindex(last.index)
    overdue = (pd.Timestamp("2025-09-28") - last).dt.days > 2 * schedule
    assert set(overdue[overdue].index) == {"QUE-3"}
    assert discs["date"].max() < pd.Timestamp("2025-09-28")


def test_the_murky_episodes_are_there() -> None:
    discs = _discs().sort_values("date")
    upper = discs[discs["station"] == "QUE-2"]
    assert (upper[upper["date"] >= "2025-08-20"]["m"] < 0.7).all()
    assert (upper["date"] >= "2025-08-20").sum() >= 2
    middle = discs[(discs["station"] == "TAN-1") & (discs["date"].dt.year == 2021)]
    spell = middle["date"].between("2021-06-20", "2021-07-25 23:59")
    assert spell.sum() >= 2
    assert (middle[spell]["m"] < 1.3).all()
    assert (middle[~spell]["m"] > 1.5).all()


def test_the_logger_has_its_faults() -> None:
    log = pd.read_csv(DATA / "logger/old_ferry_2025.csv", comment="#", parse_dates=["Time (UTC)"])
    steps = log["Time (UTC)"].diff().dropna()
    assert (steps == pd.Timedelta("15min")).sum() == len(steps) - 1
    assert steps.max() == pd.Timedelta("32h15min")
    fnu = log["Turbidity (FNU)"]
    around = (fnu.shift(1) + fnu.shift(-1)) / 2
    spikes = log.loc[(fnu - around > 100), "Time (UTC)"].dt.strftime("%d %b").tolist()
    assert spikes == ["12 May", "28 Jun", "19 Aug"]
    runs = fnu.groupby((fnu != fnu.shift()).cumsum()).size()
    assert runs.max() >= 32  # 8 hours
    assert (runs >= 16).sum() == 1


def test_walleye_in_gill_nets_hold_the_planted_optimum() -> None:
    # Poisson regression of statsmodels; clarity by water and year from the disc readings of June to September
    import statsmodels.api as sm

    surveys = pd.read_csv(DATA / "surveys/surveys.csv", parse_dates=["start"])
    catches = pd.read_csv(DATA / "surveys/catches.csv")
    nets = surveys[surveys["gear"] == "gill net"].copy()
    caught = catches[catches["species"] == "walleye"].groupby("survey")["count"].sum()
    nets["count"] = nets["survey"].map(caught).fillna(0)
    discs = _discs()
    discs["water"] = discs["station"].map(_stations()["water"])
    season = discs[discs["date"].dt.month.between(6, 9)]
    by_station = season.groupby(["water", season["date"].dt.year.rename("year"), "station"])["m"].mean()
    clarity = by_station.groupby(level=[0, 1]).mean()
    keys = list(zip(nets["water"], nets["start"].dt.year, strict=True))
    x = np.log(clarity.loc[keys].to_numpy())
    model = sm.GLM(
        nets["count"].to_numpy(), np.column_stack([np.ones_like(x), x, x**2]), family=sm.families.Poisson()
    ).fit()
    _, linear, square = model.params
    truth = pd.read_csv(DATA / "planted_fish.csv").set_index("quantity")["value"]
    assert square < 0
    assert np.exp(-linear / (2 * square)) == pytest.approx(truth["optimum disc depth"], rel=0.15)
    assert (nets["count"] == 0).any()
    assert not (catches["count"] == 0).any()


def test_backpack_passes_hold_the_planted_capture_probability() -> None:
    # Zippin (1956, 1958): all surveys of a species pooled as one large removal, solved with scipy
    from scipy.optimize import minimize_scalar

    catches = pd.read_csv(DATA / "surveys/catches.csv")
    backpack = catches[catches["survey"].str.startswith("BP-")]
    truth = pd.read_csv(DATA / "planted_fish.csv")
    truth = truth[truth["quantity"].str.startswith("capture")].set_index("species")["value"]
    for species, planted in truth.items():
        by_pass = backpack[backpack["species"] == species].groupby("pass_number")["count"].sum().to_numpy()
        assert len(by_pass) == 3
        k = np.arange(3)

        def minus_log_likelihood(p: float, k: np.ndarray = k, n: np.ndarray = by_pass) -> float:
            chance = p * (1 - p) ** k
            return float(-(n * np.log(chance / chance.sum())).sum())

        found = minimize_scalar(minus_log_likelihood, bounds=(0.05, 0.95), method="bounded").x
        assert found == pytest.approx(planted, abs=0.06), species


def test_fish_tables_belong_together() -> None:
    surveys = pd.read_csv(DATA / "surveys/surveys.csv", parse_dates=["start", "end"])
    catches = pd.read_csv(DATA / "surveys/catches.csv")
    fish = pd.read_csv(DATA / "surveys/fish.csv")
    assert surveys["survey"].is_unique
    assert set(catches["survey"]) <= set(surveys["survey"])
    assert set(fish["survey"]) <= set(catches["survey"])
    assert (surveys["end"] > surveys["start"]).all()
    assert surveys["end"].max() <= pd.Timestamp("2025-09-28")
    assert (surveys["effort"].dropna() > 0).all()
    assert surveys["effort"].isna().any()
    years = surveys.groupby(["water", "gear"])["start"].agg(lambda d: d.dt.year.nunique())
    assert years.min() >= 12
    measured = fish.groupby(["survey", "species"]).size()
    counted = catches.groupby(["survey", "species"])["count"].sum()
    assert (measured <= counted.loc[measured.index]).all()


def test_mistakes_stand_on_the_lines_that_are_named() -> None:
    mistakes = pd.read_csv(DATA / "mistakes.csv")
    lines = {n: (DATA / n).read_text("cp1252").splitlines() for n in set(mistakes["file"])}
    text = {(m.file, m.line): lines[m.file][m.line - 1] for m in mistakes.itertuples()}
    signs = {
        "a word": "cloudy",
        "a station": "TAN-9",
        "a date": "2081",
        "a guess": "about 4",
        "Celsius": ",21,",
        "a unit": ",m,",
    }
    for m in mistakes.itertuples():
        here = text[(m.file, m.line)]
        for start, sign in signs.items():
            if m.mistake.startswith(start):
                assert sign in here
        if m.mistake == "row typed twice":
            assert here == lines[m.file][m.line - 2]
    assert len(mistakes) == 12


REFUSED = {
    "readings/crew_2006_2013.csv": 1,
    "readings/crew_2021_2024.csv": 2,
    "readings/crew_2025.csv": 1,
    "readings/volunteers_2006_2024.csv": 2,
    "readings/volunteers_2025.csv": 1,
    "hold_back/bad_week.csv": 3,
}
"""Rows or cells that data/README.md says are refused; every other file is read whole."""
JOBS = {j["file"]: j["recipe"] for j in tomllib.loads((DATA / "load.toml").read_text("utf-8"))["load"]}
NOW = dt.datetime(2025, 9, 28, 23, 59, tzinfo=dt.UTC)


@pytest.fixture(scope="module")
def config() -> Config:
    return load_config(ROOT)


@pytest.fixture(scope="module")
def results(config: Config) -> dict[str, ReadResult]:
    recipes = load_recipes(ROOT / "config" / "recipes")
    return {
        file: read_file(
            DATA / file,
            recipes[recipe],
            parameters=config.parameters,
            stations=list(config.stations.values()),
            waters=list(config.waters.values()),
            possible=config.possible,
            now=NOW,
            limits=ReadLimits(isolate="never"),
        )
        for file, recipe in JOBS.items()
    }


@pytest.mark.parametrize("file", JOBS)
def test_every_file_loads_but_for_the_planted_mistakes(file: str, results: dict[str, ReadResult]) -> None:
    result = results[file]
    assert len(result.refused) == REFUSED.get(file, 0)
    assert result.unused_columns == ()
    table = {"surveys": result.surveys, "catch": result.catches, "fish": result.fish}.get(
        result.kind, result.frame
    )
    assert len(table) > 0


def test_the_refused_lines_are_the_planted_ones(results: dict[str, ReadResult]) -> None:
    mistakes = pd.read_csv(DATA / "mistakes.csv")
    planted = {(m.file, m.line) for m in mistakes[mistakes["expected"] == "refused"].itertuples()}
    found = {
        (file, int(line))
        for file, result in results.items()
        if not file.startswith("hold_back/")
        for line in result.refused["line"]
    }
    assert found == planted


def test_units_qualifiers_and_codes_arrive(results: dict[str, ReadResult]) -> None:
    # foot and degree Fahrenheit are defined exactly: 1 ft = 0.3048 m, 32 degF = 0 degC, 212 degF = 100 degC
    discs = _discs()
    for file in ("readings/volunteers_2025.csv", "readings/crew_2021_2024.csv"):
        frame = results[file].frame
        secchi = frame[frame["parameter"] == "secchi"]
        merged = secchi.merge(discs, left_on=["station", "local_date"], right_on=["station", "date"])
        assert len(merged) == len(secchi)
        np.testing.assert_allclose(merged["value"], merged["m"])
        assert merged["qualifier"].eq(">").equals(merged["bottom"].astype(bool))
    ntu = results["readings/crew_2014_2020.csv"].frame.query("parameter == 'turbidity_ntu'")
    assert set(ntu["qualifier"]) == {"=", "<"}
    assert (ntu.loc[ntu["qualifier"] == "<", "value"] == 0.5).all()
    assert (ntu["value"] > 0).all()  # -99 was no value
    line = results["profiles/profiles_island_narrows.csv"].frame
    assert line["depth_m"].max() == pytest.approx(24 * FEET, abs=1e-3)
    assert line["value"].between(3, 30).all()
    early = results["lab/lab_2006_2014.csv"].frame.query(
        "parameter == 'total_phosphorus' and station == 'VEL-1'"
    )
    assert early["value"].median() == pytest.approx(6.5, abs=1.0)  # was written as 0.006 mg/L


def test_no_two_files_claim_one_reading_but_the_corrections(results: dict[str, ReadResult]) -> None:
    frames = [r.frame for f, r in results.items() if not f.startswith(("surveys/", "hold_back/"))]
    everything = pd.concat(frames, ignore_index=True)
    twice = everything[everything.duplicated(list(IDENTITY))]
    assert len(twice) == len(results["readings/corrections_2023.csv"].frame) == 3


def test_quality_tests_find_the_planted_faults_and_nothing_else(
    config: Config, results: dict[str, ReadResult]
) -> None:
    frames = [r.frame for f, r in results.items() if not f.startswith(("surveys/", "hold_back/"))]
    everything = pd.concat(frames, ignore_index=True).drop_duplicates(list(IDENTITY), keep="last")
    flags = flag_frame(everything, config.quality, parameters=config.parameters)
    odd = flags[flags["flag"].isin([Flag.SUSPECT, Flag.FAIL])]
    found = odd.groupby(["station", "parameter", "test"]).size().to_dict()
    assert found.pop(("RIV-1", "turbidity_fnu", "flat_line")) >= 32
    assert found == {
        ("RIV-1", "turbidity_fnu", "spike"): 3,
        ("TAN-1", "secchi", "gross_range"): 1,
        ("VEL-1", "secchi", "gross_range"): 1,
    }


def test_rules_find_the_planted_episodes(config: Config, results: dict[str, ReadResult]) -> None:
    frames = [r.frame for f, r in results.items() if f.startswith(("readings/", "logger/"))]
    readings = pd.concat(frames, ignore_index=True).drop_duplicates(list(IDENTITY), keep="last")
    context = Context(
        as_of=config.as_of, stations=config.stations, waters=config.waters, parameters=config.parameters,
        open_water=config.open_water,
    )  # fmt: skip
    rules = {r.id: r for r in config.rules}
    murky = evaluate(rules["upper-arm-murky"], readings, context)
    assert [e.station for e in murky if e.over is None] == ["QUE-2"]
    over = evaluate(rules["stained-lake-murky"], readings, context)
    assert {(e.station, e.began.year) for e in over} == {("TAN-1", 2021), ("TAN-2", 2021)}
    assert all(e.over is not None for e in over)
    overdue = evaluate(rules["visit-overdue"], readings, context)
    assert [e.station for e in overdue if e.over is None] == ["QUE-3"]
    storms = evaluate(rules["river-storm"], readings, context)
    assert len(storms) >= 3
    assert all(e.over is not None for e in storms)
    silent = evaluate(rules["logger-silent-or-stuck"], readings, context)
    assert {e.aspect for e in silent} == {"silent", "flat"}
    assert all(e.over is not None for e in silent)
