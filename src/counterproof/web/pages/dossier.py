"""The dossier: a look at it, and the files to give away."""

from __future__ import annotations

import re
from datetime import UTC, datetime

from starlette.exceptions import HTTPException
from starlette.responses import Response

from counterproof.records import Outcome, Publication
from counterproof.web.asking import Ask

# the page is ours, but it quotes the bench: nothing in it may run or load anything
_POLICY = (
    "sandbox; default-src 'none'; style-src 'unsafe-inline'; font-src data:; img-src data:; "
    "frame-ancestors 'self'"
)


def preview(ask: Ask) -> Response:
    """Show the dossier as it would be published now."""
    counter = ask.counter()
    return ask.counter_page(
        "dossier.html.j2",
        counter,
        judged=[o for o in ask.bench.list(Outcome, counter) if o.runs],
    )


def _content(ask: Ask) -> Publication:
    from counterproof.trials.criteria import DEFAULT_PROFILE, profile
    from counterproof.workshop.publishing import publication_of

    return publication_of(
        ask.bench,
        ask.counter(),
        built=datetime.now(UTC).replace(microsecond=0),
        profile_title=profile(DEFAULT_PROFILE).title,
    )


def file(ask: Ask) -> Response:
    """The dossier as a file: ``html``, ``pdf`` or ``json``; ``look=yes`` for the preview."""
    form = ask.asked("form", "html")
    content = _content(ask)
    name = re.sub(r"[^A-Za-z0-9_-]+", "-", content.instrument).strip("-") or "dossier"
    headers = {"content-security-policy": _POLICY}
    if not ask.asked("look"):
        headers["content-disposition"] = f'attachment; filename="dossier-{name}.{form}"'
    if form == "html":
        from counterproof.dossier import build_html

        if not ask.asked("look"):
            return Response(build_html(content), media_type="text/html", headers=headers)
        # for the preview the moment does not matter, so that it is built once for each content
        known = content.model_dump_json(exclude={"built_utc"})
        shown = ask.desk.once(("dossier", known), lambda: build_html(content))
        return Response(shown, media_type="text/html", headers=headers)
    if form == "pdf":
        from counterproof.dossier.pdf import build_pdf

        return Response(build_pdf(content), media_type="application/pdf", headers=headers)
    if form == "json":
        return Response(content.to_json(), media_type="application/json", headers=headers)
    raise HTTPException(404)
