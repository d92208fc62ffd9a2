"""Invented logs of air that went wrong in a way that is known, to try finders of causes on.

All of it is made up: plants, gases, hours. Nothing here is used by the finder of causes, and
nothing of the finder is used here. The same seed gives the same log on every processor.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import field, frozen

from lungwort.demo import signals
from lungwort.demo.faults_scene import DAY_S, HOUR_S, Dice, FaultScene
from lungwort.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from lungwort.demo.signals import Floats

CLEAN: Final = "clean"
CLEAR: Final = "clear"
MIDDLE: Final = "middle"
FAINT: Final = "faint"
SIZES: Final = (CLEAR, MIDDLE, FAINT)
"""How much of it there is."""

_STRENGTH: Final = {CLEAR: (1.0, 2.2), MIDDLE: (0.55, 0.9), FAINT: (0.02, 0.12)}
_HEADINGS: Final = {
    "co": "CO [ppm]",
    "co2": "CO2 [ppm]",
    "o2": "O2 [%]",
    "water": "Water [mg/m3]",
    "pressure": "Line pressure [bar(g)]",
    "temperature": "Temperature [°C]",
    "voc": "VOC [ppm]",
    "nox": "NOx [ppm]",
}
_MEASURED: Final = {
    "co": 0.97,
    "co2": 0.93,
    "o2": 0.9,
    "water": 0.85,
    "pressure": 0.7,
    "temperature": 0.45,
    "voc": 0.25,
    "nox": 0.12,
}
_LOST_BEYOND: Final = 2.2


@frozen
class Fault:
    """An invented log with what was wrong in it.

    Parameters
    ----------
    cause : str
        What was wrong; ``clean`` for nothing.
    size : str
        One of `SIZES`.
    start : datetime
        First reading, UTC.
    time_s : numpy.ndarray
        Times from the first reading, shape (n,) [s].
    values : dict of str to numpy.ndarray
        Readings by analyte, NaN for none, shape (n,): oxygen [%], water [mg/m³], pressure
        [bar(g)], temperature [°C], all others [ppm].
    intake : dict of str to numpy.ndarray
        Readings at the intake at the same times; empty for none.
    """

    cause: str
    size: str
    start: datetime
    time_s: Floats = field(repr=False)
    values: dict[str, Floats] = field(repr=False)
    intake: dict[str, Floats] = field(repr=False)

    def csv(self, *, intake: bool = False) -> str:
        """Write it as a logger does.

        Parameters
        ----------
        intake : bool
            Whether to write what was read at the intake instead of at the outlet.

        Returns
        -------
        str
            The file, marked as invented.
        """
        columns = self.intake if intake else self.values
        head = [
            "# Invented readings, no real plant.",
            "Time," + ",".join(_HEADINGS[one] for one in columns),
        ]
        rows = []
        for at, second in enumerate(self.time_s.tolist()):
            moment = self.start + timedelta(seconds=round(second))
            cells = [
                "" if np.isnan(one[at]) else f"{float(one[at]):.3f}" for one in columns.values()
            ]
            rows.append(f"{moment:%Y-%m-%dT%H:%M:%S}Z," + ",".join(cells))
        return "\n".join([*head, *rows]) + "\n"


def fault_log(cause: str, seed: int, size: str = CLEAR) -> Fault:
    """Make an invented log in which something known went wrong.

    Parameters
    ----------
    cause : str
        One of `CAUSES`, or ``clean``.
    seed : int
        Seed of all chance [1], not negative.
    size : str
        ``clear``, ``middle``, or ``faint``: so little that nobody could tell.

    Returns
    -------
    Fault
        The log.

    Raises
    ------
    InputError
        Where the cause or the size is not known, or the seed is negative.
    """
    if cause not in _MAKERS or size not in _STRENGTH or seed < 0:
        raise InputError(
            f"no invented log for cause {cause!r}, size {size!r}, seed {seed}. Causes: "
            f"{', '.join(_MAKERS)}; sizes: {', '.join(SIZES)}; a seed is not negative."
        )
    number = list(_MAKERS).index(cause)
    dice = Dice(signals.stream(seed, 7000 + number, SIZES.index(size)))
    scene = _background(dice, dice.uniform(*_STRENGTH[size]))
    _MAKERS[cause](scene)
    return Fault(cause, size, scene.start, *_written(scene))


def _background(dice: Dice, strength: float) -> FaultScene:
    """Make clean air as cells show it: a plant, a day and a logger by chance."""
    step_s = dice.one_of((10.0, 15.0, 30.0, 60.0, 120.0))
    hours = dice.uniform(4.0, 30.0)
    n = int(min(max(hours * HOUR_S / step_s, 150), 4000))
    time_s = np.arange(n, dtype=np.float64) * step_s
    start = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(
        days=dice.whole(0, 360), hours=dice.whole(0, 23), minutes=dice.whole(0, 59)
    )
    scene = FaultScene(dice, start, time_s, step_s, strength, {})
    day, whole = scene.day_s, float(time_s[-1])
    scene.values = {
        "co": dice.uniform(-0.1, 0.4) + dice.noise(n, dice.uniform(0.03, 0.25)),
        "co2": signals.ambient_co2(
            day, mean_ppm=dice.uniform(418.0, 470.0), swing_ppm=dice.uniform(3.0, 14.0)
        )
        + dice.noise(n, dice.uniform(1.0, 9.0)),
        "o2": dice.uniform(20.85, 21.0)
        + dice.uniform(-0.03, 0.03) * time_s / whole
        + dice.noise(n, dice.uniform(0.004, 0.025)),
        "water": dice.uniform(4.0, 60.0)
        * (1.0 + dice.uniform(0.02, 0.09) * signals.wave(day, DAY_S, 15.0 * HOUR_S))
        * (1.0 + dice.noise(n, dice.uniform(0.01, 0.05))),
        "pressure": signals.line_pressure(
            time_s,
            low_bar_g=dice.uniform(6.2, 6.9),
            high_bar_g=dice.uniform(7.1, 7.8),
            load_s=dice.uniform(60.0, 200.0),
            unload_s=dice.uniform(100.0, 500.0),
        )
        + dice.noise(n, 0.02),
        "temperature": dice.uniform(14.0, 26.0)
        + dice.uniform(0.5, 4.0) * signals.wave(day, DAY_S, 15.0 * HOUR_S)
        + dice.noise(n, 0.2),
        "voc": dice.uniform(0.05, 0.2) + dice.noise(n, 0.04),
        "nox": dice.uniform(0.0, 0.1) + dice.noise(n, 0.03),
    }
    return scene


def _written(scene: FaultScene) -> tuple[Floats, dict[str, Floats], dict[str, Floats]]:
    """Leave out channels and stretches, shift times, and round as a display does."""
    dice, n = scene.dice, scene.n
    places = {
        "co": dice.one_of((0, 1, 1, 2)),
        "co2": dice.one_of((-1, 0, 0)),
        "o2": dice.one_of((1, 2, 2)),
        "water": dice.one_of((0, 1, 1)),
    }
    kept = {}
    for name, values in scene.values.items():
        share = scene.likely.get(name, _MEASURED[name])
        if name not in scene.needed and not dice.luck(share):
            continue
        step = 10.0 ** -places.get(name, 2)
        low = -5.0 if name in {"co", "temperature", "pressure"} else 0.0
        kept[name] = np.maximum(np.floor(values / step + 0.5) * step, low)
    there = np.ones(n, dtype=bool)
    for _ in range(dice.whole(0, 3)):
        begin, end = scene.window(300.0, 2400.0)
        there &= ~((scene.time_s >= begin) & (scene.time_s < end)) | dice.luck(0.3)
    time_s = scene.time_s
    if dice.luck(0.3):
        time_s = time_s + np.abs(dice.noise(n, 0.08 * scene.step_s))
    for name, values in kept.items():
        if dice.luck(0.2):
            lost = dice.noise(n, 1.0) > _LOST_BEYOND
            kept[name] = np.where(lost, np.nan, values)
    return (
        time_s[there],
        {name: values[there] for name, values in kept.items()},
        {
            name: np.floor(values[there] * 10.0 + 0.5) / 10.0
            for name, values in scene.intake.items()
        },
    )


def _fumes(scene: FaultScene) -> tuple[Floats, signals.Gas]:
    """Make episodes of an engine's exhaust at the intake: its share, and what it holds."""
    dice = scene.dice
    if dice.luck(0.5):
        gas = signals.dry_exhaust(dice.uniform(0.03, 0.15), dice.uniform(2.0, 5.0), 1.85)
    else:
        gas = signals.dry_exhaust(dice.uniform(0.4, 2.5), dice.uniform(9.0, 12.0))
    target = min(dice.uniform(5.0, 14.0), 3000.0 * gas.co_ppm / gas.co2_ppm)
    shape = np.zeros(scene.n)
    for _ in range(dice.whole(1, 4)):
        begin, end = scene.window(600.0, 5400.0, by_day=0.85)
        shape = np.maximum(shape, scene.during(begin, end) * dice.uniform(0.6, 1.0))
    shape = scene.lagged(shape * scene.gusts(0.5), 60.0, 500.0)
    return shape * scene.strength * target / gas.co_ppm, gas


def _exhaust(scene: FaultScene) -> None:
    share, gas = _fumes(scene)
    values = scene.values
    values["co"] = signals.mix(values["co"], gas.co_ppm, share)
    values["co2"] = signals.mix(values["co2"], gas.co2_ppm, share)
    values["o2"] = signals.mix(values["o2"], gas.o2_percent, share)
    values["nox"] = values["nox"] + share * scene.dice.uniform(100.0, 500.0)
    scene.needed |= {"co2"}
    if scene.dice.luck(0.3):
        scene.intake = {"co": np.maximum(share * gas.co_ppm + scene.dice.noise(scene.n, 0.3), 0.0)}


def _breath(scene: FaultScene) -> None:
    dice, shape = scene.dice, np.zeros(scene.n)
    for _ in range(dice.whole(1, 2)):
        begin, end = scene.window(1.2 * HOUR_S, 7.0 * HOUR_S, by_day=0.9)
        shape = np.maximum(shape, scene.during(begin, end))
    rise = scene.lagged(shape * scene.gusts(0.25), 600.0, 2400.0)
    rise = rise * dice.uniform(220.0, 1100.0) * scene.strength
    scene.values["co2"] = scene.values["co2"] + rise
    scene.values["o2"] = scene.values["o2"] - rise / dice.uniform(0.75, 0.95) / 1e4
    scene.needed |= {"co2"}


def _oil_breakdown(scene: FaultScene) -> None:
    dice, on = scene.dice, np.zeros(scene.n)
    for _ in range(dice.whole(1, 3)):
        begin, end = scene.window(1.5 * HOUR_S, 6.0 * HOUR_S)
        on = np.maximum(on, scene.during(begin, end))
    heat = scene.lagged(on, 1200.0, 3600.0)
    heat = heat / max(float(heat.max()), 1e-9)
    hot = np.maximum(heat - 0.35, 0.0) ** 2 / 0.65**2
    scene.values["co"] = scene.values["co"] + hot * dice.uniform(5.0, 16.0) * scene.strength
    scene.values["voc"] = scene.values["voc"] + hot * dice.uniform(2.0, 8.0) * scene.strength
    scene.values["temperature"] = scene.values["temperature"] + heat * dice.uniform(40.0, 90.0)
    scene.likely |= {"temperature": 0.85, "voc": 0.4}
    scene.needed |= {"co2"}
    if dice.luck(0.3):
        scene.intake = {"co": np.maximum(dice.noise(scene.n, 0.2) + 0.2, 0.0)}


def _catalyst(scene: FaultScene) -> None:
    dice, values = scene.dice, scene.values
    share, gas = _fumes(scene)
    outside = share * gas.co_ppm * dice.uniform(1.2, 2.0)
    passed = signals.lag(outside * dice.uniform(0.5, 0.9), scene.step_s, dice.uniform(60.0, 300.0))
    values["co"] = values["co"] + passed
    values["co2"] = signals.mix(values["co2"], gas.co2_ppm, share * dice.uniform(0.2, 1.0))
    begin = dice.uniform(0.1, 0.4) * float(scene.time_s[-1])
    wet = np.clip((scene.time_s - begin) / dice.uniform(600.0, 4.0 * HOUR_S), 0.0, 1.0)
    factor = 1.0 + min(scene.strength, 1.5) * dice.uniform(3.0, 12.0) * wet
    values["water"] = values["water"] * factor
    scene.needed |= {"water"}
    if dice.luck(0.85):
        scene.intake = {"co": np.maximum(outside + dice.noise(scene.n, 0.3), 0.0)}


def _drier_saturating(scene: FaultScene) -> None:
    whole = float(scene.time_s[-1])
    begin = scene.dice.uniform(0.0, 0.45) * whole
    way = np.clip((scene.time_s - begin) / (whole - begin), 0.0, 1.0)
    top = 1.0 + scene.strength * scene.dice.uniform(4.0, 25.0)
    steps = way * way * (3.0 - 2.0 * way) if scene.dice.luck(0.5) else way
    scene.values["water"] = scene.values["water"] * (1.0 + (top - 1.0) * steps)
    scene.needed |= {"water"}


def _tower_stuck(scene: FaultScene) -> None:
    dice, whole = scene.dice, float(scene.time_s[-1])
    period = min(max(dice.uniform(360.0, 2400.0), 8.0 * scene.step_s), whole / 12.0)
    begin = dice.one_of((0.0, dice.uniform(0.05, 0.4) * whole))
    turns = scene.time_s / period
    wet = ((turns - np.floor(turns)) < dice.uniform(0.4, 0.6)) & (scene.time_s >= begin)
    wave = scene.lagged(wet.astype(np.float64), 0.03 * period, 0.15 * period)
    scene.values["water"] = scene.values["water"] * (
        1.0 + scene.strength * dice.uniform(1.5, 10.0) * wave * scene.gusts(0.2)
    )
    if dice.luck(0.3):
        scene.values["co2"] = scene.values["co2"] + scene.strength * 60.0 * wave
    scene.needed |= {"water"}


def _stops(scene: FaultScene) -> list[float]:
    """Let the machine stand still a few times; give when it starts again."""
    dice, starts = scene.dice, []
    whole = float(scene.time_s[-1])
    count = dice.whole(2, 6)
    for at in range(count):
        begin = (at + dice.uniform(0.15, 0.55)) * whole / count
        end = begin + min(dice.uniform(900.0, 5400.0), 0.4 * whole / count)
        still = scene.during(begin, end) > 0.0
        scene.values["pressure"] = np.where(still, dice.uniform(0.0, 0.5), scene.values["pressure"])
        starts.append(end)
    return starts


def _co2_release(scene: FaultScene) -> None:
    dice, burst = scene.dice, np.zeros(scene.n)
    for start in _stops(scene):
        spike = scene.during(start, start + dice.uniform(60.0, 300.0) + scene.step_s)
        height = dice.uniform(500.0, 1800.0)
        burst = burst + signals.lag(spike * height, scene.step_s, dice.uniform(60.0, 240.0))
    scene.values["co2"] = scene.values["co2"] + burst * scene.strength
    scene.values["o2"] = scene.values["o2"] * (1.0 - burst * scene.strength / 1e6)
    scene.needed |= {"co2"}
    scene.likely |= {"pressure": 0.9}


def _oxygen_shift(scene: FaultScene) -> None:
    dice = scene.dice
    size = dice.uniform(0.8, 2.2) * scene.strength
    shape = np.ones(scene.n)
    if dice.luck(0.75):
        begin, end = scene.window(0.7 * HOUR_S, 6.0 * HOUR_S)
        shape = scene.during(begin, float("inf") if dice.luck(0.4) else end)
    shape = scene.lagged(shape, 60.0, 900.0)
    off = size * shape * (-1.0 if dice.luck(0.65) else 1.0)
    scene.values["o2"] = scene.values["o2"] + off
    if dice.luck(0.5):
        scene.values["co2"] = scene.values["co2"] * (1.0 - off / 100.0)
    scene.needed |= {"o2"}


def _cell_drift(scene: FaultScene) -> None:
    dice = scene.dice
    name, most = (("co", 7.0), ("co2", 260.0), ("o2", 0.75))[dice.whole(0, 2)]
    way = scene.time_s / float(scene.time_s[-1])
    if dice.luck(0.4):
        way = way * (2.0 - way)
    sign = -1.0 if dice.luck(0.4) else 1.0
    sign = 1.0 if name == "co" and dice.luck(0.6) else sign
    amount = min(most * scene.strength, 340.0) if name == "co2" else most * scene.strength
    scene.values[name] = scene.values[name] + sign * amount * dice.uniform(0.7, 1.2) * way
    scene.needed |= {name, "co2", "o2"}


def _sample_leak(scene: FaultScene) -> None:
    dice, values = scene.dice, scene.values
    begin, end = scene.window(1800.0, 6.0 * HOUR_S)
    shape = scene.during(begin, float("inf") if dice.luck(0.6) else end)
    share = scene.lagged(shape, 10.0, 120.0) * min(scene.strength * dice.uniform(0.5, 1.0), 1.0)
    values["water"] = signals.mix(values["water"], dice.uniform(6500.0, 14000.0), share)
    values["co2"] = signals.mix(values["co2"], dice.uniform(440.0, 800.0), share)
    values["o2"] = signals.mix(values["o2"], 20.85, share)
    scene.needed |= {"water"}


def _interference(scene: FaultScene) -> None:
    dice, shape = scene.dice, np.zeros(scene.n)
    for _ in range(dice.whole(2, 7)):
        begin, end = scene.window(max(120.0, 3.0 * scene.step_s), max(1200.0, 6.0 * scene.step_s))
        shape = np.maximum(shape, scene.during(begin, end) * dice.uniform(0.5, 1.0))
    seen = scene.lagged(shape, 20.0, 150.0)
    late = signals.lag(seen, scene.step_s, 600.0)
    co = seen * dice.uniform(5.0, 16.0) * scene.strength
    if dice.luck(0.35):
        co = co - late * 3.0 * scene.strength
    scene.values["co"] = scene.values["co"] + co
    scene.values["voc"] = scene.values["voc"] + seen * dice.uniform(5.0, 50.0) * scene.strength
    scene.needed |= {"co2"}
    scene.likely |= {"voc": 0.65}


def _liquid_water(scene: FaultScene) -> None:
    """Fill the line with water: the air in it is saturated, and slugs go through the cell."""
    dice = scene.dice
    celsius = scene.values["temperature"]
    # Saturation of water over a small range by a parabola through 1228, 2339 and 4247 Pa at 10, 20
    # and 30 °C (steam tables), so that no exponential is needed.
    x = (celsius - 20.0) / 10.0
    vapour_pa = 2339.0 + 1509.5 * x + 398.5 * x * x
    full = vapour_pa / ((scene.values["pressure"] + 1.013) * 1e5) * 748_000.0
    begin, end = scene.window(0.7 * HOUR_S, 6.0 * HOUR_S)
    shape = scene.during(begin, float("inf") if dice.luck(0.5) else end)
    shape = scene.lagged(shape, 30.0, 400.0) * min(scene.strength, 1.0)
    slugs = np.maximum(dice.noise(scene.n, 0.14), -0.12)
    scene.values["water"] = signals.mix(scene.values["water"], 1.0, shape) + shape * full * (
        1.0 + slugs
    )
    scene.needed |= {"water"}
    scene.likely |= {"pressure": 0.9, "temperature": 0.8}


def _clean(scene: FaultScene) -> None:
    scene.needed |= {"co2", "o2"}


_MAKERS: Final[dict[str, Callable[[FaultScene], None]]] = {
    "exhaust": _exhaust,
    "breath": _breath,
    "oil_breakdown": _oil_breakdown,
    "catalyst": _catalyst,
    "drier_saturating": _drier_saturating,
    "tower_stuck": _tower_stuck,
    "co2_release": _co2_release,
    "oxygen_shift": _oxygen_shift,
    "cell_drift": _cell_drift,
    "sample_leak": _sample_leak,
    "interference": _interference,
    "liquid_water": _liquid_water,
    CLEAN: _clean,
}
CAUSES: Final = tuple(one for one in _MAKERS if one != CLEAN)
"""Causes of which logs can be made."""
