"""What is set aside from the search for garbage, and what still is found."""

from __future__ import annotations

import gc
import sys
import weakref

import pytest

from fathomlight_dashboard import memory


class Ring:
    """An object that holds itself: only a search finds it once nobody else does."""

    def __init__(self) -> None:
        self.me = self


@pytest.fixture
def nothing_set_aside() -> None:
    if gc.get_freeze_count():
        gc.unfreeze()


@pytest.mark.usefixtures("nothing_set_aside")
def test_the_living_are_set_aside_after_a_long_search_and_looked_at_again_later() -> None:
    searches = memory.Searches(long_s=0.0, again_s=3600.0)
    searches.start()
    try:
        kept = Ring()
        seen = weakref.ref(kept)
        gc.collect()
        assert gc.get_freeze_count() > 1000  # a whole interpreter is alive
        del kept
        gc.collect()
        assert seen() is not None  # set aside: not looked at
        searches.again_s = 0.0
        gc.collect()
        assert seen() is None
    finally:
        searches.stop()
    assert gc.get_freeze_count() == 0


@pytest.mark.usefixtures("nothing_set_aside")
def test_new_rings_are_found_while_others_are_set_aside() -> None:
    searches = memory.Searches(long_s=0.0, again_s=3600.0)
    searches.start()
    try:
        gc.collect()
        young = Ring()
        seen = weakref.ref(young)
        del young
        gc.collect()
        assert seen() is None
    finally:
        searches.stop()


def test_a_short_search_sets_nothing_aside() -> None:
    gc.unfreeze()
    searches = memory.Searches(long_s=3600.0)
    searches.start()
    try:
        gc.collect()
        assert gc.get_freeze_count() == 0
    finally:
        searches.stop()


@pytest.mark.usefixtures("nothing_set_aside")
def test_nothing_is_searched_while_the_server_starts() -> None:
    searches = memory.Searches()
    searches.start()
    try:
        assert not gc.isenabled()
        searches.ready()
        assert gc.isenabled()
        assert gc.get_freeze_count() > 1000
    finally:
        searches.stop()
    assert gc.isenabled()
    assert gc.get_freeze_count() == 0


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="a setting of the GNU C library")
def test_the_pools_of_memory_can_be_limited() -> None:
    import pyarrow as pa

    before = pa.default_memory_pool()
    try:
        done = memory.settle(pools=8)
        assert pa.default_memory_pool().backend_name == ("system" if done else before.backend_name)
    finally:
        pa.set_memory_pool(before)
