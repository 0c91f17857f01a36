"""The job on pages, without a browser: describe, change, undo, record, judge, publish."""

import re
from pathlib import Path

import pytest

from counterproof.kit import Instrument, Source, Tube
from counterproof.records import Outcome, Run
from counterproof.web.app import build_app
from counterproof.web.guard import Door
from counterproof.workshop.desk import Desk
from tests.tools.asgi import Client, follow
from tests.tools.browser import write_clicks


def test_without_a_bench_every_page_leads_to_choosing_one(tmp_path: Path) -> None:
    desk = Desk()
    us = Client(build_app(desk, Door(), {"127.0.0.1"}, []))
    for path in ("/", "/kit", "/listen", "/runs", "/trials", "/live", "/dossier"):
        assert us.get(path).headers["location"] == "/begin"
    assert "Name a folder" in us.post("/begin", {"folder": ""}).text
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letter.txt").write_text("dear")
    told = us.post("/begin", {"folder": str(tmp_path / "full"), "name": "Mine"})
    assert told.status == 400
    assert "problem" in told.text
    assert 'value="Mine"' in told.text
    assert us.post("/begin", {"folder": str(tmp_path / "new"), "name": "Mine"}).status == 303
    assert "Mine" in us.get("/").text
    desk.close()


def test_an_empty_bench_teaches_the_next_step(us: Client) -> None:
    assert "lay a phone beside it" in us.get("/").text
    assert "outer diameter and length are enough" in us.get("/kit").text
    assert "No run yet" in us.get("/runs").text
    for path in ("/trials", "/findings", "/dossier"):
        told = us.get(path)
        assert told.status == 400
        assert "no counter on the bench yet" in told.text


def test_units_are_understood_as_typed(us: Client, desk: Desk) -> None:
    typed = {
        "name": "my disc",
        "nuclide": "cs 137",
        "activity": "1 µCi",
        "activity_uncertainty": "10 %",
        "reference_date": "2024-05-01",
        "form": "disc",
        "diameter_mm": "1 in",
    }
    answer = us.post("/kit/source/new", typed)
    assert answer.status == 303
    assert desk.bench is not None
    source = desk.bench.get(Source, "my disc")
    assert source.activity_bq == pytest.approx(37e3)
    assert source.nuclide == "Cs-137"
    assert "1 µCi" in us.get(answer.headers["location"]).text
    assert "my disc lies on the bench" in us.get(answer.headers["location"]).text


def test_a_mistake_keeps_what_was_typed_and_says_what_to_mend(us: Client, desk: Desk) -> None:
    typed = {"name": "my disc", "nuclide": "Cs-137", "activity": "5 bananas", "form": "point"}
    told = us.post("/kit/source/new", typed)
    assert told.status == 400
    assert 'value="5 bananas"' in told.text
    assert 'value="my disc"' in told.text
    assert re.search(r'class="problem" id="p-activity">[^<]+bananas', told.text)
    assert desk.bench is not None
    assert desk.bench.names(Source) == ()


def test_markup_in_names_stays_text(us: Client) -> None:
    us.post("/kit/tube/new", {"name": "<b>x</b>", "outer_diameter_mm": "10", "length_mm": "50"})
    page = us.get("/kit").text
    assert "<b>x</b>" not in page
    assert "&lt;b&gt;x" in page


def test_edits_keep_what_no_question_asks_for_and_can_be_undone(us: Client, desk: Desk) -> None:
    bench = desk.bench
    assert bench is not None
    before = Instrument.loads(
        "[instrument]\nname = 'Lantern'\nrole = 'under test'\nserial = '7'\n"
        "[[instrument.setting]]\nkind = 'factor'\nunit = 'cpm/(µSv/h)'\nvalue = 110\n"
        "applies = 'below the switch'\n"
        "[[instrument.setting]]\nkind = 'factor'\nunit = 'cpm/(µSv/h)'\nvalue = 190\n"
        "applies = 'above the switch'\n"
    )
    bench.add(before)
    page = us.get("/kit/instrument/edit/Lantern").text
    assert 'value="110.0"' in page
    fields = dict(
        re.findall(r'<input id="f-[^"]+" name="([^"]+)" type="text" value="([^"]*)"', page)
    )
    answer = us.post(
        "/kit/instrument/edit/Lantern",
        fields | {"description": "a pocket counter", "role": "under test", "setting.value": "120"},
    )
    after = bench.get(Instrument, "Lantern")
    assert after.description == "a pocket counter"
    assert after.serial == "7"
    assert [s.value for s in after.setting] == [120.0, 190.0]
    assert after.setting[0].applies == "below the switch"
    number = re.search(r'action="/undo/(\d+)"', us.get(answer.headers["location"]).text)
    assert number is not None
    us.post(f"/undo/{number[1]}", {"back": "/kit"})
    assert bench.get(Instrument, "Lantern") == before
    us.post("/kit/instrument/restore/Lantern", {"revision": "2"})
    assert bench.get(Instrument, "Lantern") == after
    us.post("/kit/instrument/delete/Lantern")
    assert bench.names(Instrument) == ()
    assert "can no longer be undone" in us.post("/undo/9999").text


def test_undoing_leads_nowhere_else(us: Client, desk: Desk) -> None:
    made = us.post("/kit/tube/new", {"name": "a", "outer_diameter_mm": "10", "length_mm": "50"})
    told = made.headers["location"].rpartition("=")[2]
    assert us.post(f"/undo/{told}", {"back": "//evil.example"}).headers["location"][:2] == "/?"
    assert desk.bench is not None
    assert desk.bench.names(Tube) == ()


def test_a_dropped_recording_becomes_a_run_a_verdict_and_a_dossier(
    us: Client, desk: Desk, tmp_path: Path
) -> None:
    truth = write_clicks(tmp_path / "x.wav", 30.0, 5.0, seed=4)
    fields = {"counter": "Lantern", "way": "file", "display": "0.14 µSv/h", "field": "average"}
    content = (tmp_path / "x.wav").read_bytes()
    page = follow(us, us.upload("/listen", fields, "file", "../../my run.wav", content))
    assert "run-0001 is counted" in page.text
    bench = desk.bench
    assert bench is not None
    run = bench.get(Run, "run-0001")
    assert abs(bench.load_train(run).count - truth.size) <= 0.03 * truth.size
    assert all("/" not in p.name for p in bench.recording_paths(run))
    assert us.get("/runs/run-0001/recording/0").body == content
    assert us.get("/runs/run-0001/recording/1").status == 404
    for suffix, start in (("svg", b"<svg"), ("png", b"\x89PNG"), ("csv", b"series,")):
        figure = us.get(f"/figure/run/run-0001/0.{suffix}")
        assert figure.status == 200
        assert figure.body.startswith(start)
    assert us.get("/figure/run/run-0001/9.svg").status == 404
    listing = follow(us, us.post("/trials", {"counter": "Lantern"}))
    assert "are judged" in listing.text
    (outcome,) = [o for o in bench.list(Outcome) if o.trial == "background"]
    shown = us.get("/trials/background?counter=Lantern").text
    assert outcome.verdict in shown
    assert "0.14" in shown
    assert "published as below" in us.get("/dossier?counter=Lantern").text
    html = us.get("/dossier/file?counter=Lantern&form=html&look=yes")
    assert "Lantern" in html.text
    assert "sandbox" in html.headers["content-security-policy"]
    pdf = us.get("/dossier/file?counter=Lantern&form=pdf")
    assert pdf.body.startswith(b"%PDF")
    assert "attachment" in pdf.headers["content-disposition"]
    us.post("/runs/run-0001/note", {"note": "by the window"})
    assert bench.get(Run, "run-0001").note == "by the window"
    us.post("/runs/run-0001/delete")
    assert bench.names(Run) == ()


def test_what_is_no_recording_is_told_and_leaves_nothing(us: Client, desk: Desk) -> None:
    fields = {"counter": "Lantern", "way": "file"}
    page = follow(us, us.upload("/listen", fields, "file", "letter.wav", b"dear friend " * 50))
    assert page.status == 400
    assert "problem" in page.text
    assert desk.bench is not None
    assert desk.bench.names(Run) == ()
    assert "Choose a recording" in us.post("/listen", fields).text
    assert "Which counter is it?" in us.post("/listen", {"way": "pad", "counter": ""}).text


def test_a_distance_and_a_length_that_cannot_be_are_told(us: Client, desk: Desk) -> None:
    assert desk.bench is not None
    desk.bench.add(Source(name="caesium disc", nuclide="Cs-137"))
    begun = {"way": "pad", "counter": "Lantern"}
    for field, given in (("distance", "-5 cm"), ("distance", "0"), ("minutes", "-1")):
        told = us.post("/listen", begun | {field: given})
        assert told.status == 400
        assert re.search(r'class="problem"[^>]*>[^<]+ above zero', told.text)
        assert f'value="{given}"' in told.text
    assert desk.live is None


def test_a_profile_is_one_of_the_list_never_a_path(us: Client, tmp_path: Path) -> None:
    us.post("/kit/instrument/new", {"name": "Lantern", "role": "under test"})
    own = tmp_path / "own.toml"
    own.write_text("[x]\ntitle='x'\n")
    told = us.post("/trials/background", {"counter": "Lantern", "profile": str(own)})
    assert told.status == 400
    assert "no acceptance profile" in told.text


def test_only_the_display_is_taken_down(us: Client, desk: Desk) -> None:
    assert us.get("/live").status == 200
    begun = us.post("/listen", {"way": "pad", "counter": "Lantern"})
    assert begun.headers["location"] == "/live"
    refused = us.post("/begin", {"folder": str(desk.bench.folder.parent / "other")})  # type: ignore[union-attr]
    assert refused.status == 400
    assert "finish it first" in refused.text
    assert us.post("/live/reading", {"value": "0.12"}).status == 303
    told = us.post("/live/reading", {"value": "a lot"}, accept="application/json")
    assert told.status == 400
    assert "no number" in told.text
    us.post("/live/reading", {"value": "0,14", "field": "average", "age": "0.01"})
    us.post("/live/reading", {"value": "9", "field": "average"})
    us.post("/live/strike")
    assert "is being recorded" in us.get("/runs").text
    assert "is being recorded: finish it first" in us.post(
        "/listen", {"way": "pad", "counter": "Wren"}
    ).text.replace("run-0001 ", "")
    us.post("/live/finish")
    bench = desk.bench
    assert bench is not None
    run = bench.get(Run, "run-0001")
    logs = {log.field: log.values.tolist() for log in bench.load_reading_logs(run)}
    assert logs == {"momentary": [0.12], "average": [0.14]}
    # nobody listened, so there is no count of zero
    assert not any(s.form == "pulse_train" for s in run.signals)
    assert not run.interrupted
    assert "Nothing was counted" in us.get("/runs/run-0001").text
