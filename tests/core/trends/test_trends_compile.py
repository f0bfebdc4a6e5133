"""Compiling works where nothing can be written, and common tests need no compiling at all."""

from __future__ import annotations

import subprocess
import sys

import pytest

from fathomlight.trends import _compile


def test_no_folder_to_keep_machine_code_in(monkeypatch):
    real, asked = _compile._njit, []

    def refusing(*signature, cache=False, **options):
        asked.append(cache)
        if cache:
            raise RuntimeError("cannot cache function: no locator available")
        return real(*signature, **options)

    monkeypatch.setattr(_compile, "_njit", refusing)

    @_compile.compiled("int64(int64)")
    def twice(x):
        return 2 * x

    assert twice(4) == 8
    assert asked == [True, False]


@pytest.mark.parametrize(
    "call",
    [
        "mann_kendall(range(100))",
        "theil_sen(range(100), range(100))",
        "seasonal_kendall(range(60), [k // 4 for k in range(60)], [k % 4 for k in range(60)])",
        "change_point(range(100))",
    ],
)
def test_everyday_series_compile_nothing(call):
    code = f"import sys; from fathomlight.trends import *; {call}; print('numba' in sys.modules)"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert found.strip() == "False"
