"""Trends of the network on a local cluster of two workers: the same numbers as in one process."""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import pandas as pd
import pytest

from fathomlight.workspace import open_workspace

pytestmark = pytest.mark.filterwarnings("ignore")  # the cluster's own

NUMBERS = ["s", "variance", "z", "p", "slope", "slope_low", "slope_high", "p_adjusted"]


@pytest.mark.slow
@pytest.mark.usefixtures("plain_main")
def test_a_scheduler_gives_the_same_numbers(demo_workspace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    distributed = pytest.importorskip("distributed")
    from fathomlight.cli import main

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, processes=True
        ) as cluster:
            words = ["trend", "--all", "--scheduler", cluster.scheduler_address, "--json"]
            with pytest.raises(SystemExit) as left:
                main([*words, "--workspace", str(demo_workspace)])
    assert left.value.code in (0, None)
    lazy = pd.DataFrame(json.loads(capsys.readouterr().out)).set_index("station")
    with open_workspace(demo_workspace, read_only=True) as ws:
        here = ws.network_trends().set_index("station")
    assert len(lazy) == 14
    pd.testing.assert_frame_equal(
        lazy[NUMBERS].astype(float), here.loc[lazy.index, NUMBERS].astype(float), check_names=False
    )
