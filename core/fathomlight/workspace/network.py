"""Trends of a whole network through one kernel, in this process or on a Dask cluster."""

from __future__ import annotations

import pandas as pd

from fathomlight.errors import ArgumentError, MissingExtraError
from fathomlight.seasons import season_cube
from fathomlight.trends import false_discovery, network_trends
from fathomlight.workspace.change import cells_between


def run_network(
    cells: pd.DataFrame, start: int | None = None, end: int | None = None, scheduler: str | None = None
) -> pd.DataFrame:
    """Compute Seasonal Kendall for every station of a table of season cells.

    Parameters
    ----------
    cells : pandas.DataFrame
        Of :func:`fathomlight.seasons.season_cells`, any number of stations.
    start, end : int, optional
        First and last year.
    scheduler : str, optional
        Address of a Dask scheduler.

    Returns
    -------
    pandas.DataFrame
        One row a station, with ``p_adjusted``.

    Raises
    ------
    fathomlight.errors.MissingExtraError
        A scheduler is named and the extra ``distributed`` is not installed.
    fathomlight.errors.ArgumentError
        No cells in the window.
    """
    kept = cells_between(cells, start, end)
    if kept.empty:
        raise ArgumentError("cells", "no season cells in this window", got=(start, end))
    values, codes = season_cube(kept), season_cube(kept, column="qualifier")
    if scheduler is None:
        result = network_trends(values, qualifiers=codes)
    else:
        try:
            from distributed import Client
        except ImportError:
            raise MissingExtraError("distributed", "distributed", "Computing on a cluster") from None
        with Client(scheduler) as client:  # type: ignore[no-untyped-call]
            parts = max(1, len(values["station"]) // max(1, 4 * len(client.scheduler_info()["workers"])))
            lazy = network_trends(values.chunk(station=parts), qualifiers=codes.chunk(station=parts))
            result = lazy.compute()
    table = result.to_dataframe().reset_index()
    table["p_adjusted"] = false_discovery(table["p"].to_numpy(dtype=float))
    return table
