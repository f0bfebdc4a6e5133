"""Verbs that answer: trend, trophic, habitat, alerts, fish, export."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fathomlight.cli.app import (
    HERE,
    AsOfOption,
    JsonOption,
    WorkspaceOption,
    app,
    note,
    opened,
    parse_day,
    print_json,
    print_table,
    progress_bar,
    say,
)

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

StationOption = Annotated[
    str | None, typer.Option("--station", metavar="ID", help="One station; all when left out.")
]
ParameterOption = Annotated[
    str,
    typer.Option("--parameter", metavar="NAME", help="What is asked about, as in config/parameters.toml."),
]


@app.command()
def trend(
    station: StationOption = None,
    parameter: ParameterOption = "secchi",
    everything: Annotated[bool, typer.Option("--all", help="Every station that has the parameter.")] = False,
    scheduler: Annotated[
        str | None,
        typer.Option("--scheduler", metavar="ADDRESS", help="Dask scheduler to compute on (with --all)."),
    ] = None,
    start: Annotated[int | None, typer.Option("--from", metavar="YEAR", help="First year.")] = None,
    end: Annotated[int | None, typer.Option("--to", metavar="YEAR", help="Last year.")] = None,
    workspace: WorkspaceOption = HERE,
    as_of: AsOfOption = None,
    json: JsonOption = False,
) -> None:
    """Is it changing, how fast, how surely: one station, or all with false discoveries controlled."""
    with opened(workspace, as_of=as_of) as ws:
        if station is not None and not everything:
            _one_trend(ws, station, parameter, start, end, json)
            return
        with progress_bar("trends", quiet=json) as bar:
            if scheduler is not None:
                table = ws.network_trends(parameter, start=start, end=end, scheduler=scheduler)
            else:
                table = ws.trends(parameter, start=start, end=end, progress=bar.step)
    if json:
        print_json(table)
        return
    if table.empty:
        say(f"No station has readings of {parameter}.")
        return
    columns = ["station", "name", "n", "first_year", "last_year", "slope", "slope_low", "slope_high", "p", "p_adjusted",
               "clarity", "likelihood"]  # fmt: skip
    print_table(table[[c for c in columns if c in table]])
    say("p_adjusted controls the share of false discoveries over the stations (Benjamini & Hochberg 1995).")


def _one_trend(
    ws: Workspace, station: str, parameter: str, start: int | None, end: int | None, json: bool
) -> None:
    answer = ws.trend(station, parameter, start=start, end=end)
    if json:
        print_json(answer)
        return
    say(answer.sentence)
    say(f"  {answer.method}")
    print_table(answer.by_season, "By season")
    if answer.change_point.index:
        year = answer.change_point.time
        say(f"Most likely single change of level: after {year:.0f} (Pettitt p {answer.change_point.p:.3g}).")
    for text in answer.notes:
        say(f"  note: {text}")


@app.command()
def trophic(
    station: StationOption = None,
    workspace: WorkspaceOption = HERE,
    as_of: AsOfOption = None,
    json: JsonOption = False,
) -> None:
    """Trophic state by Carlson's indices, year by year, with intervals and class probabilities."""
    with opened(workspace, as_of=as_of) as ws:
        names = [ws.station(station).id] if station is not None else list(ws.stations)
        answers = [ws.trophic(name) for name in names]
    if json:
        print_json(answers[0] if station is not None else answers)
        return
    for answer in answers:
        say(answer.sentence)
        if station is not None:
            print_table(answer.yearly)
            for text in answer.notes:
                say(f"  note: {text}")


@app.command()
def habitat(
    water: Annotated[str, typer.Argument(metavar="WATER", help="Id of the water.")],
    species: Annotated[
        str, typer.Option("--species", metavar="KEY", help="As in config/species.toml.")
    ] = "walleye",
    workspace: WorkspaceOption = HERE,
    as_of: AsOfOption = None,
    json: JsonOption = False,
) -> None:
    """Thermal-optical habitat of a sight-feeding fish in WATER, year by year."""
    with opened(workspace, as_of=as_of) as ws:
        answer = ws.habitat(water, species)
    if json:
        print_json(answer)
        return
    say(answer.sentence)
    print_table(answer.yearly)
    for text in answer.notes:
        say(f"  note: {text}")


@app.command()
def alerts(
    try_rule: Annotated[
        str | None, typer.Option("--try", metavar="RULE", help="Replay one rule over the past instead.")
    ] = None,
    since: Annotated[
        str, typer.Option("--since", metavar="YYYY-MM-DD", help="Where a replay starts.")
    ] = "2000-01-01",
    exit_code: Annotated[
        bool, typer.Option("--exit-code", help="Exit code 1 when episodes are open.")
    ] = False,
    everything: Annotated[bool, typer.Option("--all", help="Show episodes that are over too.")] = False,
    workspace: WorkspaceOption = HERE,
    as_of: AsOfOption = None,
    json: JsonOption = False,
) -> None:
    """Run the rules and list open episodes; may be run as often as one likes."""
    with opened(workspace, as_of=as_of) as ws:
        if try_rule is not None:
            replayed = ws.try_rule(try_rule, parse_day("--since", since))
            print_json(replayed) if json else say(replayed.sentence)
            return
        ws.evaluate_alerts()
        table = ws.episodes()
    live = table[table["state"] != "over"]
    shown = table if everything else live
    if json:
        print_json(shown)
    elif shown.empty:
        say("Nothing needs attention.")
    else:
        print_table(shown[["severity", "state", "opened", "message"]])
    if exit_code and (live["state"] == "open").any():
        raise typer.Exit(1)


@app.command()
def fish(
    species: Annotated[
        str, typer.Option("--species", metavar="NAME", help="Common or scientific name.")
    ] = "walleye",
    gear: Annotated[
        str | None, typer.Option("--gear", metavar="NAME", help="One gear; each by itself when left out.")
    ] = None,
    window: Annotated[
        str | None, typer.Option("--window", metavar="NAME", help="Which readings belong to a survey.")
    ] = None,
    workspace: WorkspaceOption = HERE,
    as_of: AsOfOption = None,
    json: JsonOption = False,
) -> None:
    """Catch of a species against the clarity of its water, one gear at a time."""
    from fathomlight.fish import cautions

    with opened(workspace, as_of=as_of) as ws:
        gears = [gear] if gear is not None else ws.survey_gears()
        answers = {g: ws.clarity_effect(species, g, window=window) for g in gears}
        catch = ws.catch_per_effort(species, gear)
    if json:
        print_json({"species": species, "effects": answers, "catch_per_effort": catch})
        return
    for name, answer in answers.items():
        say(f"== {name}")
        for sentence in answer.sentences:
            say(f"  {sentence}")
        say(f"  {answer.method}")
    for text in dict.fromkeys(c for g in gears for c in cautions(g)):
        say(f"caution: {text}")


class ExportKind(StrEnum):
    """What can be written."""

    NETCDF = "netcdf"
    CSV = "csv"
    GEOJSON = "geojson"
    PARQUET = "parquet"
    ZARR = "zarr"
    DARWIN_CORE = "darwin-core"


@app.command()
def export(
    kind: Annotated[ExportKind, typer.Argument(help="What to write.")],
    path: Annotated[Path, typer.Argument(metavar="PATH", help="File, or folder for csv and netcdf.")],
    parameter: Annotated[
        str | None, typer.Option("--parameter", metavar="NAME", help="One parameter; all when left out.")
    ] = None,
    station: StationOption = None,
    workspace: WorkspaceOption = HERE,
    as_of: AsOfOption = None,
) -> None:
    """Write readings (netcdf, csv, parquet), season cells (zarr), stations (geojson) or surveys (darwin-core)."""
    with opened(workspace, as_of=as_of) as ws:
        written = ws.export(kind.value, path, parameter=parameter, station=station)
    for file in written:
        note(f"Wrote {file}")
