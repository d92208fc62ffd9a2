"""Files that were sent in and are not in the record yet: looked at, settled, then taken in."""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import threading
from collections import OrderedDict
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Final

from attrs import define, field, fields

from lungwort.errors import InputError, UnknownRecordError
from lungwort.jobs.first_look import Look
from lungwort.jobs.reading import Reading
from lungwort.web.posted import plain_name

if TYPE_CHECKING:
    from collections.abc import Iterable

FOLDER: Final = "incoming"
KEPT_FOR: Final = timedelta(days=1)
"""How long files lie that nobody takes into the record."""

MOST_FILES: Final = 200
MOST_BYTES: Final = 4 * 1024**3
"""All files that may lie in one workspace at once [byte]."""

_ID: Final = re.compile(r"[a-z2-7]{26}")
_STATE: Final = "settled.json"
_FILES: Final = "files"
_PART: Final = ".part"
_RESERVED: Final = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\.|$)")
_LISTS: Final = ("unit", "column", "ignore", "time_column", "missing", "trust")
_KNOWN: Final = frozenset(one.name for one in fields(Reading)) - {"recipe"}
_LETTERS: Final = "abcdefghijklmnopqrstuvwxyz234567"
_LOOKS_KEPT: Final = 40


@define(slots=False)
class Batch:
    """Files that came together, and what was settled about them.

    Parameters
    ----------
    id : str
        A random name.
    folder : pathlib.Path
        Where they lie.
    begun : datetime
        When the first came, UTC.
    owner : str
        Name of the person who brought them; empty where nobody was chosen.
    outlet, instrument : str
        Ids of where the air was taken and of what measured; empty while not chosen.
    recipe : str
        Name of the recipe that is begun with; empty for none.
    settled : dict
        Fields of `lungwort.jobs.reading.Reading` to what was chosen.
    refused : str
        Why the record did not take them the last time.
    """

    id: str
    folder: Path
    begun: datetime
    owner: str = ""
    outlet: str = ""
    instrument: str = ""
    recipe: str = ""
    settled: dict[str, Any] = field(factory=dict)
    refused: str = ""

    @property
    def files(self) -> tuple[Path, ...]:
        """The files that came whole, in the order of their names."""
        folder = self.folder / _FILES
        if not folder.is_dir():
            return ()
        return tuple(
            sorted(
                (one for one in folder.iterdir() if one.is_file() and one.suffix != _PART),
                key=lambda one: one.name,
            )
        )

    @property
    def size_bytes(self) -> int:
        """All of them together [byte]."""
        return sum(one.stat().st_size for one in self.files)

    def reading(self, recipe: Path | None) -> Reading:
        """Give what was settled as a job takes it."""
        given = {name: value for name, value in self.settled.items() if name in _KNOWN}
        return Reading(recipe=recipe, **given)

    def choose(self, name: str, value: str) -> None:
        """Settle one thing; where several may hold at once, it is added to them.

        Parameters
        ----------
        name : str
            Field of `lungwort.jobs.reading.Reading`.
        value : str
            What was chosen; empty to leave it open again.

        Raises
        ------
        InputError
            Where there is no such field.
        """
        if name not in _KNOWN:
            raise InputError(f"There is nothing to settle that is called {name!r}.")
        if name in _LISTS:
            kept = [one for one in self.settled.get(name, ()) if one != value]
            key = value.partition("=")[0]
            if name == "unit":
                kept = [one for one in kept if one.partition("=")[0] != key]
            self.settled[name] = [*kept, value] if value else []
        elif name == "header_line":
            if value and not (value.isascii() and value.isdigit() and len(value) <= 6):  # noqa: PLR2004 - no table has more lines above it
                raise InputError(f"{value!r} is no line of a file. Give a number from 1.")
            self.settled[name] = int(value) if value else None
        else:
            self.settled[name] = value or None

    def fingerprint(self, recipe: Path | None) -> str:
        """Mark what a look at the files rests on: the same mark, the same look."""
        stats = [(one.name, one.stat().st_size, one.stat().st_mtime_ns) for one in self.files]
        recipe_at = recipe.stat().st_mtime_ns if recipe is not None and recipe.exists() else 0
        return json.dumps([self.id, stats, str(recipe), recipe_at, self.settled], sort_keys=True)

    def take(self, name: str) -> tuple[Path, BinaryIO]:
        """Open a place for a file that is coming in.

        Parameters
        ----------
        name : str
            Its name, as the browser says.

        Returns
        -------
        tuple of (pathlib.Path, file)
            Where it will lie once it is whole, and what to write it to.

        Raises
        ------
        InputError
            Where there are too many files.
        """
        folder = self.folder / _FILES
        folder.mkdir(parents=True, exist_ok=True)
        if len(list(folder.iterdir())) >= MOST_FILES:
            raise InputError(
                f"{MOST_FILES} files lie here already. Take these into the record first."
            )
        target = folder / safe_name(name)
        part = folder / f"{secrets.token_hex(8)}{_PART}"
        return target, part.open("xb")

    def keep(self, target: Path, stream: BinaryIO) -> Path:
        """Let a file lie under its name, now that it came whole; one of that name is replaced."""
        stream.flush()
        stream.close()
        os.replace(stream.name, target)  # noqa: PTH105 - one step, whatever is there
        return target

    def remove(self, name: str) -> None:
        """Take one file away."""
        for one in self.files:
            if one.name == name:
                one.unlink(missing_ok=True)

    def save(self) -> None:
        """Write down what was settled, so that a page that is loaded again shows it."""
        state = {
            "begun": self.begun.isoformat(),
            "owner": self.owner,
            "outlet": self.outlet,
            "instrument": self.instrument,
            "recipe": self.recipe,
            "settled": self.settled,
            "refused": self.refused,
        }
        self.folder.mkdir(parents=True, exist_ok=True)
        new = self.folder / f"{secrets.token_hex(8)}{_PART}"
        new.write_text(json.dumps(state, ensure_ascii=False), encoding="utf-8")
        os.replace(new, self.folder / _STATE)  # noqa: PTH105 - one step, whatever is there

    def delete(self) -> None:
        """Take all of it away."""
        shutil.rmtree(self.folder, ignore_errors=True)


def safe_name(name: str) -> str:
    """Give a file that came in a name that lies in its folder and nowhere else.

    Parameters
    ----------
    name : str
        As the browser says; it may say anything.

    Returns
    -------
    str
        Without folders and without what some system takes for something else.
    """
    given = plain_name(name).lstrip("-")
    if _RESERVED.match(given) or given.endswith(_PART) or not given.strip("_ "):
        given = f"file-{given.replace(_PART, '')}"
    return given


def begin(workspace: Path, *, now: datetime, owner: str) -> Batch:
    """Make a place for files that are coming in.

    Parameters
    ----------
    workspace : pathlib.Path
        Folder of the workspace.
    now : datetime
        The time, with a time zone.
    owner : str
        Who brings them.

    Returns
    -------
    Batch
        Empty.
    """
    sweep(workspace, now=now)
    name = "".join(secrets.choice(_LETTERS) for _ in range(26))
    made = Batch(name, workspace / FOLDER / name, now.astimezone(UTC), owner=owner)
    made.save()
    return made


def find(workspace: Path, batch_id: str) -> Batch:
    """Find files that came in.

    Parameters
    ----------
    workspace : pathlib.Path
        Folder of the workspace.
    batch_id : str
        Their id.

    Returns
    -------
    Batch
        The files.

    Raises
    ------
    UnknownRecordError
        Where there are none of that id.
    """
    found = None
    if _ID.fullmatch(batch_id):
        found = _read(workspace / FOLDER / batch_id)
    if found is None:
        raise UnknownRecordError(
            "These files are not here any more: they were taken into the record, thrown away, or "
            "lay here for more than a day. Bring them in again where they are not on record."
        )
    return found


def _read(folder: Path) -> Batch | None:
    try:
        state = json.loads((folder / _STATE).read_text(encoding="utf-8"))
        return Batch(
            id=folder.name,
            folder=folder,
            begun=datetime.fromisoformat(state["begun"]),
            owner=str(state["owner"]),
            outlet=str(state["outlet"]),
            instrument=str(state["instrument"]),
            recipe=str(state["recipe"]),
            settled=dict(state["settled"]),
            refused=str(state["refused"]),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None


def listed(workspace: Path) -> tuple[Batch, ...]:
    """List all files that came in and were not taken into the record, newest first."""
    folder = workspace / FOLDER
    if not folder.is_dir():
        return ()
    found = (_read(one) for one in folder.iterdir() if _ID.fullmatch(one.name))
    return tuple(sorted((one for one in found if one), key=lambda one: one.begun, reverse=True))


def sweep(workspace: Path, *, now: datetime) -> None:
    """Throw away what has lain for more than a day.

    Parameters
    ----------
    workspace : pathlib.Path
        Folder of the workspace.
    now : datetime
        The time, with a time zone.
    """
    folder = workspace / FOLDER
    if not folder.is_dir():
        return
    for one in folder.iterdir():
        if not _ID.fullmatch(one.name):
            continue
        batch = _read(one)
        begun = datetime.fromtimestamp(one.stat().st_mtime, UTC) if batch is None else batch.begun
        if now - begun > KEPT_FOR:
            shutil.rmtree(one, ignore_errors=True)


def check_room(workspace: Path, more_bytes: int) -> None:
    """Refuse what would not find room.

    Parameters
    ----------
    workspace : pathlib.Path
        Folder of the workspace.
    more_bytes : int
        What is to come [byte].

    Raises
    ------
    InputError
        Where it is too much together with what lies there already.
    """
    lying = sum(one.size_bytes for one in listed(workspace))
    if lying + more_bytes > MOST_BYTES:
        raise InputError(
            f"More than {MOST_BYTES >> 30} GiB would lie here and wait. Take what came in before "
            "into the record, or throw it away."
        )
    free = shutil.disk_usage(workspace).free
    if more_bytes * 2 > free:
        raise InputError(
            f"There is no room for {more_bytes >> 20} MiB: {free >> 20} MiB are free on the disk "
            "and a log needs as much again for its readings. Make room first."
        )


class Looks:
    """What was understood of files, kept so that a page is not long in coming a second time."""

    def __init__(self) -> None:
        self._known: OrderedDict[str, Look] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, mark: str) -> Look | None:
        """Give what is kept for a mark."""
        with self._lock:
            return self._known.get(mark)

    def put(self, mark: str, look: Look) -> Look:
        """Keep what was understood."""
        with self._lock:
            self._known[mark] = look
            while len(self._known) > _LOOKS_KEPT:
                self._known.popitem(last=False)
        return look


def roles(
    batch: Batch, was: Iterable[tuple[str, str, str]], now: dict[str, tuple[str, str]]
) -> None:
    """Settle what columns are taken for, from what was shown and what was chosen.

    Parameters
    ----------
    batch : Batch
        The files.
    was : iterable of (str, str, str)
        Label of each column, what it was taken for, and its unit.
    now : dict of str to (str, str)
        Label to what was chosen: what it is taken for, and its unit.
    """
    shown = tuple(was)
    changed = {
        label: now[label]
        for label, role, unit in shown
        if label in now and now[label] != (role, unit)
    }
    if not changed:
        return
    before = {label: role for label, role, _ in shown}
    after = {label: now.get(label, (role, ""))[0] for label, role, _ in shown}
    columns = list(batch.settled.get("column", ()))
    ignored = list(batch.settled.get("ignore", ()))
    touched: set[str] = set()
    for label, (role, unit) in changed.items():
        columns = [one for one in columns if one.partition("=")[2] != label]
        ignored = [one for one in ignored if one != label]
        if role == "ignore" and before[label] != "ignore":
            ignored.append(label)
        elif role not in {"ignore", "time"}:
            if role != before[label]:
                touched.add(role)
            if unit:
                batch.choose("unit", f"{label}={unit}")
    for role in sorted(touched):
        # Naming one column for an analyte leaves all others out, so those that stay are named too.
        columns = [one for one in columns if one.partition("=")[0] != role]
        columns += [f"{role}={label}" for label, taken in after.items() if taken == role]
    times = [label for label, role in after.items() if role == "time"]
    if times != [label for label, role in before.items() if role == "time"]:
        batch.settled["time_column"] = times
    batch.settled["column"] = columns
    batch.settled["ignore"] = ignored
