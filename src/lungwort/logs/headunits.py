"""The unit in a heading: where it stands, and what beside it changes the measure."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

from lungwort.air import units as air_units

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
        "Δ": " delta ",
        "∆": " delta ",
        "σ": " sigma ",
        "_": " ",
        "’": " ",
        "'": " ",
    }
)
_SPAN: Final = re.compile(
    r"(?<![\w.,])[-+]?\d+(?:[.,]\d+)?\s*(?:-|–|\.{2,3}|…|\bto\b|\bbis\b|\bà\b)\s*\d+(?:[.,]\d+)?(?!\w)"
)
_FACTOR: Final = re.compile(
    r"(?<![a-z])x\s*\d+|[*×·]\s*\d+|(?<![a-z\d.,])\d+(?:[.,]\d+)?\s*[x×*](?![a-z]{2,}\d)"
    r"|(?<![a-z\d])\d+\s*/\s*\d+|/\s*10+\b|(?<![a-z\d])10\s*\^|(?<![a-z\d])10\s*-\s*\d"
    r"|(?<![a-z])\d*e[-+]\d|\b(?:tenths?|hundredths?|thousandths?|zehntel|hundertstel|dixiemes?)\b"
)
_BEFORE_UNIT: Final = re.compile(
    r"(?<![a-z\d.,])\d[\d.,]*\s*(?:ppm|ppb|ppmv|%|vol|ml/m|µmol|umol|[mµu]?g/m|[mµu]?g\.m)"
)
_ODD_UNIT: Final = re.compile(r"[%‰°]|[a-zµ]\d?/|^pp|vpm$|^[nµum]?[AV]$", re.IGNORECASE)
AT_20_C: Final = re.compile(
    r"(?:(?:at |bei )?20 ?(?:°|deg)? ?c)?[ ,;/]*(?:1013(?:[.,]25)? ?(?:hpa|mbar)|101[.,]3(?:25)? ?kpa|1 ?atm)?"
)
"""A state of reference in which a mass concentration is taken as it stands."""


def fold(text: str) -> str:
    """Bring a heading to lower-case words without accents, subscripts and punctuation.

    Parameters
    ----------
    text : str
        A heading.

    Returns
    -------
    str
        Its words, one blank between them.

    Examples
    --------
    >>> fold("Taupunkt (atmosphärisch) CO₂")
    'taupunkt atmospharisch co2'
    """
    plain = unicodedata.normalize("NFKD", text.translate(_FOLDS))
    plain = "".join(char for char in plain if not unicodedata.combining(char))
    return " ".join(re.sub(r"[^\w%°/]+", " ", plain.lower()).split())


def bare_unit(text: str) -> str:
    """Take the brackets off a unit that stands in a cell of its own: '[ppm]', but not 'bar(g)'.

    Parameters
    ----------
    text : str
        A cell of a row of units.

    Returns
    -------
    str
        The unit as written.

    Examples
    --------
    >>> bare_unit(" [ppm] "), bare_unit("bar(g)"), bare_unit("(bar(g))")
    ('ppm', 'bar(g)', 'bar(g)')
    """
    stripped = text.strip()
    inside = re.fullmatch(r"\[(.*)\]|\{(.*)\}|\((.*)\)", stripped)
    if inside is None or air_units.unit_name(stripped) is not None:
        return stripped
    return next(group for group in inside.groups() if group is not None).strip()


def measure_doubt(heading: str, unit: str) -> str:
    """Say why the unit alone does not give the measure: a factor, a spread or a reference state.

    Parameters
    ----------
    heading : str
        The heading, with what stands in the row of units below it.
    unit : str
        Unit name found in it; empty for none.

    Returns
    -------
    str
        What leaves the measure open; empty for nothing.
    """
    text = unicodedata.normalize("NFKC", _SPAN.sub(" ", heading)).lower()
    text = text.replace("−", "-")
    found = _FACTOR.search(text) or _BEFORE_UNIT.search(text)
    if found is not None:
        return f"'{found.group(0).strip()}' can be a factor of the numbers"
    if re.search(r"±|\+/-|\+-", text):
        return "'±' says that it can be a spread or an uncertainty"
    if unit and air_units.unit(unit).dimension == air_units.MASS:
        for state in _states(heading):
            if not AT_20_C.fullmatch(state.lower().strip()):
                return f"a mass concentration at '{state.strip()}' is not one at 20 °C"
    return ""


def _states(heading: str) -> list[str]:
    after = re.split(r"@|\bat\b|\bbei\b|\bref\.?\b", re.sub(r"[\[\](){}]", " ", heading))[1:]
    states = [text for text in after if re.search(r"\d", text)]
    if states:
        return states
    found = re.search(
        r"[-+]?\d+(?:[.,]\d+)? ?(?:°|deg) ?[CFK]\b|[-+]?\d+(?:[.,]\d+)? ?(?:hPa|mbar|kPa)\b",
        heading,
    )
    return [found.group(0)] if found else []


def take_unit(heading: str) -> tuple[str, str, str, tuple[str, ...]]:
    """Part a heading into its unit and its words.

    Parameters
    ----------
    heading : str
        The heading as written.

    Returns
    -------
    tuple of (str, str, str, tuple of str)
        Unit name (empty where none is known), its text as written, the words outside brackets,
        and what stands in other brackets.

    Examples
    --------
    >>> take_unit("CO (8 h mean, ppm)")
    ('ppm', 'ppm', 'CO  ', ('8 h mean',))
    """
    rest = _SPAN.sub(" ", heading.strip().strip('"').strip())
    rest = re.sub(
        r"^%\s*(?=[A-Za-z]+[₂2]?\b)(?!\s*(?:rh|RH|rF|vol|Vol|v/v|of)\b)(.*)$", r"\1 [%]", rest
    )
    rest = re.sub(r"^([A-Za-z]+[₂2]?)%$", r"\1 [%]", rest)
    asides: list[str] = []
    # A whole bracket is a unit or it is not: 'v/v' inside '[% v/v]' must not be taken for one.
    for match in _GROUP.finditer(rest):
        inside = re.split(r"\s*(?:@|\bat\b|\bbei\b)\s*", match.group(1).strip())[0]
        named = air_units.unit_name(inside) if inside else None
        if named == "atm" and not re.search("pres|druck|trykk", fold(_GROUP.sub(" ", rest))):
            continue
        if named is not None:
            before, after = rest[: match.start()], rest[match.end() :]
            more = [other.group(1) for other in _GROUP.finditer(f"{before} {after}")]
            return named, inside, _GROUP.sub(" ", f"{before} {after}"), (*asides, *more)
    open_text = _GROUP.sub(" ", rest)
    for text in (rest, open_text):
        taken = _open_unit(text)
        if taken is not None:
            named, unit_text, before = taken
            if text is not rest:
                return named, unit_text, before, tuple(m.group(1) for m in _GROUP.finditer(rest))
            inner = tuple(m.group(1) for m in _GROUP.finditer(before))
            return named, unit_text, _GROUP.sub(" ", before), inner
    for match in _GROUP.finditer(rest):
        inside = match.group(1).strip()
        # 'CO (8 h mean, ppm)': the unit closes a bracket that says more.
        if re.search(r"[\s,;]", inside):
            named, text, before, _ = take_unit(inside)
            if named:
                asides.append(before)
                return named, text, _GROUP.sub(" ", rest), tuple(asides)
        asides.append(inside)
    odd = next((aside for aside in reversed(asides) if _ODD_UNIT.search(aside)), "")
    if odd:
        asides.remove(odd)
        return "", odd, open_text, tuple(asides)
    words = open_text.split()
    if len(words) > 1 and _ODD_UNIT.search(words[-1]):
        return "", words[-1], " ".join(words[:-1]), tuple(asides)
    return "", "", open_text, tuple(asides)


def _open_unit(text: str) -> tuple[str, str, str] | None:
    """Find a unit that stands in no bracket: at the end, at the beginning, or a plain one inside."""
    words = text.replace("_", " ").replace(",", " ").split()
    for count in (3, 2, 1):
        tail = " ".join(words[-count:])
        named = None
        if len(words) > count:
            named = air_units.unit_name(tail) or air_units.unit_name("/".join(words[-count:]))
        if named is not None and not tail.startswith("/"):
            return named, tail, " ".join(words[:-count]).rstrip(" /,-")
    slashed = re.search(r"[\s,;/_|-]([^\s,;_|]+)$", text.strip())
    named = air_units.unit_name(slashed.group(1)) if slashed else None
    if slashed is not None and named is not None and slashed.start() > 0:
        return named, slashed.group(1), text.strip()[: slashed.start()]
    plain = [
        (place, found)
        for place, word in enumerate(words)
        if len(word) > 1
        and (found := air_units.unit_name(word)) is not None
        and air_units.unit(found).dimension in {air_units.FRACTION, air_units.MASS}
        and found != "mol/mol"
    ]
    if len(plain) == 1 and len(words) > 1:
        place, found = plain[0]
        return found, words[place], " ".join((*words[:place], *words[place + 1 :]))
    return None
