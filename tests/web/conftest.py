"""An empty bench on a desk, and a browser without a screen before it."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from counterproof.web.app import build_app
from counterproof.web.guard import Door
from counterproof.workshop.desk import Desk
from tests.tools.asgi import Client


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    desk = Desk()
    desk.create(tmp_path / "bench", "a bench")
    yield desk
    desk.close()


@pytest.fixture
def us(desk: Desk) -> Client:
    return Client(build_app(desk, Door(), {"127.0.0.1"}, []))
