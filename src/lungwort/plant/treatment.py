"""Stages of treatment as the plant sheet states them.

Figures for what sorbents take stand here with their standing. The design figure of the cartridge's
maker belongs into the sheet; a general one proves nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import field, frozen

from lungwort.plant.water_load import PRESSURE_RANGE_BAR_G, Span
from lungwort.tomlfile import FROM_MEMORY, NO_SOURCE, Table

if TYPE_CHECKING:
    from collections.abc import Mapping

KEYS_TOP: Final = ("treatment",)

MOLECULAR_SIEVE: Final = "molecular_sieve"
ALUMINA: Final = "alumina"
SILICA_GEL: Final = "silica_gel"
ACTIVATED_CARBON: Final = "activated_carbon"
CO_CATALYST: Final = "co_catalyst"
COALESCER: Final = "coalescer"
REFRIGERATION: Final = "refrigeration"
KINDS: Final = (
    MOLECULAR_SIEVE,
    ALUMINA,
    SILICA_GEL,
    ACTIVATED_CARBON,
    CO_CATALYST,
    COALESCER,
    REFRIGERATION,
)
SORBENTS: Final = (MOLECULAR_SIEVE, ALUMINA, SILICA_GEL)
"""Kinds that take up water until they are full."""

KIND_WORDS: Final[Mapping[str, str]] = {
    MOLECULAR_SIEVE: "molecular sieve",
    ALUMINA: "activated alumina",
    SILICA_GEL: "silica gel",
    ACTIVATED_CARBON: "activated carbon",
    CO_CATALYST: "CO catalyst",
    COALESCER: "coalescing filter",
    REFRIGERATION: "refrigeration drier",
}

EQUILIBRIUM_PERCENT: Final[Mapping[str, float]] = {
    MOLECULAR_SIEVE: 20.0,
    ALUMINA: 20.0,
    SILICA_GEL: 35.0,
}
"""Most water that a sorbent takes by mass, at equilibrium with wet air at 25 °C [%]; from memory."""

SIEVE_DESIGN_PERCENT: Final = Span(10.0, 12.5, 15.0)
"""Design range of the dynamic capacity of molecular sieve [% by mass]; from memory."""
SIEVE_STANDING: Final = FROM_MEMORY

CAPACITY_SPREAD_PERCENT: Final = 20.0
"""How far a stated design capacity may be off [%]: half the width of the design range of molecular
sieve (10 to 15 %) over its middle; from memory."""

EFFICIENCY_PERCENT: Final = Span(90.0, 95.0, 100.0)
"""Share of liquid water that a separator is taken to hold back where the sheet says nothing [%]."""
EFFICIENCY_STANDING: Final = NO_SOURCE

_KEYS: Final = (
    "name",
    "kind",
    "sorbent_g",
    "water_capacity_percent",
    "capacity_spread_percent",
    "pressure_bar_g",
    "inlet_above_intake_c",
    "separator_efficiency_percent",
    "flow_l_min",
    "dew_point_c",
    "declared_hours",
    "highest_outlet_water_mg_m3",
    "regenerates",
)
LONGEST_LIFE_H: Final = 1e5
"""Longest life that a maker can have declared: eleven years of running; own rule [h]."""
WATER_RANGE_MG_M3: Final = (0.1, 20_000.0)
"""Highest water content behind a treatment that can be meant [mg/m³]; own rule."""
_NUMBERS: Final[Mapping[str, tuple[float, float, str]]] = {
    "sorbent_g": (1.0, 1e7, "g"),
    "water_capacity_percent": (0.1, 60.0, "%"),
    "capacity_spread_percent": (0.0, 90.0, "%"),
    "pressure_bar_g": (0.0, PRESSURE_RANGE_BAR_G[1], "bar(g)"),
    "inlet_above_intake_c": (-30.0, 60.0, "°C"),
    "separator_efficiency_percent": (0.0, 100.0, "%"),
    "flow_l_min": (1.0, 1e6, "L/min"),
    "dew_point_c": (-20.0, 40.0, "°C"),
    "declared_hours": (1.0, LONGEST_LIFE_H, "h"),
    "highest_outlet_water_mg_m3": (*WATER_RANGE_MG_M3, "mg/m3"),
}


@frozen(kw_only=True)
class TreatmentStage:
    """One stage of the treatment, as the plant sheet states it.

    Parameters
    ----------
    name : str
        Name of the stage on record.
    kind : str
        One of `KINDS`.
    sorbent_g : float, optional
        Mass of sorbent [g]; None where the sheet does not say, as for all below.
    water_capacity_percent : float, optional
        Water that it takes in use before it lets water through, by mass [%].
    capacity_spread_percent : float, optional
        How far that capacity may be off, up and down [%].
    pressure_bar_g : float, optional
        Lowest pressure at which air passes [bar(g)].
    inlet_above_intake_c : float, optional
        How much warmer than the intake the air is in the separator before it [°C].
    separator_efficiency_percent : float, optional
        Share of liquid water that the separator takes [%].
    flow_l_min : float, optional
        Free air through it [L/min].
    dew_point_c : float, optional
        For refrigeration: pressure dew point behind it [°C].
    declared_hours : float, optional
        Life that its maker declares for this use [h of running].
    highest_outlet_water_mg_m3 : float, optional
        Highest water content allowed behind it [mg/m³ at 20 °C, 1 atm].
    regenerates : bool
        Whether it dries itself again and again, so that it is not used up by water.
    order : int
        Its place in the air's way, from 0.
    """

    name: str
    kind: str
    sorbent_g: float | None = None
    water_capacity_percent: float | None = None
    capacity_spread_percent: float | None = None
    pressure_bar_g: float | None = None
    inlet_above_intake_c: float | None = None
    separator_efficiency_percent: float | None = None
    flow_l_min: float | None = None
    dew_point_c: float | None = None
    declared_hours: float | None = None
    highest_outlet_water_mg_m3: float | None = None
    regenerates: bool = False
    order: int = field(default=0, repr=False)

    @property
    def takes_water(self) -> bool:
        """Whether it takes up water until it is full."""
        return self.kind in SORBENTS and not self.regenerates

    @property
    def dries(self) -> bool:
        """Whether it takes water vapour from the air."""
        return self.kind in SORBENTS or self.kind == REFRIGERATION

    @property
    def efficiency_percent(self) -> Span:
        """Share of liquid water that its separator takes [%]."""
        stated = self.separator_efficiency_percent
        return EFFICIENCY_PERCENT if stated is None else Span.exactly(stated)

    @property
    def capacity_percent(self) -> Span | None:
        """Water that its sorbent takes, by mass [%]; None where that is not known."""
        stated = self.water_capacity_percent
        if stated is None:
            return SIEVE_DESIGN_PERCENT if self.kind == MOLECULAR_SIEVE else None
        spread = self.capacity_spread_percent
        share = (CAPACITY_SPREAD_PERCENT if spread is None else spread) / 100.0
        return Span(stated * (1.0 - share), stated, stated * (1.0 + share))


def read_treatments(top: Table) -> tuple[TreatmentStage, ...]:
    """Read the stages of treatment of a plant sheet.

    Parameters
    ----------
    top : Table
        The top of the file; mistakes are noted there.

    Returns
    -------
    tuple of TreatmentStage
        In the order of the file, which is the air's way.
    """
    return tuple(_stage(top, values, order) for order, values in enumerate(top.tables("treatment")))


def _stage(top: Table, values: Mapping[str, object], order: int) -> TreatmentStage:
    named = values.get("name")
    names = (named,) if isinstance(named, str) else ()
    where = f"[[treatment]] {named!r}" if names else f"[[treatment]] number {order + 1}"
    table = Table(values, names, where, top.mistakes)
    table.known(_KEYS)
    if "kind" not in values:
        table.wrong("kind", f"is missing. Write one of: {', '.join(KINDS)}.")
    kind = table.choice("kind", KINDS, MOLECULAR_SIEVE)
    numbers = {key: table.number(key, *allowed) for key, allowed in _NUMBERS.items()}
    if kind not in SORBENTS:
        for key in ("water_capacity_percent", "capacity_spread_percent", "sorbent_g"):
            if key == "sorbent_g" and kind in {ACTIVATED_CARBON, CO_CATALYST}:
                continue
            if key in values:
                table.wrong(key, f"is of no use for {KIND_WORDS[kind]}. Leave it out.")
    regenerates = table.flag("regenerates")
    if regenerates and kind not in SORBENTS:
        table.wrong("regenerates", f"is of no use for {KIND_WORDS[kind]}. Leave it out.")
    if kind != REFRIGERATION and "dew_point_c" in values:
        table.wrong("dew_point_c", "is of use for kind 'refrigeration' only. Leave it out.")
    return TreatmentStage(
        name=table.text("name", required=True),
        kind=kind,
        order=order,
        regenerates=regenerates,
        **numbers,
    )
