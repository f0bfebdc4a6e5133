"""What the server writes to its log: plain lines, or with ``FATHOMLIGHT_LOG=json`` one JSON object a line.

Logs carry no personal data: people appear as a keyed hash (:func:`fathomlight_dashboard.login.pseudonym`), JSON
lines tell the type and the place of an error but not its message, and what looks like an e-mail address is
taken out of every JSON line.
"""

from __future__ import annotations

import datetime as dt
import json
import logging
import os
import re
import traceback
from pathlib import Path
from typing import Any

LOG_VARIABLE = "FATHOMLIGHT_LOG"
"""Environment variable: ``json`` for JSON lines, anything else for plain ones."""

_EMAIL = re.compile(r"[^\s@\"'<>(),;:=]+@[^\s@\"'<>(),;:=]+\.[^\s@\"'<>(),;:=]+")
_OURS = ("who", "role", "outcome", "seconds", "batch", "page", "reference", "running")


def without_addresses(text: str) -> str:
    """Return a text with every e-mail address taken out.

    Examples
    --------
    >>> without_addresses("no rights for ana@lakes.example, refused")
    'no rights for (address), refused'
    """
    return _EMAIL.sub("(address)", text)


class JsonLines(logging.Formatter):
    """One JSON object a line: ``time`` (UTC), ``level``, ``logger``, ``message``, ``process`` and what was added.

    Examples
    --------
    >>> record = logging.LogRecord("fathomlight", 20, "", 0, "page %s", ("waters",), None)
    >>> json.loads(JsonLines().format(record))["message"]
    'page waters'
    """

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        moment = dt.datetime.fromtimestamp(record.created, dt.UTC)
        line: dict[str, Any] = {
            "time": moment.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": without_addresses(record.getMessage()),
            "process": record.process,
        }
        line.update({k: getattr(record, k) for k in _OURS if hasattr(record, k)})
        if record.exc_info and record.exc_info[0] is not None:
            frames = traceback.extract_tb(record.exc_info[2])
            line["error"] = record.exc_info[0].__name__
            line["trace"] = [f"{Path(f.filename).name}:{f.lineno} {f.name}" for f in frames]
        return json.dumps(line, ensure_ascii=False, default=str)


def setup() -> None:
    """Give every log of this process its form; calling it again does no harm."""
    ours = logging.getLogger("fathomlight")
    ours.setLevel(logging.INFO)
    if os.environ.get(LOG_VARIABLE, "").lower() != "json":
        if not ours.handlers:
            ours.addHandler(_handler(logging.Formatter("%(asctime)s %(levelname)s %(name)s: %(message)s")))
            ours.propagate = False
        return
    import streamlit.logger

    # Streamlit gives each of its loggers a handler of its own, also to those that are made later.
    streamlit.logger.setup_formatter = _give_json
    _give_json(logging.getLogger())
    for logger in [v for v in logging.root.manager.loggerDict.values() if isinstance(v, logging.Logger)]:
        if logger.handlers:
            _give_json(logger)
    ours.propagate = True
    ours.handlers.clear()
    logging.captureWarnings(True)


def _handler(formatter: logging.Formatter) -> logging.Handler:
    handler = logging.StreamHandler()
    handler.setFormatter(formatter)
    return handler


def _give_json(logger: logging.Logger) -> None:
    logger.handlers[:] = [_handler(JsonLines())]
