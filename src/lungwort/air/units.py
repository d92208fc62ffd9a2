"""Units of measurement: their names, their spellings and what they measure.

Every unit has one name here. A spelling found in a heading or typed by a user is brought to
that name by `unit_name`; the numbers are carried over by `scale`. A unit of another dimension is
never reached by scaling: ppm to mg/m³ needs a molar mass and a reference state and is done in
`lungwort.air.gas`; moisture is done in `lungwort.air.moisture`.

A pressure always says whether it is gauge or absolute. A pressure unit written without it keeps
the dimension ``pressure, reference not stated`` and cannot be converted until somebody says.
"""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING, Final, TypeVar

from attrs import frozen

from lungwort.errors import QuantityError

if TYPE_CHECKING:
    import numpy as np
    import polars as pl

    Number = TypeVar("Number", float, "np.ndarray", pl.Expr)

FRACTION: Final = "volume fraction"
MASS: Final = "mass concentration"
TEMPERATURE: Final = "temperature"
PRESSURE: Final = "pressure"
PRESSURE_UNSTATED: Final = "pressure, reference not stated"
MIXING: Final = "humidity ratio"
RELATIVE_HUMIDITY: Final = "relative humidity"
FLOW: Final = "volume flow"

ATMOSPHERE_KPA: Final = 101.325
"""Standard atmosphere [kPa], the offset between gauge and absolute used throughout."""


@frozen
class Unit:
    """One unit: ``value in base unit = factor * value + offset``.

    Parameters
    ----------
    name : str
        The name used in files, options, screens and paper.
    dimension : str
        What it measures; units scale into each other only inside one dimension.
    factor : float
        Multiplier to the dimension's base unit [base unit per unit].
    offset : float
        Added after multiplying [base unit].
    """

    name: str
    dimension: str
    factor: float
    offset: float = 0.0


_PSI_KPA = 6.894757293168361
_TABLE: Final[tuple[Unit, ...]] = (
    # base: ppm (mL/m³, µmol/mol)
    Unit("ppm", FRACTION, 1.0),
    Unit("ppb", FRACTION, 1e-3),
    Unit("%", FRACTION, 1e4),
    Unit("mol/mol", FRACTION, 1e6),
    # base: mg/m³
    Unit("mg/m3", MASS, 1.0),
    Unit("ug/m3", MASS, 1e-3),
    Unit("g/m3", MASS, 1e3),
    # base: °C
    Unit("°C", TEMPERATURE, 1.0),
    Unit("°F", TEMPERATURE, 5.0 / 9.0, -160.0 / 9.0),
    Unit("K", TEMPERATURE, 1.0, -273.15),
    # base: kPa absolute
    Unit("kPa(a)", PRESSURE, 1.0),
    Unit("kPa(g)", PRESSURE, 1.0, ATMOSPHERE_KPA),
    Unit("Pa(a)", PRESSURE, 1e-3),
    Unit("hPa(a)", PRESSURE, 0.1),
    Unit("mbar(g)", PRESSURE, 0.1, ATMOSPHERE_KPA),
    Unit("MPa(a)", PRESSURE, 1e3),
    Unit("MPa(g)", PRESSURE, 1e3, ATMOSPHERE_KPA),
    Unit("bar(a)", PRESSURE, 100.0),
    Unit("bar(g)", PRESSURE, 100.0, ATMOSPHERE_KPA),
    Unit("psi(a)", PRESSURE, _PSI_KPA),
    Unit("psi(g)", PRESSURE, _PSI_KPA, ATMOSPHERE_KPA),
    Unit("atm", PRESSURE, ATMOSPHERE_KPA),
    # base: kPa without a stated zero
    Unit("kPa", PRESSURE_UNSTATED, 1.0),
    Unit("Pa", PRESSURE_UNSTATED, 1e-3),
    Unit("hPa", PRESSURE_UNSTATED, 0.1),
    Unit("MPa", PRESSURE_UNSTATED, 1e3),
    Unit("bar", PRESSURE_UNSTATED, 100.0),
    Unit("psi", PRESSURE_UNSTATED, _PSI_KPA),
    # base: g/kg of dry air
    Unit("g/kg", MIXING, 1.0),
    Unit("kg/kg", MIXING, 1e3),
    Unit("mg/kg", MIXING, 1e-3),
    Unit("%RH", RELATIVE_HUMIDITY, 1.0),
    # base unit is one litre a minute
    Unit("L/min", FLOW, 1.0),
    Unit("m3/h", FLOW, 1000.0 / 60.0),
    Unit("ft3/min", FLOW, 28.316846592),
)
UNITS: Final[dict[str, Unit]] = {unit.name: unit for unit in _TABLE}

_SPELLINGS: Final[dict[str, tuple[str, ...]]] = {
    "ppm": (
        "ppm",
        "ppmv",
        "ppm(v)",
        "ppmvol",
        "vppm",
        "ml/m3",
        "cm3/m3",
        "umol/mol",
        "parts per million",
        "uvol/vol",
    ),
    "ppb": ("ppb", "ppbv", "ppb(v)", "ul/m3", "mm3/m3", "nmol/mol", "parts per billion"),
    "%": (
        "%",
        "%vol",
        "vol%",
        "vol.%",
        "vol.-%",
        "vol-%",
        "%(v/v)",
        "%v/v",
        "v/v%",
        "%volume",
        "percent",
        "pct",
        "prozent",
        "pourcent",
        "prosent",
        "porcentaje",
        "%vol.",
        "%o2",
        "vol.%o2",
        "%v",
    ),
    "mol/mol": (
        "mol/mol",
        "mole fraction",
        "molefraction",
        "m3/m3",
        "fraction",
        "kmol/kmol",
        "stoffmengenanteil",
    ),
    "mg/m3": ("mg/m3", "mgm-3", "mg.m-3", "mg*m-3", "mg/cbm", "mg/cum"),
    "ug/m3": ("ug/m3", "mcg/m3", "ugm-3", "ug.m-3"),
    "g/m3": ("g/m3", "gm-3", "g.m-3"),
    "°C": (
        "°c",
        "degc",
        "deg.c",
        "deg c",
        "c",
        "celsius",
        "gradc",
        "grad celsius",
        "oc",
        "ºc",
        "℃",
        "degrees c",
    ),
    "°F": ("°f", "degf", "deg.f", "deg f", "f", "fahrenheit", "ºf", "℉"),
    "K": ("k", "kelvin", "degk"),
    "kPa(a)": ("kpa(a)", "kpaa", "kpaabs", "kpa(abs)", "kpaabsolute"),
    "kPa(g)": ("kpa(g)", "kpag", "kpa(ü)", "kpa(e)", "kpagauge"),
    "Pa(a)": ("pa(a)", "paabs", "pa(abs)"),
    "hPa(a)": ("hpa(a)", "hpaabs", "hpa(abs)", "mbar(a)", "mbara", "mbarabs", "mbar(abs)"),
    "mbar(g)": ("mbar(g)", "mbarg", "mbar(ü)", "mbarü"),
    "MPa(a)": ("mpa(a)", "mpaa", "mpaabs", "mpa(abs)"),
    "MPa(g)": ("mpa(g)", "mpag", "mpa(ü)", "mpagauge"),
    "bar(a)": (
        "bar(a)",
        "bara",
        "barabs",
        "bar(abs)",
        "barabsolute",
        "bara.",
        "bar(absolut)",
        "barabsolut",
    ),
    "bar(g)": (
        "bar(g)",
        "barg",
        "bar(ü)",
        "barü",
        "bar(e)",
        "bargauge",
        "bar(gauge)",
        "barue",
        "bar(ue)",
        "bar(rel)",
        "barman",
        "bar(man)",
        "baro",
    ),
    "psi(a)": ("psi(a)", "psia"),
    "psi(g)": ("psi(g)", "psig"),
    "atm": ("atm",),
    "kPa": ("kpa",),
    "Pa": ("pa",),
    "hPa": ("hpa", "mbar", "millibar"),
    "MPa": ("mpa",),
    "bar": ("bar", "bars"),
    "psi": ("psi", "lbf/in2", "lb/in2"),
    "g/kg": ("g/kg", "gh2o/kg"),
    "kg/kg": ("kg/kg",),
    "mg/kg": ("mg/kg",),
    "%RH": ("%rh", "rh%", "%rf", "%r.h.", "%r.f.", "%hr", "%relativehumidity", "%r.h", "rh"),
    "L/min": ("l/min", "lpm", "dm3/min", "lmin-1", "slpm", "nl/min", "litres/min"),
    "m3/h": ("m3/h", "cbm/h", "nm3/h", "m3h-1", "m3/hr"),
    "ft3/min": ("ft3/min", "cfm", "scfm", "cuft/min"),
}


def _fold(text: str) -> str:
    folded = unicodedata.normalize("NFC", text).strip()
    folded = folded.replace("³", "3").replace("²", "2").replace("₂", "2").replace("₃", "3")
    folded = folded.replace("µ", "u").replace("μ", "u").replace("⁻", "-").replace("−", "-")
    folded = (
        folded.replace("^", "")
        .replace("·", ".")
        .replace("º", "°")
        .replace("℃", "°C")
        .replace("℉", "°F")
    )
    folded = re.sub(r"\s+", "", folded)
    return folded.lower()


_BY_SPELLING: Final[dict[str, str]] = {
    _fold(spelling): name
    for name, spellings in _SPELLINGS.items()
    for spelling in (*spellings, name)
}


def unit_name(text: str) -> str | None:
    """Bring a spelling of a unit to its name here.

    Parameters
    ----------
    text : str
        A unit as found in a heading or typed: ``ml/m³``, ``Vol.-%``, ``bar(ü)``.

    Returns
    -------
    str or None
        The unit's name, or None where the spelling is not known. Case, blanks and the ways to
        write superscripts and micro do not matter.

    Examples
    --------
    >>> unit_name("ml/m³"), unit_name("Vol.-%"), unit_name("bar (ü)"), unit_name("furlong")
    ('ppm', '%', 'bar(g)', None)
    """
    return _BY_SPELLING.get(_fold(text))


def unit(name: str) -> Unit:
    """Look a unit up by name or spelling.

    Parameters
    ----------
    name : str
        Name or spelling of the unit.

    Returns
    -------
    Unit
        The unit.

    Raises
    ------
    QuantityError
        Where the unit is not known; the message lists those that are.
    """
    known = unit_name(name)
    if known is None:
        raise QuantityError(f"unit {name!r} is not known. Known units: {', '.join(UNITS)}.")
    return UNITS[known]


def scale(value: Number, from_unit: str, to_unit: str) -> Number:
    """Convert between two units of one dimension.

    Parameters
    ----------
    value : float, numpy.ndarray or polars.Expr
        The number to convert [from_unit].
    from_unit, to_unit : str
        Names or spellings of the units.

    Returns
    -------
    float, numpy.ndarray or polars.Expr
        The number in ``to_unit``, in the type that came in.

    Raises
    ------
    QuantityError
        Where a unit is not known or the two measure different things.

    Examples
    --------
    >>> scale(20.9, "%", "ppm")
    209000.0
    >>> round(scale(-50.0, "°F", "°C"), 2)
    -45.56
    """
    source, target = unit(from_unit), unit(to_unit)
    if source.dimension != target.dimension:
        if PRESSURE_UNSTATED in (source.dimension, target.dimension) and PRESSURE in (
            source.dimension,
            target.dimension,
        ):
            raise QuantityError(
                f"{from_unit} to {to_unit}: gauge or absolute is not stated. "
                "Write bar(g) or bar(a), psi(g) or psi(a), kPa(g) or kPa(a)."
            )
        raise QuantityError(
            f"{from_unit} ({source.dimension}) cannot be scaled to {to_unit} ({target.dimension})."
        )
    if source == target:
        return value
    # Decimal prefixes must not leave float dust: 0.209 mol/mol is 20.9 %, so one rounded factor.
    factor = float(f"{source.factor / target.factor:.15g}")
    offset = float(f"{(source.offset - target.offset) / target.factor:.15g}")
    return value * factor + offset if offset else value * factor


_QUANTITY = re.compile(r"^\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")

_THOUSANDS = re.compile(r"^[+-]?[1-9]\d{0,2},\d{3}$")


def may_be_thousands(text: str) -> bool:
    """Tell whether the comma of a number can part its thousands as well as its decimals.

    Parameters
    ----------
    text : str
        A number as typed.

    Returns
    -------
    bool
        Where it is so, the two readings lie a thousandfold apart.

    Examples
    --------
    >>> may_be_thousands("1,440"), may_be_thousands("0,440"), may_be_thousands("1,44")
    (True, False, False)
    """
    return _THOUSANDS.match(text.strip().replace("−", "-")) is not None


def parse_quantity(text: str) -> tuple[float, str]:
    """Read a number with its unit.

    Parameters
    ----------
    text : str
        Like ``24 ppmv``, ``-50 °F``, ``7 bar(g)`` or ``0,5 mg/m³``; a comma is a decimal sign, and
        refused where it could as well part the thousands (``1,050``).

    Returns
    -------
    tuple of (float, str)
        The number and the unit's name.

    Raises
    ------
    QuantityError
        Where there is no number, no unit, a unit that is not known, or a comma that can be read in
        two ways.

    Examples
    --------
    >>> parse_quantity("24 ppmv")
    (24.0, 'ppm')
    """
    match = _QUANTITY.match(text.replace("−", "-"))
    if match is None:
        raise QuantityError(
            f"{text!r} does not begin with a number. Write it like '24 ppm' or '-50 °F'."
        )
    number, unit_text = match.groups()
    if may_be_thousands(number):
        raise QuantityError(
            f"{number} in {text!r} can be {number.replace(',', '.')} or {number.replace(',', '')}. "
            "Write it with a point, or without a comma."
        )
    if not unit_text:
        raise QuantityError(f"{text!r} has no unit. Write it like '24 ppm' or '-50 °F'.")
    return float(number.replace(",", ".")), unit(unit_text).name
