"""What can go wrong in lungwort, as one small tree.

::

    LungwortError
    ├── InputError            something the user gave cannot be used
    │   ├── QuantityError     a number, unit or pressure that cannot be read
    │   ├── RangeError        a value outside the range a formula is good for
    │   ├── LimitSetError     a limit set that is unknown or has a mistake in it
    │   ├── RecipeError       a recipe that cannot be read
    │   ├── LogError          a logger's file that cannot be read
    │   │   └── AmbiguityError    a file that can be read in more than one way
    │   ├── SpotError         a hand test that cannot be understood
    │   ├── ProcedureError    a procedure that has a mistake in it
    │   ├── PlanError         a rule set for intervals that has a mistake in it
    │   ├── PlantError        a plant sheet that has a mistake in it, or plant that cannot be worked out
    │   ├── ExposureError     exposure limits or stays of wearers that cannot be used
    │   ├── BudgetError       an uncertainty budget that has a mistake in it
    │   └── RegisterError     the record cannot be used as asked
    │       ├── UnknownRecordError    no such thing is on record
    │       ├── StaleRecordError      somebody else changed it meanwhile
    │       └── WorkspaceError        the workspace folder or its database cannot be used
    │           └── OldWorkspaceError     it must be brought up to date first
    └── OutputError           a result that could not be written

Every message says what was found, where, and what to do about it.
"""

from __future__ import annotations


class LungwortError(Exception):
    """Root of every error that lungwort raises on purpose."""


class InputError(LungwortError):
    """Something the user gave cannot be used."""


class QuantityError(InputError):
    """A number, a unit or a pressure cannot be read."""


class RangeError(InputError, ValueError):
    """A value lies outside the range in which a formula is good."""


class LimitSetError(InputError):
    """A limit set is unknown or has a mistake in it."""


class RecipeError(InputError):
    """A recipe cannot be read."""


class LogError(InputError):
    """A logger's file cannot be read.

    Parameters
    ----------
    message : str
        What was found and what to do.
    file : str, optional
        Name of the file.
    line : int, optional
        Line in the file, counted from 1.
    column : str, optional
        Heading or number of the column.
    """

    def __init__(
        self,
        message: str,
        *,
        file: str | None = None,
        line: int | None = None,
        column: str | None = None,
    ) -> None:
        self.file = file
        self.line = line
        self.column = column
        where = [
            part for part in (file, line and f"line {line}", column and f"column {column}") if part
        ]
        super().__init__(f"{', '.join(map(str, where))}: {message}" if where else message)


class AmbiguityError(LogError):
    """A file can be read in more than one way, and the ways differ in the result.

    Parameters
    ----------
    message : str
        What was found.
    choices : tuple of str
        The ways in which it can be read.
    remedy : str
        The option that settles it.
    file, line, column
        Where it stands, as in `LogError`.
    """

    def __init__(
        self,
        message: str,
        *,
        choices: tuple[str, ...],
        remedy: str,
        file: str | None = None,
        line: int | None = None,
        column: str | None = None,
    ) -> None:
        self.choices = choices
        self.remedy = remedy
        listed = "; ".join(choices)
        super().__init__(
            f"{message} It can be read as: {listed}. {remedy}",
            file=file,
            line=line,
            column=column,
        )


class SpotError(InputError):
    """A hand test cannot be understood."""


class ProcedureError(InputError):
    """A procedure has a mistake in it."""


class PlantError(InputError):
    """A plant sheet has a mistake in it, or what it describes cannot be worked out."""


class ExposureError(InputError):
    """Exposure limits or the stays of wearers cannot be used."""


class BudgetError(InputError):
    """An uncertainty budget has a mistake in it."""


class PlanError(InputError):
    """A rule set for intervals has a mistake in it."""


class RegisterError(InputError):
    """The record cannot be used as asked."""


class UnknownRecordError(RegisterError):
    """No such thing is on record."""


class StaleRecordError(RegisterError):
    """Somebody else changed the thing meanwhile."""


class WorkspaceError(RegisterError):
    """The workspace folder or its database cannot be used."""


class OldWorkspaceError(WorkspaceError):
    """The database is that of an older lungwort and must be brought up to date first."""


class OutputError(LungwortError):
    """A result could not be written."""
