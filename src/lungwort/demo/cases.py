"""The cases of the invented site: what is seeded, how it is logged, what must come out."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

import numpy as np

from lungwort.demo import layouts, signals
from lungwort.demo.model import Case, Expected, ExpectedStretch
from lungwort.demo.scene import ABOVE, BELOW, Scene

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.demo.signals import Counts, Floats

AIRLINE: Final = "en12021-2014-airline"
CHARGING: Final = "en12021-2014-charging"
ZONE: Final = "Europe/London"
SUPPLY: Final = "7.5 bar(g)"

SPRAY_SHOP: Final = "Spray shop, panel 2"
BLASTING_HALL: Final = "Blasting hall, panel 1"
CHARGING_PANEL: Final = "Charging panel"

SPOTS: Final = ("oil=<0.05 mg/m3", "odour=none", "liquid_water=none")

# EN 12021:2014, as carried by secondary sources except where noted; written down here a second
# time on purpose, so that what must come out does not rest on the limit library.
CO_MOST_PPM: Final = 5.0
CO2_MOST_PPM: Final = 500.0
O2_LEAST_PERCENT: Final = 20.0
WATER_MOST_UP_TO_10_BAR_MG_M3: Final = 160.0  # from memory
WATER_MOST_ABOVE_200_BAR_MG_M3: Final = 35.0
WATER_ADVICE_CHARGING_MG_M3: Final = 25.0

_DAY_S: Final = 86_400
_CHANNELS: Final = ("co", "co2", "o2", "water", "pressure")
_PLAIN_HEAD: Final = "CO [ppm],CO2 [ppm],O2 [%],Water [mg/m3],Line pressure [bar(g)]"


def _at(year: int, month: int, day: int, hour: int = 0, minute: int = 0) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=ZoneInfo(ZONE))


def _line(scene: Scene) -> Floats:
    return signals.line_pressure(
        scene.time_s, low_bar_g=6.62, high_bar_g=7.28, load_s=95.0, unload_s=165.0
    )


def _dry(scene: Scene, mean_mg_m3: float = 58.0) -> Floats:
    """Water behind a drier in order: a little more in the warm afternoon [mg/m³]."""
    return mean_mg_m3 + 3.0 * signals.wave(scene.day_s, float(_DAY_S), peak_at_s=15.0 * 3600.0)


def _clean(scene: Scene) -> Scene:
    return scene.breathe(water=_dry(scene), pressure=_line(scene))


def _columns(
    scene: Scene, counts: dict[str, Counts] | None = None, decimal_sign: str = "."
) -> list[list[str]]:
    texts = scene.texts(counts, decimal_sign)
    return [texts[name] for name in _CHANNELS]


def clean_day(folder: Path, seed: int) -> Case:
    """Write a day on which nothing is wrong."""
    scene = _clean(Scene(seed, 1, _at(2026, 3, 17), 10, 8_640))
    file = folder / "01-clean-day.csv"
    text = layouts.table(
        times=scene.times(ZONE),
        time_columns=[layouts.date_dots, layouts.clock_24],
        columns=_columns(scene, decimal_sign=","),
        head=[
            f"Messprotokoll;erfundene Beispieldaten ({layouts.INVENTED})",
            "Messstelle;Spray shop, panel 2",
            "",
            "Datum;Uhrzeit;CO [ml/m³];CO2 [ml/m³];O2 [Vol.-%];Wasser [mg/m³];Druck [bar(ü)]",
        ],
        separator=";",
        line_end="\r\n",
    )
    layouts.write_text(file, text, "cp1252")
    return Case(
        key="clean-day",
        title="a clean day at the spray shop",
        outlet=SPRAY_SHOP,
        files=(file,),
        limit_set=AIRLINE,
        zone=ZONE,
        supply_pressure=SUPPLY,
        spots=SPOTS,
        story=(
            "A day and a night in which nothing is wrong. The logger speaks German, separates by "
            "semicolon and writes a decimal comma. Oil, odour and liquid water were tested by hand, and the "
            "water is held against the row of the table for the supply pressure."
        ),
        expected=Expected("conforms", readings=scene.n),
    )


def intake_exhaust(folder: Path, seed: int) -> Case:
    """Write a shift in which a vehicle idles beside the intake for 40 minutes."""
    empty = Scene(seed, 2, _at(2026, 5, 20, 6), 10, 4_320)
    begin = _at(2026, 5, 20, 10, 20)
    scene = empty.breathe(
        water=_dry(empty),
        pressure=_line(empty),
        source=signals.dry_exhaust(co_percent=1.0, co2_percent=12.0),
        fraction=empty.during(begin, begin + timedelta(minutes=40), 1.2e-3),
    )
    file = folder / "02-intake-exhaust.csv"
    notes = [layouts.INVENTED, *[""] * (scene.n - 1)]
    text = layouts.table(
        times=scene.times(ZONE),
        time_columns=[layouts.with_offset],
        columns=[*_columns(scene), notes],
        head=[
            "Time,CO (ppm),CO2 (ppm),O2 (%),Water (mg/m3),Line pressure (bar(g)),Remark",
        ],
    )
    layouts.write_text(file, text)
    return Case(
        key="intake-exhaust",
        title="exhaust drawn into the intake for 40 minutes",
        outlet=BLASTING_HALL,
        files=(file,),
        limit_set=AIRLINE,
        zone=ZONE,
        supply_pressure=SUPPLY,
        spots=SPOTS,
        story=(
            "From 10:20 to 11:00 a van idles beside the compressor's intake. Exhaust with 1 % CO "
            "and 12 % CO2 makes up 1.2 parts in 1000 of what is drawn in: CO and CO2 rise "
            "together, above their limits, while oxygen falls by only 0.02 %, less than its "
            "sensor can show. The receiver delays the rise and lengthens the end."
        ),
        expected=Expected(
            "does_not_conform",
            excursions=(
                scene.excursion("co", ABOVE, CO_MOST_PPM),
                scene.excursion("co2", ABOVE, CO2_MOST_PPM),
            ),
            not_conforming=("co", "co2"),
            readings=scene.n,
        ),
    )


def drier_going_off(folder: Path, seed: int) -> Case:
    """Write three weeks in which the drier slowly gives out."""
    empty = Scene(seed, 3, _at(2026, 2, 2, 6), 60, 30_240)
    age = empty.time_s / (21.0 * _DAY_S)
    swing = 2.0 * signals.wave(empty.day_s, float(_DAY_S), peak_at_s=15.0 * 3600.0)
    scene = empty.breathe(water=46.0 + 150.0 * age * age * age + swing, pressure=_line(empty))
    file = folder / "03-drier-going-off.csv.gz"
    text = layouts.table(
        times=scene.times(ZONE),
        time_columns=[layouts.joined(layouts.date_iso, layouts.clock_24)],
        columns=_columns(scene),
        head=[
            f"Export of three weeks ({layouts.INVENTED})",
            "Outlet,Spray shop panel 2",
            "Time,CO,CO2,O2,Water,Line pressure",
            ",ppm,ppm,%,mg/m3,bar(g)",
        ],
    )
    layouts.write_bytes(file, layouts.gzip_stored(text.encode("utf-8")))
    return Case(
        key="drier-going-off",
        title="a drier going slowly off over three weeks",
        outlet=SPRAY_SHOP,
        files=(file,),
        limit_set=AIRLINE,
        zone=ZONE,
        supply_pressure=SUPPLY,
        spots=SPOTS,
        story=(
            "The drying agent is used up. Water rises from about 46 mg/m3, slowly at first, and "
            "passes 160 mg/m3 (the row up to 10 bar(g)) on the 20th day, where it stays until the "
            "log ends. For an hour or two at the crossing it flickers in the noise."
        ),
        expected=Expected(
            "does_not_conform",
            excursions=(scene.excursion("water", ABOVE, WATER_MOST_UP_TO_10_BAR_MG_M3),),
            not_conforming=("water",),
            readings=scene.n,
        ),
    )


def short_spike(folder: Path, seed: int) -> Case:
    """Write a shift with a spike of carbon monoxide of four readings."""
    empty = Scene(seed, 4, _at(2026, 3, 4, 6, 30), 10, 4_320)
    begin = _at(2026, 3, 4, 14, 12)
    scene = empty.breathe(
        water=_dry(empty),
        pressure=_line(empty),
        source=signals.dry_exhaust(co_percent=4.0, co2_percent=10.0),
        fraction=empty.during(begin, begin + timedelta(seconds=30), 4.2e-4),
        receiver_s=0.0,
    )
    file = folder / "04-short-spike.txt"
    text = layouts.table(
        times=scene.times(ZONE),
        time_columns=[layouts.joined(layouts.date_slashes, layouts.clock_12)],
        columns=_columns(scene),
        head=[
            f"# {layouts.INVENTED}",
            "Date/Time\tCO ppm\tCO2 ppm\tO2 % vol\tWater mg/m³\tLine pressure bar(g)",
        ],
        separator="\t",
    )
    layouts.write_text(file, text, "utf-8-sig")
    return Case(
        key="short-spike",
        title="a spike of carbon monoxide shorter than a minute",
        outlet=BLASTING_HALL,
        files=(file,),
        limit_set=AIRLINE,
        zone=ZONE,
        date_order="dmy",
        supply_pressure=SUPPLY,
        spots=SPOTS,
        story=(
            "At 14:12 a cold engine that runs rich starts beside the intake and moves off after "
            "half a minute: four readings above 5 ppm. It is a sensor's true answer to real gas, "
            "and nobody may smooth it away as a glitch. The dates can be read day first or month "
            "first, so the order is given."
        ),
        expected=Expected(
            "does_not_conform",
            excursions=(scene.excursion("co", ABOVE, CO_MOST_PPM),),
            not_conforming=("co",),
            readings=scene.n,
        ),
    )


def o2_cell_drift(folder: Path, seed: int) -> Case:
    """Write five days in two files in which the oxygen cell drifts down."""
    sound = _clean(Scene(seed, 5, _at(2026, 4, 13, 6), 60, 7_200))
    age = sound.time_s / (5.0 * _DAY_S)
    scene = sound.changed(o2=sound.sensed["o2"] - 1.5 * age * age * age)
    columns = _columns(scene)
    times = scene.times(ZONE)
    files = []
    for name, first, last in (
        ("05-o2-cell-drift-a.csv", 0, 4_320),
        ("05-o2-cell-drift-b.csv", 3_960, scene.n),
    ):
        text = layouts.table(
            times=times[first:last],
            time_columns=[layouts.date_iso, layouts.clock_24],
            columns=[column[first:last] for column in columns],
            head=[f"# {layouts.INVENTED}", f"Date,Time,{_PLAIN_HEAD}"],
        )
        files.append(folder / name)
        layouts.write_text(files[-1], text)
    return Case(
        key="o2-cell-drift",
        title="an oxygen cell that drifts below 20 %",
        outlet=BLASTING_HALL,
        files=tuple(files),
        limit_set=AIRLINE,
        zone=ZONE,
        supply_pressure=SUPPLY,
        spots=SPOTS,
        story=(
            "Oxygen falls slowly from 20.9 % to below 20 % while carbon dioxide stays as outdoors. "
            "No ordinary cause lowers oxygen by 1 % and leaves carbon dioxide alone, so the cell "
            "may be at fault: calibrate or replace it and test again. By the numbers the air does "
            "not conform, and the numbers decide. The two files share six hours, which are taken "
            "once."
        ),
        expected=Expected(
            "does_not_conform",
            excursions=(scene.excursion("o2", BELOW, O2_LEAST_PERCENT),),
            not_conforming=("o2",),
            readings=scene.n,
        ),
    )


def frozen_logger(folder: Path, seed: int) -> Case:
    """Write a shift in which every channel repeats itself for four hours."""
    scene = _clean(Scene(seed, 6, _at(2026, 1, 21, 6), 10, 4_320))
    begin, end = _at(2026, 1, 21, 11, 40), _at(2026, 1, 21, 15, 55)
    held = np.flatnonzero(scene.during(begin, end, 1.0))
    counts = scene.counts()
    for shown in counts.values():
        shown[held] = shown[held[0]]
    file = folder / "06-frozen-logger.txt"
    text = layouts.table(
        times=scene.times(ZONE),
        time_columns=[layouts.joined(layouts.date_iso, layouts.clock_24)],
        columns=_columns(scene, counts),
        head=[f"# {layouts.INVENTED}", f"Time,{_PLAIN_HEAD}".replace(",", "\t")],
        separator="\t",
        line_end="\r\n",
    )
    layouts.write_text(file, text, "utf-16")
    return Case(
        key="frozen-logger",
        title="a logger that repeats its last readings for four hours",
        outlet=BLASTING_HALL,
        files=(file,),
        limit_set=AIRLINE,
        zone=ZONE,
        supply_pressure=SUPPLY,
        spots=SPOTS,
        story=(
            "From 11:40 to 15:55 the clock goes on but every channel repeats its last value, the "
            "line pressure too, which never stands still while a compressor runs. Nothing was "
            "measured in that time. The rest is clean, but too little of the shift is covered, so "
            "nothing is proven."
        ),
        expected=Expected(
            "not_proven",
            stretches=(
                ExpectedStretch("frozen", begin, end - timedelta(seconds=10), tolerance_s=600.0),
            ),
            undecided=("co", "co2", "o2", "water"),
            readings=scene.n,
        ),
    )


def clock_change(folder: Path, seed: int) -> Case:
    """Write a night in which the clocks go back."""
    scene = _clean(Scene(seed, 7, _at(2025, 10, 25, 18), 30, 2_280))
    file = folder / "07-clock-change.csv"
    text = layouts.table(
        times=scene.times(ZONE),
        time_columns=[layouts.date_slashes, layouts.clock_24],
        columns=_columns(scene),
        head=[f"# {layouts.INVENTED}", f"Date,Time,{_PLAIN_HEAD}"],
    )
    layouts.write_text(file, text)
    return Case(
        key="clock-change",
        title="the night in which the clocks go back",
        outlet=SPRAY_SHOP,
        files=(file,),
        limit_set=AIRLINE,
        zone=ZONE,
        supply_pressure=SUPPLY,
        spots=SPOTS,
        story=(
            "On 26 October 2025 every local time from 01:00 to 02:00 comes twice. The logger wrote "
            "local time without saying which; the order of the rows tells. Nothing is wrong with "
            "the air, and no reading may be lost or counted twice."
        ),
        expected=Expected("conforms", readings=scene.n),
    )


def settling(folder: Path, seed: int) -> Case:
    """Write a shift whose first minutes are the hall's air, not the line's."""
    clean = _clean(Scene(seed, 8, _at(2026, 4, 28, 7), 10, 3_600))
    stale = signals.lag(np.where(clean.time_s > 0.0, 0.0, 1.0), 10.0, 300.0)
    scene = clean.changed(
        co2=clean.sensed["co2"] + 900.0 * stale, o2=clean.sensed["o2"] - 1.8 * stale
    )
    file = folder / "08-settling.csv"
    text = layouts.table(
        times=scene.times(ZONE),
        time_columns=[layouts.date_slashes, layouts.clock_24],
        columns=_columns(scene, decimal_sign=","),
        head=[
            f"Données inventées ({layouts.INVENTED})",
            "Date;Heure;CO [ppm];CO2 [ppm];O2 [% vol];Eau [mg/m³];Pression [bar(g)]",
        ],
        separator=";",
    )
    layouts.write_text(file, text)
    return Case(
        key="settling",
        title="the first half hour after connecting",
        outlet=BLASTING_HALL,
        files=(file,),
        limit_set=AIRLINE,
        zone=ZONE,
        supply_pressure=SUPPLY,
        lowest_temperature="3 °C",
        spots=SPOTS,
        story=(
            "The instrument was connected at 07:00 with a hose full of the hall's stale air, and "
            "its cells needed time. Carbon dioxide and oxygen read outside their limits for the "
            "first quarter of an hour. The first 30 minutes are not judged, but they are told. The "
            "logger speaks French."
        ),
        expected=Expected(
            "conforms",
            stretches=(
                ExpectedStretch(
                    "settling",
                    clean.start,
                    clean.start + timedelta(minutes=30),
                    tolerance_s=30.0,
                    outside=("co2", "o2"),
                ),
            ),
            readings=scene.n,
        ),
    )


def charging_panel(folder: Path, seed: int) -> Case:
    """Write a day at the charging panel with more water than is advised."""
    empty = Scene(seed, 9, _at(2026, 1, 29, 8), 30, 1_080)
    fills = signals.line_pressure(
        empty.time_s, low_bar_g=60.0, high_bar_g=298.0, load_s=1_500.0, unload_s=300.0
    )
    water = 29.5 + 1.5 * signals.wave(empty.day_s, float(_DAY_S), peak_at_s=15.0 * 3600.0)
    scene = empty.breathe(water=water, pressure=fills)
    file = folder / "09-charging-panel.csv"
    text = layouts.table(
        times=scene.times(ZONE),
        time_columns=[layouts.joined(layouts.date_dots, layouts.clock_dots)],
        columns=_columns(scene),
        head=[
            f"# {layouts.INVENTED}",
            "Time|Carbon monoxide|CO2 [ml/m³]|Oxygen [%]|Water [mg/m³]|Line pressure [bar(g)]",
        ],
        separator="|",
    )
    layouts.write_text(file, text, "utf-8-sig")
    return Case(
        key="charging-panel",
        title="a charging panel that keeps its limits but not the advice",
        outlet=CHARGING_PANEL,
        files=(file,),
        limit_set=CHARGING,
        zone=ZONE,
        units=(("co", "ppm"),),
        supply_pressure="300 bar(g)",
        spots=SPOTS,
        story=(
            "Cylinders are charged to 300 bar(g). Water stands near 30 mg/m3: within the 35 mg/m3 "
            "allowed above 200 bar(g), but above the 25 mg/m3 advised at the outlet of a charging "
            "compressor. The limits are kept; the advice says that the purifier's filling is "
            "nearly used up. The heading of carbon monoxide has lost its unit, so it is given."
        ),
        expected=Expected("conforms", advice_not_met=("water",), readings=scene.n),
    )


WRITERS: Final = (
    clean_day,
    intake_exhaust,
    drier_going_off,
    short_spike,
    o2_cell_drift,
    frozen_logger,
    clock_change,
    settling,
    charging_panel,
)
