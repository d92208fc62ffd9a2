"""How uncertain a reading is: an uncertainty budget, worked out and handed to the decision rules."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.errors import BudgetError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.paper.calculation import Calculation
    from lungwort.verdict.budget import Budget

WHAT: Final = "uncertainty budget"
STANDARD_EXAMPLE: Final = "co"


@frozen(kw_only=True)
class Request:
    """What is asked.

    Parameters
    ----------
    file : Path, optional
        A budget file.
    example : str, optional
        Name of an invented example, in place of a file.
    form : mapping of str to str, optional
        What was typed into a form, in place of a file.
    budget : str, optional
        Budget of the file that is asked about; all of them where not given.
    instrument : str, optional
        Instrument on record, in place of the one that the budget names.
    write : Path, optional
        Where a file of uncertainties for verdicts is written; a new one.
    write_example : Path, optional
        Where the example is written, to be filled in; a new file.
    """

    file: Path | None = None
    example: str | None = None
    form: Mapping[str, str] | None = None
    budget: str | None = None
    instrument: str | None = None
    write: Path | None = None
    write_example: Path | None = None


def uncertainty(where: Where, request: Request, *, now: datetime) -> Calculation:
    """Work out uncertainty budgets.

    Parameters
    ----------
    where : Where
        Which workspace; it is only looked at where an instrument is named.
    request : Request
        What is asked.
    now : datetime
        The time, UTC.

    Returns
    -------
    Calculation
        An estimate of U for every budget; not proven where a part that is needed is not known.

    Raises
    ------
    BudgetError
        Where a budget has a mistake in it, or a file to be written is there already.
    UnknownRecordError
        Where there is no such instrument.
    OutputError
        Where a file cannot be written.
    """
    from lungwort.jobs.budget_result import calculation_of, made_of  # noqa: PLC0415 - keeps --help instant

    for path in (request.write, request.write_example):
        _refuse_to_replace(path)
    budgets, origin = budgets_asked(request)
    made, zone = [], "UTC"
    for budget in budgets:
        name = request.instrument or budget.instrument
        if not name:
            made.append(made_of(budget))
            continue
        from lungwort.jobs.opening import common_zone, opened  # noqa: PLC0415 - only with a record
        from lungwort.plan.snapshot import take  # noqa: PLC0415 - only with a record
        from lungwort.register.model import Instrument  # noqa: PLC0415 - only with a record

        with opened(where, read_only=True) as workspace:
            instrument = workspace.register.get(Instrument, name)
            snapshot = take(workspace.register, now)
            zone = common_zone(workspace.register) or zone
        from lungwort.jobs.budget_record import facts_of  # noqa: PLC0415 - only with a record

        made.append(
            made_of(
                evolve(budget, instrument=instrument.name),
                facts_of(snapshot, instrument, budget),
            )
        )
    found = calculation_of(tuple(made), origin=origin, now=now, zone=zone)
    _write(request, found)
    return found


def budgets_asked(request: Request) -> tuple[tuple[Budget, ...], str]:
    """Read the budgets that are asked about.

    Parameters
    ----------
    request : Request
        What is asked.

    Returns
    -------
    tuple of (tuple of Budget, str)
        The budgets, and where they come from.

    Raises
    ------
    BudgetError
        Where there is none, or it has a mistake in it.
    """
    from lungwort.jobs.budget_form import budget_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.tomlfile import file_text, near  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.budget_file import example_text, read_budgets  # noqa: PLC0415 - the same

    if request.form is not None:
        return (budget_of(request.form),), "entered"
    example = request.example
    if example is None and request.file is None and request.write_example is not None:
        example = STANDARD_EXAMPLE
    if (example is None) == (request.file is None):
        raise BudgetError(
            "give either a budget file, or --example. 'lungwort uncertainty --write-example "
            "budget.toml' writes a file to fill in."
        )
    if example is not None:
        text, origin = example_text(example), f"example '{example}', invented"
    elif request.file is not None:
        text, origin = file_text(request.file, WHAT, BudgetError), request.file.name
    budgets = read_budgets(text, origin)
    if request.budget is not None:
        names = [one.name for one in budgets]
        budgets = tuple(one for one in budgets if one.name == request.budget)
        if not budgets:
            raise BudgetError(
                f"{origin} holds no budget {request.budget!r}.{near(request.budget, names)} "
                f"It holds: {', '.join(names)}."
            )
    return budgets, origin


def _refuse_to_replace(path: Path | None) -> None:
    from lungwort.paper.write import checked  # noqa: PLC0415 - keeps --help instant

    if path is not None and checked(path).exists():
        raise BudgetError(f"{path} is there already and stays as it is. Give another name.")


def _write(request: Request, found: Calculation) -> None:
    from lungwort.paper.write import write_bytes  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.budget_file import example_text  # noqa: PLC0415 - keeps --help instant

    if request.write_example is not None:
        text = example_text(request.example or STANDARD_EXAMPLE)
        write_bytes(text.encode(), request.write_example)
    if request.write is not None:
        text = found.data["uncertainties_toml"]
        if not text:
            raise BudgetError(
                f"{request.write} was not written, as the uncertainty is not proven: "
                + " ".join(found.reasons)
            )
        write_bytes(text.encode(), request.write)
