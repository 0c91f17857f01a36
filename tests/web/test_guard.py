"""Who may speak to the server: names, origins, sizes, one-time links."""

import re
from pathlib import Path

import pytest

from counterproof.web.app import PAGES, build_app
from counterproof.web.guard import Door, Guard
from counterproof.workshop.desk import Desk
from tests.tools.asgi import Client

HERE = {"127.0.0.1"}
LAN = "192.0.2.7"  # an address of documentation (RFC 5737)


def client(desk: Desk, door: Door | None = None, **how: str) -> Client:
    hosts = {"127.0.0.1", "localhost", LAN}
    app = build_app(desk, door or Door(), hosts, [f"http://{LAN}:8417"])
    return Client(app, **how)


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8417", "", "127.0.0.1.evil.example"]
)
def test_only_our_own_names_are_answered(desk: Desk, host: str) -> None:
    assert client(desk, host=host).get("/").status == 421


@pytest.mark.parametrize("host", ["localhost:8417", "127.0.0.1:1", "LOCALHOST"])
def test_our_own_names_are_answered(desk: Desk, host: str) -> None:
    assert client(desk, host=host).get("/").status == 200


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://127.0.0.1:9", "https://localhost:8417"]
)
def test_another_page_changes_nothing(desk: Desk, origin: str) -> None:
    told = client(desk).post("/kit/tube/new", {"name": "planted"}, origin=origin)
    assert told.status == 403
    assert desk.bench is not None
    from counterproof.kit import Tube

    assert desk.bench.names(Tube) == ()


def test_a_form_of_another_site_without_an_origin_is_refused(desk: Desk) -> None:
    sent = {"sec-fetch-site": "cross-site"}
    assert client(desk).send("POST", "/listen", sent).status == 403


def test_what_is_too_large_is_refused(desk: Desk) -> None:
    app = build_app(desk, Door(), {"127.0.0.1"}, [])
    small = Guard(app._app, Door(), {"127.0.0.1"}, most_bytes=10_000)  # type: ignore[attr-defined]
    said = Client(small).send("POST", "/listen", {"content-length": "20000"}, b"")
    assert said.status == 413
    # a sender that does not say how much it sends ends at the limit too
    headers = {"content-type": "multipart/form-data; boundary=x", "content-length": "9"}
    assert Client(small).send("POST", "/listen", headers, b"--x\r\n" + 20_000 * b"a").status == 413


def test_the_network_is_let_in_by_a_link_that_opens_once(desk: Desk) -> None:
    door = Door(open_wide=True)
    phone = client(desk, door, host=f"{LAN}:8417", address="192.0.2.50")
    assert phone.get("/").status == 403
    assert phone.get("/enter/guessed").status == 400
    key = door.new_key()
    assert phone.get(f"/enter/{key}").status == 303
    assert phone.get("/").status == 200
    second = client(desk, door, host=f"{LAN}:8417", address="192.0.2.51")
    second.app = phone.app
    assert second.get(f"/enter/{key}").status == 400
    assert second.get("/").status == 403
    second.cookie = "counterproof_pass=guessed"
    assert second.get("/").status == 403


def test_the_page_with_the_code_shows_a_link_that_opens(desk: Desk) -> None:
    door = Door(open_wide=True)
    here = client(desk, door)
    assert "Make a link" in here.get("/phone").text
    shown = here.post("/phone").text
    assert "<svg" in shown
    link = re.search(rf"http://{LAN}:8417(/enter/[A-Za-z0-9_-]+)", shown)
    assert link is not None
    phone = client(desk, door, host=f"{LAN}:8417", address="192.0.2.50")
    assert phone.get(link[1]).status == 303
    assert (
        "closed to other devices" in Client(build_app(desk, Door(), HERE, [])).post("/phone").text
    )


def test_a_closed_door_stays_closed(desk: Desk) -> None:
    door = Door(open_wide=False)
    phone = client(desk, door, host=f"{LAN}:8417", address="192.0.2.50")
    assert phone.get(f"/enter/{door.new_key()}").status == 403


def test_a_phone_neither_makes_links_nor_chooses_benches(desk: Desk, tmp_path: Path) -> None:
    door = Door(open_wide=True)
    phone = client(desk, door, host=f"{LAN}:8417", address="192.0.2.50")
    phone.get(f"/enter/{door.new_key()}")
    assert phone.post("/phone").status == 400
    assert phone.post("/begin", {"folder": str(tmp_path / "other")}).status == 400
    assert not (tmp_path / "other").exists()


def test_nothing_outside_the_package_is_served(desk: Desk) -> None:
    us = client(desk)
    for path in (
        "/static/../app.py",
        "/static/..%2fapp.py",
        "/fonts/..%2fdraw.py",
        "/static/x.css",
    ):
        assert us.get(path).status == 404
    assert us.get("/static/page.css").status == 200


def test_every_answer_is_dressed(desk: Desk) -> None:
    us = client(desk)
    for method, path, _ in PAGES:
        if method == "GET" and "{" not in path:
            headers = us.get(path).headers
            assert "default-src 'none'" in headers["content-security-policy"], path
            assert headers["x-content-type-options"] == "nosniff", path


def test_a_defect_is_told_in_one_sentence(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    import counterproof.workshop.overview as overview

    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(overview, "next_step", broken)
    told = client(desk).get("/")
    assert told.status == 500
    assert told.text.startswith("Something went wrong")
    assert "Traceback" not in told.text
