"""Against all permutations: the exact distribution, and the variance under ties, same times and qualifiers."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fathomlight.trends import mann_kendall, seasonal_step


def certain_order(first, second):
    """+1, -1, 0: is the second (value, mark) certainly above, below, or neither."""
    (a, qa), (b, qb) = first, second
    low = {"=": a, "<": -math.inf, ">": a}[qa], {"=": b, "<": -math.inf, ">": b}[qb]
    high = {"=": a, "<": a, ">": math.inf}[qa], {"=": b, "<": b, ">": math.inf}[qb]
    if high[0] < low[1] or (high[0] == low[1] and (qa == "<" or qb == ">")):
        return 1
    if low[0] > high[1] or (low[0] == high[1] and (qa == ">" or qb == "<")):
        return -1
    return 0


def score_by_hand(times, items):
    pairs = itertools.combinations(range(len(items)), 2)
    return sum(int(np.sign(times[j] - times[i])) * certain_order(items[i], items[j]) for i, j in pairs)


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        (("<", 1), ("=", 10), 1),
        (("<", 1), ("=", 0.5), 0),
        (("<", 1), ("<", 5), 0),
        (("<", 1), ("=", 1), 1),
        (("=", 3), (">", 5), 1),
        ((">", 5), ("=", 6), 0),
        ((">", 5), (">", 7), 0),
        ((">", 5), ("=", 5), -1),
        ((">", 3), ("<", 3), -1),
        (("<", 3), (">", 2), 0),
    ],
)
def test_pairs_under_qualifiers(first, second, expected):
    # Helsel 2012 for "<", its reflection for ">"
    answer = mann_kendall([first[1], second[1]], qualifiers=[first[0], second[0]])
    assert answer.s == expected
    assert certain_order(first[::-1], second[::-1]) == expected


marks = st.sampled_from(["=", "=", "=", "<", ">"])
items = st.lists(st.tuples(st.integers(0, 4), marks), min_size=3, max_size=6)


@settings(max_examples=40)
@given(items, st.data())
def test_variance_is_that_of_all_permutations(chosen, data):
    times = sorted(data.draw(st.lists(st.integers(0, 5), min_size=len(chosen), max_size=len(chosen))))
    scores = [score_by_hand(times, order) for order in itertools.permutations(chosen)]
    answer = mann_kendall([v for v, _ in chosen], times, qualifiers=[q for _, q in chosen])
    assert np.mean(scores) == pytest.approx(0, abs=1e-9)
    assert answer.variance == pytest.approx(np.mean(np.square(scores)), abs=1e-9)
    assert answer.s == score_by_hand(times, chosen)


def test_variance_of_seven_with_qualifiers():
    chosen = [(2, "="), (3, ">"), (1, "<"), (2, "="), (2, "<"), (4, "="), (3, "=")]
    times = [1, 1, 2, 3, 4, 4, 5]
    scores = [score_by_hand(times, order) for order in itertools.permutations(chosen)]
    answer = mann_kendall([v for v, _ in chosen], times, qualifiers=[q for _, q in chosen])
    assert answer.variance == pytest.approx(np.mean(np.square(scores)), abs=1e-9)


@pytest.mark.parametrize("n", [3, 4, 5, 6, 7])
def test_exact_p_by_enumeration(n):
    scores = np.array(
        [score_by_hand(range(n), [(v, "=") for v in p]) for p in itertools.permutations(range(n))]
    )
    for order in itertools.islice(itertools.permutations(range(n)), 0, None, 7):
        answer = mann_kendall(order)
        assert answer.exact
        assert answer.p == pytest.approx(min(1.0, 2 * np.mean(scores >= abs(answer.s))))


def test_exact_tables(published):
    from fathomlight.trends._scores import exact_two_sided

    for n, tail in published.EXACT_TAILS.items():
        for s, p in tail.items():
            assert exact_two_sided(s, n) == pytest.approx(min(1.0, 2 * p), abs=1.1e-4)


def test_exact_only_without_ties():
    assert mann_kendall([1, 2, 3, 5, 4]).exact
    assert not mann_kendall([1, 2, 2, 5, 4]).exact
    assert not mann_kendall([1, 2, 3, 5, 4], [1, 1, 2, 3, 4]).exact
    assert not mann_kendall([1, 2, 3, 5, 4], qualifiers=["=", "=", "<", "=", "="]).exact
    assert not mann_kendall(range(11)).exact


def test_step_variance_is_that_of_all_permutations():
    chosen = [(1, "="), (2, "<"), (2, "="), (3, ">"), (2, "=")]
    groups = [0, 0, 0, 1, 1]
    scores = [score_by_hand(groups, order) for order in itertools.permutations(chosen)]
    answer = seasonal_step(
        [v for v, _ in chosen], [2001, 2002, 2003, 2004, 2005], ["May"] * 5, at=2004,
        qualifiers=[q for _, q in chosen],
    )  # fmt: skip
    assert answer.variance == pytest.approx(np.mean(np.square(scores)))
