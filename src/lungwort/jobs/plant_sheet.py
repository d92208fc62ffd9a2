"""Keep the plant sheet of a supply: what stands behind its outlets, and who is on them."""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.errors import PlantError, UnknownRecordError
from lungwort.jobs.catalogue import typed
from lungwort.jobs.catalogue.shape import Done
from lungwort.jobs.opening import opened, site_of
from lungwort.paper.text import Clock
from lungwort.register.model import Outlet, PlantRecord, Supply

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.catalogue.shape import Session
    from lungwort.jobs.opening import Where
    from lungwort.paper.calculation import Calculation
    from lungwort.plant.sheet import PlantSheet
    from lungwort.register.records import Reader

WHAT: Final = "plant sheet"
STANDARD_NAME: Final = "plant.toml"


@frozen(kw_only=True)
class KeptSheet:
    """A plant sheet as it is on record.

    Parameters
    ----------
    supply_id, supply, site : str
        Whose it is.
    name, text : str
        Name of the file, and the file.
    version : int
        Number of the version [1].
    since : datetime
        Since when the plant is so, UTC.
    zone : str
        Time zone of the site.
    by : str
        Who recorded it.
    reason : str
        Why it was changed.
    origin : str
        How results name it.
    """

    supply_id: str
    supply: str
    site: str
    name: str
    text: str
    version: int
    since: datetime
    zone: str
    by: str
    reason: str
    origin: str


@frozen(kw_only=True)
class SupplyPlant:
    """A supply, with or without a plant sheet.

    Parameters
    ----------
    id, name, site : str
        The supply.
    sheet : KeptSheet, optional
        What is in force; None for nothing.
    versions : tuple of KeptSheet
        All versions, the oldest first.
    """

    id: str
    name: str
    site: str
    sheet: KeptSheet | None
    versions: tuple[KeptSheet, ...] = ()


def sheet_of(where: Where, supply: str | None, file: Path | None = None) -> PlantSheet:
    """Read the plant sheet of a supply from the record, or from a file.

    Parameters
    ----------
    where : Where
        The workspace.
    supply : str, optional
        Name or id of the supply; not needed where a file is given.
    file : Path, optional
        A file that is used in place of what is on record.

    Returns
    -------
    PlantSheet
        What it says; ``origin`` names where it was found.

    Raises
    ------
    PlantError
        Where there is none, or it has mistakes.
    UnknownRecordError
        Where no such supply is on record.
    """
    from lungwort.plant.sheet import read_sheet  # noqa: PLC0415 - keeps --help instant
    from lungwort.tomlfile import file_text  # noqa: PLC0415 - keeps --help instant

    if file is not None:
        return read_sheet(file_text(file, WHAT, PlantError), file.name, origin=f"file {file.name}")
    if supply is None:
        raise PlantError(
            "neither a supply nor a file is given. Name the supply whose plant sheet is on record; in the "
            "terminal a file can stand in its place. 'lungwort plant form' writes one to fill in."
        )
    kept = newest(where, supply)
    return read_sheet(kept.text, kept.name, origin=f"plant sheet, version {kept.version}")


def told_of_sheet(made: Calculation, sheet: PlantSheet) -> Calculation:
    """Let nothing be proven by figures that are still those of the form.

    Parameters
    ----------
    made : Calculation
        What came out.
    sheet : PlantSheet
        From which sheet.

    Returns
    -------
    Calculation
        The same; not proven where it held or was an estimate, and the sheet calls its figures invented.
    """
    from lungwort.paper.calculation import (  # noqa: PLC0415 - keeps --help instant
        ESTIMATE,
        HOLDS,
        NOT_PROVEN,
    )

    if not sheet.invented:
        return made
    why = (
        "The plant sheet says that its figures are invented (invented = true). Put your own in their "
        "place, and take that line away."
    )
    if made.state not in {HOLDS, ESTIMATE}:
        return evolve(made, reasons=(*made.reasons, why))
    # What machines read must not hold where people read that nothing is proven.
    data = {**made.data, "state": NOT_PROVEN} if "state" in made.data else made.data
    return evolve(
        made, state=NOT_PROVEN, word="not proven", reasons=(why, *made.reasons), data=data
    )


def form_text() -> str:
    """Give a plant sheet to fill in, with invented figures and a remark to each.

    Returns
    -------
    str
        TOML.
    """
    return (resources.files("lungwort.plant") / "form.toml").read_text(encoding="utf-8")


def write_form(path: Path) -> None:
    """Write a plant sheet to fill in.

    Parameters
    ----------
    path : Path
        Where to; a file that is there already stays as it is.

    Raises
    ------
    PlantError
        Where a file stands there already.
    OutputError
        Where it cannot be written.
    """
    from lungwort.paper.write import checked, write_bytes  # noqa: PLC0415 - only here

    if checked(path).exists():
        raise PlantError(f"{path} is there already and stays as it is. Give another name.")
    write_bytes(form_text().encode(), path)


def newest(where: Where, supply: str, version: int | None = None) -> KeptSheet:
    """Find the plant sheet of a supply that is in force, or an older version of it.

    Parameters
    ----------
    where : Where
        The workspace.
    supply : str
        Name or id of the supply.
    version : int, optional
        Number of a version; the one in force where not given [1].

    Returns
    -------
    KeptSheet
        The sheet.

    Raises
    ------
    PlantError
        Where the supply has none on record, or no such version.
    UnknownRecordError
        Where there is no such supply.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        thing = register.get(Supply, supply)
        found = _versions(register, thing)
    if not found:
        raise PlantError(
            f"Supply {thing.name} has no plant sheet on record, so nothing is known of what stands "
            f"behind its outlets. Write one with 'lungwort plant form plant.toml', fill it in, and "
            f"record it with 'lungwort plant set {thing.name} plant.toml'."
        )
    if version is None:
        return found[-1]
    for one in found:
        if one.version == version:
            return one
    raise PlantError(
        f"The plant sheet of supply {thing.name} has no version {version}; on record are 1 to "
        f"{found[-1].version}."
    )


def _versions(register: Reader, supply: Supply) -> tuple[KeptSheet, ...]:
    """Give all versions of the plant sheet of a supply, the oldest first."""
    in_force = register.all(PlantRecord, supply_id=supply.id)
    if not in_force:
        return ()
    site = site_of(register, supply)
    made = []
    for record in register.history(PlantRecord, max(in_force, key=lambda one: one.seq).id):
        clock = Clock.for_period(site.zone, record.time, record.time)
        made.append(
            KeptSheet(
                supply_id=supply.id,
                supply=supply.name,
                site=site.name,
                name=record.name,
                text=record.text,
                version=record.version,
                since=record.time,
                zone=site.zone,
                by=register.entry(record.seq).who,
                reason=record.reason,
                origin=(
                    f"on record, version {record.version} since {clock.time(record.time)[:-3]} "
                    f"({clock.zone_name}), entry {record.seq}"
                ),
            )
        )
    return tuple(made)


def plants(where: Where) -> tuple[SupplyPlant, ...]:
    """List the supplies in use with their plant sheets.

    Parameters
    ----------
    where : Where
        The workspace.

    Returns
    -------
    tuple of SupplyPlant
        By name.
    """
    with opened(where, read_only=True) as workspace, workspace.register.at_one_time() as reader:
        return tuple(
            SupplyPlant(
                id=one.id,
                name=one.name,
                site=site_of(reader, one).name,
                sheet=known[-1] if known else None,
                versions=known,
            )
            for one, known in (
                (each, _versions(reader, each))
                for each in sorted(reader.all(Supply), key=lambda supply: supply.name.casefold())
            )
            if one.in_use
        )


def plant_of(where: Where, supply_id: str) -> SupplyPlant:
    """Find a supply in use, with or without a plant sheet.

    Parameters
    ----------
    where : Where
        The workspace.
    supply_id : str
        Id of the supply.

    Returns
    -------
    SupplyPlant
        The supply.

    Raises
    ------
    UnknownRecordError
        Where no such supply is in use.
    """
    found = next((one for one in plants(where) if one.id == supply_id), None)
    if found is None:
        raise UnknownRecordError(
            "There is no such supply in use. Go back to the list of plant sheets."
        )
    return found


def outlets(where: Where, supply_id: str) -> tuple[str, ...]:
    """Give the names of the outlets in use of a supply.

    Parameters
    ----------
    where : Where
        The workspace.
    supply_id : str
        Id of the supply.

    Returns
    -------
    tuple of str
        By name.
    """
    with opened(where, read_only=True) as workspace:
        listed = workspace.register.all(Outlet, supply_id=supply_id)
    return tuple(sorted(one.name for one in listed if one.in_use))


def record(
    at: Session, supply: str, text: str, *, name: str = STANDARD_NAME, reason: str | None = None
) -> Done:
    """Put a plant sheet on record; a new version where there is one already.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    supply : str
        Name or id of the supply.
    text : str
        The sheet, TOML.
    name : str
        Name of the file.
    reason : str, optional
        Why it changes; needed where there is one already.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    PlantError
        Where it has mistakes; nothing is recorded then.
    InputError
        Where it is on record like that already, or a reason is missing.
    """
    from lungwort.plant.sheet import read_sheet  # noqa: PLC0415 - keeps --help instant

    sheet = read_sheet(text, name)
    with at.recording() as (_, change, said):
        thing = change.get(Supply, supply)
        who = change.who.id
        olds = change.all(PlantRecord, supply_id=thing.id)
        made = PlantRecord(
            supply_id=thing.id,
            name=name,
            text=sheet.text,
            sheet_digest=sheet.digest,
            time=at.now,
            by_id=who,
        )
        if not olds:
            kept = change.add(made)
            told = f"The plant sheet of supply {thing.name} is on record."
        else:
            old = max(olds, key=lambda one: one.seq)
            if old.sheet_digest == sheet.digest:
                raise PlantError(
                    f"This is the plant sheet of supply {thing.name} that is on record already "
                    f"(version {old.version}). Nothing was recorded."
                )
            why = typed.needed_words(
                reason,
                "--reason",
                "why the plant sheet changes; the version before stays to be seen",
            )
            kept = change.replace(
                old,
                evolve(
                    old,
                    name=name,
                    text=sheet.text,
                    sheet_digest=sheet.digest,
                    time=at.now,
                    by_id=who,
                ),
                why,
            )
            told = f"Version {kept.version} of the plant sheet of supply {thing.name} is in force."
    remarks = (*said, *unknown_places(sheet), *missing(sheet))
    return Done(kept, told, remarks, (f"lungwort plant air {thing.name}",))


def record_file(at: Session, supply: str, file: Path, reason: str | None = None) -> Done:
    """Put a plant sheet on record from a file; as `record`."""
    from lungwort.tomlfile import file_text  # noqa: PLC0415 - keeps --help instant

    return record(at, supply, file_text(file, WHAT, PlantError), name=file.name, reason=reason)


def unknown_places(sheet: PlantSheet) -> tuple[str, ...]:
    """Tell which places are named where no pipe or hose leads.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.

    Returns
    -------
    tuple of str
        A sentence for each; empty for none, or for a sheet without pipes.
    """
    if sheet.network is None:
        return ()
    ends = [(one.begin, one.end) for one in sheet.network.pipes]
    ends += [(one.begin, one.end) for one in sheet.network.regulators]
    known = dict.fromkeys(node for pair in ends for node in pair)
    named = [(f"wearer {one.name}", one.at) for one in sheet.wearers]
    named += [(f"receiver {one.name}", one.at) for one in sheet.receivers if one.at]
    named += [(f"reserve {one.name}", one.at) for one in sheet.reserves if one.at]
    named += [("a pressure is held", one.node) for one in sheet.network.sources]
    return tuple(
        f"No pipe or hose leads to {place!r} ({who}). Check the name; known are: {', '.join(known)}."
        for who, place in named
        if place not in known
    )


def missing(sheet: PlantSheet) -> tuple[str, ...]:
    """Tell which questions a plant sheet cannot answer, since a part of it is not there.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.

    Returns
    -------
    tuple of str
        A sentence a question.
    """
    needs = (
        (sheet.compressors, "[[compressor]]", "whether there is enough air"),
        (sheet.leak_tests, "[[leak_test]]", "how much of the air is lost by leakage"),
        (sheet.network, "[[pipe]]", "which pressure reaches the wearers through hoses and pipes"),
        (sheet.receivers or sheet.reserves, "[[receiver]] or [[reserve]]", "how long the air lasts if the compressor stops"),
        (sheet.escape, "[escape]", "whether that is long enough to get out"),
        (sheet.treatments, "[[treatment]]", "how long the treatment lasts"),
    )  # fmt: skip
    return tuple(
        f"There is no {key} in it, so it cannot be told {question}."
        for part, key, question in needs
        if not part
    )
