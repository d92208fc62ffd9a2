"""What a user types about a thing, held against what it can be.

Every function takes the text and the option that it was given with, and either gives the value or
says what was found and what would do.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections import Counter
from datetime import date
from typing import TYPE_CHECKING, Final

from lungwort.air.analytes import ANALYTES
from lungwort.errors import InputError
from lungwort.register.checking import is_id

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

NOTHING: Final = "none"
"""The word that takes away a fact that may be missing."""
LONGEST_NAME: Final = 64
LONGEST_TEXT: Final = 2000

_MOST_DIGITS: Final = 20
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


_LOOK_ALIKE: Final = ("LATIN", "GREEK", "CYRILLIC", "ARMENIAN", "CHEROKEE", "COPTIC", "FULLWIDTH")
"""Scripts, by the first word of the names of their letters in the Unicode standard (chapter 4.8),
some letters of which cannot be told from letters of another."""


def _refuse_mixed(name: str, option: str) -> None:
    """Refuse a word that mixes scripts, as it may look like another name on screen and paper."""
    for word in name.split():
        scripts = [(char, unicodedata.name(char, "").partition(" ")[0]) for char in word]
        known = [(char, script) for char, script in scripts if script in _LOOK_ALIKE]
        counts = Counter(script for _, script in known)
        if len(counts) < 2:  # noqa: PLR2004 - two make a mixture
            continue
        most = counts.most_common(1)[0][0]
        char, script = next(one for one in known if one[1] != most)
        raise InputError(
            f"{option} {name!r} has the {script.capitalize()} letter {char!r} (U+{ord(char):04X}) "
            f"in the word {word!r}, which is {most.capitalize()} else: it could not be told from "
            "another name. Write the word in one script."
        )


def _checked_name(name: str, option: str) -> str:
    _refuse_mixed(name, option)
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
    # A number of thousands of digits is refused by the interpreter itself.
    value = int(said) if len(said) <= _MOST_DIGITS else high + 1
    if not low <= value <= high:
        raise InputError(
            f"{option} {text!r} is out of range. Give a number{counted} from {low} to {high}."
        )
    return value


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
