"""The words of headings, in English, German, French, Spanish and Norwegian.

All words are written as `lungwort.logs.headings.fold` brings them: lower case, without accents.
"""

from __future__ import annotations

from typing import Final

NAMES: Final[dict[str, tuple[str, ...]]] = {
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
        "hydrocarbons as methane", "total hydrocarbons as methane", "hydrocarbons as ch4", "thc as ch4",
        "thc as methane", "thc", "hc", "hydrocarbons", "total hydrocarbons", "kohlenwasserstoffe", "hydrocarbures",
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
        "betriebsdruck", "uberdruck", "absolutdruck", "overpressure", "surpression", "sobrepresion", "overtrykk", "pression", "pression de ligne", "presion", "presion de linea",
        "trykk", "linjetrykk", "p",
    ),
    "flow": ("flow", "air flow", "durchfluss", "volumenstrom", "debit", "caudal", "gjennomstromning", "flow rate"),
    "adp": (
        "atmospheric dew point", "atmospheric dewpoint", "atmospheric frost point", "atm dew point", "adp",
        "dew point atm", "dew point atmospheric", "dewpoint atm", "dewpoint atmospheric", "frost point atm",
        "atmospharischer taupunkt", "taupunkt atmospharisch", "taupunkt atm", "atmosphar taupunkt",
        "point de rosee atmospherique", "point de rosee atm", "punto de rocio atmosferico",
        "punto de rocio atm", "atmosfaerisk duggpunkt", "duggpunkt atm", "dew point 1 atm", "dew point at 1 atm",
        "dew point at atmospheric pressure", "frost point at atmospheric pressure", "taupunkt bei atmospharendruck",
        "atmospharendrucktaupunkt", "point de rosee a pression atmospherique",
        "point de rosee a la pression atmospherique", "punto de rocio a presion atmosferica",
        "duggpunkt ved atmosfaeretrykk",
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
"""What each key is called; an analyte, a place in the table, or a kind of dew point."""

NOT_A_READING: Final = frozenset(
    {
        "alarm", "alarme", "alarma", "alarms", "limit", "limits", "grenzwert", "limite", "status",
        "state", "zustand", "flag", "flags", "quality", "qc", "setpoint", "sollwert", "threshold",
        "schwelle", "error", "fehler", "fault", "voltage", "volt", "mv", "ma", "raw", "rohwert",
        "count", "counts", "adc", "id", "serial", "serien", "battery", "batterie", "calibration",
        "kalibrierung", "offset", "slope", "span", "zero", "target", "index", "duration", "dauer",
        "baseline", "response", "resistance", "alarmschwelle", "alarmgrense", "seuil", "umbral",
        "grense", "grenseverdi", "schwellwert", "richtwert", "setp", "sp", "consigne", "consigna",
        "nominal", "mak", "tlv", "mac", "kzw", "vla", "vle", "warning", "warnung", "voralarm",
        "hauptalarm", "ack", "acknowledge", "relay", "relais", "valid", "validity", "ok", "enabled",
        "range", "fullscale", "messbereich", "delta", "deviation", "abweichung", "difference", "diff",
        "differenz", "ecart", "desviacion", "avvik", "change", "rate", "gradient", "trend",
        "derivative", "std", "stdev", "sd", "sigma", "variance", "rms", "uncertainty", "unsicherheit",
        "incertitude", "usikkerhet", "noise", "bias", "drift", "resid", "residual", "predicted",
        "forecast", "simulated", "expected", "estimated", "interpolated", "modelled", "sum", "total",
        "cumulative", "dose", "ratio", "log", "ln", "sqrt", "dt", "consumption", "emission",
        "remaining", "lifetime", "life", "age", "hours", "runtime",
    }
)  # fmt: skip
"""Words that say that a column holds no readings, or not of the air as it was."""

OF_THE_MACHINE: Final = frozenset(
    {
        "level", "niveau", "nivel", "temperature", "temp", "temperatur", "pressure", "druck", "change",
        "tank", "sump", "wechsel",
    }
)  # fmt: skip
"""Words that make 'oil' and 'water' part of a machine."""

OTHER_PRESSURE: Final = frozenset(
    {
        "partial", "partialdruck", "barometric", "barometrisch", "barometer", "atmospheric",
        "atmospharisch", "atmospherique", "atmosferica", "ambient", "oil", "ol", "water", "wasser",
        "switch", "differential", "differenz", "differenzdruck", "delta", "cylinder", "bottle", "flaschen",
        "flasche", "tank", "vacuum", "vakuum", "steam", "dampf", "vapour", "vapor",
    }
)  # fmt: skip
"""Words that make a pressure another than the line's."""

MEANS: Final = frozenset(
    {
        "avg", "average", "mean", "mittel", "mittelwert", "moyenne", "media", "promedio",
        "gjennomsnitt", "snitt", "middel", "durchschnitt",
    }
)  # fmt: skip
"""Words for an average over each interval."""

LOWEST: Final = frozenset(
    {
        "min", "minimum", "lowest", "minimal", "minst", "kleinste",
    }
)  # fmt: skip
"""Words for the lowest of each interval."""

HIGHEST: Final = frozenset(
    {
        "max", "maximum", "peak", "spitze", "highest", "maximal", "maks", "hochst", "spitzenwert",
    }
)  # fmt: skip
"""Words for the highest of each interval."""

EXPOSURE: Final = frozenset(
    {
        "twa", "stel", "tmw",
    }
)  # fmt: skip
"""Words for an average over a working day or a quarter of an hour."""

NEUTRAL: Final = frozenset(
    {
        "sensor", "sensors", "sensoren", "probe", "cell", "zelle", "channel", "channels", "ch", "kanal",
        "canal", "input", "gas", "gaz", "nr", "num", "number", "line", "ligne", "leitung", "linea",
        "outlet", "sortie", "auslass", "salida", "utlop", "air", "luft", "aire", "atemluft",
        "druckluft", "breathing", "airline", "supply", "compressed", "sample", "sampling",
        "concentration", "conc", "konzentration", "concentracion", "concentratie", "konsentrasjon",
        "content", "gehalt", "teneur", "contenido", "innhold", "level", "niveau", "nivel", "reading",
        "readings", "value", "values", "wert", "messwert", "valeur", "mesure", "valor", "verdi",
        "measured", "gemessen", "actual", "monitor", "meter", "analyser", "analyzer", "instrument",
        "logger", "logged", "data", "at", "bei", "ved", "in", "as", "of", "the", "and", "by", "vol", "volume",         "compensated", "after", "nach", "hinter", "behind", "downstream", "apres", "tras", "etter",
        "filter", "dryer", "drier", "trockner", "secheur", "secador",
    }
)  # fmt: skip
"""Words beside an analyte's name that leave open nothing: order, place in the line, 'reading'."""

NOT_A_TIME: Final = frozenset(
    {
        "alarm", "alarme", "alarma", "limit", "status", "calibration", "kalibrierung", "battery",
        "batterie", "duration", "dauer", "remaining", "response", "last",
    }
)  # fmt: skip
"""Words that make a time another than that of the reading."""

AT_ATMOSPHERE: Final = frozenset(
    {
        "atm", "atmospheric", "atmosphere", "atmospharisch", "atmospharendruck", "atmospherique",
        "atmosferico", "atmosferica", "atmosfaerisk", "atmosfaeretrykk", "1atm",
    }
)  # fmt: skip
"""Words that put a dew point at atmospheric pressure."""

AT_PRESSURE: Final = frozenset({"pressure", "pdp", "line", "druck", "sous", "presion", "trykk"})
"""Words that put a dew point at line pressure."""

ABSOLUTE: Final = frozenset({"absolute", "absolut", "absolutdruck", "abs", "absolue", "absoluta"})
"""Words that say that a pressure counts from vacuum."""

GAUGE: Final = frozenset(
    {
        "gauge",
        "uberdruck",
        "overpressure",
        "surpression",
        "sobrepresion",
        "overtrykk",
        "manometrica",
    }
)
"""Words that say that a pressure counts from the atmosphere."""
