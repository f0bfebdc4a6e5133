"""The Atom feed has what RFC 4287 asks for (section numbers beside the checks)."""

from __future__ import annotations

import datetime as dt
import xml.etree.ElementTree as ET
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from fathomlight import open_workspace
from fathomlight.notices import FeedSettings, atom_feed, write_feed

from .conftest import EPISODES

A = "{http://www.w3.org/2005/Atom}"


def feed_of(folder: Path, **settings: object) -> ET.Element:
    with open_workspace(folder) as ws:
        chosen = FeedSettings(**settings) if settings else None  # type: ignore[arg-type]
        return ET.fromstring(atom_feed(ws, settings=chosen))


def only(element: ET.Element, name: str) -> ET.Element:
    """Return the one child of this name: exactly one must be there."""
    found = element.findall(A + name)
    assert len(found) == 1, (name, len(found))
    return found[0]


def is_instant(text: str | None) -> dt.datetime:
    """RFC 3339 with a capital T and Z, as section 3.3 asks."""
    assert text is not None
    return dt.datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=dt.UTC)


def test_what_a_feed_must_have(lakes: Path) -> None:
    feed = feed_of(lakes)
    assert feed.tag == A + "feed"
    # 4.1.1: exactly one id, title and updated; an author, for its entries have none of their own.
    assert urlsplit(only(feed, "id").text or "").scheme == "urn"
    assert "invented" in (only(feed, "title").text or "")
    assert only(only(feed, "author"), "name").text
    newest = is_instant(only(feed, "updated").text)
    entries = feed.findall(A + "entry")
    assert len(entries) == len(EPISODES)
    ids = []
    for entry in entries:
        # 4.1.2: exactly one id, title and updated; content, for there is no alternate link.
        ids.append(only(entry, "id").text)
        assert urlsplit(ids[-1] or "").scheme == "urn"
        assert only(entry, "title").text
        assert only(entry, "content").get("type") == "text"  # 4.1.3.1
        assert only(entry, "content").text
        assert is_instant(only(entry, "published").text) <= is_instant(only(entry, "updated").text) <= newest
        assert only(entry, "category").get("term") in {"act", "look", "note"}  # 4.2.2
    assert len(set(ids)) == len(ids)  # 4.2.6
    times = [only(e, "updated").text for e in entries]
    assert times == sorted(times, reverse=True)


def test_an_entry_keeps_its_id_and_moves_when_it_ends(lakes: Path) -> None:
    before = {only(e, "content").text: e for e in feed_of(lakes).findall(A + "entry")}
    with open_workspace(lakes) as ws:
        ws.store.save_episodes([{**EPISODES[0], "state": "over", "over": "2025-09-28T12:00:00+00:00"}])
    first = feed_of(lakes).findall(A + "entry")[0]
    text = EPISODES[0]["message"]
    assert only(first, "content").text == text
    assert only(first, "id").text == only(before[text], "id").text
    assert only(first, "updated").text == "2025-09-28T12:00:00Z"
    assert "(over)" in (only(first, "title").text or "")


def test_nobody_is_named(lakes: Path) -> None:
    with open_workspace(lakes) as ws:
        text = atom_feed(ws).decode()
    assert "Observer Zed" not in text
    assert "private remark" not in text


def test_signs_that_xml_cannot_hold_do_not_break_it(lakes: Path) -> None:
    with open_workspace(lakes) as ws:
        ws.store.save_episodes([{**EPISODES[0], "key": "x", "message": "a\x0bb <script>&amp; \ufffe"}])
    texts = [only(e, "content").text for e in feed_of(lakes).findall(A + "entry")]
    assert "a\ufffdb <script>&amp; \ufffd" in texts


def test_settings_speak(lakes: Path) -> None:
    feed = feed_of(
        lakes, id="tag:example.org,2025:lakes", address="https://lakes.example.org/a.atom", entries=2
    )
    assert only(feed, "id").text == "tag:example.org,2025:lakes"
    assert only(feed, "link").attrib == {
        "rel": "self", "type": "application/atom+xml", "href": "https://lakes.example.org/a.atom"
    }  # fmt: skip
    assert len(feed.findall(A + "entry")) == 2


def test_a_feed_without_episodes_is_whole(lakes: Path, tmp_path: Path, root: Path) -> None:
    import shutil

    shutil.copytree(root / "config", tmp_path / "bare" / "config")
    feed = feed_of(tmp_path / "bare")
    assert is_instant(only(feed, "updated").text)
    assert feed.findall(A + "entry") == []


def test_a_file_that_is_right_is_left_alone(lakes: Path, tmp_path: Path) -> None:
    path = tmp_path / "public" / "alerts.atom"
    with open_workspace(lakes) as ws:
        assert write_feed(ws, path)
        before = path.stat().st_mtime_ns
        assert not write_feed(ws, path)
        assert path.stat().st_mtime_ns == before
        ws.store.save_episodes([{**EPISODES[0], "key": "new"}])
        assert write_feed(ws, path)
    assert [p.name for p in path.parent.iterdir()] == ["alerts.atom"]


@pytest.mark.parametrize("name", ["a", "b"])
def test_two_workspaces_of_other_names_have_other_ids(lakes: Path, name: str) -> None:
    here = only(feed_of(lakes), "id").text
    config = lakes / "config" / "workspace.toml"
    config.write_text(config.read_text().replace("Demo waters (invented)", f"Lakes {name} (invented)"))
    assert only(feed_of(lakes), "id").text != here
