"""Files, visits and people: nothing lost, nothing overwritten, everything told."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest

from fathomlight.ingest import Visit
from fathomlight.workspace import Workspace, init_workspace, load_demo, open_workspace


@pytest.fixture
def ws(own_workspace: Path) -> Iterator[Workspace]:
    with open_workspace(own_workspace, actor="tester") as opened:
        yield opened


def test_loading_the_demo_again_changes_nothing(own_workspace: Path) -> None:
    with open_workspace(own_workspace) as ws:
        before, version = ws.readings(), ws.data_version
    assert load_demo(own_workspace) == 0
    with open_workspace(own_workspace) as ws:
        pd.testing.assert_frame_equal(ws.readings(), before)
        assert ws.data_version == version


def test_a_dry_run_stores_nothing_and_tells_what_the_load_does(ws: Workspace) -> None:
    good = ws.root / "data" / "hold_back" / "good_week.csv"
    version = ws.data_version
    dry = ws.check(good, "demo-crew")
    assert ws.data_version == version
    assert dry.n_refused == 0
    assert dry.n_new == dry.n_good > 0
    real = ws.load(good, "demo-crew")
    assert (real.n_new, real.n_known, real.n_corrected) == (dry.n_new, dry.n_known, dry.n_corrected)
    again = ws.check(good, "demo-crew")
    assert (again.n_new, again.n_known) == (0, dry.n_good)
    assert ws.load(good, "demo-crew").skipped


@pytest.mark.parametrize(
    ("name", "recipe", "column", "value", "new_row"),
    [
        ("surveys", "demo-surveys", "effort", "7", "GN-NEW-1,vellumere,VEL-1,gill net,2025-09-01 17:00,,1,net-night,"),
        ("catches", "demo-catches", "count", "77", "GN-VEL-2008-1,muskellunge,1,,64"),
        ("fish", "demo-fish", "length_mm", "399", "GN-VEL-2008-1,walleye,402,640,3,,64"),
    ],
)  # fmt: skip
def test_a_dry_run_of_fish_tells_what_the_load_does(
    ws: Workspace, tmp_path: Path, name: str, recipe: str, column: str, value: str, new_row: str
) -> None:
    lines = (ws.root / "data" / "surveys" / f"{name}.csv").read_text("utf-8").splitlines()
    cells = lines[1].split(",")
    cells[lines[0].split(",").index(column)] = value
    path = tmp_path / f"{name}.csv"
    path.write_text("\n".join([lines[0], ",".join(cells), *lines[2:6], new_row]) + "\n", "utf-8")
    version = ws.data_version
    dry = ws.check(path, recipe)
    assert ws.data_version == version
    # five rows of the file that was loaded, the first of them changed, and one that is new
    changed = (2, 4, 0) if name == "fish" else (1, 4, 1)  # a fish has no identity: changed is another fish
    assert (dry.n_new, dry.n_known, dry.n_corrected) == changed
    assert dry.n_good == 6
    real = ws.load(path, recipe)
    assert (real.n_new, real.n_known, real.n_corrected, real.n_refused) == (*changed, dry.n_refused)
    again = ws.check(path, recipe)
    assert (again.n_new, again.n_known, again.n_corrected) == (0, 6, 0)


def test_a_dry_run_says_which_catches_have_no_survey(ws: Workspace, tmp_path: Path) -> None:
    path = tmp_path / "catches.csv"
    path.write_text("survey,species,count,pass_number,mesh_mm\nGN-NOWHERE,walleye,1,,64\n", "utf-8")
    dry = ws.check(path, "demo-catches")
    assert (dry.n_new, dry.n_refused) == (0, 1)
    assert "no survey 'GN-NOWHERE' is known" in dry.refused["reason"].iloc[-1]
    assert ws.load(path, "demo-catches").n_refused == 1


def test_three_bad_rows_do_not_lose_the_good_ones(ws: Workspace) -> None:
    report = ws.load(ws.root / "data" / "hold_back" / "bad_week.csv", "demo-crew")
    assert report.n_refused == 3
    assert report.n_new > 0
    refused = ws.refused(report.batch)
    assert len(refused) == 3
    assert (refused["reason"].str.len() > 5).all()
    assert (refused["remedy"].str.len() > 5).all()


def test_a_refused_row_is_mended_and_tried_again(ws: Workspace) -> None:
    report = ws.load(ws.root / "data" / "hold_back" / "bad_week.csv", "demo-crew")
    assert report.batch is not None
    row = report.refused[report.refused["value"] == "murky"].iloc[0]
    still = ws.retry(report.batch, int(row["line"]), row["column"], {row["column"]: "cloudy"})
    assert still.batch is None
    assert still.n_refused == 1
    mended = ws.retry(report.batch, int(row["line"]), row["column"], {row["column"]: "1.4"})
    assert mended.batch is not None
    assert mended.n_new == 1
    waiting = ws.refused()
    assert "murky" not in set(waiting.loc[waiting["batch"] == report.batch, "value"])
    assert "murky" in set(ws.refused(report.batch)["value"])  # still on record
    ws.withdraw(mended.batch, "it was wrong after all")
    assert "murky" in set(ws.refused()["value"])


def test_a_batch_is_withdrawn_and_put_back(ws: Workspace) -> None:
    before = ws.readings()
    report = ws.load(ws.root / "data" / "hold_back" / "good_week.csv", "demo-crew")
    assert report.batch is not None
    after = ws.readings()
    ws.withdraw(report.batch, "wrong sheet")
    pd.testing.assert_frame_equal(ws.readings(), before)
    ws.restore(report.batch, "it was right")
    pd.testing.assert_frame_equal(ws.readings().drop(columns="batch"), after.drop(columns="batch"))


def test_one_visit_from_the_form(ws: Workspace) -> None:
    visit = Visit(
        station="QUE-3", date="2025-09-27", time="11:00", disc_down="5.0", disc_up="4.6", disc_unit="ft"
    )
    report = ws.add_visit(visit)
    assert report.n_new == 1
    row = ws.series("QUE-3").iloc[-1]
    assert row["value"] == pytest.approx(4.8 * 0.3048)  # mean of 5.0 and 4.6 ft, 1 ft = 0.3048 m exactly
    assert ws.standing("QUE-3").standing != "no recent reading"


def test_a_disc_on_the_bottom_is_more_than_its_depth(ws: Workspace) -> None:
    visit = Visit(station="PIN-1", date="2025-09-27", time="11:00", disc_down="2.1", on_bottom=True)
    ws.add_visit(visit)
    row = ws.series("PIN-1").iloc[-1]
    assert (row["value"], row["qualifier"]) == (2.1, ">")


def test_a_persons_flag_outlives_the_tests(ws: Workspace) -> None:
    row = ws.series("VEL-1").iloc[-1]
    identity = {k: row[k] for k in ("station", "parameter", "depth_m", "time", "replicate")}
    ws.set_flag(identity, 4, "disc line was tangled")
    ws.run_quality()
    assert ws.series("VEL-1").iloc[-1]["flag"] == 4
    ws.undo_flag(identity)
    assert ws.series("VEL-1").iloc[-1]["flag"] == row["flag"]


def test_alerts_are_idempotent_and_seen_once(ws: Workspace) -> None:
    first = ws.episodes()
    assert not ws.evaluate_alerts().any
    assert (first["state"] == "open").any()
    key = first.loc[first["state"] == "open", "key"].iloc[0]
    ws.mark_seen(key, "called the crew")
    after = ws.episodes().set_index("key").loc[key]
    assert (after["state"], after["seen_by"], after["seen_note"]) == ("seen", "tester", "called the crew")
    assert not ws.evaluate_alerts().any


def test_a_new_workspace_opens_and_is_not_overwritten(tmp_path: Path) -> None:
    folder = init_workspace(tmp_path / "mine", name="My lakes")
    with open_workspace(folder) as ws:
        assert ws.name == "My lakes"
        assert not ws.invented
        assert ws.status().n_readings == 0
        assert ws.standings()["standing"].tolist() == ["no recent reading"]
        assert len(ws.recipes) > 0
        assert not [r for r in ws.recipes if r.startswith("demo-")]
        assert not ws.evaluate_alerts().any
        assert (
            ws.config.quality["temperature"].climatology is None
        )  # usual ranges of the demo stay with the demo
        assert ws.config.quality["secchi"].gross_range is not None
    with pytest.raises(ValueError, match="already"):
        init_workspace(folder)


@pytest.mark.parametrize("kind", ["csv", "netcdf", "parquet"])
def test_exports_hold_every_reading(ws: Workspace, tmp_path: Path, kind: str) -> None:
    from fathomlight.export import read_netcdf

    target = tmp_path / ("r.parquet" if kind == "parquet" else "out")
    files = ws.export(kind, target, station="VEL-1")
    wanted = len(ws.readings("VEL-1"))
    if kind == "netcdf":
        assert sum(len(read_netcdf(f)) for f in files) == wanted
    elif kind == "parquet":
        assert len(pd.read_parquet(files[0])) == wanted
    else:
        assert len(pd.read_csv(target / "readings.csv")) == wanted


def test_what_leaves_as_csv_comes_back_with_the_same_answers(ws: Workspace, tmp_path: Path) -> None:
    ws.export("csv", tmp_path / "out")
    fresh = tmp_path / "fresh"
    init_workspace(fresh, demo=True)
    with open_workspace(fresh) as other:
        report = other.load(tmp_path / "out" / "readings.csv", "fathomlight-export")
        assert report.n_refused == 0
        assert report.n_new == len(ws.readings())
        for station in ("VEL-1", "PIN-2", "QUE-2"):
            mine, theirs = ws.trend(station).seasonal, other.trend(station).seasonal
            assert (mine.s, mine.variance, mine.slope) == (theirs.s, theirs.variance, theirs.slope)
            assert ws.standing(station).sentence == other.standing(station).sentence


def test_surveys_leave_as_darwin_core_and_come_back_the_same(ws: Workspace, tmp_path: Path) -> None:
    files = ws.export("darwin-core", tmp_path / "dwc")
    assert {f.name for f in files} == {"event.csv", "occurrence.csv", "meta.xml"}
    fresh = init_workspace(tmp_path / "fresh", demo=True)
    with open_workspace(fresh) as other:
        assert other.load(tmp_path / "dwc" / "event.csv", "darwin-core-events").n_refused == 0
        assert other.load(tmp_path / "dwc" / "occurrence.csv", "darwin-core-occurrences").n_refused == 0
        mine, theirs = (
            ws.catch_per_effort("walleye", "gill net"),
            other.catch_per_effort("walleye", "gill net"),
        )
        pd.testing.assert_frame_equal(mine, theirs)
