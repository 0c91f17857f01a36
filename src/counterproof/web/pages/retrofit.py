"""Retrofit: turn the knobs of a design, and state what a change would bring before it is made."""

from __future__ import annotations

from starlette.responses import JSONResponse, Response

from counterproof.errors import UserError
from counterproof.kit import Instrument, Probe, Tube
from counterproof.progress import Report
from counterproof.quantities import parse_number
from counterproof.records import Outlook
from counterproof.texts import text
from counterproof.web.asking import Ask, query
from counterproof.workshop import sliding

KNOBS = {
    "wall_mm": (0.03, 2.0, 0.01, "mm"),
    "window_mg_cm2": (1.0, 10.0, 0.1, "mg/cm²"),
    "filter_mm": (0.0, 3.0, 0.05, "mm"),
    "open_percent": (0.0, 60.0, 1.0, "%"),
}
"""Least, most, step and unit of each knob."""


def page(ask: Ask) -> Response:
    """The knobs, the form, and the outlook that was kept last."""
    from counterproof.dossier.chapters import outlook_blocks
    from counterproof.workshop.pictures import outlook_charts

    bench, counter = ask.bench, ask.counter()
    tubes = bench.names(Tube)
    instrument = bench.get(Instrument, counter)
    wanted = ask.asked("tube") or (instrument.tube or "")
    chosen = wanted if wanted in tubes else next(iter(tubes), "")
    knobs = sliding.starting_knobs(bench.get(Tube, chosen)) if chosen else {}
    held = bench.list(Outlook, counter)
    outlook = held[-1] if held else None
    return ask.counter_page(
        "retrofit.html.j2",
        counter,
        tubes=tubes,
        probes=bench.names(Probe),
        chosen=chosen,
        knobs=knobs,
        ranges=KNOBS,
        metals=sliding.METALS,
        metal=_metal(bench.get(Tube, chosen)) if chosen else "",
        outlook=outlook,
        blocks_of=list(outlook_blocks(outlook)) if outlook else [],
        charts=outlook_charts(outlook) if outlook else [],
    )


def _metal(tube: Tube) -> str:
    present = tube.filter[0].material if tube.filter else ""
    return present if present in sliding.METALS else sliding.METALS[0]


def slide(ask: Ask) -> Response:
    """The curves for where the knobs stand, for the page's script."""
    try:
        tube = ask.bench.get(Tube, ask.asked("tube"))
        knobs = {k: parse_number(ask.asked(k)) for k in KNOBS if ask.asked(k)}
        turned = sliding.slid_tube(tube, knobs, ask.asked("metal"))

        def as_it_is() -> dict[str, object]:
            return sliding.response_of(tube)

        recovery = sliding.recovery_of(
            tube,
            f"{ask.asked('cable_cm', '0')} cm",
            f"{ask.asked('resistor_mohm', '4.7')} Mohm",
            ask.asked("at", "tube"),
        )
        return JSONResponse(
            {
                "now": sliding.response_of(turned),
                "before": ask.desk.once(("response", tube.dumps()), as_it_is),
                "recovery": recovery,
            }
        )
    except UserError as error:
        return JSONResponse({"problem": error.message}, 400)


def propose(ask: Ask) -> Response:
    """Predict what the chosen tubes or probes would bring, and keep it."""
    from counterproof.workshop.retrofits import Asked, keep_outlook, propose_retrofit

    counter, bench, desk = ask.counter(), ask.bench, ask.desk
    chosen = tuple(ask.chosen("candidate"))
    if not chosen:
        raise UserError(text("web.retrofit.which"))
    asked = Asked(
        counter,
        chosen,
        wishes=tuple(w.strip() for w in ask.typed("wishes").split(",") if w.strip()),
        range_usv_h=ask.typed("range") or "0.1..20",
        room=ask.typed("room"),
    )
    inferred = bool(ask.typed("inferred"))

    def work(report: Report) -> str:
        readout = None
        if inferred:
            from counterproof.workshop.readout import readout_of_bench

            readout = readout_of_bench(bench, counter, report=report)
        keep_outlook(bench, propose_retrofit(bench, asked, readout, report))
        told = desk.remark(text("web.retrofit.kept", counter=counter))
        return "/retrofit" + query(counter=counter, told=told)

    return ask.work(text("web.retrofit.computing"), work, "/retrofit" + query(counter=counter))
