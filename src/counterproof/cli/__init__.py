"""The command line: parse, ask the workshop, show.

``app`` holds the frame and the list of commands; each command is a module of its own.
"""


def main() -> None:
    """Entry point of the ``counterproof`` command."""
    from counterproof.cli.app import main as run_app

    run_app()
