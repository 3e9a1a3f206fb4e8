"""How long a document of a quote takes.

Run by name: ``python3 -m tests tests/bench/bench_papers.py -n 0 --benchmark-only``. Each round is
another quote, so that nothing that was set before is found again.
"""

from __future__ import annotations

from typing import Any

from tests.bench.paper_measures import pdfs, sheets, xmls


def test_pdf_of_60_lines(benchmark: Any) -> None:
    made = pdfs(60)
    assert benchmark(lambda: next(made)).startswith(b"%PDF")


def test_spreadsheet_of_60_lines(benchmark: Any) -> None:
    made = sheets(60)
    assert benchmark(lambda: next(made)).startswith(b"PK")


def test_xml_of_60_lines(benchmark: Any) -> None:
    made = xmls(60)
    assert benchmark(lambda: next(made)).startswith(b"<?xml")
