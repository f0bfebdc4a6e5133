"""Published examples for the trend tests."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

EXAMPLES = Path(__file__).parents[2] / "reference" / "trend_examples.py"


@pytest.fixture(scope="session")
def published() -> ModuleType:
    """The published numbers, with their sources."""
    spec = importlib.util.spec_from_file_location("trend_examples", EXAMPLES)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
