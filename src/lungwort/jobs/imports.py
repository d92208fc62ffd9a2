"""The job of looking through what was imported, and of taking out what was imported by mistake."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lungwort.errors import InputError
from lungwort.jobs.catalogue import shape
from lungwort.jobs.catalogue.shape import Done, Listing, Section, Session
from lungwort.jobs.opening import Where, common_zone, opened, site_of
from lungwort.register.model import Instrument, LogImport, Outlet

if TYPE_CHECKING:
    from lungwort.register.records import Change, Register


def list_imports(where: Where, outlet: str | None = None) -> Listing:
    """List the imports in force, with the ids by which other commands take them.

    Parameters
    ----------
    where : Where
        Which workspace.
    outlet : str, optional
        Those of one outlet; None for all.

    Returns
    -------
    Listing
        The imports, oldest first.

    Raises
    ------
    UnknownRecordError
        Where there is no such outlet.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        if outlet is None:
            zone = common_zone(register)
            imports = register.all(LogImport)
        else:
            known = register.get(Outlet, outlet)
            zone = site_of(register, known).zone
            imports = register.all(LogImport, outlet_id=known.id)
        table = _table(register, imports, zone)
        plain = {
            "imports": [
                shape.plain(
                    one,
                    outlet=_name(register, Outlet, one.outlet_id),
                    instrument=_name(register, Instrument, one.instrument_id),
                )
                for one in imports
            ]
        }
    return Listing(table, (f"Times are in {zone or 'UTC'}.",) if imports else (), plain)


def void_import(at: Session, import_id: str, reason: str | None) -> Done:
    """Take out an import that was made by mistake; all of it stays to be seen and counts no more.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    import_id : str
        Its id.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    UnknownRecordError
        Where there is no such import.
    InputError
        Where there is no reason, or something in force rests on it.
    """
    why = shape.need_reason(reason)
    with at.recording() as (_, change, remarks):
        old = change.get(LogImport, import_id)
        names = ", ".join(file.name for file in old.files)
        outlet = _name(change, Outlet, old.outlet_id)
        gone = change.void(old, why)
        return Done(
            record=gone,
            said=(
                f"Import {old.id} ({names}) at {outlet} counts no more. Its files and readings stay "
                "where they are."
            ),
            remarks=tuple(remarks),
        )


def refuse_other_options(**given: object) -> None:
    """Refuse options of an import where nothing is imported.

    Parameters
    ----------
    **given : object
        Options by name, falsy where they were not given.

    Raises
    ------
    InputError
        Where one was given.
    """
    for name, value in given.items():
        if value:
            option = "FILE" if name == "files" else f"--{name.replace('_', '-')}"
            raise InputError(
                f"{option} says how to import, and --list and --void import nothing. Leave it out."
            )


def _table(register: Register, imports: list[LogImport], zone: str | None) -> Section:
    clock = shape.clock(
        zone, [moment for one in imports for moment in (one.start, one.end) if moment is not None]
    )
    rows = tuple(
        (
            one.id,
            _name(register, Outlet, one.outlet_id),
            ", ".join(file.name for file in one.files),
            clock.span(one.start, one.end),
            str(one.rows),
            str(one.refused),
            _name(register, Instrument, one.instrument_id) or "not named",
        )
        for one in imports
    )
    return Section(
        "Imports",
        ("id", "outlet", "files", "period", "readings", "rows not used", "instrument"),
        rows,
        "No logger's file is on record. Import one with 'lungwort import FILE --outlet NAME'.",
    )


def _name(
    register: Register | Change, kind: type[Outlet | Instrument], thing_id: str | None
) -> str:
    if thing_id is None:
        return ""
    found = register.find(kind, thing_id)
    return thing_id if found is None else found.name
