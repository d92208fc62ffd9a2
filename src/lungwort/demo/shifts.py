"""The logger's files of the invented year: a shift at one outlet, clean or with something wrong."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Final

from lungwort.demo import layouts, signals
from lungwort.demo.scene import Scene

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from lungwort.demo.signals import Floats

CLEAN: Final = "clean"
EXHAUST: Final = "exhaust"
STEP_S: Final = 30
READINGS: Final = 541
"""Four and a half hours, of which the first half hour settles."""

_CHANNELS: Final = ("co", "co2", "o2", "water", "pressure")
_FIRST_NUMBER: Final = 100
# Share of exhaust in what is drawn in: about 12 ppm of carbon monoxide.
_EXHAUST_SHARE: Final = 3.0e-4
_AIRLINE_WATER_MG_M3: Final = 58.0
_CHARGING_WATER_MG_M3: Final = 19.0


def write_shift(
    path: Path,
    start: datetime,
    *,
    number: int,
    seed: int,
    charging: bool = False,
    wrong: str = CLEAN,
) -> Path:
    """Write a shift of four and a half hours.

    Parameters
    ----------
    path : Path
        The file, in a folder that exists.
    start : datetime
        First reading, with the zone of the site.
    number : int
        Number of the shift, for noise of its own [1], not negative.
    seed : int
        Seed of all noise [1], not negative.
    charging : bool
        Whether it is air of the charging compressor, which is drier.
    wrong : str
        ``clean``, or ``exhaust`` for a van beside the intake from the second hour on, for 40 min.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    OutputError
        Where it cannot be written.
    """
    scene = Scene(seed, _FIRST_NUMBER + number, start, STEP_S, READINGS)
    begin = start + timedelta(hours=2)
    source, fraction = None, None
    if wrong == EXHAUST:
        source = signals.dry_exhaust(co_percent=4.0, co2_percent=10.0)
        fraction = scene.during(begin, begin + timedelta(minutes=40), _EXHAUST_SHARE)
    scene = scene.breathe(
        water=_water(scene, charging=charging),
        pressure=signals.line_pressure(
            scene.time_s, low_bar_g=6.62, high_bar_g=7.28, load_s=95.0, unload_s=165.0
        ),
        source=source,
        fraction=fraction,
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


def _water(scene: Scene, *, charging: bool) -> Floats:
    mean = _CHARGING_WATER_MG_M3 if charging else _AIRLINE_WATER_MG_M3
    swing = 1.0 if charging else 3.0
    return mean + swing * signals.wave(scene.day_s, 86_400.0, peak_at_s=15.0 * 3600.0)
