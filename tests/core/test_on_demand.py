"""Names of a package on demand: all there, each from its module, and none that hides a module."""

from __future__ import annotations

import ast
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

from fathomlight import figures
from fathomlight.on_demand import names_on_demand


def declared_for_type_checkers():
    """Return name to module as the imports under TYPE_CHECKING say."""
    tree = ast.parse(Path(figures.__file__).read_text(encoding="utf-8"))
    found = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("fathomlight.figures."):
            found |= {alias.name: node.module for alias in node.names}
    return found


def test_both_lists_of_the_pictures_say_the_same():
    declared = declared_for_type_checkers()
    assert sorted(declared) == sorted(figures.__all__)
    for name, module in declared.items():
        assert getattr(figures, name) is getattr(sys.modules[module], name)


def test_no_name_hides_a_module():
    modules = {m.name for m in pkgutil.iter_modules(figures.__path__)}
    assert not modules & set(figures.__all__)


def test_an_unknown_name_is_no_attribute():
    with pytest.raises(AttributeError, match=r"'fathomlight\.figures' has no attribute 'nothing'"):
        figures.nothing  # noqa: B018
    with pytest.raises(AttributeError):
        names_on_demand("fathomlight.figures", {})("station_map")


def test_the_colours_cost_no_pandas_and_no_plotly():
    code = (
        "import sys; from fathomlight.figures.theme import LIGHT; "
        "print(sorted({'pandas', 'plotly', 'scipy', 'xarray'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_workspace_costs_no_scipy_no_xarray_and_no_pictures():
    code = (
        "import sys; import fathomlight.workspace; "
        "print(sorted({'plotly', 'scipy', 'xarray', 'numba', 'statsmodels', 'matplotlib'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
