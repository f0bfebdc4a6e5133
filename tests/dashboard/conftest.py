"""Every test opens its own workspace and leaves none open."""

from __future__ import annotations

from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def _nothing_stays_open() -> Iterator[None]:
    """Forget what the pages remember, and close what they opened."""
    yield
    from fathomlight_dashboard import data

    data.forget_all()
