"""What the invented site is made of, and what is known of it in advance."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path


@frozen
class ExpectedExcursion:
    """A stretch outside a limit that was seeded on purpose.

    Start, end and peak follow from the noise-free signal, never from judging the file.

    Parameters
    ----------
    analyte, direction : str
        What goes outside, and whether ``above`` or ``below``.
    start, end : datetime
        When, UTC.
    tolerance_s : float
        How far noise may move either end [s].
    peak : float
        Furthest value [unit of the analyte in the file].
    peak_tolerance : float
        How far noise and rounding may move it [same unit].
    ended_by : str
        ``returned`` or ``log_ended``.
    single : bool
        Whether it must be one excursion; false where a slow crossing may flicker in the noise.
    samples : int, optional
        How many readings are outside, where that is certain.
    """

    analyte: str
    direction: str
    start: datetime
    end: datetime
    tolerance_s: float
    peak: float
    peak_tolerance: float
    ended_by: str
    single: bool = True
    samples: int | None = None


@frozen
class ExpectedStretch:
    """A stretch that must not enter the verdict and must be told.

    Parameters
    ----------
    cause : str
        ``settling`` or ``frozen``.
    start, end : datetime
        When, UTC.
    tolerance_s : float
        How far the ends may lie off [s].
    outside : tuple of str
        Analytes that read outside their limits in it.
    """

    cause: str
    start: datetime
    end: datetime
    tolerance_s: float
    outside: tuple[str, ...] = ()


@frozen
class Expected:
    """What judging a case must find, known from the way it was made.

    Parameters
    ----------
    overall : str
        ``conforms``, ``does_not_conform`` or ``not_proven``.
    excursions : tuple of ExpectedExcursion
        All stretches outside; there must be no others.
    stretches : tuple of ExpectedStretch
        What must be left out and told.
    not_conforming : tuple of str
        Analytes with a required limit that is not kept.
    advice_not_met : tuple of str
        Analytes that are outside advice only, which does not decide.
    undecided : tuple of str
        Analytes of which nothing can be said.
    readings : int
        Readings in time, after what two files share was taken once.
    """

    overall: str
    excursions: tuple[ExpectedExcursion, ...] = ()
    stretches: tuple[ExpectedStretch, ...] = ()
    not_conforming: tuple[str, ...] = ()
    advice_not_met: tuple[str, ...] = ()
    undecided: tuple[str, ...] = ()
    readings: int = 0


@frozen
class Case:
    """One test of the invented site: files, how to judge them, and what must come out.

    Parameters
    ----------
    key : str
        Short name.
    title : str
        What it shows, in a line.
    outlet : str
        Where the air was taken.
    files : tuple of Path
        The logger's files.
    limit_set : str
        Id of the limit set.
    story : str
        What was seeded, and why.
    expected : Expected
        What must come out.
    zone : str
        Time zone of local times, in which times are shown.
    date_order : str
        ``dmy``, ``mdy`` or ``ymd`` where the file leaves it open, else empty.
    units : tuple of (str, str)
        Units the file leaves open, by analyte.
    supply_pressure : str
        Highest supply pressure, with its unit.
    lowest_temperature : str
        Lowest temperature of line or cylinder, with its unit; empty where not known.
    spots : tuple of str
        Hand tests, as typed.
    recipe : Path, optional
        Recipe for the file; None where none is needed.
    """

    key: str
    title: str
    outlet: str
    files: tuple[Path, ...]
    limit_set: str
    story: str
    expected: Expected
    zone: str = ""
    date_order: str = ""
    units: tuple[tuple[str, str], ...] = ()
    supply_pressure: str = ""
    lowest_temperature: str = ""
    spots: tuple[str, ...] = ()
    recipe: Path | None = None

    @property
    def options(self) -> tuple[str, ...]:
        """Give the options of ``lungwort judge`` that go with the case, one word an item."""
        words = ["--limits", self.limit_set]
        for name, value in (
            ("--zone", self.zone),
            ("--date-order", self.date_order),
            ("--supply-pressure", self.supply_pressure),
            ("--lowest-temperature", self.lowest_temperature),
            ("--recipe", str(self.recipe) if self.recipe else ""),
        ):
            if value:
                words += [name, value]
        for analyte, unit in self.units:
            words += ["--unit", f"{analyte}={unit}"]
        for spot in self.spots:
            words += ["--spot", spot]
        return tuple(words)

    @property
    def command(self) -> str:
        """Give the command line that judges the case, from within the site's folder."""
        quoted = [f'"{word}"' if set(word) & set(" <>()") else word for word in self.options]
        return " ".join(["lungwort", "judge", *(file.name for file in self.files), *quoted])


@frozen
class Site:
    """An invented site with its cases.

    Parameters
    ----------
    name, place : str
        Invented name and place.
    folder : Path
        Where it was written.
    seed : int
        Seed of all noise.
    readme, notes : Path
        Description, and the notes of the hand tests.
    cases : tuple of Case
        The cases, in the order in which to read them.
    """

    name: str
    place: str
    folder: Path
    seed: int
    readme: Path
    notes: Path
    cases: tuple[Case, ...]

    def case(self, key: str) -> Case:
        """Find a case by its key.

        Raises
        ------
        KeyError
            Where there is no such case.
        """
        for case in self.cases:
            if case.key == key:
                return case
        raise KeyError(key)
