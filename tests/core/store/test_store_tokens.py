"""Login tokens that were ended: known to every program at the store, forgotten when they have run out."""

from __future__ import annotations

import datetime as dt

import pytest

from fathomlight.errors import ArgumentError
from fathomlight.store import open_store

HOUR = dt.timedelta(hours=1)


def now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)


def test_an_ended_token_is_ended_for_everybody(store, url):
    assert not store.token_ended("a" * 64)
    store.end_token("a" * 64, now() + HOUR)
    store.end_token("a" * 64, now() + 2 * HOUR)  # twice is no trouble
    with open_store(url) as other:
        assert other.token_ended("a" * 64)
        assert not other.token_ended("b" * 64)


def test_what_has_run_out_is_forgotten(store, monkeypatch):
    store.end_token("old", now() + HOUR)
    store.end_token("never kept", now() - HOUR)
    assert store.token_ended("old")
    assert not store.token_ended("never kept")
    later = int((now() + 2 * HOUR).timestamp() * 1_000_000)
    monkeypatch.setattr(type(store), "_now", staticmethod(lambda: later))
    store.end_token("new", now() + 3 * HOUR)
    assert not store.token_ended("old")
    assert store.token_ended("new")


def test_an_end_beyond_all_reason_is_held_short_and_nothing_is_refused(store):
    store.end_token("far", dt.datetime(9999, 1, 1, tzinfo=dt.UTC))
    assert store.token_ended("far")
    with pytest.raises(ArgumentError, match="token"):
        store.end_token("", now() + HOUR)


def test_readings_and_their_version_do_not_change(store):
    before = store.data_version()
    store.end_token("a", now() + HOUR)
    assert store.data_version() == before
