"""The plant sheet: one file that says what stands behind a supply's outlets, and who is on them."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Final

from attrs import field, frozen

from lungwort.errors import PlantError
from lungwort.plant import bank, capacity, leakage, network_sheet, reserve, treatment
from lungwort.tomlfile import Table, opened
from lungwort.wearers import demand

if TYPE_CHECKING:
    from lungwort.plant.bank import Bank, Fill
    from lungwort.plant.capacity import Compressor
    from lungwort.plant.leakage import LeakTest
    from lungwort.plant.network import Network
    from lungwort.plant.reserve import Escape, Receiver, Reserve
    from lungwort.plant.treatment import TreatmentStage
    from lungwort.wearers.demand import Wearer

FORMAT: Final = 1
LONGEST_TEXT: Final = 300_000
_PLACE: Final = (
    "altitude_m",
    "intake_temperature_c",
    "intake_humidity_percent",
    "air_temperature_c",
)
KEYS: Final = (
    "format",
    "title",
    "remark",
    "invented",
    "place",
    *demand.KEYS_TOP,
    *capacity.KEYS_TOP,
    *leakage.KEYS_TOP,
    *network_sheet.KEYS_TOP,
    *reserve.KEYS_TOP,
    *bank.KEYS_TOP,
    *treatment.KEYS_TOP,
)


@frozen
class Place:
    """Where the compressor stands.

    Parameters
    ----------
    altitude_m : float
        Height above the sea, -400 to 5000 [m].
    intake_temperature_c : tuple of (float, float), optional
        Lowest and highest temperature at the intake [°C]; None where the sheet does not say.
    intake_humidity_percent : tuple of (float, float), optional
        Lowest and highest relative humidity there [%]; None where the sheet does not say.
    air_temperature_c : float
        Temperature of the air in the lines [°C].
    stated : frozenset of str
        Which of these the sheet itself states; the others are assumed.
    """

    altitude_m: float = 0.0
    intake_temperature_c: tuple[float, float] | None = None
    intake_humidity_percent: tuple[float, float] | None = None
    air_temperature_c: float = 20.0
    stated: frozenset[str] = frozenset()


@frozen(kw_only=True)
class PlantSheet:
    """What stands behind a supply's outlets.

    Parameters
    ----------
    title, remark : str
        What the file says of itself.
    invented : bool
        Whether its figures are still those of a form: nothing is proven by them.
    place : Place
        Where the compressor stands.
    compressors : tuple of Compressor
        Machines that deliver.
    leak_tests : tuple of LeakTest
        Decay tests of the lines, in the order of the file.
    wearers : tuple of Wearer
        Who breathes the air, and what their equipment needs.
    network : Network, optional
        Pipes and hoses; None where the sheet has none.
    receivers : tuple of Receiver
        Vessels in the lines.
    reserves : tuple of Reserve
        Cylinders that step in.
    escape : Escape, optional
        Time that is needed to get to safe air; None where the sheet does not say.
    banks : tuple of Bank
        Cylinders from which others are filled.
    fill : Fill, optional
        What is filled; None where the sheet does not say.
    treatments : tuple of TreatmentStage
        Driers, cartridges and filters.
    text : str
        The file as it was written.
    origin : str
        Where it was found, such as a file name or the version on record.
    digest : str
        SHA-256 of the text with line ends of one kind.
    """

    title: str = ""
    remark: str = ""
    invented: bool = False
    place: Place = Place()
    compressors: tuple[Compressor, ...] = ()
    leak_tests: tuple[LeakTest, ...] = ()
    wearers: tuple[Wearer, ...] = ()
    network: Network | None = None
    receivers: tuple[Receiver, ...] = ()
    reserves: tuple[Reserve, ...] = ()
    escape: Escape | None = None
    banks: tuple[Bank, ...] = ()
    fill: Fill | None = None
    treatments: tuple[TreatmentStage, ...] = ()
    text: str = field(repr=False)
    origin: str
    digest: str


def read_sheet(text: str, name: str, *, origin: str = "") -> PlantSheet:
    """Read a plant sheet.

    Parameters
    ----------
    text : str
        TOML of the form that ``lungwort plant form`` writes.
    name : str
        Name of the file, for messages.
    origin : str
        Where it was found; the name where nothing is given.

    Returns
    -------
    PlantSheet
        What it says.

    Raises
    ------
    PlantError
        Where it is not TOML, or has mistakes: all of them, each with its line.
    """
    text, top, parts = _opened(text, name)
    top.mistakes.raise_any()
    return PlantSheet(
        **parts,  # type: ignore[arg-type]  # each reader gives what its field takes
        text=text,
        origin=origin or name,
        digest=hashlib.sha256(text.encode()).hexdigest(),
    )


def mistakes_of(text: str) -> tuple[tuple[int, str], ...]:
    """Tell what is wrong with a plant sheet, mistake by mistake.

    Parameters
    ----------
    text : str
        As `read_sheet` takes it.

    Returns
    -------
    tuple of (int, str)
        Line, counted from 1, 0 where it is not known, and what is wrong there; empty for nothing.

    Raises
    ------
    PlantError
        Where it is no TOML of this form at all.
    """
    _, top, _ = _opened(text, "plant sheet")
    return tuple(sorted(top.mistakes.found))


def _opened(text: str, name: str) -> tuple[str, Table, dict[str, object]]:
    if len(text) > LONGEST_TEXT:
        raise PlantError(
            f"{name} has {len(text)} characters; a plant sheet has at most {LONGEST_TEXT}. "
            "Give the right file."
        )
    # A page sends lines with other ends and without the last one: it is the same sheet.
    text = text.replace("\r\n", "\n").replace("\r", "\n").strip() + "\n"
    top = opened(text, name, KEYS, PlantError)
    parts: dict[str, object] = {
        "title": top.text("title"),
        "remark": top.text("remark"),
        "invented": top.flag("invented"),
        "place": _place(top),
        "compressors": capacity.read_compressors(top),
        "leak_tests": leakage.read_leak_tests(top),
        "wearers": demand.read_wearers(top),
        "network": network_sheet.read_network(top),
        "receivers": reserve.read_receivers(top),
        "reserves": reserve.read_reserves(top),
        "escape": reserve.read_escape(top),
        "banks": bank.read_banks(top),
        "fill": bank.read_fill(top),
        "treatments": treatment.read_treatments(top),
    }
    _same_names(top)
    return text, top, parts


def _place(top: Table) -> Place:
    given = top.values.get("place", {})
    if not isinstance(given, dict):
        top.wrong("place", "is one table. Write [place] and its keys below it.")
        return Place()
    table = Table(given, (), "[place]", top.mistakes)
    table.known(_PLACE)
    altitude = table.number("altitude_m", -400.0, 5000.0, "m")
    air = table.number("air_temperature_c", -30.0, 80.0, "°C")
    return Place(
        altitude_m=0.0 if altitude is None else altitude,
        intake_temperature_c=_ends(table, "intake_temperature_c", -50.0, 60.0, "°C"),
        intake_humidity_percent=_humidity(table),
        air_temperature_c=20.0 if air is None else air,
        stated=frozenset(key for key in given if key in _PLACE),
    )


def _humidity(table: Table) -> tuple[float, float] | None:
    found = _ends(table, "intake_humidity_percent", 0.0, 100.0, "%")
    if found is not None and 0.0 < found[1] <= 1.0:
        table.wrong(
            "intake_humidity_percent",
            f"found {found[0]:g} to {found[1]:g} %; no intake is as dry as that. Write percent: 90, not "
            "0.9.",
        )
    return found


def _ends(table: Table, key: str, low: float, high: float, unit: str) -> tuple[float, float] | None:
    given = table.values.get(key)
    if given is None:
        return None
    values = given if isinstance(given, list) else [given, given]
    numbers = [
        float(one) for one in values if isinstance(one, int | float) and not isinstance(one, bool)
    ]
    if len(values) != 2 or len(numbers) != 2:  # noqa: PLR2004 - lowest and highest
        table.wrong(key, f"give the lowest and the highest [{unit}], like {key} = [2, 32].")
        return None
    first, last = numbers
    if not low <= first <= last <= high:
        table.wrong(
            key,
            f"found {first:g} to {last:g}, allowed is {low:g} to {high:g} {unit}, the lowest first.",
        )
        return None
    return first, last


def _same_names(top: Table) -> None:
    """Note names that two tables of one kind share, since messages and results name them."""
    for kind, given in top.values.items():
        if not isinstance(given, list):
            continue
        names = [one.get("name") for one in given if isinstance(one, dict)]
        for name in sorted({one for one in names if isinstance(one, str) and names.count(one) > 1}):
            top.wrong(
                kind, f"the name {name!r} stands {names.count(name)} times. Give each its own."
            )
