"""The job of making a workspace, looking at it, backing it up and bringing it back."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.jobs.catalogue import shape, typed
from lungwort.jobs.opening import Where, common_zone, opened
from lungwort.paper.text import grouped
from lungwort.register.model import KINDS, Person

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from lungwort.register.workspace import Workspace

SQLITE: Final = "sqlite"


@frozen
class Made:
    """A workspace that was made or brought back.

    Parameters
    ----------
    folder : Path
        Where it lies.
    name : str
        What it is called.
    said : str
        One sentence on it.
    next_steps : tuple of str
        What to do next.
    """

    folder: Path
    name: str
    said: str
    next_steps: tuple[str, ...]


@frozen
class Count:
    """How many of one kind are in force.

    Parameters
    ----------
    kind : str
        The kind.
    words : str
        What they are called.
    number : int
        How many [1].
    """

    kind: str
    words: str
    number: int


@frozen
class Summary:
    """What a workspace holds.

    Parameters
    ----------
    facts : tuple of (str, str)
        Label and words.
    counts : tuple of Count
        Records in force, a kind each; kinds with none are left out.
    remarks : tuple of str
        What to mind, and what to do next.
    plain : dict
        The same as JSON values.
    """

    facts: tuple[tuple[str, str], ...]
    counts: tuple[Count, ...]
    remarks: tuple[str, ...]
    plain: dict[str, Any]


@frozen
class Saved:
    """A backup that was written.

    Parameters
    ----------
    file : Path
        The archive.
    size_bytes : int
        Its size [bytes].
    entries : int
        Entries of the journal in it, at least [1].
    """

    file: Path
    size_bytes: int
    entries: int


def create(
    folder: Path, *, name: str, person: str, now: datetime, database: str | None = None
) -> Made:
    """Make a workspace with an empty record.

    Parameters
    ----------
    folder : Path
        New or empty.
    name : str
        What it is called, for people.
    person : str
        Name of the person who answers for the air: the first on record.
    now : datetime
        The time, with a time zone.
    database : str, optional
        URL of an empty PostgreSQL database; None for a database in the folder.

    Returns
    -------
    Made
        What was made.

    Raises
    ------
    InputError
        Where a name cannot be used.
    WorkspaceError
        Where the folder or the database is not empty or cannot be used.
    """
    from lungwort.register.workspace import create_workspace  # noqa: PLC0415 - keeps --help instant

    called = " ".join(
        unicodedata.normalize("NFC", typed.needed_words(name, "--name", _NAMED)).split()
    )
    who = typed.person_name(person, "--person")
    with create_workspace(
        folder, name=called, person=who, now=now, database=database or SQLITE
    ) as workspace:
        return Made(
            workspace.folder,
            workspace.name,
            f"Workspace {workspace.name} is made in {workspace.folder}. {who} answers for it.",
            (
                f"cd {_quoted(workspace.folder)}",
                "lungwort site add NAME --zone Europe/London --limits ID",
            ),
        )


_NAMED: Final = "what the workspace is called"


def _quoted(folder: Path) -> str:
    text = str(folder)
    return f'"{text}"' if " " in text else text


def show(where: Where, *, now: datetime) -> Summary:
    """Say what a workspace holds.

    Parameters
    ----------
    where : Where
        Which workspace.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    Summary
        What it holds.

    Raises
    ------
    WorkspaceError
        Where there is none, or it cannot be used.
    """
    from lungwort.register.records import CLOCK_TOLERANCE  # noqa: PLC0415 - keeps --help instant

    with opened(where, read_only=True) as workspace:
        register = workspace.register
        newest = register.newest()
        head = register.head()
        zone = common_zone(register)
        people = [one.name for one in register.all(Person) if one.in_use]
        counts = tuple(
            Count(kind, shape.kind_words(kind), number)
            for kind, record in KINDS.items()
            if (number := len(register.all(record)))
        )
        facts = [
            ("Name", workspace.name),
            ("Folder", str(workspace.folder)),
            ("Database", _database(workspace)),
            ("Journal", f"{grouped(head.size)} {'entry' if head.size == 1 else 'entries'}"),
            ("Head of the tree", head.root),
        ]
        remarks = []
        if newest is not None:
            when = shape.clock(zone, [newest.time])
            facts.append(
                ("Newest entry", f"{when.time(newest.time)} ({when.zone_name}) by {newest.who}")
            )
            if newest.time - now > CLOCK_TOLERANCE:
                remarks.append(
                    "The newest entry is ahead of this computer's clock. Check the clock before "
                    "anything is recorded."
                )
        facts.append(("People in use", ", ".join(people)))
        if not any(one.kind == "site" for one in counts):
            remarks.append("Next: lungwort site add NAME --zone Europe/London --limits ID")
        plain = {
            "name": workspace.name,
            "folder": str(workspace.folder),
            "database": workspace.database,
            "journal": {"size": head.size, "root": head.root},
            "newest_entry": shape.time_plain(newest.time) if newest else None,
            "persons": people,
            "records": {one.kind: one.number for one in counts},
        }
        return Summary(tuple(facts), counts, tuple(remarks), plain)


def _database(workspace: Workspace) -> str:
    if workspace.database == SQLITE:
        return "SQLite, in the folder"
    return f"PostgreSQL, {workspace.database}"


def backup(where: Where, target: Path, *, now: datetime) -> Saved:
    """Write all of a workspace into one archive, while others may go on working in it.

    Parameters
    ----------
    where : Where
        Which workspace.
    target : Path
        A new file, or a folder in which it gets a name.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    Saved
        What was written.

    Raises
    ------
    OutputError
        Where it cannot be written; nothing is left behind.
    """
    from lungwort.register.workspace import backup as write  # noqa: PLC0415 - keeps --help instant

    with opened(where) as workspace:
        entries = workspace.register.head().size
        file = write(workspace, target, now=now)
    return Saved(file, file.stat().st_size, entries)


def restore(archive: Path, folder: Path, *, database: str | None = None) -> Made:
    """Make a workspace from a backup.

    Parameters
    ----------
    archive : Path
        As `backup` wrote it.
    folder : Path
        New or empty.
    database : str, optional
        URL of an empty PostgreSQL database; None for a database in the folder.

    Returns
    -------
    Made
        What was made.

    Raises
    ------
    WorkspaceError
        Where the folder or the database is not empty, or the archive was damaged or altered.
    """
    from lungwort.register.workspace import restore as make  # noqa: PLC0415 - keeps --help instant

    with make(archive, folder, database=database or SQLITE) as workspace:
        size = workspace.register.head().size
        return Made(
            workspace.folder,
            workspace.name,
            f"Workspace {workspace.name} is restored to {workspace.folder}, with {grouped(size)} "
            f"{'entry' if size == 1 else 'entries'} in its journal.",
            (f"cd {_quoted(workspace.folder)}", "lungwort verify"),
        )


def upgrade(where: Where) -> Made:
    """Bring the database of an older lungwort to the form of this one.

    Parameters
    ----------
    where : Where
        Which workspace. Its SQLite database is copied first.

    Returns
    -------
    Made
        The workspace.

    Raises
    ------
    WorkspaceError
        Where there is none, or it cannot be brought up to date; it is then as it was.
    """
    with opened(where) as workspace:
        size = workspace.register.head().size
        return Made(
            workspace.folder,
            workspace.name,
            f"Workspace {workspace.name} has the form of this lungwort, with {grouped(size)} "
            f"{'entry' if size == 1 else 'entries'} in its journal.",
            ("lungwort verify",),
        )
