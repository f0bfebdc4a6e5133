"""The Atom feed of episodes: a file that any feed reader follows (RFC 4287)."""

from __future__ import annotations

import datetime as dt
import re
import uuid
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from fathomlight.config_notices import FeedSettings
from fathomlight.export.safely import write_safely
from fathomlight.indices.words import CLARITY_CAUTION
from fathomlight.notices.digest import SEVERITY_WORDS
from fathomlight.notices.settings import load_notices

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

ATOM = "http://www.w3.org/2005/Atom"
"""Namespace of Atom, RFC 4287 section 1.2."""

_STATES = {"open": "open", "seen": "seen, not over", "over": "over"}
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def atom_feed(ws: Workspace, *, settings: FeedSettings | None = None) -> bytes:
    """Write the episodes of a workspace as an Atom feed.

    Parameters
    ----------
    ws : Workspace
        Its stored episodes are written; run its rules first.
    settings : FeedSettings, optional
        Those of ``config/notices.toml`` when left out.

    Returns
    -------
    bytes
        UTF-8 XML, newest entry first; the same episodes give the same bytes. No observer is named in it.

    References
    ----------
    Nottingham, M. & R. Sayre (eds.). 2005. The Atom Syndication Format. RFC 4287.
    """
    chosen = settings or load_notices(ws).feed
    feed_id = chosen.id or _urn(uuid.uuid5(uuid.NAMESPACE_URL, f"fathomlight:{ws.name}"))
    table = ws.episodes()
    entries = sorted(
        ((_updated(row), row) for row in table.to_dict("records")),
        key=lambda e: (e[0], e[1]["key"]),
        reverse=True,
    )[: chosen.entries]
    ET.register_namespace("", ATOM)
    feed = ET.Element(_tag("feed"), {"{http://www.w3.org/XML/1998/namespace}lang": "en"})
    _text(feed, "id", feed_id)
    label = " (invented data)" if ws.invented and "invented" not in ws.name.lower() else ""
    _text(feed, "title", chosen.title or f"{ws.name}: episodes{label}")
    _text(feed, "subtitle", CLARITY_CAUTION)
    _text(feed, "updated", _instant(entries[0][0] if entries else pd.Timestamp(ws.as_of, tz="UTC")))
    _text(ET.SubElement(feed, _tag("author")), "name", ws.name)
    _text(feed, "generator", "Fathomlight")
    if chosen.address:
        ET.SubElement(
            feed, _tag("link"), {"rel": "self", "type": "application/atom+xml", "href": chosen.address}
        )
    for updated, row in entries:
        _entry(feed, feed_id, updated, row)
    ET.indent(feed)
    out: bytes = ET.tostring(feed, encoding="utf-8", xml_declaration=True)
    return out + b"\n"


def _entry(feed: ET.Element, feed_id: str, updated: pd.Timestamp, row: dict[Any, Any]) -> None:
    entry = ET.SubElement(feed, _tag("entry"))
    _text(entry, "id", _urn(uuid.uuid5(uuid.NAMESPACE_URL, f"{feed_id} {row['key']}")))
    rule = str(row["rule"]).replace("-", " ")
    _text(entry, "title", f"{row['name']}: {rule} ({_STATES.get(row['state'], row['state'])})")
    _text(entry, "updated", _instant(updated))
    _text(entry, "published", _instant(pd.Timestamp(row["opened"])))
    ET.SubElement(
        entry,
        _tag("category"),
        {"term": str(row["severity"]), "label": SEVERITY_WORDS.get(row["severity"], str(row["severity"]))},
    )
    _text(entry, "content", str(row["message"]), type="text")


def _updated(row: dict[Any, Any]) -> pd.Timestamp:
    """Return when something worth telling last happened: it opened, was seen, or ended."""
    times = [
        pd.Timestamp(row[n]) for n in ("opened", "seen_at", "over") if row[n] is not None and pd.notna(row[n])
    ]
    return max(t if t.tzinfo else t.tz_localize("UTC") for t in times)


def _instant(when: pd.Timestamp) -> str:
    moment = when if when.tzinfo else when.tz_localize("UTC")
    return (
        moment.tz_convert("UTC").to_pydatetime(warn=False).astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    )


def _tag(name: str) -> str:
    return f"{{{ATOM}}}{name}"


def _urn(number: uuid.UUID) -> str:
    return f"urn:uuid:{number}"


def _text(parent: ET.Element, name: str, text: str, **attributes: str) -> None:
    element = ET.SubElement(parent, _tag(name), attributes)
    element.text = _NOT_XML.sub("\ufffd", text)


def write_feed(ws: Workspace, path: str | Path, *, settings: FeedSettings | None = None) -> bool:
    """Write the feed to a file, whole or not at all; a file that is already right is left alone.

    Parameters
    ----------
    ws : Workspace
        As for :func:`atom_feed`.
    path : str or pathlib.Path
        The file.
    settings : FeedSettings, optional
        As for :func:`atom_feed`.

    Returns
    -------
    bool
        Whether the file changed; readers ask by its time.
    """
    target, content = Path(path), atom_feed(ws, settings=settings)
    if target.is_file() and target.read_bytes() == content:
        return False
    write_safely(target, lambda place: place.write_bytes(content), verify=lambda place: ET.parse(place))
    return True
