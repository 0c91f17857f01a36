"""``counterproof field SOURCE.toml --distance 10cm``: what should be at that spot."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import JsonOption
from counterproof.cli.output import console, emit, say
from counterproof.errors import UserError
from counterproof.texts import text

if TYPE_CHECKING:
    from rich.console import Console

    from counterproof.records.field import DoseRate, FieldReport

_STRONGEST = 12
_FAINT = 1e-6  # of the most intense line: not shown


def field(
    source: Annotated[Path, typer.Argument(help=text("cli_field.source"))],
    distance: Annotated[str, typer.Option("--distance", help=text("cli_field.distance"))],
    absorber: Annotated[
        list[str] | None, typer.Option("--absorber", help=text("cli_field.absorber"))
    ] = None,
    date: Annotated[str | None, typer.Option("--date", help=text("cli_field.date"))] = None,
    angle: Annotated[float, typer.Option("--angle", help=text("cli_field.angle"))] = 0.0,
    chart: Annotated[Path | None, typer.Option("--chart", help=text("cli_field.chart"))] = None,
    as_json: JsonOption = False,
) -> None:
    """Compute photons, electrons and dose rates of a source at a distance."""
    from counterproof.physics.sheets import parse_sheet
    from counterproof.quantities import parse_quantity
    from counterproof.workshop.fields import field_of_file

    on = None
    if date is not None:
        try:
            on = dt.date.fromisoformat(date)
        except ValueError:
            raise UserError(text("cli_field.bad_date", given=date)) from None
    found = field_of_file(
        source,
        parse_quantity(distance, "cm"),
        [parse_sheet(one) for one in absorber or ()],
        on,
        angle,
    )
    if chart is not None:
        _draw(found, chart)
    emit(found, as_json, _show)


def _draw(found: FieldReport, path: Path) -> None:
    """Write the spectra as SVG or PNG; the electrons' beside the photons' as ``…-electrons``."""
    from counterproof.charts import png, svg
    from counterproof.workshop.fields import electron_chart, spectrum_chart

    if path.suffix.lower() not in (".svg", ".png"):
        raise UserError(text("cli_field.chart_kind", path=path))
    pictures = [(path, spectrum_chart(found))]
    electrons = electron_chart(found)
    if electrons is not None:
        pictures.append((path.with_stem(path.stem + "-electrons"), electrons))
    for target, picture in pictures:
        if path.suffix.lower() == ".svg":
            target.write_text(svg(picture, for_page=False), encoding="utf-8")
        else:
            target.write_bytes(png(picture))
        say(text("cli_field.drawn", path=target))


def _rate(rate: DoseRate) -> str:
    from counterproof.quantities import format_number, format_value

    if rate.value is None:
        return "–"
    if rate.u is None:
        return f"{format_number(rate.value)} {rate.unit}"
    return format_value(rate.value, rate.u, rate.unit)


def _show(found: FieldReport) -> None:
    out = console()
    activity = (
        text("cli_field.activity", value=f"{found.activities_bq[found.lead] / 1e3:.4g}")
        if found.activity_known
        else text("cli_field.per_bq")
    )
    behind = ", ".join(found.absorbers)
    out.print(
        text(
            "cli_field.head",
            source=found.source,
            lead=found.lead,
            activity=activity,
            date=found.date or "–",
            distance=f"{found.distance_cm:g}",
            behind=text("cli_field.behind", absorbers=behind) if behind else "",
        )
    )
    _doses(out, found)
    _photons(out, found)
    _electrons(out, found)
    _budget(out, found)
    for caution in found.cautions:
        out.print(f"· {caution}")


def _doses(out: Console, found: FieldReport) -> None:
    from rich.table import Table

    from counterproof.quantities import format_number

    table = Table(title=text("cli_field.doses"), title_justify="left", box=None)
    table.add_column(text("cli_field.quantity"))
    table.add_column(text("cli_field.rate"), justify="right")
    for key, rate in (
        ("h10", found.h10_usv_h),
        ("air_kerma", found.air_kerma_ugy_h),
        ("exposure", found.exposure_mr_h),
        ("h007", found.h007_usv_h),
    ):
        table.add_row(text(f"cli_field.{key}"), _rate(rate))
    out.print(table)
    hand = found.handling
    if hand.fingers_usv_h is not None and hand.eyes_usv_h is not None:
        out.print(
            text(
                "cli_field.handling",
                fingers=format_number(hand.fingers_usv_h, 2),
                fingers_cm=f"{hand.fingers_cm:g}",
                eyes=format_number(hand.eyes_usv_h, 2),
                eyes_cm=f"{hand.eyes_cm:g}",
            )
        )


def _photons(out: Console, found: FieldReport) -> None:
    from rich.table import Table

    rows = list(
        zip(
            found.photons.energy_kev,
            found.photons.fluence_rate_per_cm2_s,
            found.photons.kind,
            strict=True,
        )
    )
    groups = {"scattered", "fluorescence", "bremsstrahlung"}
    lines = [row for row in rows if row[2] not in groups]
    least = _FAINT * max((rate for _, rate, _ in lines), default=0.0)
    lines = [row for row in lines if row[1] > least]
    strongest = sorted(lines, key=lambda row: row[0] * row[1], reverse=True)[:_STRONGEST]
    table = Table(title=text("cli_field.photons"), title_justify="left", box=None)
    for name in ("energy", "fluence", "kind"):
        table.add_column(text(f"cli_field.{name}"), justify="left" if name == "kind" else "right")
    for energy, rate, kind in sorted(strongest):
        table.add_row(f"{energy:.1f}", f"{rate:.3g}", kind)
    for group in sorted(groups):
        total = sum(rate for _, rate, kind in rows if kind == group)
        if total > 0.0:
            table.add_row("", f"{total:.2g}", group)
    if rows:
        out.print(table)
    if len(lines) > _STRONGEST:
        out.print(text("cli_field.more_lines", n=len(lines) - _STRONGEST))


def _electrons(out: Console, found: FieldReport) -> None:
    widths = [
        high - low
        for low, high in zip(
            found.electrons.edges_kev[:-1], found.electrons.edges_kev[1:], strict=True
        )
    ]
    rates = [
        rate * width
        for rate, width in zip(found.electrons.fluence_rate_per_cm2_s_kev, widths, strict=True)
    ]
    total = sum(rates)
    if total <= 0.0:
        out.print(text("cli_field.no_electrons"))
        return
    mean = sum(e * r for e, r in zip(found.electrons.energy_kev, rates, strict=True)) / total
    out.print(text("cli_field.electrons", total=f"{total:.3g}", mean=f"{mean:.0f}"))


def _budget(out: Console, found: FieldReport) -> None:
    from rich.table import Table

    strong = found.h10_usv_h if found.h10_usv_h.value else found.h007_usv_h
    name = "h10" if strong is found.h10_usv_h else "h007"
    table = Table(
        title=text("cli_field.budget", quantity=text(f"cli_field.{name}")),
        title_justify="left",
        box=None,
    )
    table.add_column(text("cli_field.component"))
    table.add_column(text("cli_field.relative"), justify="right")
    table.add_column(text("cli_field.from"))
    for line in strong.budget:
        if line.relative_u >= 5e-5:
            table.add_row(line.name, f"{100 * line.relative_u:.2g} %", line.source)
    out.print(table)
    for sentence in strong.unknown:
        out.print(sentence)
