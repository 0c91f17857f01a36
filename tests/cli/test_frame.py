"""The command line's frame: one sentence for a mistake, no traceback, useful exit codes."""

import errno
import subprocess
import sys
from pathlib import Path

import pytest

from counterproof.cli import app as frame
from counterproof.errors import Cancelled, UserError
from counterproof.workshop.settings import load_settings


@pytest.fixture(autouse=True)
def _own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COUNTERPROOF_LOG_FOLDER", str(tmp_path / "log"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


def planted(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(frame, "app", fail)


@pytest.mark.parametrize(
    "error,code,words",
    [
        (UserError("Mend it so."), 2, "Mend it so."),
        (Cancelled(), 130, "Stopped"),
        (KeyboardInterrupt(), 130, "Stopped"),
        (OSError(errno.ENOSPC, "full", "/bench"), 2, "no room left for /bench"),
        (PermissionError(errno.EACCES, "no", "/bench"), 2, "/bench may not be read or written"),
        (OSError(errno.EROFS, "no", "/bench"), 2, "permissions"),
        (FileNotFoundError(errno.ENOENT, "no", "a.wav"), 2, "a.wav does not exist"),
        (IsADirectoryError(errno.EISDIR, "no", "a"), 2, "a is a folder"),
        (RuntimeError("oh"), 1, "defect of counterproof"),
        (OSError(errno.EIO, "oh"), 1, "defect of counterproof"),
    ],
)
def test_one_sentence_and_an_exit_code(
    error: BaseException,
    code: int,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    planted(monkeypatch, error)
    assert frame.run([]) == code
    told = capsys.readouterr()
    assert words in told.err
    assert told.err.count("\n") == 1
    assert "Traceback" not in told.err
    assert told.out == ""


def test_a_defect_is_logged_whole(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    planted(monkeypatch, RuntimeError("deep inside"))
    frame.run(["pulses"])
    log = tmp_path / "log" / "counterproof.log"
    assert str(log) in capsys.readouterr().err
    assert "deep inside" in log.read_text()
    assert "Traceback" in log.read_text()


@pytest.mark.parametrize("arguments", [["nonsense"], ["pulses"], ["pulses", "--nonsense", "x"]])
def test_misuse_ends_with_two(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert frame.run(arguments) == 2
    told = capsys.readouterr().err
    assert told.strip()
    assert "Traceback" not in told


@pytest.mark.parametrize("name", list(frame.COMMANDS))
def test_every_command_has_help(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert frame.run([name, "--help"]) == 0
    assert "Usage" in capsys.readouterr().out


def test_help_names_every_command_and_the_caution(capsys: pytest.CaptureFixture[str]) -> None:
    assert frame.run(["--help"]) == 0
    told = capsys.readouterr().out
    assert all(name in told for name in frame.COMMANDS)
    assert "no protection instrument" in told


def test_starting_imports_nothing_heavy() -> None:
    heavy = "numpy scipy numba pydantic altair av radioactivedecay h5py pint soundfile"
    probe = (
        "import sys, counterproof.cli.app as a; a.run(['--version']); "
        f"print([m for m in '{heavy}'.split() if m in sys.modules])"
    )
    told = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, check=True, timeout=60
    )
    assert told.stdout.strip().endswith("[]"), told.stdout


def test_a_flag_wins_over_the_environment_and_that_over_the_file(tmp_path: Path) -> None:
    file = tmp_path / "settings.toml"
    file.write_text('bench = "from-file"\nmains_hz = 60\n')
    environment = {"COUNTERPROOF_BENCH": "from-environment"}
    assert load_settings({}, {}, file).bench == Path("from-file")
    assert load_settings({}, environment, file).bench == Path("from-environment")
    both = load_settings({"bench": "from-flag"}, environment, file)
    assert both.bench == Path("from-flag")
    assert both.mains_hz == 60.0
    assert load_settings({"bench": None}, {}, tmp_path / "none.toml").bench is None


def test_bad_settings_get_one_sentence(tmp_path: Path) -> None:
    file = tmp_path / "settings.toml"
    file.write_text("benhc = 1\n")
    with pytest.raises(UserError, match="benhc"):
        load_settings({}, {}, file)
    file.write_text("= 1\n")
    with pytest.raises(UserError, match="cannot be read"):
        load_settings({}, {}, file)
    with pytest.raises(UserError, match="mains_hz"):
        load_settings({}, {"COUNTERPROOF_MAINS_HZ": "fifty"}, tmp_path / "none.toml")


def test_licences_name_every_term(capsys: pytest.CaptureFixture[str]) -> None:
    assert frame.run(["licences"]) == 0
    told = capsys.readouterr().out
    for words in ("not-for-profit", "BSD 3-Clause", "ICRP", "SIL OPEN FONT LICENSE", "XCOM"):
        assert words in told, words
