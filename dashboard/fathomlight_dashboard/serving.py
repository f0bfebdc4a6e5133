"""The server: the pages of ``serve.py``, ``/health`` beside them, logs in the form wanted, an orderly stop.

``fathomlight serve`` starts it; so does ``streamlit run``, given the path :data:`fathomlight_dashboard.SERVER`.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import streamlit as st
from starlette.requests import Request
from starlette.responses import JSONResponse
from starlette.routing import Route

from fathomlight_dashboard import APP, data, health, logs, memory

log = logging.getLogger("fathomlight.server")
SEARCHES = memory.Searches()


def _health(_: Request) -> JSONResponse:
    status, body = health.answer()
    return JSONResponse(body, status_code=status, headers={"Cache-Control": "no-store"})


@asynccontextmanager
async def _life(_: Any) -> AsyncIterator[dict[str, Any]]:
    logs.setup()
    memory.settle()
    SEARCHES.start()
    log.info("the server has started")
    threading.Thread(target=_warm, name="first page", daemon=True).start()
    yield {}
    begin = time.monotonic()
    running = health.WORK.running
    done = await health.WORK.finish()
    log.info(
        "the server stops" if done else "the server stops with work under way; the store undoes it whole",
        extra={"running": running, "seconds": round(time.monotonic() - begin, 2)},
    )


def _warm() -> None:
    try:
        data.warm()
    finally:
        SEARCHES.ready()


logs.setup()
app = st.App(APP, routes=[Route("/health", _health)], lifespan=_life)
