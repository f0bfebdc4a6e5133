"""Any order of loads, withdrawals and restorations, against a model in memory that a person can check.

The model: a list of batches, each a mapping from identity to the value it says last; in force for an
identity is what the last batch that is not withdrawn says. Nothing of the store's own code is used by it.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from fathomlight.store import BatchInfo, Store, open_store

START = pd.Timestamp("2025-07-01T15:00Z")
IDENTITIES = [(s, d, t) for s in ("Heron Bay", "Otter Point") for d in (0.0, 0.5) for t in range(3)]
rows = st.lists(
    st.tuples(
        st.sampled_from(IDENTITIES), st.sampled_from([1.0, 1.5, 2.0, -0.0, 0.0]), st.sampled_from("=<>")
    ),
    max_size=12,
)


def as_table(content: list[tuple[tuple[str, float, int], float, str]]) -> pd.DataFrame:
    time = pd.to_datetime([START + pd.Timedelta(t, "D") for (_, _, t), _, _ in content], utc=True).as_unit(
        "us"
    )
    return pd.DataFrame(
        {
            "station": pd.Series([s for (s, _, _), _, _ in content], dtype="str"),
            "parameter": pd.Series(["temperature"] * len(content), dtype="str"),
            "depth_m": pd.Series([d for (_, d, _), _, _ in content], dtype="float64"),
            "time": pd.Series(time, dtype="datetime64[us, UTC]"),
            "local_date": pd.Series(time.tz_localize(None).normalize(), dtype="datetime64[us]"),
            "value": pd.Series([v for _, v, _ in content], dtype="float64"),
            "qualifier": pd.Series([q for _, _, q in content], dtype="str"),
        }
    )


class Loads(RuleBasedStateMachine):
    """A store and its model side by side."""

    url = ""

    @initialize()
    def begin(self) -> None:
        self.folder = tempfile.TemporaryDirectory(prefix="fathomlight-model")
        self.store: Store = open_store(self.url or Path(self.folder.name) / "store.sqlite")
        self.said: list[dict[Any, tuple[float, str]]] = []
        self.active: list[bool] = []
        self.first = 0 if not self.url else len(self.store.batches())
        if self.url and self.first:  # a database that an earlier example used: put all of that away
            for batch in self.store.batches().query("state == 'active'")["batch"]:
                self.store.withdraw(int(batch), "", "")

    def in_force(self) -> dict[Any, tuple[float, str]]:
        now: dict[Any, tuple[float, str]] = {}
        for said, active in zip(self.said, self.active, strict=True):
            now |= said if active else {}
        return now

    @rule(content=rows, cut=st.integers(0, 12))
    def load(self, content: list[Any], cut: int) -> None:
        before, said = self.in_force(), {}
        overruled = twice = 0
        for identity, value, qualifier in content:
            if identity in said:
                twice += said[identity] == (value, qualifier)
                overruled += said[identity] != (value, qualifier)
            said[identity] = (value, qualifier)
        known = sum(before.get(identity) == says for identity, says in said.items())
        new = sum(identity not in before for identity in said)
        pieces = iter([as_table(content[:cut]), as_table(content[cut:])])
        result = self.store.load_readings(pieces, BatchInfo(file="f"))
        assert result.batch == self.first + len(self.said) + 1
        assert (result.n_new, result.n_known, result.n_corrected) == (
            new, known + twice, len(said) - new - known + overruled,
        )  # fmt: skip
        self.said.append(said)
        self.active.append(True)

    @precondition(lambda self: any(self.active))
    @rule(data=st.data())
    def load_again(self, data: st.DataObject) -> None:
        """Loading what is in force once more changes nothing."""
        before = self.store.readings()
        now = self.in_force()
        content = [(identity, *says) for identity, says in now.items()]
        result = self.store.load_readings(as_table(content), BatchInfo(file="f"))
        assert result.n_known == len(content) == result.n_rows
        pd.testing.assert_frame_equal(self.store.readings(), before)
        self.said.append(now)
        self.active.append(True)

    @precondition(lambda self: any(self.active))
    @rule(data=st.data())
    def withdraw(self, data: st.DataObject) -> None:
        self._change(data, True)

    @precondition(lambda self: not all(self.active))
    @rule(data=st.data())
    def restore(self, data: st.DataObject) -> None:
        self._change(data, False)

    def _change(self, data: st.DataObject, active: bool) -> None:
        index = data.draw(st.sampled_from([i for i, a in enumerate(self.active) if a is active]))
        before = self.in_force()
        act = self.store.withdraw if active else self.store.restore
        change = act(self.first + index + 1, "", "")
        self.active[index] = not active
        after = self.in_force()
        assert change.n_gone == len(before.keys() - after.keys())
        assert change.n_back == len(after.keys() - before.keys())
        differs = sum(before[key] != after[key] for key in before.keys() & after.keys())
        assert change.n_other_value >= differs  # an equal value may stand again as another version

    @invariant()
    def same_as_model(self) -> None:
        if not hasattr(self, "store"):
            return
        read = self.store.readings()
        days = (read["time"] - START).dt.days
        found = {
            (s, d, int(t)): (v, q)
            for s, d, t, v, q in zip(
                read["station"], read["depth_m"], days, read["value"], read["qualifier"], strict=True
            )
        }
        assert len(found) == len(read)
        assert found == self.in_force()
        standing = set(read["batch"])
        assert all(self.active[batch - self.first - 1] for batch in standing)

    def teardown(self) -> None:
        if not hasattr(self, "store"):
            return
        try:
            check = self.store.check()
            assert check.ok, check.problems
            versions = self.store.history(station=["Heron Bay", "Otter Point"])
            assert versions["version"].is_unique  # nothing is ever lost or doubled
            if not self.url:
                batches = self.store.batches()
                assert len(versions) == (batches["n_new"] + batches["n_corrected"]).sum()
        finally:
            self.store.close()
            self.folder.cleanup()


def run(url: str, examples: int, steps: int) -> None:
    machine = type("Loads", (Loads,), {"url": url})
    chosen = settings(
        max_examples=examples,
        stateful_step_count=steps,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    run_state_machine_as_test(machine, settings=chosen)


def test_any_order_of_loads_and_withdrawals_equals_the_model() -> None:
    run("", 15, 10)


@pytest.mark.slow
def test_any_order_equals_the_model_at_length() -> None:
    run("", 150, 20)


@pytest.mark.database
def test_any_order_equals_the_model_on_postgresql(postgres_url: str) -> None:
    run(postgres_url, 5, 8)
