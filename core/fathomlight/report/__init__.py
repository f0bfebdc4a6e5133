"""Answers become pages: one station, the network, or one page for a volunteer; as HTML or PDF.

>>> from fathomlight.report import station_report, write_report      # doctest: +SKIP
>>> report = station_report(workspace, "KEL-1", 2025)                # doctest: +SKIP
>>> write_report(report, "kelm-2025.pdf")                            # doctest: +SKIP

A page asks nothing of any other place: styles and pictures are inside it. Nothing in a report is later than its
year, and no observer is named in it.
"""

from __future__ import annotations

from fathomlight.report.document import Report
from fathomlight.report.network import network_report
from fathomlight.report.station import station_report, volunteer_report
from fathomlight.report.write import pdf_available, report_pdf, write_report

__all__ = [
    "Report",
    "network_report",
    "pdf_available",
    "report_pdf",
    "station_report",
    "volunteer_report",
    "write_report",
]
