"""What a conversion is asked: the words of the options, read and held against each other."""

from __future__ import annotations

from math import isfinite
from typing import Final

from attrs import field, frozen

from lungwort.air import units
from lungwort.errors import QuantityError

DEW_POINT: Final = "dew-point"
FROST_POINT: Final = "frost-point"
ATMOSPHERIC: Final = "atmospheric-dew-point"
LINE: Final = "pressure-dew-point"
FREE_AIR: Final = "free-air"

TARGET_WORDS: Final[dict[str, str]] = {
    DEW_POINT: "dew point at the pressure given (a frost point below 0 °C)",
    FROST_POINT: "the same, and an error where it is not over ice",
    ATMOSPHERIC: "dew point at 101.325 kPa(a)",
    LINE: "dew point at the line pressure",
    FREE_AIR: "free air held by a cylinder at the pressure given",
}
"""Words that may stand for a target unit."""

KINDS: Final = (DEW_POINT, FROST_POINT, ATMOSPHERIC, LINE)
"""What a temperature given as source can mean besides a temperature."""


@frozen
class Request:
    """What was asked, with the options read."""

    value: float
    unit: units.Unit
    kind: str | None
    target: str
    target_unit: units.Unit | None
    gas: str | None
    molar_mass: float | None
    pressure_kpa: float | None
    to_pressure_kpa: float | None
    at_c: float | None
    at_kpa: float
    temperature_c: float | None
    volume_l: float | None
    supercooled: bool
    notes: tuple[str, ...] = field(default=())
    given: frozenset[str] = field(default=frozenset())

    def only(self, *options: str) -> None:
        """Refuse options that have no part in this conversion, before anyone believes they had."""
        idle = sorted(self.given - set(options))
        if idle:
            raise QuantityError(
                f"{', '.join(idle)}: no part in this conversion. Leave it out, or check the target."
            )

    @property
    def reference_c(self) -> float:
        from lungwort.air.gas import REFERENCE_TEMPERATURE_C  # noqa: PLC0415 - loads NumPy

        return REFERENCE_TEMPERATURE_C if self.at_c is None else self.at_c


def read_request(
    source: str,
    target: str,
    *,
    kind: str | None,
    pressure: str | None,
    to_pressure: str | None,
    gas: str | None,
    molar_mass: float | None,
    at: str | None,
    at_pressure: str | None,
    temperature: str | None,
    volume: str | None,
    unit: str | None,
    supercooled: bool,
) -> Request:
    """Read the options of `lungwort.jobs.convert.convert`, whose meaning is told there."""
    value, unit_name = units.parse_quantity(source)
    if not isfinite(value):
        raise QuantityError(f"{source!r} is too large a number. Write it like '24 ppm'.")
    notes: list[str] = []
    return Request(
        value=value,
        unit=units.unit(unit_name),
        kind=_kind(kind, unit_name),
        target=_word(target),
        target_unit=_target_unit(target, unit),
        gas=gas.strip().lower().replace("₂", "2").replace("₄", "4") if gas else None,
        molar_mass=molar_mass,
        pressure_kpa=_pressure(pressure, "--pressure", notes),
        to_pressure_kpa=_pressure(to_pressure, "--to-pressure", notes),
        at_c=_temperature(at, "--at"),
        at_kpa=_reference_pressure(at_pressure),
        temperature_c=_temperature(temperature, "--temperature"),
        volume_l=_volume(volume),
        supercooled=supercooled,
        notes=tuple(notes),
        given=frozenset(
            option
            for option, option_given in {
                "--kind": kind,
                "--pressure": pressure,
                "--to-pressure": to_pressure,
                "--gas": gas,
                "--molar-mass": molar_mass,
                "--at": at,
                "--at-pressure": at_pressure,
                "--temperature": temperature,
                "--volume": volume,
                "--unit": unit,
                "--supercooled": supercooled or None,
            }.items()
            if option_given is not None
        ),
    )


def _word(text: str) -> str:
    return "-".join(text.strip().lower().replace("_", " ").replace("-", " ").split())


def _target_unit(target: str, unit: str | None) -> units.Unit | None:
    word = _word(target)
    if word in TARGET_WORDS:
        if unit is None or word == FREE_AIR:
            return None
        wanted = units.unit(unit)
        if wanted.dimension != units.TEMPERATURE:
            raise QuantityError(f"--unit {unit}: a dew point is a temperature. Give °C, °F or K.")
        return wanted
    known = units.unit_name(target)
    if known is None:
        raise QuantityError(
            f"target {target!r} is not known. Give a unit ({', '.join(units.UNITS)}) "
            f"or a word ({', '.join(TARGET_WORDS)})."
        )
    if unit is not None:
        raise QuantityError(f"--unit {unit} is only for a dew point; the target {target} has one.")
    return units.UNITS[known]


def _kind(kind: str | None, unit_name: str) -> str | None:
    if kind is None:
        return None
    word = _word(kind)
    if word not in KINDS:
        raise QuantityError(f"--kind {kind!r} is not known. Kinds: {', '.join(KINDS)}.")
    if units.UNITS[unit_name].dimension != units.TEMPERATURE:
        raise QuantityError(
            f"--kind {word} needs a temperature as source, and {unit_name} is none. "
            "Give °C, °F or K, or leave --kind out."
        )
    return word


def _pressure(text: str | None, option: str, notes: list[str]) -> float | None:
    if text is None:
        return None
    try:
        value, name = units.parse_quantity(text)
    except QuantityError as error:
        raise QuantityError(f"{option}: {error} A pressure is written like '7 bar(g)'.") from error
    dimension = units.UNITS[name].dimension
    if dimension == units.PRESSURE_UNSTATED:
        notes.append(
            f"{option} {text.strip()} taken as gauge; write {name}(a) for an absolute pressure"
        )
        # The zero of a gauge is one atmosphere, in whatever unit.
        return float(units.UNITS[name].factor * value + units.ATMOSPHERE_KPA)
    if dimension != units.PRESSURE:
        raise QuantityError(f"{option} {text!r} is no pressure. Write it like '7 bar(g)'.")
    return float(units.scale(value, name, "kPa(a)"))


def _reference_pressure(text: str | None) -> float:
    if text is None:
        return units.ATMOSPHERE_KPA
    value, name = units.parse_quantity(text)
    unit = units.UNITS[name]
    if unit.dimension not in {units.PRESSURE, units.PRESSURE_UNSTATED}:
        raise QuantityError(f"--at-pressure {text!r} is no pressure. Write it like '101.325 kPa'.")
    return unit.factor * value + unit.offset


def _temperature(text: str | None, option: str) -> float | None:
    number = _plain(text)
    if text is None or number is not None:
        return number
    value, name = units.parse_quantity(text)
    if units.UNITS[name].dimension != units.TEMPERATURE:
        raise QuantityError(f"{option} {text!r} is no temperature. Write it like '20 °C'.")
    return float(units.scale(value, name, "°C"))


def _volume(text: str | None) -> float | None:
    number = _plain(text.strip().removesuffix("L").removesuffix("l") if text else None)
    if text is not None and number is None:
        raise QuantityError(
            f"--volume {text!r} cannot be read. Give the water volume like '6.8 L'."
        )
    return number


def _plain(text: str | None) -> float | None:
    """Read a number without a unit; None where there is more, or a comma that may part thousands."""
    if text and units.may_be_thousands(text):
        return None
    try:
        return float(text.strip().replace(",", ".").replace("−", "-")) if text else None
    except ValueError:
        return None
