"""A plant sheet as a form: from the text on record to rows that can be typed over, and back to TOML.

The form holds every key of a plant sheet. Only remarks after ``#`` are lost between text and form.
"""

from __future__ import annotations

import json
import re
import tomllib
from typing import TYPE_CHECKING, Final

from attrs import evolve, field, frozen

from lungwort.errors import PlantError
from lungwort.plant import network_sheet, treatment
from lungwort.wearers.demand_equipment import KINDS as EQUIPMENT
from lungwort.wearers.demand_equipment import WORK

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

TEXT: Final = "text"
NODE: Final = "node"
"""Name of a place in the lines: an outlet, or where pipes meet."""
NUMBER: Final = "number"
ENDS: Final = "ends"
"""Lowest and highest."""
CHOICE: Final = "choice"
FLAG: Final = "flag"
LOW: Final = "low"
HIGH: Final = "high"
MOST_ROWS: Final = 120
"""Tables that a form holds in all; a longer sheet is changed as text."""
_NUMBER: Final = re.compile(r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")
_THOUSANDS: Final = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_TOLD: Final = re.compile(
    r"(?:\[+(?P<part>\w+)\]+(?: number (?P<number>\d+)| (?P<name>['\"].*?['\"]))?, )?"
    r"key '(?P<key>[^']+)':? (?P<what>.*)",
    re.DOTALL,
)


@frozen
class Entry:
    """One key of a part of the sheet.

    Parameters
    ----------
    key : str
        As in the file.
    kind : str
        ``text``, ``node``, ``number``, ``ends``, ``choice`` or ``flag``.
    unit : str
        Unit of a number.
    choices : tuple of str
        What can be chosen.
    needed : bool
        Whether the part is refused without it.
    seldom : bool
        Whether most sheets do well without it.
    """

    key: str
    kind: str = NUMBER
    unit: str = ""
    choices: tuple[str, ...] = ()
    needed: bool = False
    seldom: bool = False


@frozen
class Part:
    """One kind of table of the sheet.

    Parameters
    ----------
    key : str
        As in the file.
    entries : tuple of Entry
        What it holds, in the order of the form.
    single : bool
        Whether there is at most one.
    """

    key: str
    entries: tuple[Entry, ...]
    single: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Names of its fields: two for what has a lowest and a highest."""
        return tuple(
            name
            for one in self.entries
            for name in (
                (f"{one.key}.{LOW}", f"{one.key}.{HIGH}") if one.kind == ENDS else (one.key,)
            )
        )


def _name() -> Entry:
    return Entry("name", TEXT, needed=True)


def _node(key: str, *, needed: bool = True) -> Entry:
    return Entry(key, NODE, needed=needed)


PARTS: Final = (
    Part(
        "place",
        (
            Entry("altitude_m", unit="m"),
            Entry("intake_temperature_c", ENDS, "°C"),
            Entry("intake_humidity_percent", ENDS, "%"),
            Entry("air_temperature_c", unit="°C", seldom=True),
        ),
        single=True,
    ),
    Part(
        "compressor",
        (
            _name(),
            Entry("free_air_l_min", unit="L/min", needed=True),
            Entry("declared_at_bar_g", unit="bar(g)"),
            Entry("duty_percent", unit="%"),
            Entry("wear_percent", unit="%"),
            Entry("purge_percent", unit="%"),
            Entry("standby", FLAG),
            Entry("tolerance_percent", unit="%", seldom=True),
            Entry("declared_inlet_c", unit="°C", seldom=True),
            Entry("declared_inlet_bar_a", unit="bar(a)", seldom=True),
        ),
    ),
    Part(
        "leak_test",
        (
            Entry("volume_l", unit="L", needed=True),
            Entry("from_bar_g", unit="bar(g)", needed=True),
            Entry("to_bar_g", unit="bar(g)", needed=True),
            Entry("minutes", unit="min", needed=True),
            Entry("part", TEXT),
            Entry("resolution_bar", unit="bar", seldom=True),
            Entry("temperature_from_c", unit="°C", seldom=True),
            Entry("temperature_to_c", unit="°C", seldom=True),
        ),
    ),
    Part(
        "wearer",
        (
            _name(),
            _node("at"),
            Entry("equipment", CHOICE, choices=EQUIPMENT, needed=True),
            Entry("minimum_flow_l_min", unit="L/min"),
            Entry("highest_flow_l_min", unit="L/min"),
            Entry("work", CHOICE, choices=WORK),
            Entry("minimum_bar_g", unit="bar(g)"),
            Entry("maximum_bar_g", unit="bar(g)"),
            Entry("count"),
            Entry("simultaneous"),
        ),
    ),
    Part("source", (_node("node"), Entry("pressure_bar_g", unit="bar(g)", needed=True))),
    Part(
        "pipe",
        (
            _name(),
            _node("from"),
            _node("to"),
            Entry("kind", CHOICE, choices=network_sheet.KINDS),
            Entry("length_m", unit="m", needed=True),
            Entry("bore_mm", unit="mm", needed=True),
            Entry("loss_coefficient"),
            Entry("roughness_mm", unit="mm", seldom=True),
        ),
    ),
    Part(
        "regulator",
        (_name(), _node("from"), _node("to"), Entry("set_bar_g", unit="bar(g)", needed=True)),
    ),
    Part(
        "receiver",
        (
            _name(),
            Entry("volume_l", unit="L", needed=True),
            Entry("pressure_bar_g", unit="bar(g)", needed=True),
            _node("at", needed=False),
        ),
    ),
    Part(
        "reserve",
        (
            _name(),
            Entry("cylinders"),
            Entry("volume_l", unit="L", needed=True),
            Entry("pressure_bar_g", unit="bar(g)", needed=True),
            Entry("lowest_inlet_bar_g", unit="bar(g)", needed=True),
            Entry("outlet_bar_g", unit="bar(g)", needed=True),
            Entry("opens_after_min", unit="min"),
            _node("at", needed=False),
        ),
    ),
    Part("escape", (Entry("minutes", unit="min", needed=True), Entry("why", TEXT)), single=True),
    Part(
        "treatment",
        (
            _name(),
            Entry("kind", CHOICE, choices=treatment.KINDS, needed=True),
            Entry("declared_hours", unit="h"),
            Entry("flow_l_min", unit="L/min"),
            Entry("pressure_bar_g", unit="bar(g)"),
            Entry("sorbent_g", unit="g"),
            Entry("inlet_above_intake_c", unit="K"),
            Entry("regenerates", FLAG),
            Entry("water_capacity_percent", unit="%", seldom=True),
            Entry("capacity_spread_percent", unit="%", seldom=True),
            Entry("separator_efficiency_percent", unit="%", seldom=True),
            Entry("dew_point_c", unit="°C", seldom=True),
            Entry("highest_outlet_water_mg_m3", unit="mg/m3", seldom=True),
        ),
    ),
    Part(
        "bank",
        (
            _name(),
            Entry("cylinders"),
            Entry("volume_l", unit="L", needed=True),
            Entry("pressure_bar_g", unit="bar(g)", needed=True),
            Entry("temperature_c", unit="°C"),
        ),
    ),
    Part(
        "fill",
        (
            Entry("cylinder_l", unit="L", needed=True),
            Entry("from_bar_g", unit="bar(g)", needed=True),
            Entry("to_bar_g", unit="bar(g)", needed=True),
            Entry("minutes", unit="min"),
            Entry("temperature_c", unit="°C"),
            Entry("wall_kg", unit="kg", seldom=True),
            Entry("wall_j_kg_k", unit="J/(kg K)", seldom=True),
        ),
        single=True,
    ),
)
PART_OF: Final[Mapping[str, Part]] = {one.key: one for one in PARTS}
_HEAD: Final = ("title", "remark")


@frozen(kw_only=True)
class Draft:
    """A plant sheet as a form holds it; all of it as typed.

    Parameters
    ----------
    title, remark : str
        What the sheet says of itself.
    invented : bool
        Whether its figures are called invented.
    rows : mapping of str to tuple of dict
        By part: its tables, each from the name of a field to what stands in it.
    loses : bool
        Whether the text that it was made of holds remarks that a form does not keep.
    """

    title: str = ""
    remark: str = ""
    invented: bool = False
    rows: Mapping[str, tuple[Mapping[str, str], ...]] = field(factory=dict)
    loses: bool = False


@frozen
class Mistake:
    """What is wrong with a form.

    Parameters
    ----------
    part, row, key : str, int, str
        Where: part, number of its table among those that are not empty, from 0, and name of the
        field; empty and -1 where that is not known.
    said : str
        What was found and what to do.
    """

    part: str
    row: int
    key: str
    said: str


def draft_of(text: str) -> Draft | None:
    """Take a plant sheet into a form.

    Parameters
    ----------
    text : str
        The sheet, TOML.

    Returns
    -------
    Draft, optional
        None where it is no plant sheet, or holds what no form does.
    """
    try:
        data = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError:
        return None
    rows: dict[str, tuple[dict[str, str], ...]] = {}
    for key, given in data.items():
        if key in {"format", "invented", *_HEAD}:
            continue
        part = PART_OF.get(key)
        tables = [given] if part is not None and part.single else given
        if part is None or not isinstance(tables, list):
            return None
        made = [_row_of(part, one) for one in tables]
        filled = tuple(one for one in made if one is not None)
        if len(filled) != len(made):
            return None
        rows[key] = filled
    if sum(map(len, rows.values())) > MOST_ROWS:
        return None
    title, remark = (data.get(key, "") for key in _HEAD)
    if not isinstance(title, str) or not isinstance(remark, str):
        return None
    return Draft(
        title=title,
        remark=remark,
        invented=data.get("invented") is True,
        rows=rows,
        loses=_has_remarks(text),
    )


def _has_remarks(text: str) -> bool:
    """Tell whether there is anything after a ``#`` that stands in no string."""
    return any(
        "#" in re.sub(r"\"(?:\\.|[^\"\\])*\"|'[^']*'", "", line) for line in text.splitlines()
    )


def _row_of(part: Part, values: object) -> dict[str, str] | None:
    if not isinstance(values, dict):
        return None
    entries = {one.key: one for one in part.entries}
    made: dict[str, str] = {}
    for key, value in values.items():
        entry = entries.get(key)
        if entry is None:
            return None
        if entry.kind == ENDS and isinstance(value, list):
            if len(value) != 2:  # noqa: PLR2004 - lowest and highest
                return None
            made[f"{key}.{LOW}"], made[f"{key}.{HIGH}"] = (_shown(one) for one in value)
        elif entry.kind == ENDS:
            made[f"{key}.{LOW}"] = made[f"{key}.{HIGH}"] = _shown(value)
        elif isinstance(value, list | dict):
            return None
        else:
            made[key] = _shown(value)
    return made


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:  # noqa: PLR2004 - exact
        return str(int(value))
    return str(value)


def filled(draft: Draft) -> Iterator[tuple[Part, int, Mapping[str, str]]]:
    """Go through the tables of a form that hold something.

    Parameters
    ----------
    draft : Draft
        The form.

    Yields
    ------
    (Part, int, mapping)
        The part, the number of the table among those of the part that hold something, from 0, and
        what was typed.
    """
    for part in PARTS:
        rows = [one for one in draft.rows.get(part.key, ()) if any(one.values())]
        for number, row in enumerate(rows):
            yield part, number, row


def tidied(draft: Draft) -> Draft:
    """Take the empty tables out of a form; as `filled` counts them."""
    rows: dict[str, tuple[Mapping[str, str], ...]] = {}
    for part, _, row in filled(draft):
        rows[part.key] = (*rows.get(part.key, ()), row)
    return evolve(draft, rows=rows)


def toml_of(draft: Draft) -> str:
    """Write a form as the text of a plant sheet.

    Parameters
    ----------
    draft : Draft
        What was typed.

    Returns
    -------
    str
        TOML; what is no number stands in it as it was typed, for the reader to refuse.
    """
    return "\n".join(_lines(draft)) + "\n"


def _lines(draft: Draft) -> Iterator[str]:
    yield "format = 1"
    if draft.invented:
        yield "invented = true"
    for key in _HEAD:
        text = getattr(draft, key).strip()
        if text:
            yield f"{key} = {_quoted(' '.join(text.split()))}"
    for part, _, row in filled(draft):
        yield ""
        yield f"[{part.key}]" if part.single else f"[[{part.key}]]"
        for entry in part.entries:
            written = _written(entry, row)
            if written:
                yield f"{entry.key} = {written}"


def _written(entry: Entry, row: Mapping[str, str]) -> str:
    if entry.kind == ENDS:
        pair = [row.get(f"{entry.key}.{end}", "").strip() for end in (LOW, HIGH)]
        if not any(pair):
            return ""
        return f"[{', '.join(_number(one) for one in pair if one)}]"
    value = row.get(entry.key, "").strip()
    if not value:
        return ""
    if entry.kind == FLAG:
        return "true"
    return _number(value) if entry.kind == NUMBER else _quoted(value)


def _number(text: str) -> str:
    plain = text.replace("−", "-")
    if not _NUMBER.fullmatch(plain):
        return _quoted(text)
    sign, digits = ("-", plain[1:]) if plain.startswith("-") else ("", plain.removeprefix("+"))
    # TOML takes no zeros before a number, and a form may hold them.
    return sign + (re.sub(r"^0+(?=\d)", "", digits))


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def mistakes(draft: Draft) -> tuple[Mistake, ...]:
    """Check a form as its text would be checked.

    Parameters
    ----------
    draft : Draft
        What was typed.

    Returns
    -------
    tuple of Mistake
        None of them where it can be recorded.
    """
    from lungwort.plant.sheet import mistakes_of  # noqa: PLC0415 - keeps --help instant

    typed = tuple(_typing(draft))
    # What is typed wrong is told once; the reader would tell it again in words of the file.
    told = {(one.part, one.row, one.key.partition(".")[0]) for one in typed}
    found = list(typed)
    for _, said in mistakes_of(toml_of(draft)):
        named = _TOLD.fullmatch(said)
        part, row, key = ("", -1, "") if named is None else _place(draft, named)
        if (part, row, key) not in told:
            found.append(Mistake(part, row, key, _plain(said, named)))
    return tuple(found)


def _place(draft: Draft, named: re.Match[str]) -> tuple[str, int, str]:
    """Find the field that the reader of the file means: it names the table, by name or number."""
    key = named["key"]
    part = PART_OF.get(named["part"] or "")
    if part is None:
        return (key, -1, "") if key in PART_OF else ("", -1, key)
    rows = [row for one, _, row in filled(draft) if one is part]
    if part.single:
        row = 0
    elif named["number"]:
        row = int(named["number"]) - 1
    else:
        names = [_quoted_name(one.get("name", "")) for one in rows]
        row = names.index(named["name"]) if named["name"] in names else -1
    return part.key, row, key


def _quoted_name(name: str) -> str:
    return repr(name.strip())


def _plain(said: str, named: re.Match[str] | None) -> str:
    what = said if named is None else named["what"]
    what = what.replace("is missing. Write it in quotes.", "is missing.")
    return re.sub(r"is missing\. (?:Give|Write) one of: .*", "is missing.", what)


def _typing(draft: Draft) -> Iterator[Mistake]:
    for part, number, row in filled(draft):
        for entry in part.entries:
            if entry.kind == ENDS:
                pair = {end: row.get(f"{entry.key}.{end}", "").strip() for end in (LOW, HIGH)}
                if any(pair.values()) and not all(pair.values()):
                    empty = next(end for end, value in pair.items() if not value)
                    yield Mistake(
                        part.key,
                        number,
                        f"{entry.key}.{empty}",
                        f"is missing. Give the lowest and the highest [{entry.unit}]; both alike "
                        "where it is always the same.",
                    )
                names = [f"{entry.key}.{end}" for end in (LOW, HIGH)]
            else:
                names = [entry.key] if entry.kind == NUMBER else []
            for name in names:
                text = row.get(name, "").strip()
                if text and not _NUMBER.fullmatch(text.replace("−", "-")):
                    yield Mistake(part.key, number, name, _no_number(text, entry.unit))


def _no_number(text: str, unit: str) -> str:
    if _THOUSANDS.fullmatch(text):
        return (
            f"found '{text}', which can be {text.replace(',', '')} or "
            f"{text.replace(',', '.').rstrip('0').rstrip('.')}. Write one of the two."
        )
    told = f" [{unit}], without its unit" if unit else ""
    return f"found '{text}'. Give a number{told}, with a point before decimals."


def checked(draft: Draft) -> str:
    """Give the text of a form that has no mistakes.

    Parameters
    ----------
    draft : Draft
        What was typed.

    Returns
    -------
    str
        TOML.

    Raises
    ------
    PlantError
        Where it has mistakes; `mistakes` tells which.
    """
    found = mistakes(draft)
    if found:
        many = "1 mistake" if len(found) == 1 else f"{len(found)} mistakes"
        raise PlantError(f"The plant sheet has {many}. Nothing was recorded.")
    return toml_of(draft)


def places(draft: Draft, outlets: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Give the places in the lines that a form names, and the outlets of the supply.

    Parameters
    ----------
    draft : Draft
        What was typed.
    outlets : tuple of str
        Names of the outlets of the supply.

    Returns
    -------
    tuple of str
        Each once, the outlets first.
    """
    found = dict.fromkeys(outlets)
    for part, _, row in filled(draft):
        for entry in part.entries:
            if entry.kind == NODE and row.get(entry.key, "").strip():
                found[row[entry.key].strip()] = None
    return tuple(found)
