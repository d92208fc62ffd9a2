"""The words of a calculation of a bank of cylinders."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.paper.calculation import Stated
from lungwort.plant.bank import FULL_WITHIN_BAR, MOST_ROUNDS
from lungwort.plant.filling import STEEL_J_KG_K
from lungwort.tomlfile import FROM_MEMORY, NO_SOURCE, OWN

if TYPE_CHECKING:
    from lungwort.plant.bank import Fill

CAUTIONS: Final = (
    (
        "A calculation from the figures entered; it does not replace the marking of the cylinder, the "
        "instructions of its maker and of the filling station, local codes or a competent person."
    ),
    (
        "No cylinder is filled beyond its working pressure, hot or cold, nor one whose test date has "
        "passed. Pressures here say nothing of what a cylinder may bear."
    ),
    (
        "Cylinders, liners, valves and hoses bear only so much heat, often 65 °C (common practice, no "
        "source): their instructions say how much. Fill so slowly that they stay below it."
    ),
    "Whether the air in the bank is fit to breathe is not looked at here.",
)
SOURCES: Final = (
    (
        "Dry air as a real gas: E. W. Lemmon, R. T. Jacobsen, S. G. Penoncello, D. G. Friend, J. Phys. "
        "Chem. Ref. Data 29 (2000) 331, through CoolProp (computed)."
    ),
    (
        "First law for an open rigid vessel, and constant entropy of what remains in one: M. J. Moran, "
        "H. N. Shapiro, Fundamentals of Engineering Thermodynamics (from memory)."
    ),
)


def assumptions(fill: Fill) -> tuple[Stated, ...]:
    """Tell what was taken for granted.

    Parameters
    ----------
    fill : Fill
        What is filled.

    Returns
    -------
    tuple of Stated
        Each with its ground.
    """
    said = [
        Stated(
            "Cylinders and bank have the temperature of the room before each filling, and after it.",
            NO_SOURCE,
            "a bank that is still cold has less pressure: fewer fills",
        ),
        Stated(
            f"A cylinder that has cooled to within {FULL_WITHIN_BAR:g} bar counts as full; it is joined "
            f"to the bank {MOST_ROUNDS} times at most.",
            OWN,
            "fewer times joined: fewer full ones",
        ),
        Stated("The air is dry.", NO_SOURCE, "moist air: no difference that can be seen"),
    ]
    if fill.wall_kg is not None:
        own = fill.wall_j_kg_k != STEEL_J_KG_K
        said.append(
            Stated(
                f"The wall takes {fill.wall_j_kg_k:g} J/(kg K), and has come to one temperature with "
                "its air when the cylinder is shut.",
                "entered" if own else f"steel; {FROM_MEMORY}",
                "a wall that is slower: nearer to the end without loss of heat",
            )
        )
    return tuple(said)


def uncertainty(ends: tuple[int, int]) -> str:
    """Tell how far the result can be trusted.

    Parameters
    ----------
    ends : tuple of (int, int)
        Fewest and most full fills [1].

    Returns
    -------
    str
        One or two sentences.
    """
    return (
        f"Filled with pauses to cool, the number lies between the two ends, {ends[0]} and {ends[1]}. The equation "
        "for air is good to about 0.1 % of the density (Lemmon et al. 2000, from memory); gauges are "
        "far worse: one that reads 2 % too high on the bank costs fills, so read them with care."
    )


def left_out() -> tuple[str, ...]:
    """Tell what was not taken into account.

    Returns
    -------
    tuple of str
        Each with the reason.
    """
    return (
        "The compressor that fills the bank up again meanwhile: it would give more fills.",
        (
            "Air lost from filling hoses each time they are vented: it makes fewer fills, the more so with "
            "small cylinders."
        ),
        "How long pressures take to become equal: a filling hose that is narrow only takes longer.",
    )
