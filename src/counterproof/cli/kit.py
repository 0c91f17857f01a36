"""``counterproof kit …``: describe counters, tubes, probes, sources and positions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import BenchOption, JsonOption, open_bench
from counterproof.cli.output import console, emit, pairs, say
from counterproof.errors import UserError
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.kit import KitItem
    from counterproof.records.listing import KitListing

kit = typer.Typer(no_args_is_help=True, help=text("cli_kit.about"))


@kit.command()
def add(
    what: Annotated[list[str], typer.Argument(help=text("cli_kit.what"))],
    folder: BenchOption = None,
) -> None:
    """Add items: TOML files, or one kind of thing to be asked about."""
    from counterproof.kit import KINDS, load_item

    if len(what) == 1 and what[0] in KINDS:
        with open_bench(folder, write=True) as opened:
            item = _asked(what[0])
            opened.add(item)
            say(text("cli_kit.added", kind=item.table, name=item.name))
        return
    # all files are read before the first is added: a mistake in one leaves the bench as it was
    items = [load_item(_file(name)) for name in what]
    with open_bench(folder, write=True) as opened, opened.transaction():
        for item in items:
            opened.add(item)
            say(text("cli_kit.added", kind=item.table, name=item.name))


def _file(name: str) -> Path:
    from counterproof.kit import KINDS

    path = Path(name)
    if not path.exists() and path.suffix != ".toml":
        raise UserError(text("cli_kit.neither", given=name, kinds=", ".join(KINDS)))
    return path


def _asked(kind: str) -> KitItem:
    """Ask the questions of a kind; a wrong answer is asked again."""
    from counterproof.kit.questions import build, check, questions

    answers: dict[str, object] = {}
    for question in questions(kind):
        if not question.applies(answers):
            continue
        while True:
            shown = question.prompt(kind)
            if question.choices:
                shown += f" [{'/'.join(question.choices)}]"
            given = typer.prompt(shown, default=question.default, show_default=True, err=True)
            try:
                answers[question.key] = check(question, given)
                break
            except UserError as error:
                say(error.message)
    return build(kind, answers)


@kit.command()
def amend(
    file: Annotated[Path, typer.Argument(help=text("cli_kit.file"))],
    folder: BenchOption = None,
    why: Annotated[str, typer.Option("--why", help=text("cli_bench.why"))] = "",
) -> None:
    """Replace an item by a changed description; what it was stays in its history."""
    from counterproof.kit import load_item

    item = load_item(file)
    with open_bench(folder, write=True) as opened:
        number = opened.amend(item, why)
        say(text("cli_kit.amended", kind=item.table, name=item.name, number=number))


@kit.command(name="list")
def list_(folder: BenchOption = None, as_json: JsonOption = False) -> None:
    """List what is described on the bench."""
    from counterproof.kit import KINDS
    from counterproof.records import Item
    from counterproof.records.listing import KitListing
    from counterproof.workshop.publishing import facts_of

    with open_bench(folder) as opened:
        items = [i for cls in KINDS.values() for i in opened.list(cls)]
    found = KitListing(
        items=tuple(Item(name=i.name, kind=i.table, facts=facts_of(i)) for i in items)
    )
    emit(found, as_json, _show_list)


def _show_list(found: KitListing) -> None:
    console().print(pairs([(i.kind, i.name) for i in found.items]))


@kit.command()
def show(
    name: Annotated[str, typer.Argument(help=text("cli_kit.name"))], folder: BenchOption = None
) -> None:
    """Print an item as the TOML that describes it."""
    from counterproof.kit import KINDS

    with open_bench(folder) as opened:
        held = [cls for cls in KINDS.values() if name in opened.names(cls)]
        if not held:
            names = [n for cls in KINDS.values() for n in opened.names(cls)]
            raise UserError(text("cli_kit.unknown", name=name, names=", ".join(names) or "–"))
        for cls in held:
            typer.echo(opened.get(cls, name).dumps())


@kit.command()
def check(files: Annotated[list[Path], typer.Argument(help=text("cli_kit.file"))]) -> None:
    """Check TOML files without a bench."""
    from counterproof.kit import load_item

    for path in files:
        item = load_item(path)
        say(text("cli_kit.fine", path=path, kind=item.table, name=item.name))
