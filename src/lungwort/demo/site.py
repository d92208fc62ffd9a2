"""Write the invented site."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.demo import layouts
from lungwort.demo.model import Site
from lungwort.errors import OutputError

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.demo.model import Case

SEED: Final = 20_260_317
"""Seed of all noise: the date of the clean day, written as one number."""

NAME: Final = "Merrowgate Slipway"
PLACE: Final = "Port Ondrey"


def write_site(folder: Path, *, seed: int = SEED) -> Site:
    """Write the invented site's logger files and notes.

    The same seed gives the same bytes on every system. Files of the same names are written over;
    others in the folder are left alone.

    Parameters
    ----------
    folder : Path
        Where to write; made where it does not exist.
    seed : int
        Seed of all noise [1], not negative. Expected findings hold for every seed.

    Returns
    -------
    Site
        The site, with what judging each case must find.

    Raises
    ------
    OutputError
        Where the folder or a file in it cannot be written.
    """
    from lungwort.demo.cases import WRITERS  # noqa: PLC0415 - NumPy only when it is needed

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"{folder}: the folder could not be made ({error.strerror}). Choose another one."
        ) from error
    cases = tuple(write(folder, seed) for write in WRITERS)
    readme, notes = folder / "README.txt", folder / "hand-tests.txt"
    layouts.write_text(readme, _readme(cases, seed))
    layouts.write_text(notes, _hand_tests(cases))
    return Site(NAME, PLACE, folder, seed, readme, notes, cases)


def _readme(cases: tuple[Case, ...], seed: int) -> str:
    lines = [
        f"{NAME}, {PLACE} ({layouts.INVENTED})",
        "",
        "The yard, its people and every reading here are invented. A program made them",
        f"from the seed {seed}, with faults put in on purpose, to show what lungwort finds.",
        "",
        "One compressor with a receiver and a drier feeds the blasting hall and the spray",
        "shop at up to 7.5 bar(g). A second one charges cylinders to 300 bar(g). Wenna Harkle",
        "answers for the air; Idris Pellow does the hand tests (see hand-tests.txt).",
        "",
        "Each case below can be judged from within this folder with the line that begins",
        "with 'lungwort'.",
    ]
    for number, case in enumerate(cases, start=1):
        lines += ["", f"{number}. {case.key}: {case.title}", f"   Outlet: {case.outlet}"]
        lines += [f"   {line}" for line in _wrap(case.story)]
        lines += [f"   Must come out: {case.expected.overall.replace('_', ' ')}", "", case.command]
    return "\n".join([*lines, ""])


def _hand_tests(cases: tuple[Case, ...]) -> str:
    lines = [
        f"Hand tests by Idris Pellow ({layouts.INVENTED})",
        "Oil: banded indicator, purged for 1 minute, then 5 minutes of air; nothing seen.",
        "Odour: by nose, at the outlet; none. Liquid water: looked for when bleeding; none.",
    ]
    for case in cases:
        lines += ["", f"{case.files[0].name}, {case.outlet}"]
        lines += [f"  {spot}" for spot in case.spots]
    return "\n".join([*lines, ""])


def _wrap(text: str, width: int = 84) -> list[str]:
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > width:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return lines
