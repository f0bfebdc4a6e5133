"""Verbs about people: audit."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fathomlight.cli.app import (
    HERE,
    JsonOption,
    WorkspaceOption,
    app,
    note,
    opened,
    parse_day,
    print_json,
    print_table,
    say,
)

COLUMNS = {
    "done": "when (UTC)", "who": "who", "role": "role", "deed": "what was done", "what": "to what", "why": "why",
}  # fmt: skip


@app.command()
def audit(
    start: Annotated[
        str | None, typer.Option("--from", metavar="YYYY-MM-DD", help="First day (UTC).")
    ] = None,
    end: Annotated[str | None, typer.Option("--to", metavar="YYYY-MM-DD", help="Last day (UTC).")] = None,
    action: Annotated[
        list[str] | None,
        typer.Option("--action", metavar="NAME", help="Only this action, e.g. flag; may be given again."),
    ] = None,
    who: Annotated[
        str | None, typer.Option("--who", metavar="NAME", help="Only what this person did.")
    ] = None,
    limit: Annotated[int, typer.Option("--limit", min=1, help="At most so many, the newest first.")] = 100,
    csv: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write a CSV file instead of a table.")
    ] = None,
    workspace: WorkspaceOption = HERE,
    json: JsonOption = False,
) -> None:
    """Who did what: loads, flags, episodes seen, batches withdrawn, settings changed, logins, refusals."""
    first, last = parse_day("--from", start), parse_day("--to", end)
    with opened(workspace) as ws:
        counts = ws.audit_counts(start=first, end=last)
        unknown = sorted(set(action or ()) - set(ws.audit_counts()))
        table = ws.trail(who=who, action=action or None, start=first, end=last, limit=limit)
    if unknown:
        note(f"Nobody has done this yet: {', '.join(unknown)}")
    if json:
        print_json(table)
        return
    if csv is not None:
        from fathomlight.cells import escape_frame

        escape_frame(table.assign(done=table["done"].dt.strftime("%Y-%m-%dT%H:%M:%SZ"))).to_csv(
            csv, index=False, encoding="utf-8-sig"
        )
        note(f"Wrote {csv}")
        return
    if table.empty:
        say("Nothing was written down here.")
        return
    shown = table[list(COLUMNS)].rename(columns=COLUMNS)
    print_table(shown.assign(**{"when (UTC)": table["done"].dt.strftime("%d %b %Y %H:%M").str.lstrip("0")}))
    total = sum(n for name, n in counts.items() if not action or name in action)
    if who is None and len(table) < total:
        say(f"The newest {len(table)} of {total}; --limit shows more.")
