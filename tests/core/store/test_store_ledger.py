"""Episodes, the audit trail and notices: saved once, never doubled, always with a trace."""

from __future__ import annotations

import threading

import pandas as pd
import pytest

from fathomlight.errors import ArgumentError, NotFoundError, StoreBusyError
from fathomlight.store import EPISODE_COLUMNS


def episode(**more):
    return {
        "rule": "murky", "station": "Heron Bay", "parameter": "secchi", "opened": pd.Timestamp("2025-07-01T15:00Z"),
        "last": pd.Timestamp("2025-07-02T15:00Z"), "over": None, "state": "open", "severity": "attention",
        "message": "below 1 m", "evidence": {"limit_m": 1.0, "values": [0.8, 0.7]},
    } | more  # fmt: skip


def test_saving_twice_changes_nothing(store):
    assert store.save_episodes([episode()]).n_new == 1
    version = store.episodes_version()
    again = store.save_episodes([episode()])
    assert (again.n_new, again.n_changed, again.n_same, again.version) == (0, 0, 1, version)
    table = store.episodes()
    assert {n: str(d) for n, d in table.dtypes.items()} == EPISODE_COLUMNS
    assert table.loc[0, "evidence"] == {"limit_m": 1.0, "values": [0.8, 0.7]}
    assert store.save_episodes(table).n_same == 1
    assert store.episode_log()["action"].tolist() == ["opened"]


def test_a_change_leaves_a_trace_and_keeps_what_people_did(store):
    store.save_episodes([episode()])
    store.mark_seen(1, "manager", "on it")
    saved = store.save_episodes([episode(last=pd.Timestamp("2025-07-05T15:00Z"))], "evaluation")
    assert saved.n_changed == 1
    row = store.episodes().iloc[0]
    assert row["last"] == pd.Timestamp("2025-07-05T15:00Z")
    assert (row["seen_by"], row["seen_note"]) == ("manager", "on it")
    log = store.episode_log(1)
    assert log["action"].tolist() == ["opened", "seen", "changed"]
    assert log["detail"][2]["last"] == ["2025-07-02T15:00:00+00:00", "2025-07-05T15:00:00+00:00"]


def test_a_key_keeps_an_episode_whose_opening_moves(store):
    store.save_episodes([episode(key="k1")])
    store.save_episodes([episode(key="k1", opened=pd.Timestamp("2025-06-30T15:00Z"))])
    assert store.episodes()["opened"].tolist() == [pd.Timestamp("2025-06-30T15:00Z")]
    assert store.save_episodes([episode(key="k2")]).n_new == 1  # e.g. at another depth


def test_episodes_of_the_rules_survive_the_round_trip(store):
    from fathomlight.alerts.episodes import Episode, Trace

    at = pd.Timestamp("2025-07-01T15:00Z")
    told = (Trace(at=at, what="opened", text="below 1 m"),)
    one = Episode(
        rule="murky", kind="limit", severity="attention", station="Heron Bay", parameter="secchi", began=at,
        opened=at, last=at, depth_m=0.0, readings=(at,), peak=0.8, peak_time=at, evidence={"n": 1}, key="k", trace=told,
    )  # fmt: skip
    store.save_episodes([one])
    assert [Episode.from_dict(data) for data in store.episode_records()] == [one]
    store.mark_seen("k", "manager", "on it")
    seen = Episode.from_dict(store.episode_records()[0])
    assert (seen.state, seen.seen_by, [step.what for step in seen.trace]) == (
        "seen",
        "manager",
        ["opened", "seen"],
    )


def test_choices_and_order(store):
    store.save_episodes(
        [
            episode(),
            episode(station="Otter Point", opened="2025-08-01T00:00Z"),
            episode(rule="overdue", parameter=None, state="over", over="2025-07-10T00:00Z"),
        ]
    )
    assert store.episodes()["station"].tolist()[0] == "Otter Point"
    assert store.episodes(state="over")["rule"].tolist() == ["overdue"]
    assert store.episodes(rule=["murky"], station="Heron Bay")["id"].tolist() == [1]
    assert len(store.episodes(since="2025-07-11")) == 2
    assert [r["station"] for r in store.episode_records(rule="murky")] == ["Heron Bay", "Otter Point"]


def test_an_evaluation_that_is_too_late_saves_nothing(store):
    store.save_episodes([episode()])
    version = store.episodes_version()
    store.mark_seen(1, "manager")
    with pytest.raises(StoreBusyError, match="changed by somebody else"):
        store.save_episodes([episode(state="over")], expected_version=version)
    assert store.episodes()["state"].tolist() == ["seen"]


def test_episodes_do_not_touch_the_data_version(store):
    version = store.data_version()
    store.save_episodes([episode()])
    assert store.data_version() == version


def test_wrong_episodes(store):
    with pytest.raises(ArgumentError, match="opened"):
        store.save_episodes([episode(opened=None)])
    with pytest.raises(NotFoundError):
        store.mark_seen(5, "manager")
    assert store.episodes().empty


def test_the_audit_trail(store):
    store.audit("manager", "config", {"file": "alerts.toml", "key": "limit"})
    store.audit("volunteer", "load", "batch 1")
    log = store.audit_log()
    assert log["who"].tolist() == ["volunteer", "manager"]
    assert log["detail"].tolist() == ["batch 1", {"file": "alerts.toml", "key": "limit"}]
    assert store.audit_log(who="manager")["action"].tolist() == ["config"]
    assert len(store.audit_log(limit=1)) == 1
    assert store.audit_log(action=["load", "config"])["action"].tolist() == ["load", "config"]
    assert store.audit_log(action=[]).empty
    done = log["done"].iloc[0]
    assert store.audit_log(start=done)["action"].tolist() == ["load"]
    assert store.audit_log(end=done)["action"].tolist() == ["config"]
    assert store.audit_counts() == {"config": 1, "load": 1}
    assert store.audit_counts(who="manager", end=done) == {"config": 1}
    with pytest.raises(ArgumentError):
        store.audit("manager", "")


def test_a_notice_is_claimed_by_one_of_many(store):
    got: list[bool] = []
    threads = [
        threading.Thread(target=lambda: got.append(store.claim_notice("mail", "episode 1"))) for _ in range(6)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(got) == [False] * 5 + [True]


def test_a_notice_sent_is_never_sent_again_and_one_that_failed_may_be(store):
    assert store.claim_notice("mail", "a")
    store.settle_notice("mail", "a", sent=False, detail="no connection")
    assert store.claim_notice("mail", "a")
    store.settle_notice("mail", "a", sent=True)
    assert not store.claim_notice("mail", "a", stale_s=0)
    assert store.claim_notice("webhook", "a")
    assert not store.claim_notice("webhook", "a")
    assert store.claim_notice("webhook", "a", stale_s=0)
    notices = store.notices().set_index("channel")
    assert notices.loc["mail", ["state", "attempts"]].tolist() == ["sent", 2]
    with pytest.raises(NotFoundError):
        store.settle_notice("mail", "never claimed", sent=True)
