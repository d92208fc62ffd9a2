"""``lungwort convert``: one number from one unit or way of stating it to another."""

from __future__ import annotations

import json
import re
import sys
from typing import Annotated, Any, Final

import typer
from typer.core import TyperCommand


class NumberCommand(TyperCommand):
    """A command whose arguments may be negative numbers, like '-50 °F'.

    To be given as ``cls`` where the command is registered.
    """

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401 - moves with typer
        """Keep a negative number from being read as options; a blank before it does no harm."""
        words = [f" {word}" if _NEGATIVE.match(word) else word for word in args]
        return super().parse_args(ctx, words)


_NEGATIVE: Final = re.compile(r"-[\d.,]")
_KIND = (
    "What a temperature as source is: dew-point, frost-point, atmospheric-dew-point, "
    "pressure-dew-point."
)
_PRESSURE = "Pressure of the air, like '7 bar(g)' or '1 atm'."


def convert(
    source: Annotated[
        str, typer.Argument(help="Number with unit, like '24 ppmv', '-50 °F', '300 bar(g)'.")
    ],
    target: Annotated[
        str,
        typer.Argument(
            help="Unit, or dew-point, frost-point, atmospheric-dew-point, pressure-dew-point, "
            "free-air."
        ),
    ],
    kind: Annotated[str | None, typer.Option(help=_KIND)] = None,
    pressure: Annotated[str | None, typer.Option(help=_PRESSURE)] = None,
    to_pressure: Annotated[
        str | None, typer.Option(help="Pressure at which a dew point is wanted.")
    ] = None,
    gas: Annotated[
        str | None, typer.Option(help="Gas, between ppm and mg/m3: co, co2, no2, so2 ...")
    ] = None,
    molar_mass: Annotated[
        float | None, typer.Option(help="Molar mass in g/mol, in place of a gas.")
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(help="Temperature at which mg/m3 or free air is counted. [mg/m3: 20 °C]"),
    ] = None,
    at_pressure: Annotated[
        str | None,
        typer.Option(help="Absolute pressure at which mg/m3 is counted. [101.325 kPa]"),
    ] = None,
    temperature: Annotated[
        str | None, typer.Option(help="Temperature of the air or of the cylinder, like '15 °C'.")
    ] = None,
    volume: Annotated[str | None, typer.Option(help="Water volume of the cylinder in L.")] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of a dew point: °C, °F or K.")] = None,
    supercooled: Annotated[
        bool, typer.Option("--supercooled", help="Dew points below 0 °C are over liquid water.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object instead of text.")
    ] = False,
) -> None:
    """Convert one number, and say what was taken for it.

    Example: lungwort convert '24 ppmv' frost-point --pressure '1 atm'
    """
    from lungwort.jobs.convert import convert as job  # noqa: PLC0415 - keeps --help instant

    result = job(
        source,
        target,
        kind=kind,
        pressure=pressure,
        to_pressure=to_pressure,
        gas=gas,
        molar_mass=molar_mass,
        at=at,
        at_pressure=at_pressure,
        temperature=temperature,
        volume=volume,
        unit=unit,
        supercooled=supercooled,
    )
    text = (
        json.dumps(result.as_object(), ensure_ascii=False, indent=2)
        if as_json
        else "\n".join(result.lines())
    )
    sys.stdout.write(text + "\n")
