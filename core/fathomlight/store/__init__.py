"""The store: readings, surveys and episodes with their whole history, in SQLite or PostgreSQL.

>>> from fathomlight.store import open_store, BatchInfo   # doctest: +SKIP
>>> store = open_store("data/store.sqlite")               # doctest: +SKIP
"""

from fathomlight.store.batches import BatchChange, BatchInfo, BatchResult
from fathomlight.store.store import Store, open_store

__all__ = ["BatchChange", "BatchInfo", "BatchResult", "Store", "open_store"]
