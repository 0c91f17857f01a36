"""Figures: drawn once, on the page and as files (SVG, PNG, CSV)."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.responses import Response

from counterproof.records import Chart, Outcome, Outlook, Run
from counterproof.web.asking import Ask

if TYPE_CHECKING:
    from counterproof.bench import Bench

_TYPES = {"svg": "image/svg+xml", "png": "image/png", "csv": "text/csv; charset=utf-8"}


def chart_of(bench: Bench, kind: str, name: str, number: int) -> Chart | None:
    """Return a chart by where it stands, ``None`` if there is none."""
    charts: list[Chart] = []
    if kind == "outcome":
        charts = list(bench.get(Outcome, name).charts)
    elif kind == "run":
        from counterproof.workshop.evidence import evidence_of
        from counterproof.workshop.pictures import run_charts

        charts = run_charts(evidence_of(bench, bench.get(Run, name)))
    elif kind == "outlook":
        from counterproof.workshop.pictures import outlook_charts

        charts = outlook_charts(bench.get(Outlook, name))
    elif kind == "calibration":
        from counterproof.records.calibration import Calibration

        charts = list(bench.get(Calibration, name).charts)
    return charts[number] if number < len(charts) else None


@lru_cache(maxsize=256)
def _drawn(content: str, suffix: str) -> bytes:
    from counterproof import charts

    chart = Chart.model_validate_json(content)
    if suffix == "page":
        return charts.svg(chart).encode()
    if suffix == "svg":
        return charts.svg(chart, for_page=False).encode()
    if suffix == "png":
        return charts.png(chart)
    return charts.csv(chart).encode()


def figure(ask: Ask) -> Response:
    """A figure as a file; ``page`` for the picture that takes the page's ink."""
    suffix = ask.path("suffix")
    chart = chart_of(ask.bench, ask.path("kind"), ask.path("id"), int(ask.path("number")))
    if chart is None or (suffix not in _TYPES and suffix != "page"):
        raise HTTPException(404)
    drawn = _drawn(chart.model_dump_json(), suffix)
    headers = {"content-security-policy": "default-src 'none'; style-src 'unsafe-inline'"}
    if suffix != "page":
        name = f"{ask.path('kind')}-{ask.path('id')}-{ask.path('number')}.{suffix}"
        headers["content-disposition"] = f'attachment; filename="{name}"'
    kind = _TYPES.get(suffix, "image/svg+xml")
    return Response(drawn, media_type=kind, headers=headers)
