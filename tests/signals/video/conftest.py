"""Small films of invented displays, with the truth beside them."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from counterproof.signals.video import Box, Watched
from counterproof.simulate.video import Filmed, Filming, Panel, Shown, film
from tests.signals.video.films import CAMERA, PANEL, readings_shown


@pytest.fixture
def shoot(tmp_path: Path) -> Callable[..., Filmed]:
    """Return what films a display into a file of its own."""

    def make(
        shown: Shown | list[Shown],
        seconds: float,
        *,
        name: str = "film.mp4",
        panel: Panel = PANEL,
        filming: Filming = CAMERA,
        **more: Any,
    ) -> Filmed:
        return film(tmp_path / name, shown, seconds, panel, filming, 3, **more)

    return make


@pytest.fixture(scope="session")
def plain_film(tmp_path_factory: pytest.TempPathFactory) -> tuple[Filmed, Shown]:
    shown = readings_shown()
    path = tmp_path_factory.mktemp("films") / "plain.mp4"
    return film(path, shown, 16.4, PANEL, CAMERA, 5), shown


@pytest.fixture(scope="session")
def watched_film(plain_film: tuple[Filmed, Shown]) -> tuple[Watched, Shown]:
    from counterproof.signals.video import watch

    made, shown = plain_film
    return watch(made.path, Box(*made.region)), shown
