"""What a user types about a thing, held against what it can be.

Every function takes the text and the option that it was given with, and either gives the value or
says what was found and what would do.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lungwort.air import analytes, units
from lungwort.air.analytes import ANALYTES
from lungwort.errors import InputError, LimitSetError, PlanError, QuantityError
from lungwort.register.checking import is_id

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

NOTHING: Final = "none"
"""The word that takes away a fact that may be missing."""
LONGEST_NAME: Final = 64
LONGEST_TEXT: Final = 2000
NUMBER: Final = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)"
DEW_POINT_WORDS: Final = {
    analytes.PRESSURE_DEW_POINT: "pressure dew point",
    analytes.ATMOSPHERIC_DEW_POINT: "atmospheric dew point",
}

_THOUSANDS: Final = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
_FINE_UNITS: Final = frozenset({"%", "°C", "°F", "K"})
_YES: Final = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}
_YEARS: Final = (1950, 2200)


def near(word: str, known: Iterable[str]) -> str:
    """Suggest what may have been meant.

    Parameters
    ----------
    word : str
        What was found.
    known : iterable of str
        What is allowed.

    Returns
    -------
    str
        A question with a blank before it, or empty where nothing is near.

    Examples
    --------
    >>> near("ring-mane", ("ring-main", "cylinder-bank"))
    " Did you mean 'ring-main'?"
    """
    listed = list(known)
    folded = {one.casefold(): one for one in listed}
    close = difflib.get_close_matches(word.casefold(), folded, n=3, cutoff=0.6)
    if not close:
        return ""
    return f" Did you mean {' or '.join(repr(folded[one]) for one in close)}?"


def short_name(text: str, option: str) -> str:
    """Read a short name, by which commands call a thing.

    Parameters
    ----------
    text : str
        Letters, digits and ``-`` ``.`` ``_``, beginning and ending with a letter or a digit.
    option : str
        Option or argument that it was given with, for the message.

    Returns
    -------
    str
        The name, its letters composed (NFC).

    Raises
    ------
    InputError
        Where it cannot be a name.

    Examples
    --------
    >>> short_name(" hall-compressor ", "NAME")
    'hall-compressor'
    """
    name = unicodedata.normalize("NFC", text.strip())
    if not name:
        raise InputError(f"{option} is empty. Give a short name like 'hall-1'.")
    wrong = sorted({char for char in name if not (char.isalnum() or char in "-._")})
    if wrong:
        listed = " ".join("a blank" if char.isspace() else repr(char) for char in wrong)
        advised = re.sub(r"[^\w.]+", "-", name).strip("-._")
        meant = f" Write it like {advised!r}." if advised else ""
        raise InputError(
            f"{option} {text!r} has {listed} in it. A short name has letters, digits and - . _ "
            f"only, as it is typed in commands.{meant}"
        )
    if not (name[0].isalnum() and name[-1].isalnum()):
        raise InputError(
            f"{option} {text!r} does not begin and end with a letter or a digit. "
            "Give a short name like 'hall-1'."
        )
    return _checked_name(name, option)


def person_name(text: str, option: str) -> str:
    """Read a person's name.

    Parameters
    ----------
    text : str
        As the person writes it.
    option : str
        Option or argument that it was given with, for the message.

    Returns
    -------
    str
        The name with single blanks, its letters composed (NFC).

    Raises
    ------
    InputError
        Where it cannot be a name.

    Examples
    --------
    >>> person_name("Wenna  Harkle", "NAME")
    'Wenna Harkle'
    """
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not any(char.isalpha() for char in name):
        raise InputError(f"{option} {text!r} has no letter in it. Give the name of the person.")
    wrong = sorted({char for char in name if not (char.isalnum() or char in " -.,'’()")})
    wrong = [char for char in wrong if not unicodedata.category(char).startswith("M")]
    if wrong:
        raise InputError(
            f"{option} {text!r} has {' '.join(map(repr, wrong))} in it. Write the name of the "
            "person in letters, with blanks, hyphens, full stops and apostrophes where needed."
        )
    return _checked_name(name, option)


def _checked_name(name: str, option: str) -> str:
    if len(name) > LONGEST_NAME:
        raise InputError(
            f"{option} has {len(name)} letters. Give a name of at most {LONGEST_NAME}; "
            "a longer one may stand under --title or --note."
        )
    if is_id(name.casefold()):
        raise InputError(
            f"{option} {name!r} looks like the id that the record gives. Choose another name."
        )
    return name


def words(text: str, option: str) -> str:
    """Read free text.

    Parameters
    ----------
    text : str
        Any text; ends are trimmed. ``none`` and nothing give empty text.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    str
        The text.

    Raises
    ------
    InputError
        Where it is too long or holds control characters.
    """
    said = unicodedata.normalize("NFC", text.strip().replace("\r\n", "\n"))
    bad = sorted(
        {char for char in said if unicodedata.category(char) in {"Cc", "Cs"} and char not in "\n\t"}
    )
    if bad:
        listed = ", ".join(f"U+{ord(char):04X}" for char in bad)
        raise InputError(f"{option} holds control characters ({listed}). Write plain text.")
    if len(said) > LONGEST_TEXT:
        raise InputError(
            f"{option} has {len(said)} letters. Give at most {LONGEST_TEXT}, and keep the rest in "
            "a document of its own."
        )
    return "" if said.casefold() == NOTHING else said


def needed_words(text: str | None, option: str, what: str) -> str:
    """Read free text that must be there.

    Parameters
    ----------
    text : str, optional
        Any text.
    option : str
        Option that it was given with, for the message.
    what : str
        What it is to say, for the message: 'what happened'.

    Returns
    -------
    str
        The text.

    Raises
    ------
    InputError
        Where there is none.
    """
    said = words(text or "", option)
    if not said:
        raise InputError(f"{option} is missing or empty. Say {what}.")
    return said


def choice(text: str, known: Iterable[str], option: str) -> str:
    """Read one of several words.

    Parameters
    ----------
    text : str
        The word; case, and blank, hyphen or underscore between words, do not matter.
    known : iterable of str
        The words, with underscores.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    str
        The word as in ``known``.

    Raises
    ------
    InputError
        Where it is none of them; near ones are named.

    Examples
    --------
    >>> choice("Ring-main", ("ring_main", "cylinder_bank"), "--kind")
    'ring_main'
    """
    listed = tuple(known)
    word = re.sub(r"[\s-]+", "_", text.strip().casefold())
    if word in listed:
        return word
    shown = [dashed(one) for one in listed]
    meant = near(dashed(word), shown)
    raise InputError(f"{option} {text!r} is not known.{meant} Give one of: {', '.join(shown)}.")


def dashed(word: str) -> str:
    """Write a word of the record as commands take it: ``ring_main`` as ``ring-main``."""
    return word.replace("_", "-")


def yes_no_unknown(text: str, option: str) -> bool | None:
    """Read yes, no or unknown.

    Parameters
    ----------
    text : str
        The word.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    bool or None
        None for unknown.

    Raises
    ------
    InputError
        Where it is none of these.
    """
    word = text.strip().casefold()
    if word in {"unknown", NOTHING}:
        return None
    if word not in _YES:
        raise InputError(f"{option} {text!r} is not known. Give yes, no or unknown.")
    return _YES[word]


def yes_no(text: str, option: str) -> bool:
    """Read yes or no.

    Parameters
    ----------
    text : str
        The word.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    bool
        True for yes.

    Raises
    ------
    InputError
        Where it is neither.
    """
    word = text.strip().casefold()
    if word not in _YES:
        raise InputError(f"{option} {text!r} is not known. Give yes or no.")
    return _YES[word]


def zone(text: str, option: str) -> str:
    """Read a time zone.

    Parameters
    ----------
    text : str
        IANA name, such as Europe/London.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    str
        The name.

    Raises
    ------
    InputError
        Where there is no such zone; near ones are named.
    """
    from zoneinfo import available_timezones  # noqa: PLC0415 - reads the whole folder of zones

    name = text.strip()
    known = available_timezones()
    exact = {one.casefold(): one for one in known}
    name = exact.get(name.replace(" ", "_").casefold(), name)
    if name not in known:
        tails = {one.rpartition("/")[2].casefold(): one for one in sorted(known)}
        city = name.rpartition("/")[2].replace(" ", "_").casefold()
        found = tails.get(city)
        meant = f" Did you mean {found!r}?" if found else near(name, known)
        raise InputError(
            f"{option} {text!r} is no time zone.{meant} Use an IANA name such as Europe/London."
        )
    return name


def limit_set(text: str, option: str) -> str:
    """Read which limit set holds.

    Parameters
    ----------
    text : str
        Id of a set that comes with lungwort, or the path of a TOML file of the user's own.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    str
        The id, or the absolute path of the file; empty where ``none`` was given.

    Raises
    ------
    InputError
        Where the set is not known or has mistakes.
    """
    from lungwort.limits import load  # noqa: PLC0415 - only where a set is given

    said = text.strip()
    if not said or said.casefold() == NOTHING:
        return ""
    try:
        found = load.limit_set(said)
    except LimitSetError as error:
        raise InputError(f"{option}: {error}") from error
    return found.id if said in load.shipped_ids() else str(Path(said).resolve())


def limit_set_remarks(name: str) -> tuple[str, ...]:
    """Say what to mind about a limit set that is to hold for a supply.

    Parameters
    ----------
    name : str
        As `limit_set` gives it.

    Returns
    -------
    tuple of str
        Remarks; empty for none.
    """
    from lungwort.limits import load  # noqa: PLC0415 - only where a set is given

    if not name:
        return ()
    found = load.limit_set(name)
    remarks = []
    if found.use in {"compressed air in general", "workplace exposure", "medicinal air"}:
        remarks.append(
            f"The limit set {found.id} is for {found.use}, not for breathing air from an airline "
            "or a cylinder. Check that this is what is meant."
        )
    if name not in load.shipped_ids():
        remarks.append(
            "The limit set is a file of your own and is read anew at each verdict: keep it where "
            "it is. Each verdict keeps what it was judged with."
        )
    return tuple(remarks)


def plan_id(text: str, option: str) -> str:
    """Read which rule set for intervals holds.

    Parameters
    ----------
    text : str
        Id of a set that comes with lungwort, or the path of a TOML file of the user's own.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    str
        The id, or the absolute path of the file; empty where ``none`` was given.

    Raises
    ------
    InputError
        Where the set is not known or has mistakes.
    """
    from lungwort.plan import rules  # noqa: PLC0415 - only where a plan is given

    said = text.strip()
    if not said or said.casefold() == NOTHING:
        return ""
    try:
        rules.load_plan(said)
    except PlanError as error:
        raise InputError(f"{option}: {error}") from error
    return said if said in rules.plan_ids() else str(Path(said).resolve())


def day(text: str, option: str) -> date:
    """Read a day.

    Parameters
    ----------
    text : str
        ISO 8601: year, month, day, such as ``2026-03-04``.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    datetime.date
        The day.

    Raises
    ------
    InputError
        Where it is not written so, or is no day of the calendar.
    """
    said = text.strip()
    if re.fullmatch(r"\d{4}-\d\d-\d\d", said, re.ASCII) is None:
        raise InputError(
            f"{option} {text!r} is no day that can be read in one way only. "
            "Write year, month, day, like 2026-03-04."
        )
    try:
        found = date.fromisoformat(said)
    except ValueError:
        raise InputError(f"{option} {text!r} is no day of the calendar. Check it.") from None
    if not _YEARS[0] <= found.year <= _YEARS[1]:
        raise InputError(f"{option} {text!r}: the year {found.year} cannot be meant. Check it.")
    return found


def or_none(read: Callable[[str, str], object]) -> Callable[[str, str], object]:
    """Make a reader that takes ``none`` for a fact that may be missing.

    Parameters
    ----------
    read : callable
        From the text and the option to the value.

    Returns
    -------
    callable
        The same, but None where ``none`` was given.
    """

    def reading(text: str, option: str) -> object:
        return None if text.strip().casefold() == NOTHING else read(text, option)

    return reading


def whole(text: str, option: str, low: int, high: int, unit: str = "") -> int:
    """Read a whole number.

    Parameters
    ----------
    text : str
        Digits; a unit as in ``unit`` may follow.
    option : str
        Option that it was given with, for the message.
    low, high : int
        Least and greatest that can be meant [unit].
    unit : str
        Its unit: ``months``, ``days``, ``years``; empty for a count.

    Returns
    -------
    int
        The number [unit].

    Raises
    ------
    InputError
        Where it is no whole number, or out of range.

    Examples
    --------
    >>> whole("12 months", "--calibration-months", 1, 120, "months")
    12
    """
    said = text.strip()
    if unit:
        said = re.sub(rf"\s*{unit.removesuffix('s')}s?$", "", said, flags=re.IGNORECASE)
    counted = f" of {unit}" if unit else ""
    if re.fullmatch(r"[+-]?\d+", said, re.ASCII) is None:
        raise InputError(
            f"{option} {text!r} is no whole number{counted}. Write it in digits, like {max(low, 1)}."
        )
    value = int(said)
    if not low <= value <= high:
        raise InputError(
            f"{option} {text!r} is out of range. Give a number{counted} from {low} to {high}."
        )
    return value


def decimal_number(written: str, option: str, text: str, unit: str = "") -> Decimal:
    """Read a number as it is written.

    Parameters
    ----------
    written : str
        Digits with a point or a comma as decimal sign.
    option : str
        Option that it was given with, for the message.
    text : str
        All that was typed, for the message.
    unit : str
        Name of its unit, by which it is known whether three decimals are likely.

    Returns
    -------
    Decimal
        The number, with as many decimals as were written.

    Raises
    ------
    InputError
        Where it is no number, or its sign can as well part the thousands.

    Examples
    --------
    >>> decimal_number("48,5", "--row", "48,5 ppm")
    Decimal('48.5')
    """
    said = written.strip().replace("−", "-")
    if re.fullmatch(NUMBER, said, re.ASCII) is None:
        raise InputError(
            f"{option} {text!r}: {written.strip()!r} is no number. Write it like 48.5."
        )
    if _THOUSANDS.fullmatch(said) and (unit not in _FINE_UNITS or "," in said):
        grouped = re.sub(r"[.,]", "", said)
        parted = said.replace(",", ".").rstrip("0")
        parted += "0" if parted.endswith(".") else ""
        raise InputError(
            f"{option} {text!r}: {said!r} can be read as {grouped} or as {parted}. "
            f"Write {grouped} or {parted}."
        )
    return Decimal(said.replace(",", "."))


def hours(text: str, option: str, *, least: int = 0) -> Decimal:
    """Read hours.

    Parameters
    ----------
    text : str
        Like ``1234.5`` or ``2000 h``.
    option : str
        Option that it was given with, for the message.
    least : int
        Least that can be meant [h].

    Returns
    -------
    Decimal
        The hours [h].

    Raises
    ------
    InputError
        Where it is no such number.
    """
    said = re.sub(r"\s*(?:h|hours?)$", "", text.strip(), flags=re.IGNORECASE)
    value = decimal_number(said, option, text)
    if not least <= value <= 1_000_000:  # noqa: PLR2004 - more than a century
        raise InputError(f"{option} {text!r} is out of range. Give hours from {least} to 1000000.")
    return value


def exact(value: float) -> Decimal:
    """Bring a number that was converted between units to a decimal, without float dust."""
    return Decimal(f"{value:.9f}").normalize() + Decimal(0)


def pressure_bar_g(text: str, option: str) -> tuple[Decimal, str]:
    """Read a pressure.

    Parameters
    ----------
    text : str
        Like ``7 bar(g)`` or ``100 psi(g)``.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    tuple of (Decimal, str)
        Pressure [bar(g)], and what was taken for granted (empty for nothing).

    Raises
    ------
    InputError
        Where it is not a pressure.
    """
    from lungwort.jobs.inputs import parse_pressure_bar_g  # noqa: PLC0415 - brings in Polars

    _refuse_thousands(text, option)
    value, taken = parse_pressure_bar_g(text, option)
    return exact(value), taken.replace("Supply pressure", f"{option}:")


def temperature_c(text: str, option: str) -> Decimal:
    """Read a temperature.

    Parameters
    ----------
    text : str
        Like ``5 °C`` or ``41 °F``.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    Decimal
        Temperature [°C].

    Raises
    ------
    InputError
        Where it is not a temperature that an air line can have.
    """
    from lungwort.jobs.inputs import parse_temperature_c  # noqa: PLC0415 - brings in Polars

    return exact(parse_temperature_c(text, option))


def flow_l_min(text: str, option: str) -> Decimal:
    """Read a volume flow.

    Parameters
    ----------
    text : str
        Like ``170 L/min`` or ``6 cfm``.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    Decimal
        Flow [L/min].

    Raises
    ------
    InputError
        Where it is not a flow above 0.
    """
    _refuse_thousands(text, option)
    try:
        value, unit = units.parse_quantity(text)
        flow = units.scale(value, unit, "L/min")
    except QuantityError as error:
        raise InputError(f"{option} {text!r}: {error}") from error
    if not 0 < flow <= 100_000:  # noqa: PLR2004 - far beyond any wearer
        raise InputError(f"{option} {text!r} is out of range. Give a flow above 0 L/min.")
    return exact(flow)


def _refuse_thousands(text: str, option: str) -> None:
    match = re.match(rf"\s*({NUMBER})", text)
    if match is not None:
        decimal_number(match.group(1), option, text)


def analyte(text: str, option: str) -> str:
    """Read which analyte is meant.

    Parameters
    ----------
    text : str
        Its key or its name: ``co2``, ``carbon dioxide``.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    str
        Its key.

    Raises
    ------
    InputError
        Where it is not known; near ones are named.
    """
    wanted = " ".join(text.casefold().replace("_", " ").replace("-", " ").split())
    wanted = wanted.translate(str.maketrans("₂₃₄", "234"))
    known = {key.replace("_", " "): key for key in ANALYTES}
    known |= {one.name: key for key, one in ANALYTES.items()}
    if wanted in known:
        return known[wanted]
    meant = near(wanted, known)
    listed = "" if meant else f" Known: {', '.join(ANALYTES)}."
    raise InputError(f"{option}: analyte {text.strip()!r} is not known.{meant}{listed}")


def analyte_or_nothing(text: str, option: str) -> str:
    """Read which analyte is meant; ``none`` and nothing give empty text."""
    return "" if text.strip().casefold() in {"", NOTHING} else analyte(text, option)


def unit_of(key: str, text: str, option: str) -> str:
    """Read the unit in which an analyte is measured.

    Parameters
    ----------
    key : str
        Key of the analyte.
    text : str
        The unit; for water as a temperature with the words 'pressure dew point' or 'atmospheric
        dew point'.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    str
        Name of the unit, with the words for a dew point where it is one.

    Raises
    ------
    InputError
        Where the unit is missing, not known or does not fit the analyte.

    Examples
    --------
    >>> unit_of("water", "deg C pressure dew point", "--channel")
    '°C pressure dew point'
    """
    from lungwort.logs.naming import parse_given_unit  # noqa: PLC0415 - brings in Polars

    if not text.strip():
        usual = ANALYTES[key].unit or "ppm"
        raise InputError(f"{option}: {key} has no unit. Write it like '{key}=0-100 {usual}'.")
    if not ANALYTES[key].unit:
        raise InputError(f"{option}: {ANALYTES[key].name} is told in words and not measured.")
    try:
        name, said = parse_given_unit(text)
    except QuantityError:
        meant = near(text.strip(), units.UNITS)
        listed = "" if meant else f" Known: {', '.join(units.UNITS)}."
        raise InputError(f"{option}: unit {text.strip()!r} is not known.{meant}{listed}") from None
    quantity = analytes.quantity_of_unit(name)
    if units.unit(name).dimension == units.PRESSURE_UNSTATED:
        raise InputError(
            f"{option}: {text.strip()!r} does not say gauge or absolute. Write {name}(g) or {name}(a)."
        )
    if said and (key != "water" or quantity != analytes.TEMPERATURE):
        raise InputError(
            f"{option}: a dew point is a temperature of water. Write 'water=… °C pressure dew point'."
        )
    if key == "water" and quantity == analytes.TEMPERATURE and not said:
        raise InputError(
            f"{option}: a dew point at which pressure? Write '{name} pressure dew point' or "
            f"'{name} atmospheric dew point'."
        )
    if quantity not in _quantities(key):
        usual = ", ".join(
            dict.fromkeys(analytes.canonical_unit(key, one) for one in sorted(_quantities(key)))
        )
        raise InputError(
            f"{option}: {ANALYTES[key].name} is not measured in {name}. Use a unit like {usual}."
        )
    return f"{name} {DEW_POINT_WORDS[said]}" if said else name


def bare_unit(unit: str) -> str:
    """Give the name of a unit without the words for a dew point.

    Parameters
    ----------
    unit : str
        As `unit_of` gives it.

    Returns
    -------
    str
        As `lungwort.air.units` knows it.
    """
    for words in DEW_POINT_WORDS.values():
        unit = unit.removesuffix(f" {words}")
    return unit


def _quantities(key: str) -> frozenset[str]:
    own = analytes.quantity_of_unit(ANALYTES[key].unit)
    if key == "water":
        return frozenset(
            {
                analytes.VOLUME_FRACTION,
                analytes.MASS_CONCENTRATION,
                analytes.HUMIDITY_RATIO,
                analytes.RELATIVE_HUMIDITY,
                analytes.TEMPERATURE,
            }
        )
    if own == analytes.VOLUME_FRACTION:
        return frozenset({own, analytes.MASS_CONCENTRATION})
    return frozenset({own})
