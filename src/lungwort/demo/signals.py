"""How the invented air, line and sensors behave.

Everything here uses only ``+ - * /``, comparisons and rounding down, in a fixed order, on the raw
64-bit stream of PCG64. Those give the same bits on every processor and system; ``sin``, ``exp``
and ready-made normal deviates need not.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from attrs import frozen

from lungwort.errors import RangeError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats: TypeAlias = NDArray[np.float64]
    Counts: TypeAlias = NDArray[np.int64]

DRY_AIR_O2: Final = 20.947
"""Oxygen in dry air [% by volume]; widely tabulated, to three decimals."""

NOISE_REACH: Final = 3.4641016151377544
"""Largest deviation that `noise` can give, in standard deviations (2 times the root of 3)."""

_ROOT_3: Final = 1.7320508075688772


@frozen
class Gas:
    """A dry gas by what is logged of it.

    Parameters
    ----------
    co_ppm, co2_ppm : float
        Carbon monoxide and carbon dioxide [ppm].
    o2_percent : float
        Oxygen [% by volume].
    """

    co_ppm: float
    co2_ppm: float
    o2_percent: float


def dry_exhaust(co_percent: float, co2_percent: float, hydrogen_to_carbon: float = 1.87) -> Gas:
    """Make the dry exhaust of a hydrocarbon that burns in air without soot or unburnt fuel.

    Parameters
    ----------
    co_percent, co2_percent : float
        Carbon monoxide and carbon dioxide in the dry exhaust [% by volume], 0 to 20.
    hydrogen_to_carbon : float
        Hydrogen atoms per carbon atom of the fuel [1]; about 1.87 for petrol.

    Returns
    -------
    Gas
        The exhaust, with the oxygen that combustion leaves.

    Raises
    ------
    RangeError
        Where air holds too little oxygen to make that much.

    Notes
    -----
    Per mole of dry exhaust, nitrogen and argon pass through, so the air that went in is
    ``(1 - x_CO - x_CO2 - x_O2) / (1 - a)`` with ``a`` the oxygen fraction of air. One mole of CO2
    takes ``1 + h/4`` moles of oxygen and one of CO takes ``1/2 + h/4``.

    Examples
    --------
    >>> round(dry_exhaust(1.0, 12.0).o2_percent, 1)
    3.5
    """
    air_o2 = DRY_AIR_O2 / 100.0
    co, co2 = co_percent / 100.0, co2_percent / 100.0
    taken = co2 * (1.0 + hydrogen_to_carbon / 4.0) + co * (0.5 + hydrogen_to_carbon / 4.0)
    per_inert = air_o2 / (1.0 - air_o2)
    left = (per_inert * (1.0 - co - co2) - taken) / (1.0 + per_inert)
    if left < 0.0:
        raise RangeError(
            f"an exhaust with {co_percent:g} % CO and {co2_percent:g} % CO2 needs more oxygen than "
            "air holds. Give less of one of them."
        )
    return Gas(co_percent * 1e4, co2_percent * 1e4, left * 100.0)


def mix(ambient: Floats, source: float, fraction: Floats) -> Floats:
    """Mix a source into ambient air, by mass balance.

    Parameters
    ----------
    ambient : numpy.ndarray
        Content of the ambient air, shape (n,) [any unit of volume fraction].
    source : float
        Content of the source [the same unit].
    fraction : numpy.ndarray
        Share of the source in what is drawn in, shape (n,) [1], 0 to 1.

    Returns
    -------
    numpy.ndarray
        Content of the mixture, shape (n,) [the same unit].
    """
    return ambient + fraction * (source - ambient)


def stream(seed: int, case: int, channel: int) -> np.random.PCG64:
    """Open the random stream of one channel of one case, independent of all others.

    Parameters
    ----------
    seed, case, channel : int
        The site's seed and the numbers of case and channel [1], not negative.

    Returns
    -------
    numpy.random.PCG64
        The bit stream. Its raw output is fixed by the algorithm, not by a NumPy version.
    """
    return np.random.PCG64(np.random.SeedSequence([seed, case, channel]))


def noise(bits: np.random.PCG64, n: int, sd: float) -> Floats:
    """Make bell-shaped noise that is bounded.

    Parameters
    ----------
    bits : numpy.random.PCG64
        Random stream.
    n : int
        How many values.
    sd : float
        Standard deviation [unit of the signal].

    Returns
    -------
    numpy.ndarray
        Sum of four uniform deviates, centred and scaled, shape (n,) [unit of the signal]. Never
        beyond `NOISE_REACH` standard deviations, so that what noise can do is known.
    """
    total = np.zeros(n)
    for _ in range(4):
        raw = np.asarray(bits.random_raw(n), dtype=np.uint64)
        total = total + (raw >> np.uint64(11)).astype(np.float64) * 2.0**-53
    return (total - 2.0) * (_ROOT_3 * sd)


def lag(signal: Floats, step_s: float, time_constant_s: float) -> Floats:
    """Follow a signal as a first-order sensor or a well-mixed receiver does.

    Parameters
    ----------
    signal : numpy.ndarray
        What it sees, shape (n,) [any unit].
    step_s : float
        Time between values [s], above 0.
    time_constant_s : float
        Time constant [s]; 63 % of a step is reached in it.

    Returns
    -------
    numpy.ndarray
        What it shows, shape (n,) [the same unit]; begins settled on the first value.

    Notes
    -----
    Backward Euler, ``y += (x - y) * dt / (tau + dt)``: stable at any step.
    """
    share = step_s / (time_constant_s + step_s)
    shown = float(signal[0])
    out = []
    for seen in signal.tolist():
        shown = shown + (seen - shown) * share
        out.append(shown)
    return np.array(out)


def wave(time_s: Floats, period_s: float, peak_at_s: float = 0.0) -> Floats:
    """Swing smoothly between -1 and 1, built of parabolas.

    Parameters
    ----------
    time_s : numpy.ndarray
        Time, shape (n,) [s].
    period_s : float
        Period [s].
    peak_at_s : float
        A time at which it stands at 1 [s].

    Returns
    -------
    numpy.ndarray
        The swing, shape (n,) [1].
    """
    turns = (time_s - peak_at_s) / period_s + 0.25
    phase = turns - np.floor(turns)
    half = 0.5
    return np.where(
        phase < half, 16.0 * phase * (half - phase), -16.0 * (phase - half) * (1.0 - phase)
    )


def ambient_co2(time_s: Floats, *, mean_ppm: float = 430.0, swing_ppm: float = 9.0) -> Floats:
    """Give the carbon dioxide of outdoor air over the day: high before dawn, low in the afternoon.

    Parameters
    ----------
    time_s : numpy.ndarray
        Time since local midnight, shape (n,) [s].
    mean_ppm, swing_ppm : float
        Mean and half of the day's swing [ppm].

    Returns
    -------
    numpy.ndarray
        Content, shape (n,) [ppm].

    Notes
    -----
    About 428 to 430 ppm is the background of 2026 extrapolated from 422.7 ppm in February 2023 and
    2.13 ppm a year (from memory); the swing is invented.
    """
    return mean_ppm + swing_ppm * wave(time_s, 86400.0, peak_at_s=5.0 * 3600.0)


def line_pressure(
    time_s: Floats, *, low_bar_g: float, high_bar_g: float, load_s: float, unload_s: float
) -> Floats:
    """Give the line pressure of a compressor that loads and unloads.

    Parameters
    ----------
    time_s : numpy.ndarray
        Time, shape (n,) [s].
    low_bar_g, high_bar_g : float
        Pressures at which it loads and unloads [bar(g)].
    load_s, unload_s : float
        How long it pumps up, and how long the line then lasts [s].

    Returns
    -------
    numpy.ndarray
        Pressure, shape (n,) [bar(g)].
    """
    cycle = load_s + unload_s
    turns = time_s / cycle
    at = (turns - np.floor(turns)) * cycle
    rise = high_bar_g - low_bar_g
    return np.where(
        at < load_s, low_bar_g + rise * at / load_s, high_bar_g - rise * (at - load_s) / unload_s
    )


def quantise(signal: Floats, decimals: int, *, floor: float | None = None) -> Counts:
    """Round as a logger's display does, to whole counts of its last digit.

    Parameters
    ----------
    signal : numpy.ndarray
        Signal, shape (n,) [any unit].
    decimals : int
        Decimals shown [1], 0 to 6.
    floor : float, optional
        Lowest value shown [the same unit].

    Returns
    -------
    numpy.ndarray
        Whole counts, shape (n,) [unit / 10**decimals].
    """
    shown = signal if floor is None else np.maximum(signal, floor)
    return np.floor(shown * float(10**decimals) + 0.5).astype(np.int64)


def as_text(counts: Counts, decimals: int, decimal_sign: str = ".") -> list[str]:
    """Write whole counts as decimal numbers, without passing through a float.

    Parameters
    ----------
    counts : numpy.ndarray
        Whole counts, shape (n,) [unit / 10**decimals].
    decimals : int
        Decimals to show [1].
    decimal_sign : str
        ``.`` or ``,``.

    Returns
    -------
    list of str
        The numbers.

    Examples
    --------
    >>> as_text(np.array([2094, 5, -12]), 2, ",")
    ['20,94', '0,05', '-0,12']
    """
    base = 10**decimals
    known: dict[int, str] = {}
    for count in sorted(set(counts.tolist())):
        whole, rest = divmod(abs(count), base)
        sign = "-" if count < 0 else ""
        known[count] = f"{sign}{whole}{decimal_sign}{rest:0{decimals}d}" if decimals else str(count)
    return [known[count] for count in counts.tolist()]
