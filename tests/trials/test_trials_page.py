"""docs/trials.md shows every trial, its commands parse, and its table of times is right."""

import re
import shlex
from pathlib import Path

import pytest
import typer
from typer.core import TyperGroup

from counterproof.cli import app as frame
from counterproof.counting.planning import time_for_relative
from counterproof.records.run import CONDITIONS
from counterproof.workshop.registry import TRIALS, trial
from counterproof.workshop.surroundings import typed_absorbers, typed_angle, typed_conditions

PAGE = (Path(__file__).parents[2] / "docs" / "trials.md").read_text(encoding="utf-8")
SECTIONS = {
    title.strip(): body
    for title, body in re.findall(r"^## (.+?)\n(.*?)(?=^## |\Z)", PAGE, re.DOTALL | re.MULTILINE)
}
COMMANDS = [
    shlex.split(line.split(" #")[0])
    for block in re.findall(r"```sh\n(.*?)```", PAGE, re.DOTALL)
    for line in block.splitlines()
    if line.startswith("counterproof ")
]
PARTS = ("Answers:", "You need:", "Instead:", "Do:", "How long:", "Can tell:", "Caution:")


@pytest.mark.parametrize("name", [t.name for t in TRIALS])
def test_every_trial_is_there_whole(name: str) -> None:
    body = SECTIONS[name]
    missing = [part for part in PARTS if f"**{part}**" not in body]
    assert re.search(r"\*\*Cannot\s+tell:\*\*", body)
    assert not missing
    judged = [c for c in COMMANDS if c[1:3] == ["trial", "judge"]]
    assert any(trial(c[3]).name == name for c in judged)


def test_nothing_is_shown_that_is_no_trial() -> None:
    assert set(SECTIONS) - {t.name for t in TRIALS} == {"Before anything else", "How long to count"}


def options(command: list[str], name: str) -> list[str]:
    return [command[i + 1] for i, word in enumerate(command) if word == name]


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_a_command_parses(command: list[str]) -> None:
    found = typer.main.get_command(frame.app)
    words = command[1:]
    while isinstance(found, TyperGroup):
        found = found.get_command(found.make_context("", [words[0]]), words.pop(0))
    assert found is not None
    # parses arguments and options without running anything
    assert found.make_context("", list(words)).params["instrument"] == "Lantern"
    typed_absorbers(options(command, "--absorber"))
    typed_conditions(options(command, "--condition"))
    for angle in options(command, "--angle"):
        typed_angle(angle)


def test_every_condition_is_used() -> None:
    used = {k for c in COMMANDS for k in typed_conditions(options(c, "--condition"))}
    assert used == set(CONDITIONS)


def test_the_table_of_times() -> None:
    rows = re.findall(r"^\| (\d+) \| (\d+) % \| (.+?) \| (.+?) \| (.+?) \|$", PAGE, re.MULTILINE)
    assert len(rows) == 4
    seconds = {"s": 1.0, "min": 60.0, "h": 3600.0}
    for counts, percent, *times in rows:
        assert int(counts) == pytest.approx((100.0 / int(percent)) ** 2)
        for rate, written in zip((0.2, 2.0, 20.0), times, strict=True):
            number, unit = written.split()
            exact = time_for_relative(rate, int(percent) / 100.0)
            assert float(number) * seconds[unit] == pytest.approx(exact, rel=0.03)
