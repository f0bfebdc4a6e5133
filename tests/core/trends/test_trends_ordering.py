"""The order of packed keys is numpy's stable one, whatever the keys."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from fathomlight.trends.ordering import order_of


def assert_stable(keys):
    # against numpy's stable argsort, an independent sort
    order, ordered = order_of(keys)
    expected = np.argsort(keys, kind="stable")
    assert order.dtype == np.int32
    assert np.array_equal(order, expected)
    assert np.array_equal(ordered, keys[expected])


@settings(max_examples=150)
@given(arrays(np.float64, st.integers(0, 60), elements=st.floats(allow_nan=False, allow_infinity=False)))
def test_any_finite_keys(keys):
    assert_stable(keys)


@settings(max_examples=60)
@given(arrays(np.float64, st.integers(2, 200), elements=st.sampled_from([0.0, -0.0, 1.0, 1.0 + 2**-52, 2.0])))
def test_ties_and_neighbours(keys):
    assert_stable(keys)


def crowded():
    """Return keys closer together than the upper bits can tell, beside one far away."""
    keys = 1.0 + np.random.default_rng(3).permutation(4000) * 2.0**-52
    keys[1234] = 2.0**12
    return keys


def test_keys_the_packing_cannot_tell_apart(monkeypatch):
    keys = crowded()
    stable_sorts = []
    argsort = np.argsort
    monkeypatch.setattr(np, "argsort", lambda *a, **k: stable_sorts.append(1) or argsort(*a, **k))
    order, _ = order_of(keys)
    assert stable_sorts  # too many to put right one by one
    monkeypatch.undo()
    assert np.array_equal(order, np.argsort(keys, kind="stable"))


def test_few_such_keys_are_put_right_in_place(monkeypatch):
    keys = np.random.default_rng(4).standard_normal(5000)
    keys[100:108] = 1.0 + np.array([5, 3, 7, 1, 3, 0, 2, 6]) * 2.0**-52
    expected = np.argsort(keys, kind="stable")
    monkeypatch.setattr(np, "argsort", lambda *a, **k: pytest.fail("sorted anew"))
    order, ordered = order_of(keys)
    assert np.array_equal(order, expected)
    assert np.array_equal(ordered, keys[expected])


@pytest.mark.parametrize("size", [0, 1, 2, 3])
def test_short_and_constant(size):
    assert_stable(np.full(size, 7.5))
    assert_stable(np.arange(size, 0.0, -1))


def test_an_infinite_span_is_sorted_all_the_same():
    assert_stable(np.array([1.7e308, -1.7e308, 0.0, 1.0, -1.7e308]))
    assert_stable(np.array([5e-324, 0.0, 1e-323, 0.0]))


def test_packing_leaves_room_for_the_place():
    # 2**16 places need 16 bits, one more needs 17: the place must not reach into the key
    for n in (2**16, 2**16 + 1):
        assert_stable(np.random.default_rng(n).permutation(n) % 977.0)
