"""What a notice says: one message a run, the gravest first."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from fathomlight.config_notices import SEVERITIES, Target
from fathomlight.indices.words import CLARITY_CAUTION

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

SEVERITY_WORDS = {"act": "to act on", "look": "to look into", "note": "worth knowing"}


@dataclass(frozen=True, kw_only=True)
class Item:
    """One thing to tell: ``key`` is unique for good, ``what`` is ``opened`` or ``over``."""

    key: str
    what: str
    severity: str
    text: str


@dataclass(frozen=True, kw_only=True)
class Digest:
    """One message: subject, body, and what makes it this message and no other."""

    title: str
    body: str
    id: str
    items: tuple[Item, ...]


def due_items(episodes: pd.DataFrame, target: Target, told: Collection[str]) -> list[Item]:
    """Return what a target wants to know and may not have been told.

    Parameters
    ----------
    episodes : pandas.DataFrame
        Of ``ws.episodes()``.
    target : Target
        What is wanted there.
    told : collection of str
        Keys that were sent there.

    Returns
    -------
    list of Item
        Episodes that are open and nobody has seen; and those over, when their opening was told and the end is wanted.
    """
    items = []
    for row in episodes.to_dict("records"):
        if row["severity"] not in target.severities:
            continue
        opened, over = f"opened|{row['key']}", f"over|{row['key']}"
        if row["state"] == "open" and opened not in told:
            items.append(_item(opened, "opened", row))
        elif row["state"] == "over" and target.when_over and opened in told and over not in told:
            items.append(_item(over, "over", row))
    rank: dict[str, int] = {s: i for i, s in enumerate(SEVERITIES)}
    return sorted(items, key=lambda i: (i.what != "opened", rank.get(i.severity, 9), i.text))


def _item(key: str, what: str, row: dict[Any, Any]) -> Item:
    when = f"since {_day(row['opened'])}" if what == "opened" else f"over since {_day(row['over'])}"
    text = " ".join(str(row["message"]).split()) or f"{row['name']}: {row['rule']}"
    return Item(key=key, what=what, severity=row["severity"], text=f"{text} ({when})")


def _day(when: Any) -> str:
    stamp = pd.Timestamp(when)
    return f"{stamp.day} {stamp:%b %Y}"


def compose(ws: Workspace, target: Target, items: list[Item], n_other: int) -> Digest:
    """Write the message.

    Parameters
    ----------
    ws : Workspace
        For its name, and whether it is invented.
    target : Target
        Where it goes.
    items : list of Item
        Not empty.
    n_other : int
        Episodes still open that were told before.

    Returns
    -------
    Digest
        No observer is named in it.
    """
    opened = [i for i in items if i.what == "opened"]
    over = [i for i in items if i.what == "over"]
    parts = [
        f"{sum(i.severity == s for i in opened)} {SEVERITY_WORDS[s]}"
        for s in SEVERITIES
        if any(i.severity == s for i in opened)
    ]
    if over:
        parts.append(f"{len(over)} over")
    title = " ".join(f"{ws.name}: {', '.join(parts)}".split())
    lines = [title + "."]
    if ws.invented:
        lines.append("Invented data: no real water, place or person.")
    for severity in SEVERITIES:
        some = [i for i in opened if i.severity == severity]
        if some:
            lines += ["", SEVERITY_WORDS[severity].capitalize() + ":", *(f"- {i.text}" for i in some)]
    if over:
        lines += ["", "Over:", *(f"- {i.text}" for i in over)]
    lines.append("")
    if n_other:
        word = "episode" if n_other == 1 else "episodes"
        lines.append(f"{n_other} {word} told before {'is' if n_other == 1 else 'are'} still open.")
    lines.append("Mark an episode as seen on the page Attention, and it is told no more.")
    lines.append(CLARITY_CAUTION)
    number = digest_id(target.name, [i.key for i in items])
    lines.append(f"Readings up to {_day(dt.datetime.combine(ws.as_of, dt.time()))}. Digest {number}.")
    return Digest(title=title, body="\n".join(lines), id=number, items=tuple(items))


def digest_id(target: str, keys: list[str]) -> str:
    """Return the same short number for the same message to the same target."""
    text = "\n".join([target, *sorted(keys)])
    return hashlib.sha256(text.encode()).hexdigest()[:10]
