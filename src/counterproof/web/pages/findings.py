"""Findings: what is known about a counter, how sure it is, and what would refute it."""

from __future__ import annotations

from starlette.responses import Response

from counterproof.progress import Report
from counterproof.records import Finding
from counterproof.texts import text
from counterproof.web.asking import Ask, query


def listing(ask: Ask) -> Response:
    """The findings that were kept."""
    counter = ask.counter()
    held = ask.bench.list(Finding, counter)
    return ask.counter_page("findings.html.j2", counter, findings=held)


def weigh(ask: Ask) -> Response:
    """Weigh the evidence anew and keep what follows."""
    counter, bench, desk = ask.counter(), ask.bench, ask.desk

    def work(report: Report) -> str:
        from counterproof.workshop.findings import draw_findings, keep_findings

        found = draw_findings(bench, counter, report)
        keep_findings(bench, found)
        sentences = [text("web.findings.weighed", n=len(found.findings)), *found.missing]
        told = desk.remark(" ".join(sentences))
        return "/findings" + query(counter=counter, told=told)

    return ask.work(text("web.findings.weighing"), work, "/findings" + query(counter=counter))
