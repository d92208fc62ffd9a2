"""Convert one number: moisture, gas, and what a cylinder holds; the address holds the question."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.air.analytes import ANALYTES
from lungwort.air.units import may_be_thousands
from lungwort.errors import LungwortError, QuantityError
from lungwort.jobs.convert import ConversionResult, convert
from lungwort.web.context import Ctx, Looking
from lungwort.web.forms import REFUSED, Field, form_view
from lungwort.web.menu import N_

router = APIRouter()

MOISTURE: Final = "moisture"
GAS: Final = "gas"
CYLINDER: Final = "cylinder"
WHAT: Final = (
    (MOISTURE, N_("Moisture")),
    (GAS, N_("Gas")),
    (CYLINDER, N_("Cylinder content")),
)
LONGEST: Final = 60
"""Characters of one answer; a number with its unit is shorter."""

SELDOM: Final = frozenset(
    {
        *("to_pressure", "to_pressure_unit", "to_unit"),
        *("at", "at_pressure", "molar_mass", "supercooled"),
    }
)
"""Fields that most questions do not need; they can be unfolded."""

Choices = tuple[tuple[str, str], ...]


def _same(*names: str) -> Choices:
    return tuple((name, name) for name in names)


PRESSURES: Final = _same(
    "bar(g)", "bar(a)", "psi(g)", "psi(a)", "kPa(g)", "kPa(a)", "MPa(g)", "MPa(a)", "atm"
)
TEMPERATURES: Final = _same("°C", "°F", "K")
CONTENTS: Final = _same("ppm", "mg/m3", "g/kg", "%RH")
DEW_POINTS: Final = (
    ("atmospheric-dew-point", N_("Dew point at atmospheric pressure")),
    ("pressure-dew-point", N_("Pressure dew point")),
    ("frost-point", N_("Frost point at the pressure given")),
    ("dew-point", N_("Dew point at the pressure given")),
)
GAS_UNITS: Final = _same("ppm", "ppb", "%", "mg/m3", "ug/m3", "g/m3")
GASES: Final = ("co", "co2", "no", "no2", "so2", "h2s", "ch4", "o3", "o2", "n2", "water")


def _choice(name: str, label: str, choices: Choices, **more: str | bool) -> Field:
    # Choices in a group are shown as one list, however few they are.
    made = Field(name=name, label=label, kind="choice", groups=(("", choices),))
    return evolve(made, **more)  # type: ignore[arg-type] # fields of Field by name


def _number(name: str, label: str, **more: str | bool) -> Field:
    return evolve(Field(name=name, label=label, kind="number"), **more)  # type: ignore[arg-type] # as above


def _fields(ctx: Ctx, what: str) -> tuple[Field, ...]:
    value = _number("value", N_("Number"), required=True)
    at = _number(
        "at",
        N_("mg/m³ counted at"),
        unit="°C",
        option="--at",
        help=N_("Left empty it is 20 °C. Take the reference temperature of the limit."),
    )
    at_pressure = _number(
        "at_pressure",
        N_("mg/m³ counted at the pressure"),
        unit="kPa(a)",
        option="--at-pressure",
        help=N_("Left empty it is 101.325 kPa(a)."),
    )
    named = tuple((code, ctx.gettext(label)) for code, label in DEW_POINTS)
    if what == GAS:
        gases = tuple((one, f"{ctx.gettext(ANALYTES[one].name)} ({one})") for one in GASES)
        return (
            value,
            _choice("unit", N_("Unit"), GAS_UNITS, required=True),
            _choice("gas", N_("Gas"), gases, option="--gas"),
            _choice("target", N_("Wanted as"), GAS_UNITS, required=True),
            at,
            at_pressure,
            _number(
                "molar_mass",
                N_("Molar mass of another gas"),
                unit="g/mol",
                option="--molar-mass",
                help=N_("Only where the gas is not in the list."),
            ),
        )
    if what == CYLINDER:
        return (
            _number("value", N_("Pressure in the cylinder"), required=True),
            _choice("unit", N_("Unit"), PRESSURES, required=True),
            _number("volume", N_("Water volume"), unit="L", option="--volume", required=True),
            _number(
                "temperature",
                N_("Temperature of the cylinder"),
                unit="°C",
                option="--temperature",
                required=True,
            ),
            _number(
                "at",
                N_("Free air counted at"),
                unit="°C",
                option="--at",
                help=N_("Left empty it is the temperature that the program takes; it is told."),
            ),
        )
    return (
        value,
        _choice("unit", N_("Unit"), (*TEMPERATURES, *CONTENTS), required=True),
        _choice(
            "kind",
            N_("If it is a temperature, it is a"),
            named,
            option="--kind",
            help=N_("A dew point is never guessed: say which one."),
        ),
        _number("pressure", N_("Pressure of the air"), option="--pressure"),
        _choice("pressure_unit", N_("Unit of this pressure"), PRESSURES),
        _choice("target", N_("Wanted as"), (*named, *CONTENTS), required=True),
        _number(
            "to_pressure",
            N_("Wanted at another pressure"),
            option="--to-pressure",
            help=N_("Left empty it is the pressure of the air."),
        ),
        _choice("to_pressure_unit", N_("Unit of the other pressure"), PRESSURES),
        _choice("to_unit", N_("Unit of the dew point wanted"), TEMPERATURES, option="--unit"),
        _number("temperature", N_("Temperature of the air"), unit="°C", option="--temperature"),
        at,
        at_pressure,
        Field(
            name="supercooled",
            label=N_("Below 0 °C the instrument shows dew point over supercooled water"),
            kind="flag",
            option="--supercooled",
        ),
    )


STANDARD: Final[Mapping[str, Mapping[str, str]]] = {
    MOISTURE: {"unit": "ppm", "target": "atmospheric-dew-point", "pressure_unit": "bar(g)"},
    GAS: {"unit": "ppm", "target": "mg/m3", "gas": "co"},
    CYLINDER: {"unit": "bar(g)", "temperature": "20"},
}


@router.get("/convert")
def page(ctx: Looking) -> Response:
    """Ask for a number and convert it."""
    asked = {name: text.strip() for name, text in ctx.request.query_params.items()}
    what = asked.get("what", MOISTURE)
    what = what if what in dict(WHAT) else MOISTURE
    fields = _fields(ctx, what)
    values = asked if "value" in asked else {**STANDARD[what], **asked}
    found, error = None, None
    if values.get("value"):
        try:
            found = _converted(what, values, fields)
        except LungwortError as refused:
            error = refused
    form = form_view(fields, action="/convert", submit=N_("Convert"), values=values, error=error)
    rest = tuple(one for one in fields if one.name in SELDOM)
    live = ctx.request.headers.get("HX-Request") == "true"
    return ctx.page(
        "convert/convert.html",
        status=REFUSED if error is not None and not live else 200,
        what=what,
        places=WHAT,
        form=form,
        found=found,
        seldom=SELDOM,
        rest=rest,
        rest_open=any(values.get(one.name) or one.name in form.wrong for one in rest),
    )


def _converted(what: str, values: Mapping[str, str], fields: Iterable[Field]) -> ConversionResult:
    given = {one.name: values[one.name] for one in fields if values.get(one.name)}
    labels = {one.name: one.option or one.label for one in fields}
    for name, text in given.items():
        if len(text) > LONGEST:
            raise QuantityError(
                f"{labels[name]}: the answer is longer than {LONGEST} characters. Give one number."
            )
    source = f"{given['value']} {given.get('unit', '')}"
    if what == CYLINDER:
        return convert(
            source,
            "free-air",
            volume=given.get("volume"),
            temperature=given.get("temperature"),
            at=given.get("at"),
        )
    at_pressure = given.get("at_pressure")
    at_pressure = f"{at_pressure} kPa(a)" if at_pressure else None
    if what == GAS:
        return convert(
            source,
            given.get("target", ""),
            gas=given.get("gas") if "molar_mass" not in given else None,
            molar_mass=_molar_mass(given.get("molar_mass")),
            at=given.get("at"),
            at_pressure=at_pressure,
        )
    return convert(
        source,
        given.get("target", ""),
        kind=given.get("kind"),
        pressure=_pressure(given, "pressure"),
        to_pressure=_pressure(given, "to_pressure"),
        unit=given.get("to_unit"),
        temperature=given.get("temperature"),
        at=given.get("at"),
        at_pressure=at_pressure,
        supercooled="supercooled" in given,
    )


def _pressure(given: Mapping[str, str], name: str) -> str | None:
    if name not in given:
        return None
    unit = given.get(f"{name}_unit")
    if unit is None:
        raise QuantityError(
            f"--{name.replace('_', '-')}: choose the unit of this pressure; gauge and absolute differ "
            "by one atmosphere."
        )
    return f"{given[name]} {unit}"


def _molar_mass(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError as error:
        raise QuantityError(
            f"--molar-mass {text!r} is no number. Give it in g/mol, like 28.01."
        ) from error
    if may_be_thousands(text):
        raise QuantityError(f"--molar-mass {text!r} has a comma. Give it in g/mol, like 28.01.")
    return value
