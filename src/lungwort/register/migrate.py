"""Which form the database has, and how an older one is brought to that of this program.

Alembic does the steps; it is loaded only when there is one to do. All steps that are missing are
one transaction: a crash leaves the database as it was.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import inspect, text

from lungwort.errors import OldWorkspaceError, WorkspaceError
from lungwort.register.engine import SQLITE, explained, reading, writing

if TYPE_CHECKING:
    from collections.abc import Iterable
    from importlib.resources.abc import Traversable

    from alembic.runtime.migration import MigrationStep
    from sqlalchemy import Connection, Engine

HEAD = "0004"
"""The newest step; a test holds it against the steps themselves."""
STEPS: Traversable = files(__package__) / "migrations"
"""Where the steps lie."""

_VERSION_TABLE: Final = "alembic_version"
_EMPTY: Final = ""


def form(connection: Connection) -> str | None:
    """Give the step that a database is at.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        For reading.

    Returns
    -------
    str or None
        Its name; empty for a database without tables, None for one that is not lungwort's.
    """
    tables = inspect(connection).get_table_names()
    if not tables:
        return _EMPTY
    if _VERSION_TABLE not in tables:
        return None
    found = connection.execute(text(f"SELECT version_num FROM {_VERSION_TABLE}")).scalars().all()  # noqa: S608 - a constant
    return found[0] if len(found) == 1 else None


def make_tables(engine: Engine) -> None:
    """Make the tables in an empty database.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The database.

    Raises
    ------
    WorkspaceError
        Where it is not empty, or cannot be written.
    """
    with writing(engine) as connection:
        make_tables_in(connection)


def make_tables_in(connection: Connection, target: str | None = None) -> None:
    """Make the tables in an empty database, within a transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction for writing.
    target : str, optional
        The step to go up to; the newest if not given.

    Raises
    ------
    WorkspaceError
        Where it is not empty.
    """
    target = target or HEAD
    found = form(connection)
    if found == target and not connection.execute(text("SELECT 1 FROM journal")).first():
        # Left behind by an attempt that broke off before anything was recorded.
        return
    if found != _EMPTY:
        raise WorkspaceError(
            "The database holds tables already. Give an empty one; a workspace that is there is "
            "opened, not made again."
        )
    upgrade(connection, target)


def bring_up_to_date(engine: Engine, *, read_only: bool) -> None:
    """Bring the database of an older lungwort to the form of this one.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The database. A SQLite file is first copied beside itself.
    read_only : bool
        Whether nothing may be written.

    Raises
    ------
    WorkspaceError
        Where it was made by a newer lungwort or is not lungwort's.
    OldWorkspaceError
        Where it is older and may only be read.
    """
    with reading(engine) as connection:
        found = form(connection)
    if found == HEAD:
        return
    if not found:
        raise WorkspaceError(
            "The database holds no record of lungwort's. Check that the workspace names the right "
            "one, or restore the newest backup into a new folder."
        )
    if found not in known_forms():
        raise WorkspaceError(
            f"The workspace was made by a newer lungwort (its database has the form {found!r}, and "
            f"this one knows up to {HEAD!r}). Install the newest lungwort. Nothing was touched."
        )
    if read_only:
        raise OldWorkspaceError(
            f"The database is that of an older lungwort (form {found!r}), and is opened for reading "
            "only. Bring it up to date with 'lungwort workspace upgrade'."
        )
    if engine.dialect.name == SQLITE:
        _copy_sqlite(engine, found)
    with writing(engine) as connection:
        # Somebody else may have done it meanwhile.
        if form(connection) != HEAD:
            upgrade(connection)


def upgrade(connection: Connection, target: str = "head") -> None:
    """Do the steps that a database lacks.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction for writing.
    target : str
        The last step to do.
    """
    from alembic.operations import Operations  # noqa: PLC0415 - keeps --help instant
    from alembic.runtime.migration import (  # noqa: PLC0415 - keeps --help instant
        MigrationContext,
        MigrationStep,
    )
    from alembic.script import ScriptDirectory  # noqa: PLC0415 - keeps --help instant

    with as_file(STEPS) as folder:
        scripts = ScriptDirectory(folder)

        def missing(done: Any, _: MigrationContext) -> Iterable[MigrationStep]:  # noqa: ANN401 - Alembic's
            steps = list(scripts.iterate_revisions(target, done or "base"))
            return [
                MigrationStep.upgrade_from_script(scripts.revision_map, one) for one in steps[::-1]
            ]

        context = MigrationContext.configure(connection, opts={"fn": missing})
        with Operations.context(context), context.begin_transaction():
            context.run_migrations()


def known_forms() -> set[str]:
    """Give the forms of a database that this program knows.

    Returns
    -------
    set of str
        Names of the steps.
    """
    from alembic.script import ScriptDirectory  # noqa: PLC0415 - keeps --help instant

    with as_file(STEPS) as folder:
        return {one.revision for one in ScriptDirectory(folder).walk_revisions()}


def _copy_sqlite(engine: Engine, found: str) -> None:
    path = sqlite_path(engine)
    target = path.with_name(f"{path.stem}-before-{HEAD}-from-{found}{path.suffix}")
    temporary = target.with_name(f".{target.name}.part")
    with explained(engine):
        temporary.unlink(missing_ok=True)
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(temporary)) as copy:
            source.backup(copy)
        temporary.replace(target)


def sqlite_path(engine: Engine) -> Path:
    """Give the file of a SQLite database.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        Opened by `lungwort.register.engine.open_sqlite`.

    Returns
    -------
    pathlib.Path
        The file.
    """
    with reading(engine) as connection:
        return Path(connection.exec_driver_sql("PRAGMA database_list").fetchall()[0][2])
