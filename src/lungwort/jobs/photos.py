"""Photos of tests by hand: taken in as they come, shown, and added to a test on record."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import attrs
from attrs import frozen

from lungwort.errors import InputError, RegisterError
from lungwort.jobs import _hand_test_files as files
from lungwort.jobs import _hand_test_record as records
from lungwort.jobs.catalogue.shape import Done
from lungwort.jobs.opening import changer, changing, opened
from lungwort.register.model import HandTest, Person, Photo
from lungwort.spot.procedures import read_procedure
from lungwort.spot.run_model import TakenPhoto

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from lungwort.jobs.catalogue.shape import Session
    from lungwort.jobs.opening import Where

MOST_BYTES: Final = 12 * 1024 * 1024
"""Largest photo that is taken [byte]."""
MOST_PHOTOS: Final = 60
"""Most photos of one test [1]."""

_JPEG: Final = b"\xff\xd8\xff"
_PNG: Final = b"\x89PNG\r\n\x1a\n"
_HEIC_BRANDS: Final = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1"})
_LONGEST_NAME: Final = 120


@frozen(kw_only=True)
class Shown:
    """A photo as it is handed out.

    Parameters
    ----------
    name : str
        Name of its file.
    media_type : str
        What kind of picture it is.
    content : bytes
        All of it, as it came.
    """

    name: str
    media_type: str
    content: bytes


def media_type_of(content: bytes) -> str:
    """Tell what kind of picture a file is by what it begins with.

    Parameters
    ----------
    content : bytes
        The file.

    Returns
    -------
    str
        One of `lungwort.register.model.PHOTO_TYPES`.

    Raises
    ------
    InputError
        Where it is none of them.

    References
    ----------
    JPEG: ITU-T T.81, B.1.1.3 (markers: FF D8, then FF). PNG: W3C PNG (third edition), 5.2
    (signature). WebP: RFC 9649, 2.4 ('RIFF', size, 'WEBP'). HEIC: ISO/IEC 14496-12, 4.3 (box
    'ftyp' with its brands) and ISO/IEC 23008-12, annex B (brands); the two ISO documents from
    memory.

    Examples
    --------
    >>> media_type_of(bytes([0xFF, 0xD8, 0xFF, 0xE0]) + bytes(20))
    'image/jpeg'
    """
    if content.startswith(_JPEG):
        return "image/jpeg"
    if content.startswith(_PNG):
        return "image/png"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "image/webp"
    if content[4:8] == b"ftyp":
        length = min(int.from_bytes(content[:4], "big"), 256)
        brands = [content[8:12], *(content[at : at + 4] for at in range(16, length, 4))]
        if _HEIC_BRANDS.intersection(brands):
            return "image/heic"
    raise InputError(
        "The file is no photo that can be kept. Take a JPEG, PNG, WebP or HEIC picture; what it is "
        "called does not matter."
    )


def _name(given: str) -> str:
    last = given.replace("\\", "/").rsplit("/", 1)[-1]
    kept = "".join(one for one in last if one.isprintable() and one not in '<>:"|?*').strip(" .")
    return kept[-_LONGEST_NAME:].strip(" .") or "photo"


def _checked(content: bytes) -> str:
    if not content:
        raise InputError("The photo is empty. Take it again.")
    if len(content) > MOST_BYTES:
        raise InputError(
            f"The photo has {len(content) / 1024 / 1024:.1f} MB; one has at most "
            f"{MOST_BYTES // 1024 // 1024} MB. Take it with a lower resolution."
        )
    return media_type_of(content)


def attach(
    at: Session, run_id: str, step: str, name: str, content: bytes, *, taken: datetime | None = None
) -> TakenPhoto:
    """Attach a photo to a test under way; the same one twice at one step is kept once.

    Parameters
    ----------
    at : Session
        Where and when.
    run_id : str
        Name of the test.
    step : str
        Step of its procedure; empty for the test as a whole.
    name : str
        Name of the file.
    content : bytes
        All of it.
    taken : datetime, optional
        When it was taken, UTC; never later than now and never before the test was begun.

    Returns
    -------
    TakenPhoto
        As it is kept.

    Raises
    ------
    InputError
        Where it is no photo, too large, or one too many.
    UnknownRecordError
        Where no such test is under way.
    """
    media_type = _checked(content)
    with opened(at.where) as workspace, workspace.lock():
        run = files.load(workspace, run_id)
        if records.same_test(workspace.register, run) is not None:
            raise RegisterError(
                "The test is on record already. Add the photo on the page of the test."
            )
        _check_step(step, [one.id for one in run.procedure.steps])
        if len(run.photos) >= MOST_PHOTOS:
            raise InputError(f"The test has {MOST_PHOTOS} photos already, and takes no more.")
        sha256 = workspace.put_file(content)
        same = [one for one in run.photos if (one.sha256, one.step) == (sha256, step)]
        if same:
            return same[0]
        photo = TakenPhoto(
            step=step,
            name=_name(name),
            media_type=media_type,
            sha256=sha256,
            size_bytes=len(content),
            time=max(run.started, min(taken or at.now, at.now)),
        )
        files.save(workspace, attrs.evolve(run, photos=(*run.photos, photo)))
        return photo


def _check_step(step: str, known: Iterable[str]) -> None:
    listed = tuple(known)
    if step and step not in listed:
        raise InputError(
            f"The procedure has no step {step!r}, so no photo can belong to it. Known: "
            f"{', '.join(listed)}."
        )


def add(at: Session, test_id: str, step: str, name: str, content: bytes) -> Done:
    """Add a photo to a test on record.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    test_id : str
        Id of the test.
    step : str
        Step of its procedure; empty for the test as a whole.
    name : str
        Name of the file.
    content : bytes
        All of it.

    Returns
    -------
    Done
        What was recorded; the same photo twice at one step is recorded once.

    Raises
    ------
    InputError
        Where it is no photo, too large, or one too many.
    """
    media_type = _checked(content)
    with opened(at.where) as workspace:
        register = workspace.register
        test = register.get(HandTest, test_id)
        procedure = read_procedure(
            workspace.read_file(test.procedure_sha256).decode("utf-8", errors="replace"),
            f"procedure of {test.id}",
            shipped=True,
        )
        _check_step(step, [one.id for one in procedure.steps])
        before = register.all(Photo, hand_test_id=test.id)
        if len(before) >= MOST_PHOTOS:
            raise InputError(f"The test has {MOST_PHOTOS} photos already, and takes no more.")
        sha256 = workspace.put_file(content)
        for one in before:
            if (one.photo_sha256, one.step) == (sha256, step):
                return Done(one, "The photo is on record already; nothing was added.")
        who = changer(register, at.by)
        with changing(workspace, who.name, now=at.now, clock_is_right=at.clock_is_right) as change:
            made = change.add(
                Photo(
                    hand_test_id=test.id,
                    step=step,
                    name=_name(name),
                    media_type=media_type,
                    photo_sha256=sha256,
                    size_bytes=len(content),
                    time=at.now,
                    by_id=change.get(Person, who.name).id,
                )
            )
    return Done(made, f"The photo {made.name} is on record with its SHA-256 {sha256[:12]}….")


def of_test(where: Where, test_id: str) -> tuple[Photo, ...]:
    """List the photos of a test on record.

    Parameters
    ----------
    where : Where
        The workspace.
    test_id : str
        Id of the test.

    Returns
    -------
    tuple of Photo
        In the order in which they were added.
    """
    with opened(where, read_only=True) as workspace:
        test = workspace.register.get(HandTest, test_id)
        found = workspace.register.all(Photo, hand_test_id=test.id)
    return tuple(sorted(found, key=lambda one: (one.time, one.seq)))


def read(where: Where, test_id: str, sha256: str) -> Shown:
    """Give a photo of a test, on record or under way.

    Parameters
    ----------
    where : Where
        The workspace.
    test_id : str
        Id of the test, or name of one under way.
    sha256 : str
        Digest of the photo.

    Returns
    -------
    Shown
        The photo, checked against its digest.

    Raises
    ------
    RegisterError
        Where the test has no such photo, or its file is missing or was altered.
    """
    with opened(where, read_only=True) as workspace:
        if test_id in files.ids(workspace):
            named = [
                (one.name, one.media_type, one.sha256)
                for one in files.load(workspace, test_id).photos
            ]
        else:
            test = workspace.register.get(HandTest, test_id)
            named = [
                (one.name, one.media_type, one.photo_sha256)
                for one in workspace.register.all(Photo, hand_test_id=test.id)
            ]
        for name, media_type, digest in named:
            if digest == sha256:
                return Shown(name=name, media_type=media_type, content=workspace.read_file(sha256))
    raise RegisterError("This test has no such photo. Go back to the page of the test.")
