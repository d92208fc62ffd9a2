"""The log of a monitor that stayed at an outlet for two months while a purifier wore out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.demo import layouts, signals
from lungwort.demo.scene import Scene

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

STEP_S: Final = 900
READINGS: Final = 60 * 86_400 // STEP_S
"""Sixty days, a reading every quarter of an hour."""

_CHANNELS: Final = ("co", "co2", "o2", "water", "pressure")
_NUMBER: Final = 400
_FRESH_WATER_MG_M3: Final = 11.5
_RISE_MG_M3: Final = 9.0
_BEND: Final = 1.6
_SWING_MG_M3: Final = 1.2


def write_standing(path: Path, start: datetime, *, seed: int) -> Path:
    """Write sixty days at the charging panel, in which moisture creeps up and stays inside.

    Parameters
    ----------
    path : Path
        The file, in a folder that exists.
    start : datetime
        First reading, with the zone of the site.
    seed : int
        Seed of all noise [1], not negative.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    OutputError
        Where it cannot be written.
    """
    scene = Scene(seed, _NUMBER, start, STEP_S, READINGS)
    share = scene.time_s / (READINGS * STEP_S)
    # Worked out by nobody's sieve: a front that reaches the end of the bed gathers pace.
    water = (
        _FRESH_WATER_MG_M3
        + _RISE_MG_M3 * share**_BEND
        + _SWING_MG_M3 * signals.wave(scene.day_s, 86_400.0, peak_at_s=15.0 * 3600.0)
    )
    scene = scene.breathe(
        water=water,
        pressure=signals.line_pressure(
            scene.time_s, low_bar_g=285.0, high_bar_g=300.0, load_s=5_400.0, unload_s=16_000.0
        ),
    )
    texts = scene.texts()
    text = layouts.table(
        times=scene.times(str(start.tzinfo)),
        time_columns=[layouts.with_offset],
        columns=[texts[name] for name in _CHANNELS],
        head=[
            f"# {layouts.INVENTED}",
            "Time,CO [ppm],CO2 [ppm],O2 [%],Water [mg/m3],Line pressure [bar(g)]",
        ],
    )
    layouts.write_text(path, text)
    return path
