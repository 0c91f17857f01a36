"""The command line's frame: the list of commands, the common options and the one error path.

A command is one module here with a function typed for typer; it is entered in ``COMMANDS`` by
name and imported only when it is called, so that starting stays quick.
"""

from __future__ import annotations

import errno
import sys
from importlib import import_module
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from counterproof import __version__
from counterproof.errors import Cancelled, UserError
from counterproof.texts import text
from counterproof.workshop.logbook import LOGGER, show_log, start_log
from counterproof.workshop.settings import load_settings

USER_MISTAKE = 2
DEFECT = 1
STOPPED = 130

# newer typer carries click inside itself, older typer imports it: its public exceptions lead to
# the base either way
MISUSE: type[Exception] = next(
    c for c in typer.BadParameter.__mro__ if c.__name__ == "ClickException"
)

COMMANDS: dict[str, str] = {
    "demo": "counterproof.cli.demo:demo",
    "serve": "counterproof.web.command:serve",
    "pulses": "counterproof.cli.pulses:pulses",
    "readings": "counterproof.cli.readings:readings",
    "field": "counterproof.cli.field:field",
    "response": "counterproof.cli.response:response",
    "predict": "counterproof.cli.predict:predict",
    "listen": "counterproof.cli.listen:listen",
    "bench": "counterproof.cli.bench:bench",
    "kit": "counterproof.cli.kit:kit",
    "add-run": "counterproof.cli.add_run:add_run",
    "trial": "counterproof.cli.trial:trial",
    "readout": "counterproof.cli.readout:readout",
    "findings": "counterproof.cli.findings:findings",
    "calibrate": "counterproof.cli.calibrate:calibrate",
    "compare": "counterproof.cli.compare:compare",
    "retest": "counterproof.cli.retest:retest",
    "retrofit": "counterproof.cli.retrofit:retrofit",
    "filter": "counterproof.cli.filter:filter_",
    "build-sheet": "counterproof.cli.build:build_sheet",
    "dossier": "counterproof.cli.dossier:dossier",
    "export": "counterproof.cli.export:export",
    "licences": "counterproof.cli.licences:licences",
}
"""Command name → ``module:function`` or ``module:typer app`` (a group of subcommands)."""


class LazyCommands(TyperGroup):
    """A group that imports a command's module when the command is named."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Return the names in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Import and return the command, or ``None`` for an unknown name."""
        target = COMMANDS.get(cmd_name)
        if target is None:
            return None
        module, attribute = target.split(":")
        found: Any = getattr(import_module(module), attribute)
        if isinstance(found, typer.Typer):
            command = typer.main.get_command(found)
        else:
            single = typer.Typer(add_completion=False)
            single.command(cmd_name)(found)
            command = typer.main.get_command(single)
        command.name = cmd_name
        return command


app = typer.Typer(
    cls=LazyCommands,
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help=text("cli.about"),
    epilog=text("cli.caution"),
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"counterproof {__version__}")
        raise typer.Exit


@app.callback()
def frame(
    verbose: Annotated[bool, typer.Option("--verbose", "-v", help=text("cli.verbose"))] = False,
    version: Annotated[
        bool,
        typer.Option("--version", help=text("cli.version"), callback=_version, is_eager=True),
    ] = False,
) -> None:
    """Take the options that every command shares."""
    if verbose:
        show_log()


def _sentence(error: OSError) -> str | None:
    """Return the sentence for a trouble of the disk, or None when it is none."""
    where = error.filename or text("cli.the_disk")
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return text("cli.disk_full", path=where)
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return text("cli.not_allowed", path=where)
    if error.errno in (errno.ENOENT, errno.ENOTDIR):
        return text("cli.not_found", path=where)
    if error.errno == errno.EISDIR:
        return text("cli.is_folder", path=where)
    return None


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit: 0 done, 2 a mistake one can mend, 1 a defect of ours."""
    sys.exit(run(sys.argv[1:] if arguments is None else arguments))


def run(arguments: list[str]) -> int:
    """Run one command and return its exit code; a person never sees a traceback."""
    try:
        start_log(load_settings().log_folder)
        LOGGER.info("command: %s", arguments)
        outcome = app(arguments, prog_name="counterproof", standalone_mode=False)
        sys.stdout.flush()
        return outcome if isinstance(outcome, int) else 0
    except UserError as error:
        return _fail(error.message, USER_MISTAKE)
    except MISUSE as error:
        return _fail(str(getattr(error, "format_message", error.__str__)()), USER_MISTAKE)
    except (Cancelled, KeyboardInterrupt, typer.Abort):
        return _fail(text("cli.stopped"), STOPPED)
    except BrokenPipeError:
        # the reader of our output has gone (as in `… | head`); nothing is left to say to it
        sys.stderr.close()
        return 0
    except OSError as error:
        sentence = _sentence(error)
        if sentence is None:
            return _defect()
        return _fail(sentence, USER_MISTAKE)
    except Exception:  # noqa: BLE001  the last resort: logged whole, told in one sentence
        return _defect()


def _fail(sentence: str, code: int) -> int:
    LOGGER.info("ended with %s: %s", code, sentence)
    sys.stderr.write(sentence.rstrip() + "\n")
    return code


def _defect() -> int:
    LOGGER.exception("defect")
    files = [getattr(h, "baseFilename", None) for h in LOGGER.handlers]
    path = next((Path(f) for f in files if f), None)
    return _fail(text("cli.defect", path=path or text("cli.no_log")), DEFECT)
