"""Headings: what they name, in which unit, and what must not pass for a reading.

Names of substances and units are common knowledge of the field; the spellings are such as loggers
write, common practice without a source.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.logs import vocabulary
from lungwort.logs.headings import (
    DEW_POINT,
    dimensions_that_fit,
    quantity_of,
    read_heading,
)
from lungwort.logs.headunits import bare_unit, fold

ADP = "atmospheric_dew_point"
PDP = "pressure_dew_point"


@pytest.mark.parametrize(
    ("heading", "key", "unit"),
    [
        # English
        ("CO [ppm]", "co", "ppm"),
        ("CO (ppb)", "co", "ppb"),
        ("CO,ppm", "co", "ppm"),
        ("CO_ppm", "co", "ppm"),
        ("CO in ppm", "co", "ppm"),
        ("ppm CO", "co", "ppm"),
        ("CO ppm max", "co", "ppm"),
        ("Carbon Monoxide (CO), ppm", "co", "ppm"),
        ("Carbon dioxide (CO2) ppm", "co2", "ppm"),
        ("CO₂ [ppm]", "co2", "ppm"),
        ("CO2 Vol%", "co2", "%"),
        ("Channel 1 CO [ppm]", "co", "ppm"),
        ("CH1: CO (ppm)", "co", "ppm"),
        ("Gas 1 (CO) ppm", "co", "ppm"),
        ("Sensor 3 [CO] [ppm]", "co", "ppm"),
        ("1 CO [ppm]", "co", "ppm"),
        ("CO_A [ppm]", "co", "ppm"),
        ("CO (0-500 ppm)", "co", "ppm"),
        ("<b>CO</b> [ppm]", "co", "ppm"),
        ("=CO [ppm]", "co", "ppm"),
        ("%O2", "o2", "%"),
        ("O2%", "o2", "%"),
        ("O₂ (% vol)", "o2", "%"),
        ("O2 mole fraction [-]", "o2", "mol/mol"),
        ("CO [µmol/mol]", "co", "ppm"),
        ("CO [µg/m³]", "co", "ug/m3"),
        ("CO [mg/m3 @ 20 °C]", "co", "mg/m3"),
        ("NO [ppm]", "no", "ppm"),
        ("NOx [ppm]", "nox", "ppm"),
        ("VOC ppm (isobutylene)", "voc", "ppm"),
        ("Total hydrocarbons [ppm]", "hydrocarbons", "ppm"),
        ("Hydrocarbons (CH4) ppm", "hydrocarbons", "ppm"),
        ("Water content [mg/m³]", "water", "mg/m3"),
        ("H2O [ppmv]", "water", "ppm"),
        ("Oil vapour (mg/m³)", "oil", "mg/m3"),
        ("RH [%]", "relative_humidity", "%RH"),
        ("Humidity [%]", "relative_humidity", "%RH"),
        ("Absolute humidity [g/m³]", "water", "g/m3"),
        ("Line pressure bar(g)", "pressure", "bar(g)"),
        ("Pressure (barg)", "pressure", "bar(g)"),
        ("Pressure (bar a)", "pressure", "bar(a)"),
        ("Absolute pressure [bar]", "pressure", "bar(a)"),
        ("Overpressure [bar]", "pressure", "bar(g)"),
        ("Pressure [bar]", "pressure", "bar"),
        ("Temperature (°F)", "temperature", "°F"),
        ("Flow Nm3/h", "flow", "m3/h"),
        # German
        ("Kohlenmonoxid ml/m³", "co", "ppm"),
        ("Kohlenstoffdioxid (Vol.-%)", "co2", "%"),
        ("Sauerstoff [Vol.-%]", "o2", "%"),
        ("CO2-Gehalt [ppm]", "co2", "ppm"),
        ("CO-Konzentration (ppm)", "co", "ppm"),
        ("Ölgehalt [mg/m³]", "oil", "mg/m3"),
        ("Druck [bar(ü)]", "pressure", "bar(g)"),
        ("Überdruck [bar]", "pressure", "bar(g)"),
        ("Absolutdruck [bar]", "pressure", "bar(a)"),
        # French
        ("Monoxyde de carbone (ppm)", "co", "ppm"),
        ("Oxygène (%)", "o2", "%"),
        ("Humidité relative (%)", "relative_humidity", "%RH"),
        ("Eau [mg/m³]", "water", "mg/m3"),
        # Spanish
        ("Monóxido de carbono (ppm)", "co", "ppm"),
        ("Oxígeno [%]", "o2", "%"),
        ("Dióxido de carbono [ppm]", "co2", "ppm"),
        # Norwegian
        ("Karbonmonoksid [ppm]", "co", "ppm"),
        ("Oksygen [vol%]", "o2", "%"),
    ],
)
def test_names_and_units_in_five_languages(heading: str, key: str, unit: str) -> None:
    """Headings as loggers write them give the substance and the unit, with nothing left open."""
    seen = read_heading(heading)
    assert (seen.key, seen.unit) == (key, unit)
    assert not seen.doubt
    assert not seen.measure


@pytest.mark.parametrize(
    ("heading", "quantity"),
    [
        ("Drucktaupunkt [°C]", PDP),
        ("Taupunkt (Druck) °C", PDP),
        ("Pressure dew point °F", PDP),
        ("Pressure dew point at 7 bar(g) [°C]", PDP),
        ("PDP @ 7 bar [°C]", PDP),
        ("DTP °C", PDP),
        ("Point de rosée sous pression (°C)", PDP),
        ("Punto de rocío a presión [°C]", PDP),
        ("Trykkduggpunkt (°C)", PDP),
        ("ADP [°C]", ADP),
        ("Atmosphärischer Taupunkt [°C]", ADP),
        ("Dew point (1 atm) [°C]", ADP),
        ("Dew point (atm) °C", ADP),
        ("Dew point (atmospheric pressure) °C", ADP),
        ("Duggpunkt atm. [°C]", ADP),
        # 'At atmospheric pressure' has the word pressure in it and is no pressure dew point: read as
        # one, -20 °C at 1 bar would pass for -20 °C at 7 bar(g), which is drier by 20 K.
        ("Dew point at atmospheric pressure [°C]", ADP),
        ("Taupunkt bei Atmosphärendruck (°C)", ADP),
        ("Point de rosée à pression atmosphérique (°C)", ADP),
        ("Punto de rocío a presión atmosférica [°C]", ADP),
        # open
        ("Dew point (°C)", DEW_POINT),
        ("Taupunkt [°C]", DEW_POINT),
        ("Td [°C]", DEW_POINT),
        ("Dew point @ 7 bar [°C]", DEW_POINT),
        ("Atmospheric pressure dew point [°C]", DEW_POINT),
        ("Dew point under pressure [°C]", DEW_POINT),
        ("Atmospheric dew point line [°C]", DEW_POINT),
        ("Dew point atm line [°C]", DEW_POINT),
    ],
)
def test_a_dew_point_is_at_the_pressure_its_words_say_or_at_none(
    heading: str, quantity: str
) -> None:
    """Words settle at which pressure a dew point is, or it stays open."""
    seen = read_heading(heading)
    assert (seen.key, seen.quantity) == ("water", quantity)


@pytest.mark.parametrize(
    "heading",
    [
        "CO alarm [ppm]", "CO limit [ppm]", "CO (limit 5 ppm)", "CO (ppm, limit 5)", "CO low alarm",
        "CO Grenzwert [ppm]", "CO Alarmschwelle", "CO Voralarm [ppm]", "CO seuil [ppm]", "CO umbral",
        "CO alarmgrense [ppm]", "CO MAK [ppm]", "CO setpoint [ppm]", "CO status [ppm]", "CO OK", "CO valid",
        "CO error", "CO baseline", "CO zero", "CO span [ppm]", "CO offset", "CO raw [ppm]", "delta CO [ppm]",
        "ΔCO [ppm]", "CO Δ [ppm]", "CO diff [ppm]", "O2 deviation [%]", "CO rate [ppm/min]", "CO stdev [ppm]",
        "CO uncertainty [ppm]", "CO predicted [ppm]", "CO sum [ppm]", "CO dose [ppm h]", "CO log [ppm]",
        "CO calibration gas [ppm]", "Zero gas CO", "Oil level [%]", "Water level [%]", "Oil Change [h]",
        # other substances
        "H2 [ppm]", "COS [ppm]", "HCN [ppm]", "COHb [%]", "He [%]", "CO1 [ppm]", "CO2e [ppm]", "eCO2 [ppm]",
        "dCO/dt [ppm]", "10xCO [ppm]", "ln(CO) [ppm]", "µCO [ppm]", "PT08.S1(CO)", "CO/CO2 [ppm]", "CO/O2",
        "NO", "No.", "Sample No", "AH", "DP °C", "Humidity",
        # other pressures
        "Oil pressure [bar]", "Barometric pressure [hPa]", "O2 partial pressure [kPa]", "pO2 [kPa]",
        "Differential pressure [mbar]", "Cylinder pressure [bar]",
    ],
)  # fmt: skip
def test_what_is_no_reading_of_the_air_is_never_taken_for_one(heading: str) -> None:
    """Alarms, limits, differences, other substances and machine values give no analyte."""
    assert read_heading(heading).key == ""


@pytest.mark.parametrize(
    ("heading", "telling"),
    [
        ("CO step [ppm]", "the word 'step' is not known"),
        ("CO corrected [ppm]", "the word 'corrected' is not known"),
        ("CO A1 [ppm]", "the word 'a1' is not known"),
        ("CO HI [ppm]", "the word 'hi' is not known"),
        ("CO outside [ppm]", "the word 'outside' is not known"),
        ("CO intake [ppm]", "the word 'intake' is not known"),
        ("CO before filter [ppm]", "the word 'before' is not known"),
        ("Co (cobalt) [mg/m3]", "the word 'cobalt' is not known"),
        ("CO equivalent [ppm]", "the word 'equivalent' is not known"),
        ("CO2-eq [ppm]", "the word 'eq' is not known"),
        ("non-CO [ppm]", "the word 'non' is not known"),
        ("no CO [ppm]", "the word 'no' is not known"),
        ("CO free", "the word 'free' is not known"),
        ("CO [ppm dry]", "the word 'dry' is not known"),
        ("CO [% FS]", "the word 'fs' is not known"),
        ("CO (CO2 compensated) [ppm]", "another name stands in brackets"),
        ("CO / H2 [ppm]", "the word 'h2' is not known"),
        # CO 2 is how some write carbon dioxide
        ("CO 2 [ppm]", "can be a number or part of a formula"),
        ("CO_2 [ppm]", "can be a number or part of a formula"),
        ("NO 2 [ppm]", "can be a number or part of a formula"),
        ("CO^2 [ppm]", "can be a number or part of a formula"),
        # what hides peaks
        ("CO min [ppm]", "it holds the lowest reading of each interval"),
        ("Min CO [ppm]", "it holds the lowest reading of each interval"),
        ("O2 max [%]", "it holds the highest reading of each interval"),
        ("CO TWA [ppm]", "average over hours"),
        ("CO STEL", "average over hours"),
        ("CO 8h [ppm]", "average over hours"),
        ("CO (8 h mean, ppm)", "average over hours"),
    ],
)
def test_a_word_that_can_change_the_meaning_is_asked_about(heading: str, telling: str) -> None:
    """An unknown word beside a name is told."""
    assert telling in read_heading(heading).doubt


@pytest.mark.parametrize(
    "heading",
    [
        "CO [ppm x10]", "CO x100 ppm", "CO 1/10 ppm", "CO [0.1 ppm]", "CO [10 ppm]", "CO ppm/10", "CO [ppm*10]",
        "CO [ppm]*10", "CO*10 [ppm]", "CO (×10) [ppm]", "CO e-1 ppm", "CO [10^-6]", "CO ppm tenths", "CO +/- [ppm]",
        "CO ± [ppm]", "10 x CO [ppm]", "CO [mg/m3 @ 0°C]", "CO [mg/m3] (0 °C, 1013 hPa)", "CO [mg/m³] 25 °C",
    ],
)  # fmt: skip
def test_a_factor_a_spread_or_another_reference_state_is_never_left_out(heading: str) -> None:
    """What makes the numbers other than the unit says is told."""
    assert read_heading(heading).measure


@pytest.mark.parametrize(
    "heading",
    [
        "CO [%LEL]", "CO %LEL", "CO [mg/Nm3]", "CO mg/Nm3", "CO [mg/m3N]", "CO [mg/Sm3]", "CO [ppmw]", "CO [pphm]",
        "CO [ppt]", "CO2 [‰]", "CO [nA]", "CO [mV]", "CO [%FS]", "CO [ppm/s]", "CO ppm·h", "Oxygen [mg/L]",
    ],
)  # fmt: skip
def test_an_unknown_unit_is_kept_as_written_and_gives_none(heading: str) -> None:
    """No unit is guessed."""
    seen = read_heading(heading)
    assert seen.key
    assert seen.unit == ""
    assert seen.unit_text in heading
    assert seen.unit_text


@pytest.mark.parametrize(
    ("heading", "below", "unit", "measure"),
    [
        ("CO", "ppm", "ppm", ""),
        ("CO", "[ppm]", "ppm", ""),
        ("Line pressure", "bar(g)", "bar(g)", ""),
        ("CO [ppm]", "ppm", "ppm", ""),
        ("CO [ppm]", "mg/m3", "", ""),
        ("CO [ppm]", "x10", "ppm", "'x10' can be a factor"),
        ("CO [ppm]", "gr/ft3", "ppm", "stands under it"),
        ("CO", "gr/ft3", "", ""),
        ("CO [ppm]", "-", "ppm", ""),
    ],
)
def test_the_row_of_units_and_the_heading_must_agree(
    heading: str, below: str, unit: str, measure: str
) -> None:
    """A row of units completes a heading and never overrules it in silence."""
    seen = read_heading(heading, below)
    assert seen.unit == unit
    assert measure in seen.measure
    assert bool(seen.measure) == bool(measure)


@pytest.mark.parametrize(
    ("heading", "key"),
    [
        ("Time", "time"), ("Log time", "time"), ("Date/Time", "time"), ("Datum Uhrzeit", "time"),
        ("Horodatage", "time"), ("Fecha y hora", "time"), ("Klokkeslett", "time"), ("Datum", "date"), ("Dato", "date"),
        ("Elapsed time [s]", "time"), ("Calibration date", ""), ("Alarm time", ""), ("Battery time", ""),
        ("Channel", "name"), ("Messwert", "value"), ("Alarm value", ""), ("Einheit", "unit"), ("O2 cell temp °C", "temperature"),
    ],
)  # fmt: skip
def test_places_in_the_table(heading: str, key: str) -> None:
    """Times, labels and values are told from times of other things."""
    assert read_heading(heading).key == key


@pytest.mark.parametrize(
    ("heading", "statistic"),
    [("CO avg [ppm]", "avg"), ("CO ppm 15min avg", "15min avg"), ("CO 15 min [ppm]", "15 min average"), ("CO max [ppm]", "max")],
)  # fmt: skip
def test_an_average_is_told(heading: str, statistic: str) -> None:
    """A heading that says average or maximum keeps the word."""
    seen = read_heading(heading)
    assert (seen.key, seen.statistic, seen.doubt) == ("co", statistic, "")


def test_fold_and_bare_unit() -> None:
    """Accents, subscripts and brackets go, what belongs to a unit stays."""
    assert fold("  Öl-Gehalt (mg/m³)") == "ol gehalt mg/m3"
    assert fold("CO₂_Straße") == "co2 strasse"
    assert bare_unit("( ppm )") == "ppm"
    assert bare_unit("bar(ü)") == "bar(ü)"


def test_quantity_and_dimensions() -> None:
    """A temperature of water is a dew point whose pressure is open."""
    assert quantity_of("water", "", "°C") == DEW_POINT
    assert quantity_of("water", PDP, "°C") == PDP
    assert quantity_of("co", "", "mg/m3") == "mass_concentration"
    assert dimensions_that_fit("oil") == {"mass concentration"}
    assert "temperature" not in dimensions_that_fit("co")


@settings(max_examples=150, deadline=None)
@given(
    word=st.text(alphabet="abcdefghijklmnopqrstuvwxyz", min_size=4, max_size=9),
    gas=st.sampled_from(["CO", "CO2", "O2", "H2S"]),
)
def test_no_unknown_word_beside_a_gas_goes_unasked(word: str, gas: str) -> None:
    """Property: any word is known to leave the reading a reading, or it is asked about or refused."""
    seen = read_heading(f"{gas} {word} [ppm]")
    known = (
        word in vocabulary.NEUTRAL
        or word in vocabulary.MEANS
        or word in vocabulary.HIGHEST
        or any(word in names for names in vocabulary.NAMES.values())
    )
    assert known or seen.doubt or not seen.key


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=40))
def test_any_text_is_read_without_a_crash(heading: str) -> None:
    """Property: no heading breaks the reading."""
    seen = read_heading(heading)
    assert isinstance(seen.key, str)
