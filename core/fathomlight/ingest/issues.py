"""What is wrong with rows: collected column by column, told row by row."""

from __future__ import annotations

import functools
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from fathomlight.ingest.raw import RawTable
from fathomlight.model import REFUSED_COLUMNS, empty_frame

__all__ = ["Issues", "concat_refused"]


@dataclass
class Issues:
    """Rows that cannot be used, the first reason of each counting.

    Attributes
    ----------
    table : RawTable
        The rows they are of.
    bad : numpy.ndarray of bool, shape (rows,)
        Rows already refused.
    """

    table: RawTable
    bad: np.ndarray
    _parts: list[tuple[np.ndarray, str, list[str], list[str], list[str]]] = field(default_factory=list)

    def add(
        self,
        rows: np.ndarray,
        column: str,
        values: np.ndarray | list[str],
        reasons: str | np.ndarray | list[str],
        remedies: str | np.ndarray | list[str],
    ) -> None:
        """Refuse rows, unless they are refused already.

        Parameters
        ----------
        rows : numpy.ndarray of int
            Positions in the table.
        column : str
            The column at fault.
        values, reasons, remedies : str or array of str
            One for all rows, or one per row.
        """
        fresh = ~self.bad[rows]
        rows_left = rows[fresh]
        if not len(rows_left):
            return
        self.bad[rows_left] = True

        def per_row(texts: str | np.ndarray | list[str]) -> list[str]:
            if isinstance(texts, str):
                return [texts] * len(rows_left)
            return [str(t) for t in np.asarray(texts, dtype=object)[fresh]]

        self._parts.append((rows_left, column, per_row(values), per_row(reasons), per_row(remedies)))

    def frame(self) -> pd.DataFrame:
        """Return a table with :data:`~fathomlight.model.REFUSED_COLUMNS`, in file order."""
        parts = []
        for rows, column, values, reasons, remedies in self._parts:
            parts.append(
                pd.DataFrame(
                    {
                        "file": self.table.file,
                        "line": self.table.line[rows],
                        "column": column,
                        "value": values,
                        "reason": reasons,
                        "remedy": remedies,
                        "row_text": self.table.row_texts(rows),
                    }
                )
            )
        return concat_refused(parts)


@functools.cache
def _none() -> pd.DataFrame:
    return empty_frame(REFUSED_COLUMNS)


def concat_refused(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """Put tables of refused rows together, in file order, with the fixed types."""
    filled = [p for p in parts if len(p)]
    if not filled:
        return _none().copy()
    out = pd.concat(filled, ignore_index=True).sort_values("line", kind="stable", ignore_index=True)
    return out[list(REFUSED_COLUMNS)].astype(dict(REFUSED_COLUMNS))
