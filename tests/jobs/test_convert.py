"""One command for all conversions: its grammar, what it prints, and where it stops."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pytest
import typer
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from lungwort.cli import convert as face
from lungwort.errors import LungwortError, QuantityError, RangeError
from lungwort.jobs.convert import ConversionResult, convert

APP = typer.Typer()
APP.command("convert", cls=face.NumberCommand)(face.convert)


@APP.command("other")
def other() -> None:
    """Keep the first command from becoming the whole programme."""


def run(*words: str) -> str:
    """Run the command and give what it printed."""
    result = CliRunner().invoke(APP, ["convert", *words])
    if isinstance(result.exception, LungwortError):
        raise result.exception
    assert result.exit_code == 0, result.output
    return str(result.stdout)


# --- from the source ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "head"),
    [
        # CGA G-7.1 and NFPA 1989 (from memory): 24 ppmv at -65 °F, -53.9 °C
        (["24 ppmv", "frost-point", "--pressure", "1atm"], "24 ppm = -53.9 °C frost point"),
        (
            ["24 ppmv", "atmospheric-dew-point", "--unit", "°F"],
            "24 ppm = -65.0 °F frost point at 1.013 bar(a)",
        ),
        # 29 CFR 1910.134(i)(4)(iii): -50 °F; 67 ppmv in the trade's tables (from memory)
        (["-50 °F", "ppm", "--kind", "atmospheric-dew-point"], "-50 °F = 66.96 ppm water"),
        (["-50 °F", "°C"], "-50 °F = -45.56 °C"),
        # NIST SP 811: 1 psi = 6.894757 kPa
        (["6.894757 kPa(a)", "psi(a)"], "6.89476 kPa(a) = 1 psi(a)"),
    ],
)
def test_published_pairs(words: list[str], head: str) -> None:
    """The first line of the answer is the published number."""
    assert run(*words).startswith(head)


# --- worked by hand or computed with other libraries ----------------------------------------------


@pytest.mark.parametrize(
    ("words", "head"),
    [
        (["5 ppm", "mg/m3", "--gas", "co", "--at", "20 °C"], "5 ppm = 5.822 mg/m3\n"),
        (["5 ppm", "mg/m3", "--gas", "CO", "--at", "0"], "5 ppm = 6.248 mg/m3\n"),
        (["500 ml/m3", "mg/m3", "--gas", "CO₂"], "500 ppm = 914.8 mg/m3\n"),
        (["1 ppm", "mg/m3", "--molar-mass", "92.14"], "1 ppm = 3.83 mg/m3\n"),
        (["50 mg/m3", "ppm", "--gas", "water"], "50 mg/m3 = 66.76 ppm\n"),
        (["20.9 %", "ppm"], "20.9 % = 209000 ppm\n"),
        (["7 bar(g)", "psi(g)"], "7 bar(g) = 101.5 psi(g)\n"),
        (["120 L/min", "ft3/min"], "120 L/min = 4.238 ft3/min\n"),
        (
            [
                "3 °C",
                "atmospheric-dew-point",
                "--kind",
                "pressure-dew-point",
                "--pressure",
                "7 bar(g)",
            ],
            "3 °C = -20.5 °C frost point at 1.013 bar(a)\n",
        ),
        (
            ["20 °C", "mg/m3", "--kind", "dew-point", "--pressure", "7 bar(g)"],
            "20 °C = 2242 mg/m3 water\n",
        ),
        (
            ["50 mg/m3", "pressure-dew-point", "--pressure", "200 bar(g)"],
            "50 mg/m3 = 0.8 °C dew point at 201 bar(a), between -2.5 and 5.3 °C (estimate)\n",
        ),
        (
            ["300 bar(g)", "free-air", "--volume", "6.8", "--temperature", "15"],
            "300 bar(g) = 1832 L free air\n  as an ideal gas: 2020 L\n",
        ),
        (
            ["300 bar(a)", "free-air", "--volume", "6,8 L", "--temperature", "15 °C"],
            "300 bar(a) = 1828 L free air\n",
        ),
    ],
)
def test_answers(words: list[str], head: str) -> None:
    """The figures are those of the tests of the air room; here it is the command that is tested."""
    assert run(*words).startswith(head)


def test_humidity_of_a_room() -> None:
    """ASHRAE psychrometrics: 21 °C and 45 % hold 7.0 g/kg at sea level."""
    found = convert("45 %RH", "g/kg", temperature="21", pressure="1 atm")
    assert found.value == pytest.approx(7.0, abs=0.05)
    back = convert(f"{found.value!r} g/kg", "rh", temperature="21 °C", pressure="1 atm")
    assert back.value == pytest.approx(45.0, rel=1e-9)


def test_saturated_line_is_cautioned() -> None:
    """A relative humidity above 100 % means liquid."""
    found = convert("30 °C", "%RH", kind="dew-point", pressure="7 bar(g)", temperature="20")
    assert found.value > 100
    assert any("liquid in the line" in text for text in found.cautions)


# --- what is told beside the number ---------------------------------------------------------------


def test_assumptions_and_cautions_are_printed() -> None:
    """Reference state, phase, enhancement factor, zero of the gauge: each on its line."""
    text = run("50 mg/m3", "dew-point", "--pressure", "7 bar", "--at", "0 °C")
    assert "  taken: --pressure 7 bar taken as gauge; write bar(a) for an absolute" in text
    assert "  taken: below 0 °C taken as frost point\n" in text
    assert "  taken: enhancement factor of air at 8.013 bar(a)\n" in text
    assert "  taken: gauge pressure counted from 1.01325 bar(a)\n" in text
    assert "  taken: mg/m3 at 0 °C and 101.325 kPa(a), ideal gas, moist air\n" in text
    assert "  caution: Find out whether the instrument shows frost point" in text
    assert "  caution: Compare mg/m3 with a limit only at" in text
    dense = run("50 mg/m3", "dew-point", "--pressure", "200 bar(g)")
    assert "\n  as an ideal gas: 11.3 °C\n" in dense
    assert "  caution: Above 100 bar(a) this is an estimate and settles no limit" in dense
    held = run("232 bar(g)", "free-air", "--volume", "12", "--temperature", "20", "--at", "0")
    assert "  taken: free air counted at 1.01325 bar(a) and 0 °C\n" in held
    assert "  caution: Free air is not breathing time" in held
    change = run("7 bar(g)", "bar(a)")
    assert (
        change == "7 bar(g) = 8.013 bar(a)\n  taken: gauge pressure counted from 1.01325 bar(a)\n"
    )


def test_reference_pressure() -> None:
    """The pressure of the reference state is absolute, with or without the word."""
    for text in ("100 kPa", "1 bar(a)", "1000 mbar(a)"):
        found = convert("5 ppm", "mg/m3", gas="co", at_pressure=text)
        assert found.value == pytest.approx(5.8222 * 100 / 101.325, abs=5e-4)
        assert "mg/m3 at 20 °C and 100 kPa(a), ideal gas" in found.assumptions


def test_json_object() -> None:
    """The same as an object, with open bounds as null."""
    found = json.loads(run("50 mg/m3", "pressure-dew-point", "--pressure", "200 bar(g)", "--json"))
    assert found["unit"] == "°C"
    assert found["quantity"] == "dew point at 201 bar(a)"
    assert found["source"] == {"value": 50.0, "unit": "mg/m3"}
    assert found["low"] < found["value"] < found["high"] < found["ideal_gas"]
    assert found["assumptions"]
    assert found["cautions"]
    plain = json.loads(
        run("300 bar(g)", "free-air", "--volume", "6.8", "--temperature", "15", "--json")
    )
    assert plain["low"] is None
    assert plain["details"][0]["name"] == "as an ideal gas"
    edge = convert("-59 °C", "ppm", kind="dew-point", pressure="200 bar(g)")
    near = convert(f"{edge.value!r} ppm", "dew-point", pressure="200 bar(g)").as_object()
    assert near["low"] is None
    assert isinstance(near["high"], float)


def test_supercooled_water() -> None:
    """Murphy and Koop 2005: a frost point of -40 °C is a dew point of -43.7 °C."""
    dew = convert("127.4 ppm", "dew-point", pressure="1 atm", supercooled=True)
    assert dew.value == pytest.approx(-43.65, abs=0.03)
    assert dew.quantity == "dew point over supercooled water at 1.013 bar(a)"
    frost = convert(
        f"{dew.value!r} °C", "frost-point", kind="dew-point", pressure="1 atm", supercooled=True
    )
    assert frost.value == pytest.approx(-40.0, abs=0.01)
    same = run("-40 °C", "dew-point", "--kind", "dew-point", "--pressure", "1 atm", "--supercooled")
    assert same.startswith("-40 °C = -40.0 °C dew point over supercooled water")
    with pytest.raises(QuantityError, match="--supercooled and frost-point contradict"):
        convert("24 ppm", "frost-point", pressure="1 atm", supercooled=True)


def test_another_pressure() -> None:
    """A line dew point is carried to another pressure only where that is given."""
    found = convert(
        "-40 °C", "dew-point", kind="dew-point", pressure="7 bar(g)", to_pressure="40 bar(g)"
    )
    assert found.quantity == "frost point at 41.01 bar(a)"
    assert found.value > -40
    with pytest.raises(QuantityError, match=r"at which pressure it is wanted: atmospheric"):
        convert("-40 °C", "dew-point", kind="pressure-dew-point", pressure="7 bar(g)")


# --- where it stops -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["5 ppm", "mg/m3"], r"ppm to mg/m3 depends on the gas\. Give --gas"),
        (["5 ppm", "mg/m3", "--gas", "nox"], "has no single molar mass"),
        (["7 bar", "psi(g)"], "gauge or absolute is not stated"),
        (
            ["300 bar", "free-air", "--volume", "6.8", "--temperature", "15"],
            r"Write bar\(g\) or bar\(a\)",
        ),
        (["24 ppm", "dew-point"], r"pressure of the air decides .* Choose atmospheric-dew-point"),
        (
            ["24 ppm", "pressure-dew-point"],
            r"Choose give --pressure, like '7 bar\(g\)'|give --pressure",
        ),
        (["-50 °F", "ppm", "--kind", "dew-point"], r"--kind dew-point: the pressure of the air"),
        (["-50 °F", "ppm"], r"can be an atmospheric dew point or a pressure dew point"),
        (["24 ppm", "°C"], r"say which temperature or water content is wanted"),
        (["45 %RH", "ppm", "--pressure", "1 atm"], r"needs the pressure and the temperature"),
        (["5 furlongs", "ppm"], "unit 'furlongs' is not known"),
        (["5 ppm", "smell"], r"target 'smell' is not known\. Give a unit .* or a word"),
        (["5 ppm", "L/min"], "cannot be scaled to L/min"),
        (["5 L/min", "dew-point", "--pressure", "1 atm"], "states no water content"),
        (["5 ppm", "free-air"], "needs the pressure of the cylinder as source"),
        (["300 bar(g)", "free-air", "--temperature", "15"], r"free air needs --volume"),
        (["300 bar(g)", "free-air", "--volume", "6.8"], r"free air needs --temperature"),
        (
            ["300 bar(g)", "free-air", "--volume", "big", "--temperature", "15"],
            "--volume 'big' cannot",
        ),
        (["24 ppm", "dew-point", "--pressure", "7"], r"--pressure: '7' has no unit"),
        (["24 ppm", "dew-point", "--pressure", "7 °C"], "--pressure '7 °C' is no pressure"),
        (["5 ppm", "mg/m3", "--gas", "co", "--at", "20 bar"], "--at '20 bar' is no temperature"),
        (["5 ppm", "mg/m3", "--gas", "co", "--at-pressure", "20 °C"], "is no pressure"),
        (["5 ppm", "mg/m3", "--gas", "co", "--pressure", "7 bar"], "--pressure: no part in this"),
        (["5 ppm", "ppb", "--volume", "6.8"], "--volume: no part in this conversion"),
        (["5 ppm", "%", "--kind", "dew-point"], "--kind dew-point needs a temperature as source"),
        (["5 °C", "ppm", "--kind", "cold"], "--kind 'cold' is not known. Kinds: dew-point"),
        (["5 ppm", "dew-point", "--gas", "co", "--pressure", "1 atm"], "are of water"),
        (["24 ppm", "dew-point", "--pressure", "1 atm", "--unit", "ppm"], "a dew point is a temp"),
        (["5 ppm", "ppb", "--unit", "°F"], "--unit °F is only for a dew point"),
        (
            ["300 bar(g)", "free-air", "--volume", "1,440", "--temperature", "15"],
            "--volume '1,440' cannot",
        ),
        (["1,050 ppm", "%"], r"can be 1\.050 or 1050"),
    ],
)
def test_what_is_not_said_is_asked(words: list[str], message: str) -> None:
    """Nothing that changes the number is guessed; the message names the option that settles it."""
    with pytest.raises(QuantityError, match=message) as caught:
        run(*words)
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["10000 ppm", "frost-point", "--pressure", "1 atm"], r"condenses as liquid at 7\.1 °C"),
        (
            ["5 °C", "ppm", "--kind", "frost-point", "--pressure", "1 atm"],
            "is above 0 °C, and a frost",
        ),
        (["0 ppm", "dew-point", "--pressure", "1 atm"], "drier than a dew point of -100 °C"),
        (["24 ppm", "dew-point", "--pressure", "700 bar(g)"], r"outside 0\.1 to 350 bar\(a\)"),
        (["3000 bar(g)", "free-air", "--volume", "6.8", "--temperature", "15"], "is outside 10 to"),
        (["5 ppm", "mg/m3", "--gas", "co", "--at", "293 °C"], "reference temperature 293"),
    ],
)
def test_out_of_range(words: list[str], message: str) -> None:
    """Formulas are not stretched."""
    with pytest.raises(RangeError, match=message) as caught:
        run(*words)
    assert str(caught.value).endswith(".")


def test_negative_numbers_are_no_options() -> None:
    """Whatever letters follow, also those of an option like -h."""
    assert run("-0.5 m3/h", "L/min").startswith("-0.5 m3/h = -8.333 L/min")
    assert run("-40 fahrenheit", "°C").startswith("-40 °F = -40.00 °C")
    cold = run("60 bar(g)", "free-air", "--volume", "10", "--temperature", "-10 °C")
    assert "dry air as a real gas at -10 °C" in cold
    answer = CliRunner().invoke(APP, ["convert", "5 ppm", "--presure", "7 bar"])
    assert answer.exit_code == 2
    assert "No such option" in answer.output


# --- properties -----------------------------------------------------------------------------------


@settings(deadline=None, max_examples=100)
@given(
    ppm=st.floats(0.5, 20_000.0),
    pressure=st.sampled_from(["1 atm", "7 bar(g)", "100 psi(g)", "4 MPa(a)", "300 bar(g)"]),
    supercooled=st.booleans(),
)
def test_dew_point_and_back(ppm: float, pressure: str, *, supercooled: bool) -> None:
    """A dew point converts back to the content it came from, and names its phase."""
    try:
        point = convert(f"{ppm!r} ppm", "dew-point", pressure=pressure, supercooled=supercooled)
    except RangeError:
        assume(False)
    back = convert(
        f"{point.value!r} °C", "ppm", kind="dew-point", pressure=pressure, supercooled=supercooled
    )
    assert back.value == pytest.approx(ppm, rel=1e-8)
    cold = "supercooled" if supercooled else "frost point"
    if point.value < -4:
        assert cold in point.quantity
    if point.value > 0.01:
        assert point.quantity.startswith("dew point at")


def test_results_are_plain() -> None:
    """A result without bounds or words prints as one line."""
    result = ConversionResult(1.0, "ppm", 1000.0, "ppb")
    assert result.lines() == ("1 ppm = 1000 ppb",)


# --- the page that shows the command --------------------------------------------------------------

PAGE = Path(__file__).parents[2] / "docs" / "how-to" / "convert.md"


def _examples() -> list[tuple[str, str]]:
    text = PAGE.read_text(encoding="utf-8")
    blocks = re.findall(r"```console\n(.*?)```", text, flags=re.DOTALL)
    return [
        (command, shown)
        for block in blocks
        for command, shown in re.findall(
            r"^\$ (lungwort convert .*)\n((?:(?!\$ ).*\n)*)", block, re.MULTILINE
        )
    ]


def test_the_page_has_examples() -> None:
    """So that the next test cannot pass for want of any."""
    assert len(_examples()) >= 8


@pytest.mark.parametrize(("command", "shown"), _examples())
def test_the_page_shows_what_is_printed(command: str, shown: str) -> None:
    """Every console example of the how-to page is what the command prints."""
    words = shlex.split(command)[2:]
    try:
        printed = run(*words)
    except LungwortError as error:
        printed = f"lungwort: {error}\n"
    assert printed == shown
