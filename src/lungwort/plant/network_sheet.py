"""Pipes, sources and regulators of a plant sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.errors import PlantError
from lungwort.plant._network_checks import (
    BORE_RANGE_MM,
    LENGTH_RANGE_M,
    LOSS_RANGE,
    PRESSURE_RANGE_BAR_G,
    ROUGHEST,
)
from lungwort.plant.network import Network, Pipe, Regulator, Source
from lungwort.tomlfile import Table

if TYPE_CHECKING:
    from collections.abc import Mapping

KEYS_TOP: Final = ("source", "pipe", "regulator")
KINDS: Final = ("pipe", "hose", "coupling", "valve")
_PIPE_KEYS: Final = (
    "name",
    "from",
    "to",
    "length_m",
    "bore_mm",
    "roughness_mm",
    "loss_coefficient",
    "kind",
)
WIDEST_HOSE_MM: Final = 50.0
"""Bore from which a hose is taken for a slip of the point; own rule [mm]."""
_ROUGHNESS_MM: Final = {"pipe": 0.045, "hose": 0.0015, "coupling": 0.0015, "valve": 0.045}
"""Wall of drawn steel pipe (Moody 1944, commercial steel, from memory), and of smooth hose."""


def read_network(top: Table) -> Network | None:
    """Read the network of a plant sheet.

    Parameters
    ----------
    top : Table
        The top of the file; mistakes are noted in it.

    Returns
    -------
    Network or None
        None where the sheet has neither pipes nor regulators, or a mistake in them.
    """
    given = {key: top.tables(key) for key in KEYS_TOP}
    if not given["pipe"] and not given["regulator"]:
        # A source alone holds a pressure; there is no network behind it.
        for place, values in enumerate(given["source"], 1):
            _source(_table(top, "source", values, place))
        return None
    noted = len(top.mistakes.found)
    sources = [_source(_table(top, "source", one, at)) for at, one in enumerate(given["source"], 1)]
    pipes = [_pipe(_table(top, "pipe", one, at)) for at, one in enumerate(given["pipe"], 1)]
    regulators = [
        _regulator(_table(top, "regulator", one, at))
        for at, one in enumerate(given["regulator"], 1)
    ]
    if len(top.mistakes.found) > noted:
        return None
    try:
        return Network(
            pipes=tuple(one for one in pipes if one is not None),
            sources=tuple(one for one in sources if one is not None),
            regulators=tuple(one for one in regulators if one is not None),
        )
    except PlantError as error:
        top.mistakes.add(str(error))
        return None


def _table(top: Table, key: str, values: Mapping[str, object], place: int) -> Table:
    name = values.get("name", values.get("node"))
    called = f"[[{key}]] {name!r}" if isinstance(name, str) else f"[[{key}]] number {place}"
    return Table(values, (name,) if isinstance(name, str) else (), called, top.mistakes)


def _number(table: Table, key: str, low: float, high: float, unit: str) -> float | None:
    if key not in table.values:
        table.wrong(key, f"is missing. Give a number [{unit}].")
        return None
    return table.number(key, low, high, unit)


def _source(table: Table) -> Source | None:
    table.known(("node", "pressure_bar_g"))
    node = table.text("node", required=True)
    pressure = _number(table, "pressure_bar_g", *PRESSURE_RANGE_BAR_G, "bar(g)")
    if not node or pressure is None:
        return None
    return Source(node=node, pressure_bar_g=pressure)


def _pipe(table: Table) -> Pipe | None:
    table.known(_PIPE_KEYS)
    name = table.text("name", required=True)
    begin, end = table.text("from", required=True), table.text("to", required=True)
    kind = table.choice("kind", KINDS, "pipe")
    length = _number(table, "length_m", *LENGTH_RANGE_M, "m")
    bore = _number(table, "bore_mm", *BORE_RANGE_MM, "mm")
    roughness = table.number("roughness_mm", 0.0, 5.0, "mm")
    loss = table.number("loss_coefficient", *LOSS_RANGE, "-")
    if bore is not None and roughness is not None and roughness > ROUGHEST * bore:
        table.wrong(
            "roughness_mm",
            f"found {roughness:g}, more than a twentieth of the bore of {bore:g} mm; no law of "
            "friction holds there. Give both in mm.",
        )
    if kind in {"hose", "coupling"} and bore is not None and bore > WIDEST_HOSE_MM:
        table.wrong(
            "bore_mm",
            f"found {bore:g} mm for a {kind}; hoses and couplings to wearers are narrower than "
            f'{WIDEST_HOSE_MM:g} mm. Check the figure, or write kind = "pipe".',
        )
    if length == 0.0 and not loss:
        table.wrong(
            "length_m",
            "is 0, and there is no loss_coefficient: nothing would be lost in it. Give either.",
        )
    if not (name and begin and end) or length is None or bore is None:
        return None
    return Pipe(
        name=name,
        begin=begin,
        end=end,
        length_m=length,
        bore_mm=bore,
        roughness_mm=_ROUGHNESS_MM[kind] if roughness is None else roughness,
        loss_coefficient=loss or 0.0,
        kind=kind,
    )


def _regulator(table: Table) -> Regulator | None:
    table.known(("name", "from", "to", "set_bar_g"))
    name = table.text("name", required=True)
    begin, end = table.text("from", required=True), table.text("to", required=True)
    pressure = _number(table, "set_bar_g", *PRESSURE_RANGE_BAR_G, "bar(g)")
    if not (name and begin and end) or pressure is None:
        return None
    return Regulator(name=name, begin=begin, end=end, set_bar_g=pressure)
