"""One stretch of the invented site's air, as its sensors and its logger see it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import field, frozen

from lungwort.demo import layouts, signals
from lungwort.demo.model import ExpectedExcursion

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.demo.signals import Counts, Floats, Gas

ABOVE: Final = "above"
BELOW: Final = "below"
LOG_ENDED: Final = "log_ended"
RETURNED: Final = "returned"

_CHANNELS: Final = ("co", "co2", "o2", "water", "pressure")


@frozen
class Sensor:
    """How one channel is measured and shown.

    Parameters
    ----------
    noise_sd : float
        Standard deviation of its noise [unit of the channel].
    decimals : int
        Decimals that the logger shows [1].
    time_constant_s : float
        First-order time constant [s].
    """

    noise_sd: float
    decimals: int
    time_constant_s: float

    @property
    def reach(self) -> float:
        """Furthest that a shown value can lie from the noise-free one [unit of the channel]."""
        return signals.NOISE_REACH * self.noise_sd + 0.5 / float(10**self.decimals)


# Invented, but of the size that electrochemical, infra-red and capacitive sensors have.
SENSORS: Final = {
    "co": Sensor(0.08, 1, 13.0),
    "co2": Sensor(2.5, 0, 30.0),
    "o2": Sensor(0.012, 2, 15.0),
    "water": Sensor(0.35, 1, 240.0),
    "pressure": Sensor(0.008, 2, 1.0),
}


def _empty() -> dict[str, Floats]:
    return {}


@frozen
class Scene:
    """A stretch of time at one outlet, with the noise-free signals of its sensors.

    Parameters
    ----------
    seed, number : int
        The site's seed and the number of the case [1].
    start : datetime
        First reading, with its zone.
    step_s : int
        Sampling interval [s].
    n : int
        How many readings [1].
    sensed : dict of str to numpy.ndarray
        Noise-free signals by channel, each of shape (n,) [ppm, %, mg/m³, bar(g)].
    """

    seed: int
    number: int
    start: datetime
    step_s: int
    n: int
    sensed: dict[str, Floats] = field(factory=_empty)

    @property
    def time_s(self) -> Floats:
        """Time since the first reading, shape (n,) [s]."""
        return np.arange(self.n, dtype=np.float64) * float(self.step_s)

    @property
    def day_s(self) -> Floats:
        """Time since local midnight before the first reading, shape (n,) [s]."""
        begin = self.start.hour * 3600 + self.start.minute * 60 + self.start.second
        return self.time_s + float(begin)

    @property
    def epoch_s(self) -> list[int]:
        """Times as seconds since 1970 [s]."""
        first = int(self.start.timestamp())
        return list(range(first, first + self.n * self.step_s, self.step_s))

    def times(self, zone: str) -> list[datetime]:
        """Give the local times in a zone."""
        return layouts.local_times(self.epoch_s, zone)

    def during(self, begin: datetime, end: datetime, level: float) -> Floats:
        """Give a signal that is at a level from ``begin`` until before ``end``, else at 0.

        Parameters
        ----------
        begin, end : datetime
            When, with a zone.
        level : float
            The level [1].

        Returns
        -------
        numpy.ndarray
            The signal, shape (n,) [1].
        """
        first = (begin - self.start).total_seconds()
        last = (end - self.start).total_seconds()
        return np.where((self.time_s >= first) & (self.time_s < last), level, 0.0)

    def breathe(
        self,
        *,
        water: Floats,
        pressure: Floats,
        source: Gas | None = None,
        fraction: Floats | None = None,
        receiver_s: float = 90.0,
    ) -> Scene:
        """Draw outdoor air in, with or without something mixed into it, and sense it.

        Parameters
        ----------
        water : numpy.ndarray
            Water after the drier, shape (n,) [mg/m³].
        pressure : numpy.ndarray
            Line pressure, shape (n,) [bar(g)].
        source : Gas, optional
            What is mixed in at the intake.
        fraction : numpy.ndarray, optional
            Its share of what is drawn in, shape (n,) [1].
        receiver_s : float
            Time constant of the air receiver [s]; 0 where the line comes straight off the
            compressor.

        Returns
        -------
        Scene
            The same scene with all channels.
        """
        drawn = {
            "co": 0.2 + 0.05 * signals.wave(self.day_s, 86400.0, peak_at_s=8.0 * 3600.0),
            "co2": signals.ambient_co2(self.day_s),
            "o2": np.full(self.n, signals.DRY_AIR_O2),
        }
        if source is not None and fraction is not None:
            drawn["co"] = signals.mix(drawn["co"], source.co_ppm, fraction)
            drawn["co2"] = signals.mix(drawn["co2"], source.co2_ppm, fraction)
            drawn["o2"] = signals.mix(drawn["o2"], source.o2_percent, fraction)
        step = float(self.step_s)
        if receiver_s > 0.0:
            drawn = {name: signals.lag(gas, step, receiver_s) for name, gas in drawn.items()}
        seen = {**drawn, "water": water, "pressure": pressure}
        sensed = {
            name: signals.lag(seen[name], step, SENSORS[name].time_constant_s) for name in _CHANNELS
        }
        return Scene(self.seed, self.number, self.start, self.step_s, self.n, sensed)

    def changed(self, **channels: Floats) -> Scene:
        """Give the same scene with some noise-free signals put in place of others."""
        return Scene(
            self.seed, self.number, self.start, self.step_s, self.n, {**self.sensed, **channels}
        )

    def counts(self) -> dict[str, Counts]:
        """Add each sensor's noise and round as its display does.

        Returns
        -------
        dict of str to numpy.ndarray
            Whole counts of the last shown digit by channel, each of shape (n,).
        """
        shown = {}
        for index, name in enumerate(_CHANNELS):
            sensor = SENSORS[name]
            bits = signals.stream(self.seed, self.number, index)
            noisy = self.sensed[name] + signals.noise(bits, self.n, sensor.noise_sd)
            shown[name] = signals.quantise(noisy, sensor.decimals, floor=0.0)
        return shown

    def texts(
        self, counts: dict[str, Counts] | None = None, decimal_sign: str = "."
    ) -> dict[str, list[str]]:
        """Give the readings as the logger writes them, by channel."""
        shown = self.counts() if counts is None else counts
        return {
            name: signals.as_text(shown[name], SENSORS[name].decimals, decimal_sign)
            for name in _CHANNELS
        }

    def excursion(self, analyte: str, direction: str, bound: float) -> ExpectedExcursion:
        """Tell the seeded stretch outside a bound from the noise-free signal.

        Parameters
        ----------
        analyte : str
            Channel.
        direction : str
            ``above`` or ``below``.
        bound : float
            The bound [unit of the channel].

        Returns
        -------
        ExpectedExcursion
            The stretch; its tolerances follow from the reach of the noise.

        Notes
        -----
        Made for a signal that goes outside once; `certain` and `possible` are the readings that
        are outside whatever, or can be outside by, the noise.
        """
        sensor = SENSORS[analyte]
        sign = 1.0 if direction == ABOVE else -1.0
        beyond = (self.sensed[analyte] - bound) * sign
        nominal = np.flatnonzero(beyond > 0.0)
        certain = np.flatnonzero(beyond - sensor.reach > 0.0)
        possible = np.flatnonzero(beyond + sensor.reach > 0.0)
        first, last = int(nominal[0]), int(nominal[-1])
        early, late = first - int(possible[0]), int(certain[0]) - first
        short, long = last - int(certain[-1]), int(possible[-1]) - last
        ends_with_log = last == self.n - 1
        epoch, zone = self.epoch_s, "UTC"
        start, end = layouts.local_times([epoch[first], epoch[last] + self.step_s], zone)
        return ExpectedExcursion(
            analyte,
            direction,
            start,
            end,
            tolerance_s=float(max(early, late, short, long) * self.step_s),
            peak=float(self.sensed[analyte][nominal][np.argmax(beyond[nominal])]),
            peak_tolerance=sensor.reach,
            ended_by=LOG_ENDED if ends_with_log else RETURNED,
            single=max(early + late, short + long) <= 2,  # noqa: PLR2004 - joined over three intervals
            samples=len(nominal) if len(certain) == len(possible) else None,
        )
