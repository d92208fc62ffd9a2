"""Convert one number: gas, moisture, units, and what a cylinder holds.

The source is a number with its unit, the target a unit or a word (`TARGET_WORDS`). What the
number means is never guessed where it would change the answer: a temperature is a dew point only
where it is said so, a dew point needs its pressure, ppm and mg/m3 need the gas. Everything that
was taken is listed in the result.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.air import units
from lungwort.air.analytes import (
    ATMOSPHERIC_DEW_POINT,
    HUMIDITY_RATIO,
    MASS_CONCENTRATION,
    PRESSURE_DEW_POINT,
    RELATIVE_HUMIDITY,
    VOLUME_FRACTION,
)
from lungwort.errors import QuantityError, RangeError
from lungwort.jobs._conversion_request import (
    ATMOSPHERIC,
    DEW_POINT,
    FREE_AIR,
    FROST_POINT,
    KINDS,
    LINE,
    TARGET_WORDS,
    Request,
    read_request,
)
from lungwort.jobs._conversion_result import ConversionResult, Detail

if TYPE_CHECKING:
    from lungwort.air.moisture import WaterConversion

__all__ = ["KINDS", "TARGET_WORDS", "ConversionResult", "Detail", "convert"]

_CHECK_STANDARD: Final = (
    "A conversion measures nothing. Hold a reading against the limit in the standard itself."
)
_CHECK_REFERENCE: Final = (
    "Compare mg/m3 with a limit only at the limit's own reference temperature: "
    "0 °C and 20 °C differ by 7 %."
)
_CHECK_PHASE: Final = (
    "Find out whether the instrument shows frost point or dew point over supercooled water: "
    "below 0 °C they differ, by 3.7 °C at a frost point of -40 °C."
)
_ESTIMATE: Final = (
    "Above 100 bar(a) this is an estimate and settles no limit: hold the measured mg/m3 or "
    "atmospheric dew point against the limit."
)
_RESERVE: Final = (
    "Free air is not breathing time: a warm cylinder loses pressure as it cools, and the reserve "
    "stays back. Let a competent person plan the use."
)
_WATER_DIMENSIONS: Final = {
    units.FRACTION: VOLUME_FRACTION,
    units.MASS: MASS_CONCENTRATION,
    units.MIXING: HUMIDITY_RATIO,
    units.RELATIVE_HUMIDITY: RELATIVE_HUMIDITY,
}
_ONLY_WATER: Final = frozenset({units.MIXING, units.RELATIVE_HUMIDITY})


def convert(
    source: str,
    target: str,
    *,
    kind: str | None = None,
    pressure: str | None = None,
    to_pressure: str | None = None,
    gas: str | None = None,
    molar_mass: float | None = None,
    at: str | None = None,
    at_pressure: str | None = None,
    temperature: str | None = None,
    volume: str | None = None,
    unit: str | None = None,
    supercooled: bool = False,
) -> ConversionResult:
    """Convert one number.

    Parameters
    ----------
    source : str
        Number with unit: ``24 ppmv``, ``-50 °F``, ``7 bar(g)``.
    target : str
        A unit, or one of `TARGET_WORDS`.
    kind : str, optional
        One of `KINDS`, where the source is a temperature that states a water content.
    pressure : str, optional
        Pressure of the air of the source, with unit; ``bar`` alone is taken as gauge, and that is
        told.
    to_pressure : str, optional
        Pressure at which a dew point is wanted, with unit; that of the source where not given.
    gas : str, optional
        Key of the gas, between ppm and mg/m3.
    molar_mass : float, optional
        Molar mass in place of a gas [g/mol].
    at : str, optional
        Temperature at which mg/m3 or free air is counted; °C where it has no unit. mg/m3 is
        counted at 20 °C where it is not given.
    at_pressure : str, optional
        Absolute pressure at which mg/m3 is counted, with unit; 101.325 kPa where not given.
    temperature : str, optional
        Temperature of the air or of the cylinder; °C where it has no unit.
    volume : str, optional
        Water volume of the cylinder [L].
    unit : str, optional
        Unit of a dew point wanted; °C where not given.
    supercooled : bool
        Whether dew points below 0 °C, where not called frost points, are over supercooled water.

    Returns
    -------
    ConversionResult
        The result with what was taken.

    Raises
    ------
    QuantityError
        Where something cannot be read, is missing, or can be meant in more than one way.
    RangeError
        Where a formula is not good for what was given.

    References
    ----------
    `lungwort.air.gas`, `lungwort.air.moisture`, `lungwort.air.cylinder`.

    Examples
    --------
    >>> for line in convert("24 ppmv", "frost-point", pressure="1 atm").lines()[:2]:
    ...     print(line)
    24 ppm = -53.9 °C frost point at 1.013 bar(a)
      taken: below 0 °C taken as frost point
    """
    request = read_request(
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
    if request.target == FREE_AIR:
        return _free_air(request)
    if _is_moisture(request):
        return _moisture(request)
    wanted = units.unit(target)
    if {request.unit.dimension, wanted.dimension} == {units.FRACTION, units.MASS}:
        return _gas(request, wanted)
    return _unit_change(request, wanted)


def _unit_change(request: Request, target: units.Unit) -> ConversionResult:
    request.only("--kind", "--gas")
    pressure = request.unit.dimension == units.PRESSURE
    differs = ("(g)" in request.unit.name) != ("(g)" in target.name)
    zero = f"gauge pressure counted from {units.ATMOSPHERE_KPA / 100:g} bar(a)"
    return ConversionResult(
        source_value=request.value,
        source_unit=request.unit.name,
        value=float(units.scale(request.value, request.unit.name, target.name)),
        unit=target.name,
        decimals=2 if request.unit.dimension == units.TEMPERATURE else None,
        assumptions=(zero,) if pressure and differs else (),
    )


def _gas(request: Request, target: units.Unit) -> ConversionResult:
    from lungwort.air import gas  # noqa: PLC0415 - loads NumPy

    request.only("--gas", "--molar-mass", "--at", "--at-pressure")
    if request.gas is None and request.molar_mass is None:
        raise QuantityError(
            f"{request.unit.name} to {target.name} depends on the gas. Give --gas (co, co2, no, "
            "no2, so2, h2s, ch4, o3, water, ...) or --molar-mass in g/mol."
        )
    value = gas.convert_gas(
        request.value,
        request.unit.name,
        target.name,
        gas=request.gas,
        molar_mass=request.molar_mass,
        temperature_c=request.reference_c,
        pressure_kpa=request.at_kpa,
    )
    mass = request.molar_mass or gas.molar_mass_g_mol(request.gas or "")
    named = f"molar mass {mass:g} g/mol" + (f" of {request.gas}" if request.gas else "")
    return ConversionResult(
        source_value=request.value,
        source_unit=request.unit.name,
        value=value,
        unit=target.name,
        assumptions=(
            f"mg/m3 at {request.reference_c:g} °C and {request.at_kpa:g} kPa(a), ideal gas",
            named,
        ),
        cautions=(_CHECK_REFERENCE, _CHECK_STANDARD),
    )


def _free_air(request: Request) -> ConversionResult:
    from lungwort.air.cylinder import free_air  # noqa: PLC0415 - loads NumPy

    request.only("--volume", "--temperature", "--at")
    if request.unit.dimension == units.PRESSURE_UNSTATED:
        raise QuantityError(
            f"{request.value:g} {request.unit.name}: gauge or absolute is not stated. "
            f"Write {request.unit.name}(g) or {request.unit.name}(a)."
        )
    if request.unit.dimension != units.PRESSURE:
        raise QuantityError(
            f"free air needs the pressure of the cylinder as source, and {request.unit.name} is no "
            "pressure. Write '300 bar(g)' free-air."
        )
    for given, option in (
        (request.volume_l, "--volume (water volume in L)"),
        (request.temperature_c, "--temperature (of the cylinder, in °C)"),
    ):
        if given is None:
            raise QuantityError(f"free air needs {option}, and it is not given.")
    gauge = "(g)" in request.unit.name
    name = "bar(g)" if gauge else "bar(a)"
    pressure = float(units.scale(request.value, request.unit.name, name))
    held = free_air(
        request.volume_l or 0.0,
        request.temperature_c or 0.0,
        pressure_bar_g=pressure if gauge else None,
        pressure_bar_a=None if gauge else pressure,
        reference_temperature_c=request.at_c,
    )
    zero = f"gauge pressure counted from {units.ATMOSPHERE_KPA / 100:g} bar(a)"
    return ConversionResult(
        source_value=request.value,
        source_unit=request.unit.name,
        value=held.litres,
        unit="L",
        quantity="free air",
        decimals=0,
        details=(
            Detail("as an ideal gas", held.ideal_litres, "L"),
            Detail(f"volume times pressure in {name}", held.rule_litres, "L"),
            Detail("real gas to volume times pressure", held.ratio_to_rule),
            Detail("compressibility factor", held.compressibility_factor),
            Detail("density", held.density_kg_m3, "kg/m3"),
        ),
        assumptions=(
            f"dry air as a real gas at {request.temperature_c:g} °C",
            f"free air counted at 1.01325 bar(a) and {held.reference_temperature_c:g} °C",
            "all of the air counted, down to an empty cylinder",
            *((zero,) if gauge else ()),
        ),
        cautions=(_RESERVE,),
    )


def _is_moisture(request: Request) -> bool:
    dimension = None if request.target_unit is None else request.target_unit.dimension
    if request.target in TARGET_WORDS:
        return True
    if request.kind is not None:
        return dimension != units.TEMPERATURE
    both = {request.unit.dimension, dimension}
    if len(both) == 1:
        return False
    if units.TEMPERATURE in both and both & set(_WATER_DIMENSIONS):
        return True
    return bool(both & _ONLY_WATER) and both <= set(_WATER_DIMENSIONS)


def _source_quantity(request: Request) -> str:
    dimension = request.unit.dimension
    if dimension in _WATER_DIMENSIONS:
        return _WATER_DIMENSIONS[dimension]
    if dimension != units.TEMPERATURE:
        raise QuantityError(
            f"{request.unit.name} is a unit of {dimension} and states no water content. "
            "Give ppm, mg/m3, g/kg, %RH or a dew point."
        )
    if request.kind is None:
        raise QuantityError(
            f"{request.value:g} {request.unit.name} can be an atmospheric dew point or a pressure "
            f"dew point. Say which: --kind {ATMOSPHERIC}, or --kind {LINE} with --pressure."
        )
    return _dew_point_quantity(request.kind, request.pressure_kpa, "--kind")


def _dew_point_quantity(word: str, pressure_kpa: float | None, option: str) -> str:
    if word == ATMOSPHERIC:
        return ATMOSPHERIC_DEW_POINT
    if pressure_kpa is None:
        choices = f"{ATMOSPHERIC} (at 101.325 kPa(a)), or give --pressure: '1 atm' or '7 bar(g)'"
        if word == LINE:
            choices = "give --pressure, like '7 bar(g)'"
        raise QuantityError(
            f"{option} {word}: the pressure of the air decides the answer, and it is not given. "
            f"Choose {choices}."
        )
    at_atmosphere = abs(pressure_kpa - units.ATMOSPHERE_KPA) < _SAME_KPA
    return ATMOSPHERIC_DEW_POINT if at_atmosphere and word != LINE else PRESSURE_DEW_POINT


_SAME_KPA: Final = 1e-6


def _target_quantity(request: Request, from_quantity: str) -> str:
    if request.target_unit is not None and request.target not in TARGET_WORDS:
        dimension = request.target_unit.dimension
        if dimension not in _WATER_DIMENSIONS:
            raise QuantityError(
                f"target {request.target_unit.name}: say which temperature or water content is "
                f"wanted: {', '.join(word for word in TARGET_WORDS if word != FREE_AIR)}, "
                "ppm, mg/m3, g/kg or %RH."
            )
        return _WATER_DIMENSIONS[dimension]
    if (
        request.target in {DEW_POINT, FROST_POINT}
        and from_quantity == PRESSURE_DEW_POINT
        and request.to_pressure_kpa is None
    ):
        raise QuantityError(
            f"target {request.target}: say at which pressure it is wanted: {ATMOSPHERIC}, or "
            "--to-pressure like '40 bar(g)'."
        )
    pressure = request.pressure_kpa if request.to_pressure_kpa is None else request.to_pressure_kpa
    return _dew_point_quantity(request.target, pressure, "target")


def _moisture(request: Request) -> ConversionResult:
    from lungwort.air.moisture import convert_moisture  # noqa: PLC0415 - loads NumPy

    _check_moisture_options(request)
    from_quantity = _source_quantity(request)
    to_quantity = _target_quantity(request, from_quantity)
    if RELATIVE_HUMIDITY in {from_quantity, to_quantity} and (
        request.pressure_kpa is None or request.temperature_c is None
    ):
        raise QuantityError(
            "a relative humidity needs the pressure and the temperature of the air. "
            "Give --pressure (like '1 atm') and --temperature (like '20 °C')."
        )
    if request.kind == FROST_POINT and units.scale(request.value, request.unit.name, "°C") > 0:
        raise RangeError(
            f"{request.value:g} {request.unit.name} is above 0 °C, and a frost point is not. "
            f"Use --kind {DEW_POINT}."
        )
    is_point = to_quantity in {ATMOSPHERIC_DEW_POINT, PRESSURE_DEW_POINT}
    to_unit = request.target_unit.name if request.target_unit else "°C"
    found = convert_moisture(
        request.value,
        from_quantity,
        to_quantity,
        pressure_bar_g=_bar_g(request.pressure_kpa),
        to_pressure_bar_g=_bar_g(request.to_pressure_kpa),
        from_unit=request.unit.name,
        to_unit=to_unit,
        reference_temperature_c=request.reference_c,
        reference_pressure_kpa=request.at_kpa,
        gas_temperature_c=request.temperature_c,
        supercooled=request.supercooled and request.kind != FROST_POINT,
        to_supercooled=request.supercooled and request.target != FROST_POINT,
    )
    value = float(found.value)
    if request.target == FROST_POINT and found.phases != ("ice",):
        raise RangeError(
            f"{request.value:g} {request.unit.name} has no frost point at this pressure: water "
            f"condenses as liquid at {value:.1f} {to_unit}. Ask for {DEW_POINT}."
        )
    pressure = request.pressure_kpa if request.to_pressure_kpa is None else request.to_pressure_kpa
    if to_quantity == ATMOSPHERIC_DEW_POINT:
        pressure = units.ATMOSPHERE_KPA
    return ConversionResult(
        source_value=request.value,
        source_unit=request.unit.name,
        value=value,
        unit=to_unit,
        quantity=_named(found.phases, pressure) if is_point else _NAMES[to_quantity],
        low=float(found.low) if found.is_estimate else None,
        high=float(found.high) if found.is_estimate else None,
        ideal_gas=None if found.ideal_gas is None else float(found.ideal_gas),
        decimals=1 if is_point else None,
        assumptions=(*request.notes, *found.assumptions),
        cautions=_moisture_cautions(found, from_quantity, to_quantity, value),
    )


_MOISTURE_OPTIONS: Final = (
    *("--kind", "--pressure", "--to-pressure", "--at", "--at-pressure"),
    *("--temperature", "--unit", "--supercooled", "--gas", "--molar-mass"),
)
_NAMES: Final = {
    VOLUME_FRACTION: "water",
    MASS_CONCENTRATION: "water",
    HUMIDITY_RATIO: "water",
    RELATIVE_HUMIDITY: "",
}


def _named(phases: tuple[str, ...], pressure_kpa: float | None) -> str:
    name = {
        "ice": "frost point",
        "water": "dew point",
        "supercooled": "dew point over supercooled water",
    }[phases[0]]
    return f"{name} at {(pressure_kpa or 0.0) / 100:.4g} bar(a)"


def _bar_g(pressure_kpa: float | None) -> float | None:
    return None if pressure_kpa is None else float(units.scale(pressure_kpa, "kPa(a)", "bar(g)"))


def _check_moisture_options(request: Request) -> None:
    request.only(*_MOISTURE_OPTIONS)
    if request.gas not in {None, "water"} or request.molar_mass is not None:
        raise QuantityError(
            "a dew point, a humidity ratio and a relative humidity are of water. "
            "Leave --gas and --molar-mass out."
        )
    if (
        request.supercooled
        and request.target == FROST_POINT
        and request.kind in {None, FROST_POINT}
    ):
        raise QuantityError(
            f"--supercooled and {FROST_POINT} contradict each other. Use {DEW_POINT} for water "
            "below 0 °C that has not frozen."
        )


def _moisture_cautions(
    found: WaterConversion, from_quantity: str, to_quantity: str, value: float
) -> tuple[str, ...]:
    points = {ATMOSPHERIC_DEW_POINT, PRESSURE_DEW_POINT}
    cold = any("below 0 °C" in words for words in found.assumptions)
    cautions = [_ESTIMATE] if found.is_estimate else []
    if cold and {from_quantity, to_quantity} & points:
        cautions.append(_CHECK_PHASE)
    if to_quantity == RELATIVE_HUMIDITY and value > _SATURATED:
        cautions.append("Above 100 % water condenses: there is liquid in the line.")
    if MASS_CONCENTRATION in {from_quantity, to_quantity}:
        cautions.append(_CHECK_REFERENCE)
    return (*cautions, _CHECK_STANDARD)


_SATURATED: Final = 100.0
