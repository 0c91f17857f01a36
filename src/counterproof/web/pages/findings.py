"""Findings: what is known about a counter, how sure it is, and what would refute it."""

from __future__ import annotations

from urllib.parse import quote

from starlette.responses import Response

from counterproof.kit import Instrument
from counterproof.progress import Report
from counterproof.records import Finding
from counterproof.texts import text
from counterproof.web.asking import Ask


def listing(ask: Ask) -> Response:
    """The findings that were kept."""
    counter = ask.counter()
    return ask.page(
        "findings.html.j2",
        counter=counter,
        counters=ask.bench.names(Instrument),
        findings=ask.bench.list(Finding, counter),
    )


def weigh(ask: Ask) -> Response:
    """Weigh the evidence anew and keep what follows."""
    counter, bench, desk = ask.counter(), ask.bench, ask.desk

    def work(report: Report) -> str:
        from counterproof.workshop.findings import draw_findings, keep_findings

        found = draw_findings(bench, counter, report)
        keep_findings(bench, found)
        sentences = [text("web.findings.weighed", n=len(found.findings)), *found.missing]
        told = desk.remark(" ".join(sentences))
        return f"/findings?counter={quote(counter)}&told={told}"

    return ask.go(f"/jobs/{desk.jobs.start(text('web.findings.weighing'), work).number}")
