"""How many cylinders a bank fills, how hot they become, and in which order the bank is opened."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import PlantError
from lungwort.jobs.bank_words import CAUTIONS, SOURCES, assumptions, left_out, uncertainty
from lungwort.paper.calculation import (
    ESTIMATE,
    FAILS,
    HOLDS,
    NOT_PROVEN,
    Calculation,
    Curve,
    Grid,
    Level,
    Plot,
    Quantity,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.plant.bank import Bank, Fill, Run
    from lungwort.plant.sheet import PlantSheet

HOTTEST_PLACE_C: Final = 50.0
"""Temperature around cylinders above which a figure is taken for °F; own rule [°C]."""
MOST_WANTED: Final = 10_000
_WORDS: Final = {
    HOLDS: "enough",
    FAILS: "not enough",
    NOT_PROVEN: "not proven",
    ESTIMATE: "for information",
}
_MOST_CURVES: Final = 5


@frozen(kw_only=True)
class Request:
    """What is asked.

    Parameters
    ----------
    supply : str, optional
        Name or id of the supply; None to work from a file alone.
    sheet_file : Path, optional
        A plant sheet in place of the one on record.
    wanted : int, optional
        How many cylinders are to be filled; None to hold nothing against the result [1].
    """

    supply: str | None = None
    sheet_file: Path | None = None
    wanted: int | None = None


@frozen(kw_only=True)
class Runs:
    """The same bank, opened in several ways.

    Parameters
    ----------
    slow, fast : Run
        The cascade, without warming and without loss of heat.
    wall : Run, optional
        The cascade, with the heat that the wall takes; None where its mass is not known.
    as_one, highest_first : Run
        Other orders, without warming.
    """

    slow: Run
    fast: Run
    wall: Run | None
    as_one: Run
    highest_first: Run

    @property
    def range(self) -> tuple[int, int]:
        """Fewest and most full fills of the cascade [1]."""
        return min(self.slow.full, self.fast.full), max(self.slow.full, self.fast.full)


def request_of(values: Mapping[str, str]) -> Request:
    """Take what was typed into a form.

    Parameters
    ----------
    values : mapping of str to str
        Fields with something in them, by name.

    Returns
    -------
    Request
        What is asked.

    Raises
    ------
    PlantError
        Where the number of cylinders is no whole number.
    """
    text = values.get("wanted")
    if text is not None and not (text.isascii() and text.isdigit()):
        raise PlantError(f"--wanted {text!r} is no whole number. Write it like 12.")
    return Request(supply=values.get("supply"), wanted=None if text is None else int(text))


def bank(where: Where, request: Request, *, now: datetime) -> Calculation:
    """Tell how many cylinders the bank of a supply fills.

    Parameters
    ----------
    where : Where
        Which workspace.
    request : Request
        What is asked.
    now : datetime
        The time, UTC.

    Returns
    -------
    Calculation
        Full fills, temperatures, settled pressures, and what is left in the bank.

    Raises
    ------
    PlantError
        Where there is no plant sheet, or it states no bank or nothing that is filled.
    UnknownRecordError
        Where there is no such supply.
    """
    from lungwort.jobs.enough_air import on_record  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.plant_sheet import sheet_of, told_of_sheet  # noqa: PLC0415 - the same

    sheet = sheet_of(where, request.supply, request.sheet_file)
    subject, zone = sheet.title or "plant sheet", "UTC"
    if request.supply is not None:
        _, name, zone = on_record(where, request.supply, sheet)
        subject = f"supply {name}"
    return told_of_sheet(calculation_of(sheet, request, now=now, subject=subject, zone=zone), sheet)


def calculation_of(
    sheet: PlantSheet, request: Request, *, now: datetime, subject: str, zone: str = "UTC"
) -> Calculation:
    """Work out what a plant sheet says of a bank.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.
    request : Request
        What is asked.
    now : datetime
        The time, UTC.
    subject : str
        Of what it is.
    zone : str
        Time zone of its site.

    Returns
    -------
    Calculation
        The result.

    Raises
    ------
    PlantError
        Where the sheet states no bank or nothing that is filled, or the number of cylinders wanted
        cannot be.
    """
    if not sheet.banks or sheet.fill is None:
        raise PlantError(
            f"{sheet.origin} states no bank to fill from. Add a table [[bank]] for each of its "
            "members and one table [fill]; 'lungwort plant form' shows how."
        )
    if request.wanted is not None and not 1 <= request.wanted <= MOST_WANTED:
        raise PlantError(
            f"--wanted {request.wanted} cannot be used; allowed is 1 to {MOST_WANTED} cylinders."
        )
    fill = sheet.fill
    runs = _runs(sheet.banks, fill)
    state = _state(runs, request.wanted)
    beyond = _beyond(sheet)
    if beyond and state in {HOLDS, ESTIMATE}:
        state = NOT_PROVEN
    return Calculation(
        kind="bank",
        title="How many cylinders can be filled?",
        subject=f"{subject} ({sheet.origin})",
        made_at=now,
        zone=zone,
        state=state,
        word=_WORDS[state],
        answer=_answer(runs, fill),
        reasons=(*beyond, *_reasons(runs, fill, request.wanted), *_unsettled(sheet)),
        results=_results(sheet.banks, fill, runs),
        inputs=_inputs(sheet.banks, fill, request.wanted),
        grids=(
            _orders(runs),
            _fills("Fills without warming", sheet.banks, runs.slow),
            _fills("Fills without loss of heat", sheet.banks, runs.fast),
            *_wall_grid(sheet.banks, runs),
        ),
        plots=_plots(sheet.banks, fill, runs),
        assumptions=assumptions(fill),
        uncertainty=uncertainty(runs.range),
        cautions=CAUTIONS,
        sources=SOURCES,
        left_out=left_out(),
        next_steps=_next_steps(runs, fill, state),
        data=_data(sheet, fill, runs, request.wanted),
    )


def _beyond(sheet: PlantSheet) -> tuple[str, ...]:
    """Tell which figures of the sheet cannot be."""
    from lungwort.jobs.enough_air_gaps import of_cylinders  # noqa: PLC0415 - keeps --help instant

    warm = sheet.fill.temperature_c if sheet.fill is not None else 0.0
    hot = (
        (
            (
                f"It is {warm:g} °C around the cylinders by the sheet, which is more than any place of "
                "filling has. Give °C, not °F."
            ),
        )
        if warm > HOTTEST_PLACE_C
        else ()
    )
    highest = max((one.declared_at_bar_g or 0.0 for one in sheet.compressors), default=0.0)
    return (
        *(
            f"{one.name} holds {one.pressure_bar_g:g} bar(g), and no compressor of the sheet is declared "
            f"for more than {highest:g} bar(g). Put right whichever is wrong."
            for one in sheet.banks
            if 0.0 < highest < one.pressure_bar_g
        ),
        *of_cylinders(sheet.banks),
        *hot,
    )


def _unsettled(sheet: PlantSheet) -> tuple[str, ...]:
    """Tell where nothing says whether the air of the bank had cooled when its pressure was read."""
    names = [one.name for one in sheet.banks if one.temperature_c is None]
    if not names:
        return ()
    return (
        (
            f"The pressure of {', '.join(names)} is taken as settled. Air that was still 10 K warm settles "
            "10 to 20 bar lower, and fills fewer: read it hours after the bank was filled, or give "
            "temperature_c."
        ),
    )


def _runs(banks: Sequence[Bank], fill: Fill) -> Runs:
    from lungwort.plant import bank as room  # noqa: PLC0415 - keeps --help instant
    from lungwort.plant.filling import FAST  # noqa: PLC0415 - the same

    known_wall = fill.wall_kg is not None
    return Runs(
        slow=room.run(banks, fill),
        fast=room.run(banks, fill, heat=FAST),
        wall=room.run(banks, fill, heat=FAST, with_wall=True) if known_wall else None,
        as_one=room.run(banks, fill, order=room.AS_ONE),
        highest_first=room.run(banks, fill, order=room.HIGHEST_FIRST),
    )


def _state(runs: Runs, wanted: int | None) -> str:
    if wanted is None:
        return ESTIMATE
    fewest, most = runs.range
    # A count that stopped at its end may be too low.
    if wanted > most and not (runs.slow.stopped or runs.fast.stopped):
        return FAILS
    return HOLDS if wanted <= fewest else NOT_PROVEN


def _counted(run: Run) -> str:
    return f"at least {run.full}" if run.stopped else f"{run.full}"


def _answer(runs: Runs, fill: Fill) -> str:
    fewest, most = runs.range
    count = str(fewest) if fewest == most else f"{fewest} to {most}"
    if runs.slow.stopped or runs.fast.stopped:
        count = f"at least {fewest}"
    what = "cylinder" if count == "1" else "cylinders"
    return (
        f"{count} {what} of {fill.cylinder_l:g} L can be filled from {fill.from_bar_g:g} to "
        f"{fill.to_bar_g:g} bar(g), settled at {fill.temperature_c:g} °C."
    )


def _reasons(runs: Runs, fill: Fill, wanted: int | None) -> tuple[str, ...]:
    first = runs.fast.fills[0]
    said = [
        (
            f"Filled slowly, the cascade gives {_counted(runs.slow)}; without any loss of heat, filled up "
            f"again after cooling, {_counted(runs.fast)}."
        ),
        (
            f"Without loss of heat the air in the first cylinder comes to {first.hottest_c:.0f} °C, and "
            f"{first.gauge_bar_g:.0f} bar(g) on the gauge settle at {first.settled_bar_g:.0f} bar(g)."
        ),
    ]
    if wanted is not None:
        said.insert(0, f"{wanted} {'is' if wanted == 1 else 'are'} wanted.")
    if not runs.range[1]:
        highest = max(runs.slow.fills[-1].ended_bar_g, 0.0)
        said.append(
            f"No member of the bank brings a cylinder to {fill.to_bar_g:g} bar(g); it gets "
            f"{math.floor(highest)} bar(g) at most."
        )
    return tuple(said)


def _results(banks: Sequence[Bank], fill: Fill, runs: Runs) -> tuple[Quantity, ...]:
    from lungwort.air.cylinder import free_air  # noqa: PLC0415 - keeps --help instant

    def litres(volume_l: float, pressure_bar_g: float) -> float:
        return free_air(
            volume_l,
            fill.temperature_c,
            pressure_bar_g=pressure_bar_g,
            reference_temperature_c=20.0,
        ).litres

    each = litres(fill.cylinder_l, fill.to_bar_g) - litres(fill.cylinder_l, fill.from_bar_g)
    whole = math.fsum(litres(one.whole_volume_l, _settled_bar_g(one, fill)) for one in banks)
    fewest, most = runs.range
    first_slow, first_fast = runs.slow.fills[0], runs.fast.fills[0]
    found = [
        Quantity("full fills", fewest, "", low=fewest, high=most, source="computed"),
        Quantity("free air that one fill takes", each, "L", source="computed"),
        Quantity("free air in the bank", whole, "L", source="computed"),
        Quantity(
            "highest temperature, no heat lost", first_fast.hottest_c, "°C", source="computed"
        ),
        Quantity(
            "settles at, first time shut",
            first_fast.settled_bar_g,
            "bar(g)",
            low=first_fast.settled_bar_g,
            high=first_slow.settled_bar_g,
            source="computed",
        ),
    ]
    if runs.wall is not None:
        wall = runs.wall.fills[0]
        found += [
            Quantity("temperature with the wall", wall.hottest_c, "°C", source="computed"),
            Quantity("settles at, with the wall", wall.settled_bar_g, "bar(g)", source="computed"),
            Quantity("full fills with the wall", runs.wall.full, "", source="computed"),
        ]
    if fill.minutes is not None:
        rate = (fill.to_bar_g - fill.from_bar_g) / fill.minutes
        found += [
            Quantity("rise of pressure while filling", rate, "bar/min", source="computed"),
            Quantity("time for the fewest fills", fewest * fill.minutes, "min", source="computed"),
        ]
    return tuple(found)


def _settled_bar_g(one: Bank, fill: Fill) -> float:
    from lungwort.air.gas import ZERO_CELSIUS_K  # noqa: PLC0415 - keeps --help instant
    from lungwort.plant.bank import held_by  # noqa: PLC0415 - the same

    if one.temperature_c is None:
        return one.pressure_bar_g
    return held_by(one, fill.temperature_c + ZERO_CELSIUS_K).pressure_bar_g


def _inputs(banks: Sequence[Bank], fill: Fill, wanted: int | None) -> tuple[Quantity, ...]:
    entered = "entered"
    found = [
        Quantity(
            f"bank {one.name}",
            f"{one.cylinders} x {one.volume_l:g} L at {one.pressure_bar_g:g} bar(g)"
            + (
                ""
                if one.temperature_c is None
                else f" and {one.temperature_c:g} °C, settled {_settled_bar_g(one, fill):.0f} bar(g)"
            ),
            source=entered,
        )
        for one in banks
    ]
    found += [
        Quantity("cylinder that is filled", fill.cylinder_l, "L", source=entered),
        Quantity("comes with", fill.from_bar_g, "bar(g)", source=entered),
        Quantity("filled to", fill.to_bar_g, "bar(g)", source=entered),
        Quantity("temperature of the room", fill.temperature_c, "°C", source=entered),
        Quantity(
            "time for one filling", fill.minutes, "min", source=entered if fill.minutes else ""
        ),
        Quantity(
            "mass of its wall", fill.wall_kg, "kg", source=entered if fill.wall_kg else "not stated"
        ),
    ]
    if wanted is not None:
        found.append(Quantity("wanted", wanted, "cylinders", source=entered))
    return tuple(found)


def _orders(runs: Runs) -> Grid:
    ways = [
        ("lowest first (cascade)", "no warming", runs.slow),
        ("lowest first (cascade)", "no heat lost", runs.fast),
        ("lowest first (cascade)", "with the wall", runs.wall),
        ("all joined as one", "no warming", runs.as_one),
        ("highest first", "no warming", runs.highest_first),
    ]
    return Grid(
        "Orders compared",
        ("order", "heat", "full fills", "the next one gets [bar(g)]"),
        tuple(
            (order, heat, _counted(run), None if run.stopped else run.fills[-1].ended_bar_g)
            for order, heat, run in ways
            if run is not None
        ),
        note="The cascade takes what low members can still give and keeps the highest for the last "
        "bars. Joined for good, all come to one pressure, and once that is below what is asked for, "
        "none is filled any more.",
    )


def _fills(title: str, banks: Sequence[Bank], run: Run) -> Grid:
    return Grid(
        title,
        (
            "fill",
            "gauge when shut [bar(g)]",
            "hottest [°C]",
            "settles at [bar(g)]",
            "times joined",
            "ends at [bar(g)]",
            *(f"{one.name} [bar(g)]" for one in banks),
        ),
        tuple(
            (
                one.number,
                one.gauge_bar_g,
                one.hottest_c,
                one.settled_bar_g,
                one.rounds,
                one.ended_bar_g,
                *one.banks_bar_g,
            )
            for one in run.fills
        ),
        marked=tuple(at for at, one in enumerate(run.fills) if not one.full),
        note="The line that is marked is the first cylinder that does not become full.",
        most=20,
    )


def _wall_grid(banks: Sequence[Bank], runs: Runs) -> tuple[Grid, ...]:
    return () if runs.wall is None else (_fills("Fills with the wall", banks, runs.wall),)


def _plots(banks: Sequence[Bank], fill: Fill, runs: Runs) -> tuple[Plot, ...]:
    level = Level("asked for", fill.to_bar_g)
    slow = runs.slow.fills
    left = Plot(
        "What is left in the bank (no warming)",
        "cylinders filled",
        "",
        "pressure, settled",
        "bar(g)",
        tuple(
            Curve(
                one.name,
                tuple(float(number) for number in range(len(slow) + 1)),
                (_settled_bar_g(one, fill), *(each.banks_bar_g[at] for each in slow)),
            )
            for at, one in enumerate(banks[:_MOST_CURVES])
        ),
        (level,),
        says="The pressure in each member of the bank falls fill by fill, the lowest ones first."
        + (f" The first {_MOST_CURVES} are drawn." if len(banks) > _MOST_CURVES else ""),
    )
    ways = [("no warming", runs.slow), ("with the wall", runs.wall), ("no heat lost", runs.fast)]
    shut = Plot(
        "Settled pressure of a cylinder that was shut once",
        "fill",
        "",
        "pressure, settled",
        "bar(g)",
        tuple(
            Curve(
                name,
                tuple(float(one.number) for one in run.fills),
                tuple(one.settled_bar_g for one in run.fills),
                style="points",
            )
            for name, run in ways
            if run is not None
        ),
        (level,),
        says="The less heat is lost while it is filled, the lower a cylinder settles.",
    )
    return left, shut


def _next_steps(runs: Runs, fill: Fill, state: str) -> tuple[str, ...]:
    said = [
        "Open the members of the bank one after the other, the one with the lowest pressure first."
    ]
    if runs.fast.fills[0].settled_bar_g < fill.to_bar_g - 1.0:
        said.append(
            "Fill slowly, let the cylinder cool, read its pressure, and fill it up again; never go "
            f"beyond {fill.to_bar_g:g} bar(g) on the gauge to make up for the heat."
        )
    if fill.wall_kg is None:
        said.append("Give wall_kg of the cylinder in [fill], to see a value between the two ends.")
    if state in {FAILS, NOT_PROVEN}:
        said.append(
            "Raise the pressure of the highest member, or add one, before that many are promised."
        )
    return tuple(said)


def _data(sheet: PlantSheet, fill: Fill, runs: Runs, wanted: int | None) -> dict[str, Any]:
    from attrs import asdict  # noqa: PLC0415 - only here

    return {
        "sheet": {"origin": sheet.origin, "digest": sheet.digest},
        "wanted": wanted,
        "full_fills": {"fewest": runs.range[0], "most": runs.range[1]},
        "fill": asdict(fill),
        "banks": [asdict(one) for one in sheet.banks],
        "runs": [
            asdict(one)
            for one in (runs.slow, runs.fast, runs.wall, runs.as_one, runs.highest_first)
            if one is not None
        ],
    }
