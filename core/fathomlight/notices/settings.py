"""The settings of a workspace's notices: where they go, when they may, and how often to try."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from fathomlight.config_notices import FILE, NoticeSettings, read_notices

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace


def load_notices(ws: Workspace) -> NoticeSettings:
    """Read the notices of a workspace; returns and raises as :func:`~fathomlight.config_notices.read_notices`.

    Parameters
    ----------
    ws : Workspace
        Quiet hours without a zone are in that of most of its stations.
    """
    return read_notices(ws.root / "config" / FILE, default_zone=_usual_zone(ws))


def _usual_zone(ws: Workspace) -> str:
    zones = Counter(s.timezone for s in ws.stations.values())
    return zones.most_common(1)[0][0] if zones else "UTC"
