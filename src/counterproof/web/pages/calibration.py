"""Calibration: the factor, how sure, for what it holds, and how much may be said."""

from __future__ import annotations

from starlette.responses import Response

from counterproof.progress import Report, step
from counterproof.records import Run
from counterproof.records.calibration import Calibration
from counterproof.texts import text
from counterproof.web.asking import Ask, query


def page(ask: Ask) -> Response:
    """The calibrations that were kept, the latest first, and the form for another."""
    from counterproof.dossier.chapters import calibration_blocks

    bench, counter = ask.bench, ask.counter()
    held = sorted(
        bench.list(Calibration, counter), key=lambda c: str(c.validity.dated), reverse=True
    )
    probes = dict.fromkeys(r.probe for r in bench.list(Run, counter) if r.probe)
    return ask.counter_page(
        "calibration.html.j2",
        counter,
        probes=list(probes),
        found=[(c, list(calibration_blocks(c))) for c in held],
    )


def calibrate(ask: Ask) -> Response:
    """Calibrate from what lies on the bench, and keep the result."""
    from counterproof.kit.fields import nuclide_name
    from counterproof.workshop.calibrating import calibrate_instrument, keep_calibration

    counter, bench, desk = ask.counter(), ask.bench, ask.desk
    probe = ask.typed("probe") or None
    nuclide = ask.typed("nuclide")
    named = nuclide_name(nuclide) if nuclide else ""

    def work(report: Report) -> str:
        step(report, 0, 1)
        found = keep_calibration(
            bench, calibrate_instrument(bench, counter, probe=probe, nuclide=named)
        )
        told = desk.remark(found.title)
        return "/calibration" + query(counter=counter, told=told)

    return ask.work(text("web.calibration.working"), work, "/calibration" + query(counter=counter))
