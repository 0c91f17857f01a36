"""Work that takes a while: how far it is, and a way to stop it."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from counterproof.web.asking import Ask, lasting
from counterproof.workshop.jobs import Job


def _job(ask: Ask) -> Job:
    found = ask.desk.jobs.get(int(ask.path("number")))
    if found is None:
        raise HTTPException(404)
    return found


def page(ask: Ask) -> Response:
    """How the work stands; goes on to its result by itself."""
    job = _job(ask)
    state = job.state  # once: it may change while the page is made
    if state == "done" and job.result:
        return ask.go(job.result)
    return ask.page("job.html.j2", 200 if state != "failed" else 400, job=job, state=state)


def state(ask: Ask) -> Response:
    """How the work stands, for the page's script."""
    job = _job(ask)
    return JSONResponse(
        {
            "state": job.state,
            "share": job.share,
            "left": lasting(job.left_s) if job.left_s is not None else "",
        }
    )


def stop(ask: Ask) -> Response:
    """Stop the work."""
    job = _job(ask)
    job.cancel()
    return ask.go(f"/jobs/{job.number}")
