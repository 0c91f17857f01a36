"""Runs: their list, one in full, and what can be done with one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, Response

from counterproof.errors import UserError
from counterproof.records import Run
from counterproof.texts import text
from counterproof.web.asking import Ask
from counterproof.workshop.desk import LiveWish

if TYPE_CHECKING:
    from counterproof.records import Measured
    from counterproof.trials.shape import Evidence

_SOUND = {".wav": "audio/wav", ".flac": "audio/flac", ".ogg": "audio/ogg", ".mp3": "audio/mpeg"}
_SOUND |= {".opus": "audio/ogg", ".m4a": "audio/mp4", ".mp4": "video/mp4", ".webm": "video/webm"}


def listing(ask: Ask) -> Response:
    """All runs, the latest first."""
    bench = ask.bench
    counter = ask.asked("counter")
    found = bench.list(Run, counter or None)[::-1]
    recording = ask.desk.recording
    rows = [(r, None if r.id == recording else rate(ask, r)) for r in found]
    return ask.page("runs.html.j2", rows=rows, counter=counter, recording=recording)


def rate(ask: Ask, run: Run, evidence: Evidence | None = None) -> Measured | None:
    """Return a run's count rate; ``None`` where it has none or cannot be read."""
    from counterproof.workshop.evidence import evidence_of
    from counterproof.workshop.overview import rate_of

    def found() -> Measured | None:
        try:
            return rate_of(evidence or evidence_of(ask.bench, run))
        except UserError:
            return None

    return ask.desk.once(("rate", run.id, *(s.sha256 for s in run.signals)), found)


def one(ask: Ask) -> Response:
    """A run: its rate, its pictures, what was noted."""
    from counterproof.workshop.evidence import evidence_of
    from counterproof.workshop.pictures import run_questions

    bench = ask.bench
    run = bench.get(Run, ask.path("run"))
    if run.id == ask.desk.recording:
        return ask.go("/live")
    evidence = evidence_of(bench, run)
    warnings = evidence.pulses.warnings if evidence.pulses is not None else ()
    return ask.page(
        "run.html.j2",
        run=run,
        rate=rate(ask, run, evidence),
        pulses=evidence.pulses,
        readings=evidence.readings,
        questions=run_questions(evidence),
        warnings=warnings,
        recordings=[p.name for p in bench.recording_paths(run)],
    )


def recording(ask: Ask) -> Response:
    """A run's recording, to be heard or kept; never run as anything."""
    paths = ask.bench.recording_paths(ask.path("run"))
    number = int(ask.path("number"))
    if number >= len(paths):
        raise HTTPException(404)
    path = paths[number]
    kind = _SOUND.get(path.suffix.lower(), "application/octet-stream")
    headers = {"content-security-policy": "sandbox; default-src 'none'"}
    return FileResponse(path, media_type=kind, headers=headers)


def note(ask: Ask) -> Response:
    """Change what is noted of a run."""
    run = ask.bench.get(Run, ask.path("run"))
    back = ask.desk.way_back(Run, run.id)
    ask.bench.amend(run.model_copy(update={"note": ask.typed("note")}))
    return ask.go(f"/runs/{run.id}", ask.desk.remark(text("web.runs.noted", run=run.id), back))


def delete(ask: Ask) -> Response:
    """Take a run off the bench; its files and history stay."""
    name = ask.path("run")
    back = ask.desk.way_back(Run, name)
    ask.bench.delete(Run, name)
    return ask.go("/runs", ask.desk.remark(text("web.runs.deleted", run=name), back))


def carry_on(ask: Ask) -> Response:
    """Go on with a run that was cut off."""
    run = ask.bench.get(Run, ask.path("run"))
    way = ask.typed("way")
    ask.desk.carry_on(run.id, LiveWish(run.instrument, "pad" if way == "pad" else "microphone"))
    return ask.go("/live")


def close(ask: Ask) -> Response:
    """End a run that was cut off with what there is."""
    run = ask.desk.close_run(ask.path("run"))
    return ask.go(f"/runs/{run.id}", ask.desk.remark(text("web.live.kept", run=run.id)))
