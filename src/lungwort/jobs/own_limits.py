"""Limit sets of one's own, kept in the workspace: listed, written, checked, kept by edition.

They lie in the folder ``limits`` of the workspace, and the record names them relative to it, so
that a workspace that is moved elsewhere takes them along. A set that a site or a supply is held
against is never overwritten: what is saved then is a new edition, in a file of its own, that holds
nowhere until somebody puts it in force.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from attrs import field, frozen

from lungwort.errors import InputError, LimitSetError, UnknownRecordError
from lungwort.jobs.opening import Where, opened
from lungwort.limits.load import MAX_BYTES, load_file, read_text, shipped_ids
from lungwort.limits.place import FOLDER, is_kept, kept_name
from lungwort.register.model import Site, Supply

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.jobs.catalogue.shape import Done, Session
    from lungwort.jobs.limits import SetView
    from lungwort.limits.model import LimitSet
    from lungwort.register.reader import Reader

MOST_SETS: Final = 500
"""Sets of one's own that a workspace holds."""

_NAME: Final = re.compile(r"[a-z0-9]+(?:[._-][a-z0-9]+)*")
_LONGEST: Final = 80
_EDITION: Final = re.compile(r"(?P<stem>.+)\.(?P<number>[2-9]|[1-9]\d{1,3})")
_RESERVED: Final = re.compile(r"(form|con|prn|aux|nul|com\d|lpt\d)(\..*)?")


@frozen
class Holder:
    """A site or a supply that a set holds for.

    Parameters
    ----------
    kind : str
        ``site`` or ``supply``.
    id, name : str
        Which.
    """

    kind: str
    id: str
    name: str


@frozen(kw_only=True)
class OwnSet:
    """A limit set of one's own.

    Parameters
    ----------
    name : str
        Name of its file, without its ending.
    found : LimitSet, optional
        The set; None where it cannot be used.
    problem : str
        Why it cannot be used, with lines; empty where it can.
    held : tuple of Holder
        For whom it holds.
    """

    name: str
    found: LimitSet | None
    problem: str = ""
    held: tuple[Holder, ...] = field(default=())


@frozen(kw_only=True)
class Saved:
    """What was saved.

    Parameters
    ----------
    name : str
        Name of the file, without its ending.
    said : str
        What was done.
    remarks : tuple of str
        What is to be minded.
    """

    name: str
    said: str
    remarks: tuple[str, ...] = ()


def listed(where: Where) -> tuple[OwnSet, ...]:
    """List the limit sets of the workspace, those with mistakes too.

    Parameters
    ----------
    where : Where
        Which workspace.

    Returns
    -------
    tuple of OwnSet
        In alphabetical order.
    """
    with opened(where, read_only=True) as workspace:
        held = _held(workspace.register, workspace.folder)
        return tuple(_own(path, held) for path in _files(workspace.folder))


def find(where: Where, name: str) -> OwnSet:
    """Find a limit set of the workspace.

    Parameters
    ----------
    where : Where
        Which workspace.
    name : str
        Name of its file, without its ending.

    Returns
    -------
    OwnSet
        The set.

    Raises
    ------
    UnknownRecordError
        Where there is none of that name.
    """
    with opened(where, read_only=True) as workspace:
        return _own(_path(workspace.folder, name), _held(workspace.register, workspace.folder))


def text_of(where: Where, name: str) -> str:
    """Give the TOML of a limit set of the workspace, to be changed; as `find`.

    Raises
    ------
    LimitSetError
        Where it is no text.
    """
    with opened(where, read_only=True) as workspace:
        path = _path(workspace.folder, name)
        if path.stat().st_size > MAX_BYTES:
            raise LimitSetError(f"{path.name} is far larger than a limit set ever is.")
        try:
            return path.read_text(encoding="utf-8-sig")
        except UnicodeDecodeError as error:
            raise LimitSetError(
                f"{path.name} is not UTF-8 text. Save the file as UTF-8."
            ) from error


def show(where: Where, name: str) -> SetView:
    """Lay a limit set of the workspace out to be shown; as `find`.

    Raises
    ------
    LimitSetError
        Where it has mistakes.
    """
    from lungwort.jobs.limits import show_set  # noqa: PLC0415 - only here

    with opened(where, read_only=True) as workspace:
        path = _path(workspace.folder, name)
    return show_set(path)


def loadable(where: Where, name: str) -> str:
    """Say what to load for a name of a set: an id that comes with lungwort, or one's own.

    Parameters
    ----------
    where : Where
        Which workspace.
    name : str
        An id, or ``limits/NAME.toml``; nothing else, so that no file elsewhere can be asked for.

    Returns
    -------
    str
        An id or a path.

    Raises
    ------
    UnknownRecordError
        Where there is no such set.
    """
    if name in shipped_ids():
        return name
    if not is_kept(name):
        raise UnknownRecordError(
            f"There is no limit set {name!r}. Choose one that comes with lungwort or one of your own."
        )
    with opened(where, read_only=True) as workspace:
        stem = name.removeprefix(f"{FOLDER}/").removesuffix(".toml")
        return str(_path(workspace.folder, stem))


def check(text: str, name: str = "") -> LimitSet:
    """Hold the TOML of a limit set against all rules of such files.

    Parameters
    ----------
    text : str
        The TOML.
    name : str
        What to call it in messages.

    Returns
    -------
    LimitSet
        The set.

    Raises
    ------
    LimitSetError
        Where it has mistakes; all are named, with their lines.
    InputError
        Where its id cannot be the name of a file.
    """
    if len(text.encode("utf-8", "surrogatepass")) > MAX_BYTES:
        raise LimitSetError(f"A limit set has at most {MAX_BYTES} bytes.")
    found = read_text(text.replace("\r\n", "\n").replace("\r", "\n"), name or "the set")
    if not _is_name(found.id) or _EDITION.fullmatch(found.id):
        raise InputError(
            f"The id {found.id!r} cannot be the name of a file. Give at most {_LONGEST} small "
            "letters and digits, with single dashes between them, and no dot and number at its end."
        )
    return found


def save(at: Session, text: str, *, name: str | None = None) -> Saved:
    """Check a limit set and keep it in the workspace.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    text : str
        The TOML.
    name : str, optional
        The set that was opened to be changed; None for a new one.

    Returns
    -------
    Saved
        Under which name it lies. Where the set that was opened holds for somebody, that is a new
        edition, and the other stays as it is.

    Raises
    ------
    LimitSetError
        Where it has mistakes; all are named, with their lines. Nothing is kept.
    InputError
        Where a set of that id is there already, or nothing would be different.
    UnknownRecordError
        Where the set that was opened is not there.
    OutputError
        Where it cannot be written.
    """
    from lungwort.paper.write import write_bytes  # noqa: PLC0415 - only here

    found = check(text, f"{name}.toml" if name else "")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    # Within a change nobody puts the set in force meanwhile.
    with at.recording() as (workspace, change, said):
        folder = workspace.folder / FOLDER
        held = _held(change, workspace.folder)
        if name is None:
            target = _fresh(folder, found)
        else:
            target = _target(_path(workspace.folder, name), found, text, held)
        folder.mkdir(exist_ok=True)
        if not target.exists() and len(_files(workspace.folder)) >= MOST_SETS:
            raise InputError(
                f"{MOST_SETS} limit sets lie in the workspace already. Take those away that nobody "
                "needs."
            )
        write_bytes(text.encode("utf-8"), target)
    is_edition = name is not None and target.stem != name
    remarks = list(said)
    if is_edition:
        holders = ", ".join(one.name for one in held.get(f"{name}.toml", ()))
        if holders:
            remarks.append(
                f"{name} holds for {holders} and stays as it is. The new edition holds nowhere "
                "until it is put in force."
            )
    elif not held.get(target.name):
        remarks.append("It holds nowhere until it is put in force at a site or a supply.")
    return Saved(
        name=target.stem,
        said=f"The limit set {found.title} is kept as {target.stem}"
        + (", a new edition." if is_edition else "."),
        remarks=tuple(remarks),
    )


def use(at: Session, name: str, holder: str, reason: str | None) -> Done:
    """Put a limit set of the workspace in force at a site or a supply.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Name of its file, without its ending.
    holder : str
        ``site:ID`` or ``supply:ID``.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where the set cannot be used, nothing would be different, or there is no reason.
    UnknownRecordError
        Where there is no such set, site or supply.
    """
    from lungwort.jobs.catalogue import site, supply  # noqa: PLC0415 - only here

    found = find(at.where, name)
    if found.problem:
        raise InputError(f"The limit set {name} cannot be put in force: {found.problem}")
    kept = f"{FOLDER}/{found.name}.toml"
    kind, _, thing = holder.partition(":")
    if kind == "site" and thing:
        return site.change(at, thing, site.SiteFacts(limit_set=kept), reason)
    if kind == "supply" and thing:
        return supply.change(at, thing, supply.SupplyFacts(limit_set=kept), reason)
    raise InputError("Choose the site or the supply that the set is to hold for.")


def holders(where: Where) -> tuple[Holder, ...]:
    """Name the sites and supplies that a set can be put in force at.

    Parameters
    ----------
    where : Where
        Which workspace.

    Returns
    -------
    tuple of Holder
        Those in use, sites first.
    """
    with opened(where, read_only=True) as workspace:
        return tuple(
            Holder(kind, one.id, one.title or one.name)
            for kind, records in (
                ("site", workspace.register.all(Site)),
                ("supply", workspace.register.all(Supply)),
            )
            for one in records
            if one.in_use
        )


def _files(workspace: Path) -> list[Path]:
    folder = workspace / FOLDER
    if not folder.is_dir():
        return []
    return sorted(
        one for one in folder.iterdir() if one.is_file() and is_kept(f"{FOLDER}/{one.name}")
    )


def _path(workspace: Path, name: str) -> Path:
    path = workspace / FOLDER / f"{name}.toml"
    if not is_kept(f"{FOLDER}/{name}.toml") or not path.is_file():
        raise UnknownRecordError("There is no limit set of your own of that name.")
    return path


def _own(path: Path, held: dict[str, list[Holder]]) -> OwnSet:
    holders = tuple(held.get(path.name, ()))
    try:
        return OwnSet(name=path.stem, found=load_file(path), held=holders)
    except LimitSetError as error:
        return OwnSet(name=path.stem, found=None, problem=str(error), held=holders)


def _held(register: Reader, workspace: Path) -> dict[str, list[Holder]]:
    # Retired things too: their past is judged anew by the file that they name.
    held: dict[str, list[Holder]] = {}
    records: list[tuple[str, Site | Supply]] = [("site", one) for one in register.all(Site)]
    records += [("supply", one) for one in register.all(Supply)]
    for kind, one in records:
        name = kept_name(one.limit_set, workspace)
        if is_kept(name):
            holder = Holder(kind, one.id, one.title or one.name)
            held.setdefault(name.removeprefix(f"{FOLDER}/"), []).append(holder)
    return held


def _is_name(text: str) -> bool:
    return (
        _NAME.fullmatch(text) is not None
        and len(text) <= _LONGEST
        and _RESERVED.fullmatch(text) is None
    )


def _fresh(folder: Path, found: LimitSet) -> Path:
    target = folder / f"{found.id}.toml"
    if target.exists():
        raise InputError(
            f"There is a limit set {found.id} of your own already. Open it to change it, or give "
            "another id."
        )
    return target


def _target(opened_file: Path, found: LimitSet, text: str, held: dict[str, list[Holder]]) -> Path:
    """Say into which file a set goes that was opened to be changed."""
    match = _EDITION.fullmatch(opened_file.stem)
    stem = match["stem"] if match else opened_file.stem
    if found.id != stem:
        return _fresh(opened_file.parent, found)
    before = opened_file.read_text(encoding="utf-8-sig", errors="replace")
    if before == text:
        raise InputError("Nothing changes: the set is kept like that already.")
    if not held.get(opened_file.name):
        return opened_file
    if _same_content(opened_file, found):
        # Only the layout or a comment differs: no verdict by it would.
        return opened_file
    number = 2
    while (new := opened_file.with_name(f"{stem}.{number}.toml")).exists():
        number += 1
    return new


def _same_content(path: Path, found: LimitSet) -> bool:
    try:
        return load_file(path).digest == found.digest
    except LimitSetError:
        return False
