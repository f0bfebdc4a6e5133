"""Verbs that bring readings in and look after them: check, load, withdraw, restore, template."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fathomlight.cli.app import (
    HERE,
    JsonOption,
    WorkspaceOption,
    app,
    note,
    opened,
    print_json,
    print_table,
    progress_bar,
    say,
)
from fathomlight.errors import ArgumentError

if TYPE_CHECKING:
    from fathomlight.ingest import ColumnMeaning
    from fathomlight.workspace import CheckReport, Workspace

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="CSV, workbook, logger file or NetCDF.")]
RecipeOption = Annotated[
    str | None, typer.Option("--recipe", metavar="NAME", help="How the file is read; proposed when left out.")
]
ColumnOption = Annotated[
    list[str] | None,
    typer.Option(
        "--column", metavar="NAME=MEANING",
        help="What a column is, instead of a recipe: 'Depth=secchi ft', 'Day=date %d/%m/%Y', 'Sign=qualifier of TP', "
        "'Where=station', 'Remark=comment', 'X=ignored'. Give it once for every column that is guessed wrongly.",
    ),
]  # fmt: skip
WhyOption = Annotated[str, typer.Option("--why", metavar="TEXT", help="Why, in your own words; kept.")]
BatchArgument = Annotated[
    int, typer.Argument(metavar="BATCH", help="Number of the batch, as status shows it.")
]


def _show(report: CheckReport, as_json: bool) -> None:
    if as_json:
        print_json(report)
    else:
        say(report.sentence)
        for warning in report.warnings:
            note(f"  note: {warning}")
        columns = ["line", "column", "value", "reason", "remedy"]
        if len(report.refused):
            print_table(report.refused[columns].head(50), "Refused")
            if len(report.refused) > 50:
                say(f"... and {len(report.refused) - 50} more")
        if len(report.doubts):
            print_table(report.doubts[columns].head(20), "Kept, but look at these")
    if report.n_refused and not report.skipped:
        raise typer.Exit(1)


def _meanings(texts: list[str] | None, ws: Workspace) -> dict[str, ColumnMeaning] | None:
    """Read ``NAME=MEANING`` of every --column; None when there is none."""
    from fathomlight.ingest import parse_meaning

    out = {}
    for text in texts or ():
        name, equals, meaning = text.rpartition("=")
        if not equals:
            raise ArgumentError("column", "not a name and a meaning", got=text, expected="NAME=MEANING")
        out[name.strip()] = parse_meaning(meaning, ws.parameters)
    return out or None


@app.command()
def check(
    file: FileArgument,
    recipe: RecipeOption = None,
    column: ColumnOption = None,
    workspace: WorkspaceOption = HERE,
    json: JsonOption = False,
) -> None:
    """Read FILE and say what loading it would do; nothing is stored. Exit code 1: rows are refused."""
    with opened(workspace) as ws, progress_bar(f"reading {file.name}", quiet=json) as bar:
        report = ws.check(file, recipe, columns=_meanings(column, ws), progress=bar.step)
    _show(report, json)


@app.command()
def load(
    file: FileArgument,
    recipe: RecipeOption = None,
    column: ColumnOption = None,
    why: WhyOption = "",
    workspace: WorkspaceOption = HERE,
    json: JsonOption = False,
) -> None:
    """Load FILE as one batch: good rows are stored, bad rows are listed. Exit code 1: rows were refused."""
    with opened(workspace) as ws, progress_bar(f"loading {file.name}", quiet=json) as bar:
        report = ws.load(file, recipe, columns=_meanings(column, ws), why=why, progress=bar.step)
    _show(report, json)


@app.command()
def withdraw(
    batch: BatchArgument, why: WhyOption = "", workspace: WorkspaceOption = HERE, json: JsonOption = False
) -> None:
    """Take a whole BATCH out of force; what it had corrected comes back. Nothing is deleted."""
    with opened(workspace) as ws:
        change = ws.withdraw(batch, why)
    print_json(change) if json else say(
        f"Batch {batch} is withdrawn: {change.n_gone} readings are gone, "
        f"{change.n_other_value} have their older value again."
    )


@app.command()
def restore(
    batch: BatchArgument, why: WhyOption = "", workspace: WorkspaceOption = HERE, json: JsonOption = False
) -> None:
    """Put a withdrawn BATCH back."""
    with opened(workspace) as ws:
        change = ws.restore(batch, why)
    print_json(change) if json else say(
        f"Batch {batch} is back: {change.n_back} readings have a value again."
    )


@app.command()
def template(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="visits.xlsx to fill in, or sheet.html to print.")
    ],
    workspace: WorkspaceOption = HERE,
) -> None:
    """Write an empty workbook (.xlsx) or a field sheet to print (.html); both load without a recipe."""
    with opened(workspace) as ws:
        path = ws.write_template(file)
    say(f"Wrote {path}")
