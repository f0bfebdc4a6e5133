"""A report of ten pictures: gathering and drawing it, and turning it into a PDF."""

import pytest

from fathomlight import open_workspace
from fathomlight.report import report_pdf, station_report


@pytest.fixture(scope="module")
def report(demo_workspace):
    with open_workspace(demo_workspace, read_only=True) as ws:
        return station_report(ws, "VEL-1")


@pytest.mark.benchmark(group="report")
def test_report_as_pdf(benchmark, report):
    assert report.n_figures == 10
    assert benchmark.pedantic(report_pdf, args=(report,), rounds=5, warmup_rounds=1).startswith(b"%PDF-")


@pytest.mark.benchmark(group="report")
def test_report_drawn_again(benchmark, demo_workspace):
    """The answers are remembered; sections are written and ten pictures drawn anew."""
    with open_workspace(demo_workspace, read_only=True) as ws:
        station_report(ws, "VEL-1")
        made = benchmark.pedantic(station_report, args=(ws, "VEL-1"), rounds=5)
    assert made.n_figures == 10
