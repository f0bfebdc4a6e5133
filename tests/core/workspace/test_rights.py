"""Rights are enforced in the workspace, not by hiding buttons."""

from __future__ import annotations

from pathlib import Path

import pytest

from fathomlight.errors import ArgumentError, NotAllowedError
from fathomlight.ingest import Visit
from fathomlight.workspace import ROLES, Rights, open_workspace

VISIT = Visit(station="VEL-1", date="2025-09-27", time="11:00", disc_down="8.0")


@pytest.mark.parametrize("role", ROLES)
def test_each_role_may_what_it_may(own_workspace: Path, role: str) -> None:
    rank = ROLES.index(role)  # type: ignore[arg-type]
    with open_workspace(own_workspace, actor="p", rights=Rights(role)) as ws:  # type: ignore[arg-type]
        assert len(ws.standings()) == 14
        row = ws.series("VEL-1").iloc[0]
        identity = {k: row[k] for k in ("station", "parameter", "depth_m", "time", "replicate")}
        open_key = ws.episodes("open")["key"].iloc[0]
        batch = int(ws.batches()["batch"].iloc[0])
        deeds = [
            (1, lambda: ws.add_visit(VISIT)),
            (2, lambda: ws.set_flag(identity, 3, "looked at it")),
            (2, lambda: ws.mark_seen(open_key, "seen")),
            (2, lambda: ws.withdraw(batch, "trial")),
            (2, lambda: ws.restore(batch, "trial over")),
        ]
        version = ws.data_version
        for least, deed in deeds:
            if rank >= least:
                deed()
            else:
                with pytest.raises(NotAllowedError, match="role"):
                    deed()
        if role == "reader":
            assert ws.data_version == version


def test_rights_may_be_limited_to_waters(own_workspace: Path) -> None:
    rights = Rights("reviewer", frozenset({"tannerook"}))
    with open_workspace(own_workspace, rights=rights) as ws:
        with pytest.raises(NotAllowedError, match="vellumere"):
            ws.add_visit(VISIT)
        assert (
            ws.add_visit(Visit(station="TAN-1", date="2025-09-27", time="11:00", disc_down="2.0")).n_new == 1
        )
        with pytest.raises(NotAllowedError, match="in these waters"):
            ws.withdraw(1, "not mine")


def test_an_unknown_role_is_refused() -> None:
    with pytest.raises(ArgumentError, match="reviewer"):
        Rights("admin")  # type: ignore[arg-type]


def test_deeds_are_written_down(own_workspace: Path) -> None:
    with open_workspace(own_workspace, actor="reviewer one") as ws:
        ws.withdraw(1, "wrong file")
        log = ws.store.audit_log()
    assert (log["who"].iloc[0], log["action"].iloc[0]) == ("reviewer one", "withdraw")
