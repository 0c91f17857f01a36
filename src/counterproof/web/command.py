"""``counterproof serve``: the bench in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from counterproof.texts import text


def serve(
    folder: Annotated[
        Path | None, typer.Argument(metavar="[BENCH]", help=text("web.serve.bench"))
    ] = None,
    lan: Annotated[bool, typer.Option("--lan", help=text("web.serve.lan"))] = False,
    port: Annotated[
        int | None, typer.Option("--port", min=1, max=65535, help=text("web.serve.port"))
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help=text("web.serve.browser"))
    ] = True,
) -> None:
    """Show the bench in the browser: describe, record, judge and publish on pages."""
    from counterproof.web.server import serve as run
    from counterproof.workshop.desk import usual_bench

    run(folder or usual_bench(), lan=lan, port=port, browser=browser)
