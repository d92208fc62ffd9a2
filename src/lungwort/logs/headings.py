"""From a column's heading to what it measures and in which unit.

Headings are read by whole words, in English, German, French, Spanish and Norwegian. A heading
that is not understood is left alone and listed; one that can mean two things gives a question.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final

from attrs import frozen

from lungwort.air import units as air_units
from lungwort.air.analytes import (
    ANALYTES,
    ATMOSPHERIC_DEW_POINT,
    PRESSURE_DEW_POINT,
    RELATIVE_HUMIDITY,
    quantity_of_unit,
)

DEW_POINT: Final = "dew_point"
"""A dew point of which it is not said whether it is at atmospheric or at line pressure."""

_NAMES: Final[dict[str, tuple[str, ...]]] = {
    "o2": ("o2", "oxygen", "sauerstoff", "oxygene", "oxigeno", "oksygen", "surstoff"),
    "n2": ("n2", "nitrogen", "stickstoff", "azote", "nitrogeno"),
    "co": (
        "co", "carbon monoxide", "carbonmonoxide", "kohlenmonoxid", "kohlenstoffmonoxid",
        "monoxyde de carbone", "monoxido de carbono", "karbonmonoksid",
    ),
    "co2": (
        "co2", "carbon dioxide", "carbondioxide", "kohlendioxid", "kohlenstoffdioxid",
        "dioxyde de carbone", "gaz carbonique", "dioxido de carbono", "karbondioksid",
    ),
    "no": ("nitric oxide", "nitrogen monoxide", "stickstoffmonoxid", "monoxyde d azote", "oxido nitrico"),
    "no2": (
        "no2", "nitrogen dioxide", "stickstoffdioxid", "dioxyde d azote", "dioxido de nitrogeno",
        "nitrogendioksid",
    ),
    "nox": ("nox", "nitrogen oxides", "stickoxide", "oxydes d azote", "oxidos de nitrogeno"),
    "so2": (
        "so2", "sulphur dioxide", "sulfur dioxide", "schwefeldioxid", "dioxyde de soufre",
        "dioxido de azufre", "svoveldioksid",
    ),
    "h2s": (
        "h2s", "hydrogen sulphide", "hydrogen sulfide", "schwefelwasserstoff", "sulfure d hydrogene",
        "sulfuro de hidrogeno", "hydrogensulfid",
    ),
    "ch4": ("ch4", "methane", "methan", "metano", "metan"),
    "o3": ("o3", "ozone", "ozon", "ozono"),
    "voc": ("voc", "tvoc", "vocs", "volatile organic compounds", "cov", "flyktige organiske"),
    "hydrocarbons": (
        "thc", "hc", "hydrocarbons", "total hydrocarbons", "kohlenwasserstoffe", "hydrocarbures",
        "hidrocarburos", "hydrokarboner",
    ),
    "oil": (
        "oil", "oil mist", "oil vapour", "oil vapor", "oil aerosol", "ol", "oel", "olgehalt", "olnebel",
        "oldampf", "huile", "teneur en huile", "aceite", "olje", "oljetake",
    ),
    "particles": ("particles", "particulates", "partikel", "staub", "dust", "particules", "particulas"),
    "water": (
        "water", "h2o", "moisture", "water content", "water vapour", "water vapor", "moisture content",
        "absolute humidity", "wasser", "wassergehalt", "wasserdampf", "absolute feuchte", "feuchtegehalt",
        "eau", "teneur en eau", "vapeur d eau", "humidite absolue", "agua", "vapor de agua",
        "contenido de agua", "humedad absoluta", "vann", "vanninnhold", "vanndamp", "absolutt fuktighet",
        "humidity ratio", "humidityratio", "mixing ratio",
    ),
    "relative_humidity": (
        "rh", "r h", "relative humidity", "rel humidity", "relative feuchte", "relative luftfeuchte",
        "relative luftfeuchtigkeit", "rel feuchte", "humidite relative", "hr", "humedad relativa",
        "relativ fuktighet", "rf",
    ),
    "humidity": ("humidity", "feuchte", "feuchtigkeit", "luftfeuchte", "humidite", "humedad", "fuktighet"),
    "temperature": (
        "temperature", "temp", "temperatur", "temperatura", "lufttemperatur", "gas temperature",
        "air temperature", "ambient temperature", "umgebungstemperatur", "gastemperatur", "t",
    ),
    "pressure": (
        "pressure", "line pressure", "supply pressure", "druck", "leitungsdruck", "netzdruck",
        "betriebsdruck", "uberdruck", "pression", "pression de ligne", "presion", "presion de linea",
        "trykk", "linjetrykk", "p",
    ),
    "flow": ("flow", "air flow", "durchfluss", "volumenstrom", "debit", "caudal", "gjennomstromning", "flow rate"),
    "adp": (
        "atmospheric dew point", "atmospheric dewpoint", "atmospheric frost point", "atm dew point", "adp",
        "dew point atm", "dew point atmospheric", "dewpoint atm", "dewpoint atmospheric", "frost point atm",
        "atmospharischer taupunkt", "taupunkt atmospharisch", "taupunkt atm", "atmosphar taupunkt",
        "point de rosee atmospherique", "point de rosee atm", "punto de rocio atmosferico",
        "punto de rocio atm", "atmosfaerisk duggpunkt", "duggpunkt atm", "dew point 1 atm", "dew point at 1 atm",
    ),
    "pdp": (
        "pressure dew point", "pressure dewpoint", "pressure frost point", "pdp", "dew point pressure",
        "dew point at pressure", "dew point at line pressure", "dew point line pressure", "drucktaupunkt", "dtp",
        "point de rosee sous pression", "point de rosee pression", "punto de rocio a presion",
        "punto de rocio bajo presion", "trykkduggpunkt", "duggpunkt trykk",
    ),
    "dew": (
        "dew point", "dewpoint", "frost point", "frostpoint", "dew frost point", "taupunkt",
        "taupunkttemperatur", "point de rosee", "punto de rocio", "duggpunkt", "td",
    ),
    "time": (
        "time", "timestamp", "time stamp", "datetime", "date time", "date and time", "zeit", "uhrzeit",
        "zeitstempel", "zeitpunkt", "datum uhrzeit", "datum zeit", "datum und uhrzeit", "heure", "horodatage",
        "date heure", "date et heure", "hora", "fecha hora", "fecha y hora", "tid", "klokkeslett", "dato tid",
        "tidspunkt", "tidsstempel", "utc", "time utc", "local time", "logged at", "recorded at", "epoch",
        "unix time", "unixtime", "elapsed", "elapsed time", "laufzeit", "messzeit", "seconds", "sekunden",
        "secondes", "segundos", "sekunder",
    ),
    "date": ("date", "datum", "fecha", "dato", "day", "tag"),
    "name": (
        "channel", "parameter", "analyte", "sensor", "gas", "quantity", "measurement", "variable", "kanal",
        "messgrosse", "komponente", "canal", "grandeur", "parametre", "parametro", "magnitud", "tag name",
    ),
    "value": ("value", "reading", "wert", "messwert", "valeur", "mesure", "valor", "lectura", "verdi", "maling"),
    "unit": ("unit", "units", "einheit", "unite", "unidad", "enhet", "uom"),
}  # fmt: skip
_BY_NAME: Final = {name: key for key, names in _NAMES.items() for name in names}
_LONGEST: Final = max(len(name.split()) for name in _BY_NAME)

_NOT_A_READING: Final = frozenset(
    [
        "alarm",
        "alarme",
        "alarma",
        "alarms",
        "limit",
        "limits",
        "grenzwert",
        "limite",
        "status",
        "state",
        "zustand",
        "flag",
        "flags",
        "quality",
        "qc",
        "setpoint",
        "sollwert",
        "threshold",
        "schwelle",
        "error",
        "fehler",
        "fault",
        "voltage",
        "volt",
        "mv",
        "ma",
        "raw",
        "rohwert",
        "count",
        "counts",
        "adc",
        "id",
        "serial",
        "serien",
        "battery",
        "batterie",
        "calibration",
        "kalibrierung",
        "offset",
        "slope",
        "span",
        "zero",
        "target",
        "index",
        "duration",
        "dauer",
        "baseline",
        "response",
        "resistance",
    ]
)
_OF_THE_MACHINE: Final = frozenset(
    [
        "level",
        "niveau",
        "nivel",
        "temperature",
        "temp",
        "temperatur",
        "pressure",
        "druck",
        "change",
        "tank",
        "sump",
        "wechsel",
    ]
)
_AVERAGED: Final = frozenset(
    [
        "avg",
        "average",
        "mean",
        "mittel",
        "mittelwert",
        "moyenne",
        "media",
        "promedio",
        "gjennomsnitt",
        "snitt",
        "min",
        "minimum",
        "max",
        "maximum",
        "peak",
        "spitze",
        "twa",
        "stel",
    ]
)
_DEW_KEYS: Final = {"adp": ATMOSPHERIC_DEW_POINT, "pdp": PRESSURE_DEW_POINT, "dew": DEW_POINT}
_GROUP: Final = re.compile(r"[\[({]([^\[\](){}]*(?:\([^()]*\))?[^\[\](){}]*)[\])}]")
_FOLDS: Final = str.maketrans(
    {
        "₀": "0",
        "₁": "1",
        "₂": "2",
        "₃": "3",
        "₄": "4",
        "ß": "ss",
        "ø": "o",
        "Ø": "O",
        "æ": "ae",
        "_": " ",
        "’": " ",
        "'": " ",
    }
)


@frozen
class Reading:
    """What a heading says.

    Parameters
    ----------
    key : str
        Analyte key, or ``time``, ``date``, ``name``, ``value``, ``unit``; empty where the heading
        is not understood.
    quantity : str
        Quantity where the words alone settle it (dew points), `DEW_POINT` where they leave it
        open, else empty.
    unit : str
        Unit name found in the heading; empty for none.
    unit_text : str
        What stood where a unit belongs, as written; empty for nothing.
    statistic : str
        Word that says the column holds an average, a minimum or a maximum; empty for none.
    surely : bool
        Whether the words are the analyte's name alone.
    """

    key: str = ""
    quantity: str = ""
    unit: str = ""
    unit_text: str = ""
    statistic: str = ""
    surely: bool = True


def fold(text: str) -> str:
    """Bring a heading to lower-case words without accents, subscripts and punctuation."""
    plain = unicodedata.normalize("NFKD", text.translate(_FOLDS))
    plain = "".join(char for char in plain if not unicodedata.combining(char))
    return " ".join(re.sub(r"[^0-9a-z%°/]+", " ", plain.lower()).split())


def read_heading(heading: str, unit_row: str = "") -> Reading:
    """Read one heading, with what stands in the unit row below it.

    Parameters
    ----------
    heading : str
        The heading as written.
    unit_row : str
        The cell below it in a row of units; empty for none.

    Returns
    -------
    Reading
        What it says; `Reading.key` is empty where it says nothing known.

    Examples
    --------
    >>> read_heading("Kohlenmonoxid [ml/m³]").key, read_heading("Kohlenmonoxid [ml/m³]").unit
    ('co', 'ppm')
    >>> read_heading("PT08.S1(CO)").key
    ''
    """
    unit, unit_text, rest, asides = _take_unit(heading)
    below = unit_row.strip().strip("[](){}").strip()
    if below and below not in {"-", "--"}:
        named = air_units.unit_name(below)
        if named is not None:
            unit, unit_text = named, below
        elif not unit:
            unit_text = below
            asides = (*asides, below)
    return _read_words(heading, rest, unit, unit_text, asides)


def _take_unit(heading: str) -> tuple[str, str, str, tuple[str, ...]]:
    rest = heading.strip().strip('"').strip()
    asides: list[str] = []
    # A whole bracket is a unit or it is not: 'v/v' inside '[% v/v]' must not be taken for one.
    for match in _GROUP.finditer(rest):
        inside = re.split(r"\s*(?:@|\bat\b|\bbei\b)\s*", match.group(1).strip())[0]
        named = air_units.unit_name(inside) if inside else None
        if named == "atm" and len(_GROUP.findall(rest)) > 1:
            continue
        if named is not None:
            before, after = rest[: match.start()], rest[match.end() :]
            more = [other.group(1) for other in _GROUP.finditer(f"{before} {after}")]
            return named, inside, _GROUP.sub(" ", f"{before} {after}"), (*asides, *more)
    open_text = _GROUP.sub(" ", rest)
    for text in (rest, open_text):
        words = text.replace("_", " ").replace(",", " ").split()
        for count in (3, 2, 1):
            tail = " ".join(words[-count:])
            named = None
            if len(words) > count:
                named = air_units.unit_name(tail) or air_units.unit_name("/".join(words[-count:]))
            if named is not None and not tail.startswith("/"):
                asides = [] if text is rest else [m.group(1) for m in _GROUP.finditer(rest)]
                return named, tail, " ".join(words[:-count]).rstrip(" /,-"), tuple(asides)
        slashed = re.search(r"[\s,;/_|-]([^\s,;_|]+)$", text.strip())
        named = air_units.unit_name(slashed.group(1)) if slashed else None
        if slashed is not None and named is not None and slashed.start() > 0:
            asides = [] if text is rest else [m.group(1) for m in _GROUP.finditer(rest)]
            return named, slashed.group(1), text.strip()[: slashed.start()], tuple(asides)
    for match in _GROUP.finditer(rest):
        inside = match.group(1).strip()
        # 'CO (8 h mean, ppm)': the unit closes a bracket that says more.
        if re.search(r"[\s,;]", inside):
            named, text, before, _ = _take_unit(inside)
            if named:
                asides.append(before)
                return named, text, _GROUP.sub(" ", rest), tuple(asides)
        asides.append(inside)
    return "", "", open_text, tuple(asides)


def _read_words(
    heading: str, rest: str, unit: str, unit_text: str, asides: tuple[str, ...]
) -> Reading:
    words = fold(rest).replace("/", " ").split()
    aside_words = [word for aside in asides for word in fold(aside).replace("/", " ").split()]
    statistic = next((word for word in (*words, *aside_words) if word in _AVERAGED), "")
    if any(word in _NOT_A_READING for word in (*words, *aside_words)):
        return Reading(unit=unit, unit_text=unit_text)
    kept = [word for word in words if word not in _AVERAGED]
    hits = _find_names(kept)
    if (
        not hits
        and re.match(r"\s*NO\b(?!\.)", heading)
        and unit in {"ppm", "ppb", "mg/m3", "ug/m3"}
    ):
        hits = [("no", 0, 1)]
    if not hits:
        return Reading(unit=unit, unit_text=unit_text)
    key, _, _ = hits[0]
    if key == "oil" and set(words) & _OF_THE_MACHINE:
        return Reading(unit=unit, unit_text=unit_text)
    if len({hit[0] for hit in hits}) > 1:
        key = _decide(hits)
        if not key:
            return Reading(unit=unit, unit_text=unit_text)
    surely = sum(stop - start for _, start, stop in hits) == len(kept)
    return _settle(key, unit, unit_text, statistic, aside_words, surely=surely)


def _find_names(words: list[str]) -> list[tuple[str, int, int]]:
    hits: list[tuple[str, int, int]] = []
    index = 0
    while index < len(words):
        for count in range(min(_LONGEST, len(words) - index), 0, -1):
            name = " ".join(words[index : index + count])
            key = _BY_NAME.get(name)
            # One-letter names mean something only when they stand alone.
            if key is not None and (len(name) > 1 or len(words) == 1):
                hits.append((key, index, index + count))
                index += count
                break
        else:
            index += 1
    return hits


def _decide(hits: list[tuple[str, int, int]]) -> str:
    keys = {hit[0] for hit in hits}
    for ours in ("date", "time"):
        if keys <= {"date", "time"}:
            return "time"
        if ours in keys:
            keys.discard(ours)
    analytes = {key for key in keys if key in ANALYTES and ANALYTES[key].in_air} | (
        keys & set(_DEW_KEYS)
    )
    beside = keys & {"temperature", "pressure", "flow"}
    if beside and not analytes & set(_DEW_KEYS):
        # 'O2 cell temperature' is a temperature, not oxygen.
        return next(iter(beside)) if len(beside) == 1 else ""
    if keys & {"pressure"} and analytes & {"dew"}:
        return "pdp"
    if len(analytes) == 1:
        return next(iter(analytes))
    without_labels = keys - {"name", "value", "unit"}
    return next(iter(without_labels)) if len(without_labels) == 1 else ""


def _settle(
    key: str, unit: str, unit_text: str, statistic: str, aside_words: list[str], *, surely: bool
) -> Reading:
    quantity = ""
    if key in _DEW_KEYS:
        quantity = _DEW_KEYS[key]
        if quantity == DEW_POINT:
            beside = set(aside_words)
            if beside & {"atm", "atmospheric", "atmospharisch", "1atm", "adp"}:
                quantity = ATMOSPHERIC_DEW_POINT
            elif beside & {"pressure", "pdp", "line", "druck", "sous"}:
                quantity = PRESSURE_DEW_POINT
        key = "water"
    elif key == "humidity":
        key = "relative_humidity" if unit in {"%", "%RH"} else "water"
        if key == "water" and not unit:
            return Reading(unit_text=unit_text)
    if key == "relative_humidity":
        quantity, unit = RELATIVE_HUMIDITY, unit if unit not in {"", "%"} else "%RH"
    if key == "water" and unit == "%RH":
        key, quantity = "relative_humidity", RELATIVE_HUMIDITY
    return Reading(key, quantity, unit, unit_text, statistic, surely)


_FITS: Final[dict[str, frozenset[str]]] = {
    "gas": frozenset({air_units.FRACTION, air_units.MASS}),
    "mass": frozenset({air_units.MASS}),
    "water": frozenset(
        {air_units.FRACTION, air_units.MASS, air_units.MIXING, air_units.TEMPERATURE}
    ),
    "relative_humidity": frozenset({air_units.RELATIVE_HUMIDITY}),
    "temperature": frozenset({air_units.TEMPERATURE}),
    "pressure": frozenset({air_units.PRESSURE, air_units.PRESSURE_UNSTATED}),
    "flow": frozenset({air_units.FLOW}),
}


def dimensions_that_fit(analyte: str) -> frozenset[str]:
    """List the dimensions in which an analyte can be logged.

    Parameters
    ----------
    analyte : str
        Analyte key.

    Returns
    -------
    frozenset of str
        Dimension names of `lungwort.air.units`.
    """
    if analyte in _FITS:
        return _FITS[analyte]
    if analyte in {"oil", "particles", "liquid_water"}:
        return _FITS["mass"]
    return _FITS["gas"]


def quantity_of(analyte: str, reading_quantity: str, unit: str) -> str:
    """Name the quantity of a channel from its heading's words and its unit.

    Parameters
    ----------
    analyte : str
        Analyte key.
    reading_quantity : str
        Quantity that the words settled, or empty.
    unit : str
        Unit name.

    Returns
    -------
    str
        Quantity name, or `DEW_POINT` where a temperature stands for water and it is not said at
        which pressure.
    """
    if reading_quantity and reading_quantity != DEW_POINT:
        return reading_quantity
    if analyte == "water" and air_units.unit(unit).dimension == air_units.TEMPERATURE:
        return DEW_POINT
    return quantity_of_unit(unit)
