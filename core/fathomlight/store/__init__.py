"""The store: readings, surveys and episodes with their whole history, in SQLite or PostgreSQL.

Everything goes through one object, :class:`Store`, that :func:`open_store` returns. Nothing in it is ever
deleted: a corrected reading keeps its older versions, and a batch is withdrawn, not removed.
"""

from fathomlight.store.batches import BatchChange, BatchInfo, BatchResult
from fathomlight.store.checking import CheckResult
from fathomlight.store.flagging import FlagResult
from fathomlight.store.history import HISTORY_COLUMNS
from fathomlight.store.ledger_part import EPISODE_COLUMNS, EpisodesSaved
from fathomlight.store.store import Store, open_store

__all__ = [
    "EPISODE_COLUMNS",
    "HISTORY_COLUMNS",
    "BatchChange",
    "BatchInfo",
    "BatchResult",
    "CheckResult",
    "EpisodesSaved",
    "FlagResult",
    "Store",
    "open_store",
]
