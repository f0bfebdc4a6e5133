"""Verbs that speak to others: report, notify, feed."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

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
    progress_bar,
    say,
)

if TYPE_CHECKING:
    from fathomlight.report import Report
    from fathomlight.workspace import Workspace


class Paper(StrEnum):
    """Size of a printed page."""

    A4 = "a4"
    LETTER = "letter"


class Form(StrEnum):
    """Kind of file."""

    HTML = "html"
    PDF = "pdf"


@app.command()
def report(
    station: Annotated[
        str | None, typer.Option("--station", metavar="ID", help="The station: id, name or alias.")
    ] = None,
    year: Annotated[
        int | None, typer.Option("--year", metavar="YEAR", help="The year; this one when left out.")
    ] = None,
    start: Annotated[
        str | None, typer.Option("--from", metavar="YYYY-MM-DD", help="First day, instead of a year.")
    ] = None,
    end: Annotated[
        str | None, typer.Option("--to", metavar="YYYY-MM-DD", help="Last day; today when left out.")
    ] = None,
    network: Annotated[bool, typer.Option("--network", help="One report on all stations together.")] = False,
    volunteer: Annotated[
        bool, typer.Option("--volunteer", help="One page in plain language: what your readings showed.")
    ] = False,
    everything: Annotated[
        bool, typer.Option("--all", help="A report for each station with readings.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="PATH",
            help="File ending in .html or .pdf; with --all a folder. Named by itself when left out.",
        ),
    ] = None,
    form: Annotated[
        Form | None,
        typer.Option("--format", help="Kind of file where --out does not say it; html when left out."),
    ] = None,
    paper: Annotated[Paper, typer.Option("--paper", help="Size of the printed page.")] = Paper.A4,
    parameter: Annotated[
        str | None, typer.Option("--parameter", metavar="NAME", help="What speaks for clarity.")
    ] = None,
    species: Annotated[
        str, typer.Option("--species", metavar="KEY", help="Whose habitat, as in config/species.toml.")
    ] = "walleye",
    workspace: WorkspaceOption = HERE,
    as_of: AsOfOption = None,
    json: JsonOption = False,
) -> None:
    """Write a report on a station, on all of them, or a page for a volunteer, as HTML or PDF.

    It is about a year, or about the days --from to --to; the trend uses whole years up to the last all the same.
    """
    _one_of(station, network, everything, volunteer)
    from fathomlight.report import network_report, station_report, volunteer_report, write_report
    from fathomlight.report.write import check_ending

    if out is not None and not everything and not out.is_dir():
        check_ending(out)
    options: dict[str, Any] = {
        "parameter": parameter, "paper": paper.value,
        "year": year, "start": parse_day("--from", start), "end": parse_day("--to", end),
    }  # fmt: skip
    with opened(workspace, as_of=as_of) as ws:
        if everything:
            make = volunteer_report if volunteer else station_report
            more = options if volunteer else {**options, "species": species}
            written = _each(ws, make, more, out, form, quiet=json)
        else:
            if network:
                with progress_bar("stations", quiet=json) as bar:
                    more = {**options, "parameter": parameter or "secchi"}
                    made = network_report(ws, species=species, progress=bar.step, **more)
            elif volunteer:
                made = volunteer_report(ws, str(station), **options)
            else:
                made = station_report(ws, str(station), species=species, **options)
            written = [(made, write_report(made, _target(made, out, form)))]
    if json:
        print_json([_told(made, path) for made, path in written])
        return
    for made, path in written:
        if not everything:
            for sentence in made.state:
                say(sentence)
        note(f"Wrote {path}")


def _one_of(station: str | None, network: bool, everything: bool, volunteer: bool) -> None:
    if sum((station is not None, network, everything)) != 1:
        raise typer.BadParameter("give one of --station ID, --network and --all")
    if network and volunteer:
        raise typer.BadParameter("a volunteer's page is about one station: use --station ID or --all")


def _target(made: Report, out: Path | None, form: Form | None) -> Path:
    ending = (form or Form.HTML).value
    if out is None:
        return Path(f"{made.file_stem}.{ending}")
    if out.is_dir():
        return out / f"{made.file_stem}.{ending}"
    if form is not None and out.suffix.lower() != f".{ending}":
        raise typer.BadParameter(f"--out ends in {out.suffix or 'nothing'}, --format says {ending}")
    return out


def _each(
    ws: Workspace,
    make: Any,
    options: dict[str, Any],
    out: Path | None,
    form: Form | None,
    *,
    quiet: bool,
) -> list[tuple[Report, Path]]:
    from fathomlight.report import write_report

    folder = out or Path("reports")
    if folder.suffix.lower() in (".html", ".pdf") or folder.is_file():
        raise typer.BadParameter("with --all, --out is a folder: one file a station", param_hint="--out")
    folder.mkdir(parents=True, exist_ok=True)
    there = set(ws.counts()["station"])
    names = [s for s in ws.stations if s in there]
    written = []
    with progress_bar("reports", quiet=quiet) as bar:
        for done, name in enumerate(names, start=1):
            made = make(ws, name, **options)
            written.append((made, write_report(made, _target(made, folder, form))))
            bar.step(done, len(names))
    for name in ws.stations:
        if name not in there:
            note(f"{name} has no readings: no report")
    return written


def _told(made: Report, path: Path) -> dict[str, Any]:
    return {
        "file": str(path), "kind": made.kind, "title": made.title, "year": made.year,
        "first": made.first.isoformat(), "last": made.last.isoformat(), "station": made.station,
        "state": list(made.state), "paper": made.paper, "n_figures": made.n_figures,
    }  # fmt: skip


@app.command()
def notify(
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show what would be sent; run no rule, send and write nothing.")
    ] = False,
    resend_unsure: Annotated[
        bool,
        typer.Option("--resend-unsure", help="Also send what an earlier run began and never finished."),
    ] = False,
    workspace: WorkspaceOption = HERE,
    as_of: AsOfOption = None,
    json: JsonOption = False,
) -> None:
    """Run the rules and send notices of new episodes as config/notices.toml says, each once; made for cron."""
    from fathomlight.notices import send_notices

    with opened(workspace, as_of=as_of) as ws:
        if not dry_run:
            ws.evaluate_alerts()
        run = send_notices(ws, dry_run=dry_run, resend_unsure=resend_unsure)
    if json:
        print_json(run)
    else:
        say(run.sentence)
        for target in run.targets:
            if target.outcome == "would be sent":
                say(f"\n== {target.target}: {target.title}\n{target.body}")
        for text in run.notes:
            say(f"  note: {text}")
    if run.failed:
        raise typer.Exit(1)


@app.command()
def feed(
    path: Annotated[Path, typer.Argument(metavar="FILE", help="The Atom file, e.g. alerts.atom.")],
    workspace: WorkspaceOption = HERE,
    as_of: AsOfOption = None,
    json: JsonOption = False,
) -> None:
    """Run the rules and write the episodes as an Atom feed; a file that is already right is left alone."""
    from fathomlight.notices import write_feed

    with opened(workspace, as_of=as_of) as ws:
        ws.evaluate_alerts()
        changed = write_feed(ws, path)
    if json:
        print_json({"file": str(path), "changed": changed})
    else:
        note(f"Wrote {path}" if changed else f"{path} is up to date")
