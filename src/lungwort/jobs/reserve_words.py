"""The words of a calculation of the reserve."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.jobs.reserve_work import FAST
from lungwort.paper.calculation import Stated
from lungwort.plant.filling import COLDEST_K
from lungwort.tomlfile import FROM_MEMORY, NO_SOURCE

if TYPE_CHECKING:
    from lungwort.jobs.reserve_work import Worked
    from lungwort.plant.sheet import PlantSheet

CAUTIONS: Final = (
    (
        "A calculation from the figures entered; it does not replace a trial with the compressor shut "
        "off and everybody still able to leave, the equipment maker's instructions, the standard "
        "itself, local codes or a competent person."
    ),
    (
        "The time runs from the moment when the compressor stops. It is of use only to those who "
        "notice at once: an alarm that can be heard or felt at every place of work is needed."
    ),
    "Whether the air in receivers and cylinders is fit to breathe is not looked at here.",
)
SOURCES: Final = (
    (
        "Dry air as a real gas: E. W. Lemmon, R. T. Jacobsen, S. G. Penoncello, D. G. Friend, J. Phys. "
        "Chem. Ref. Data 29 (2000) 331, through CoolProp (computed)."
    ),
    (
        "Constant entropy of what remains in a rigid vessel that loses air without heat: M. J. Moran, "
        "H. N. Shapiro, Fundamentals of Engineering Thermodynamics (from memory)."
    ),
    "Pressure in hoses and pipes: isothermal compressible flow, as in 'Is there enough air?'.",
    "Peak of a sine-shaped breath: pi times the volume breathed in a minute (computed).",
)
LEFT_OUT: Final = (
    "Air in hoses and pipes themselves: it makes the time longer.",
    (
        "Flow that a regulator can pass, and the fall of its outlet pressure with flow and inlet "
        "pressure: it makes the time shorter where the regulator is too small."
    ),
    "Regulators that freeze with the cold of the expanding air.",
    (
        "Check valves: without one between compressor and receiver, air is also lost backwards through "
        "the compressor."
    ),
)


def assumptions(sheet: PlantSheet, worked: Worked) -> tuple[Stated, ...]:
    """Tell what was taken for granted.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.
    worked : Worked
        What came out.

    Returns
    -------
    tuple of Stated
        Each with its ground.
    """
    place = sheet.place
    said = [
        Stated(
            "The compressor stops when the receivers are at the lowest pressure of use.",
            "the sheet",
            "at a higher pressure: longer",
        ),
        Stated(
            f"Air in vessels and lines is at {place.air_temperature_c:g} °C before.",
            "entered" if "air_temperature_c" in place.stated else NO_SOURCE,
            "warmer air: shorter",
        ),
        Stated(
            "Wearers draw the same all the time; the least time takes all of them at the height of a "
            "breath all the time.",
            NO_SOURCE,
            "who flees breathes harder than at work: shorter",
        ),
        Stated(
            "Every wearer must have the least pressure also at the height of a breath of all.",
            NO_SOURCE,
            "makes the time shorter",
        ),
    ]
    if FAST in {heat for _, heat in worked.courses}:
        said.append(
            Stated(
                f"Without heat from the walls the air left behind cools to {COLDEST_K - 273.15:.0f} °C at "
                "the most; colder it never becomes, since walls do give heat.",
                "own rule",
                "counts up to a few percent more air than no heat at all would leave",
            )
        )
    resting = [one.name for one in sheet.wearers if one.simultaneous < one.count]
    if resting:
        said.append(
            Stated(
                f"Of {', '.join(resting)} only those count who are on the air at once; the others stay "
                "off it while the reserve lasts.",
                "the sheet",
                "everybody on it at once: shorter",
            )
        )
    if len({one.pressure_bar_g for one in sheet.receivers}) > 1:
        said.append(
            Stated(
                "All receivers count at the lowest of their pressures.",
                "own rule",
                "makes it shorter",
            )
        )
    if worked.leak_l_min is not None:
        said.append(
            Stated(
                "The loss by leaks stays as at the highest pressure, at its upper end, and goes off where "
                "air is fed in.",
                "own rule",
                "makes it shorter, except for leaks far out in the lines",
            )
        )
    if sheet.reserves:
        said.append(
            Stated(
                "Cylinders are filled to the pressure on the sheet, no less, and are open.",
                "the sheet",
                "less filled: shorter",
            )
        )
    if "altitude_m" not in place.stated:
        said.append(Stated("The place is at sea level.", FROM_MEMORY, "higher up: shorter"))
    return tuple(said)


def next_steps(worked: Worked, sheet: PlantSheet, *, holds: bool) -> tuple[str, ...]:
    """Tell what to do now.

    Parameters
    ----------
    worked : Worked
        What came out.
    sheet : PlantSheet
        The sheet.
    holds : bool
        Whether the reserve is enough.

    Returns
    -------
    tuple of str
        The weightiest first.
    """
    said = []
    if sheet.escape is None:
        said.append(
            "Find out how long the slowest needs to safe air, by a trial, and write it as [escape]."
        )
    if not holds:
        more = more_receiver_l(worked, sheet)
        if more is not None:
            said.append(
                f"A receiver of about {more:.0f} L more, at the same pressure, would make the least time "
                "long enough; or cylinders behind a regulator, or fewer wearers at once."
            )
        said.append("Until it is shown to be enough, give every wearer an escape set of their own.")
    if worked.leak_l_min is None:
        said.append("Make a leak test: shut all off, and read how fast the pressure falls.")
    if not worked.with_network:
        said.append("Put hoses and pipes on the sheet ([[source]], [[pipe]]).")
    said.append("Try it: shut the compressor off under full load, and take the time.")
    return tuple(said)


def more_receiver_l(worked: Worked, sheet: PlantSheet) -> float | None:
    """Tell how much more receiver would make the least time long enough.

    Parameters
    ----------
    worked : Worked
        What came out.
    sheet : PlantSheet
        The sheet.

    Returns
    -------
    float or None
        Volume, rounded up to 10 L [L]; None where it cannot be told, or none is missing.
    """
    import math  # noqa: PLC0415 - only here

    from lungwort.jobs.reserve_work import FAST, PEAK  # noqa: PLC0415 - they need each other

    if sheet.escape is None or not sheet.receivers or not worked.courses:
        return None
    course = worked.courses[PEAK, FAST]
    missing_kg = (sheet.escape.minutes - course.lasts_min) * 60.0 * course.draw_kg_s
    each_kg = course.receivers_kg / math.fsum(one.volume_l for one in sheet.receivers)
    if missing_kg <= 0.0 or each_kg <= 0.0:
        return None
    return math.ceil(missing_kg / each_kg / 10.0) * 10.0
