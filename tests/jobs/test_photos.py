"""Photos of tests by hand: what is taken in, what is refused, and where they go."""

from __future__ import annotations

import zipfile
from datetime import timedelta
from pathlib import Path

import pytest
from tests.jobs.tablet_kit import BEGIN, PNG, furnish, session

from lungwort.errors import InputError, RegisterError, UnknownRecordError
from lungwort.jobs import hand_test as job
from lungwort.jobs import photos
from lungwort.jobs.pack import Request, pack
from lungwort.register import model as r
from lungwort.register.verify import verify
from lungwort.register.workspace import Workspace

LATER = BEGIN + timedelta(minutes=10)

# First bytes as the formats' own documents print them.
# PNG: W3C PNG (third edition), 5.2: 137 80 78 71 13 10 26 10.
# JPEG: ITU-T T.81, B.1.1.3: SOI = FFD8, followed by a marker that begins with FF.
# WebP: RFC 9649, 2.4: 'RIFF', file size, 'WEBP'.
# HEIC: ISO/IEC 14496-12, 4.3, and 23008-12, annex B (brands); from memory.
KNOWN = {
    "image/png": bytes([137, 80, 78, 71, 13, 10, 26, 10]) + bytes(8),
    "image/jpeg": bytes.fromhex("ffd8ffe0") + bytes(8),
    "image/webp": b"RIFF" + bytes([4, 0, 0, 0]) + b"WEBPVP8 ",
    "image/heic": bytes([0, 0, 0, 24]) + b"ftypheic" + bytes(4) + b"mif1heic",
}


@pytest.fixture
def yard(sqlite_workspace: Workspace) -> Workspace:
    """Furnish a workspace."""
    furnish(sqlite_workspace)
    return sqlite_workspace


@pytest.mark.parametrize("kind", KNOWN)
def test_pictures_are_known_by_their_first_bytes(kind: str) -> None:
    """Whatever the file is called."""
    assert photos.media_type_of(KNOWN[kind]) == kind
    assert kind in r.PHOTO_TYPES


def test_a_phone_s_picture_with_the_brand_among_the_compatible_ones() -> None:
    """The major brand may be another one."""
    content = bytes([0, 0, 0, 24]) + b"ftypmsf1" + bytes(4) + b"mif1heic"
    assert photos.media_type_of(content) == "image/heic"


@pytest.mark.parametrize(
    "content",
    [
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"<html><body>\xff\xd8\xff",
        b"GIF89a" + bytes(20),
        b"%PDF-1.7",
        b"MZ" + bytes(30),
        b"RIFF" + bytes(4) + b"AVI ",
        bytes([0, 0, 0, 20]) + b"ftypavif" + bytes(4) + b"avif",
        bytes([255, 255, 255, 255]) + b"ftyp",
        b"\x89PNG\n",
    ],
    ids=["svg", "html", "gif", "pdf", "exe", "avi", "avif", "box", "mangled png"],
)
def test_what_is_no_photo_is_refused(content: bytes) -> None:
    """Nothing that a browser would run is kept as a picture."""
    with pytest.raises(InputError, match="no photo that can be kept"):
        photos.media_type_of(content)


def test_too_large_and_empty_are_refused(yard: Workspace) -> None:
    """With what to do; the test is as it was."""
    run_id = job.start(session(yard, BEGIN), "hose-1").id
    at = session(yard, LATER)
    with pytest.raises(InputError, match=r"has 12\.0 MB; one has at most 12 MB"):
        photos.attach(at, run_id, "rows", "a.png", PNG + bytes(photos.MOST_BYTES))
    with pytest.raises(InputError, match="photo is empty"):
        photos.attach(at, run_id, "rows", "a.png", b"")
    with pytest.raises(InputError, match=r"no step 'roof'.*Known: prepare"):
        photos.attach(at, run_id, "roof", "a.png", PNG)
    assert list((yard.folder / "files").iterdir()) == []


def test_names_are_made_harmless(yard: Workspace) -> None:
    """Folders, signs that no file system takes, and nothing at all."""
    run_id = job.start(session(yard, BEGIN), "hose-1").id
    at = session(yard, LATER)
    given = ["../../x/rows.png", 'C:\\x\\<b>"y".png', "\u202e\n", "." * 300]
    made = [
        photos.attach(at, run_id, "", name, PNG + bytes([number])).name
        for number, name in enumerate(given)
    ]
    assert made == ["rows.png", "by.png", "photo", "photo"]


def test_as_many_as_are_taken(yard: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    """One too many is told; the same one again is none."""
    monkeypatch.setattr(photos, "MOST_PHOTOS", 1)
    run_id = job.start(session(yard, BEGIN), "hose-1").id
    at = session(yard, LATER)
    first = photos.attach(at, run_id, "rows", "a.png", PNG)
    with pytest.raises(InputError, match="takes no more"):
        photos.attach(at, run_id, "rows", "b.png", PNG + b"x")
    assert photos.read(at.where, run_id, first.sha256).content == PNG


def test_a_photo_is_added_to_a_test_on_record_once(yard: Workspace) -> None:
    """Later, by whoever tests; shown again only by its own test."""
    run_id = job.start(session(yard, BEGIN), "hose-1").id
    done = job.abort(session(yard, LATER), run_id, "rain")
    at = session(yard, LATER + timedelta(minutes=1))
    made = photos.add(at, done.record.id, "rows", "rows.png", PNG)
    again = photos.add(at, done.record.id, "rows", "other.png", PNG)
    assert again.record == made.record
    assert "nothing was added" in again.said
    (photo,) = photos.of_test(at.where, done.record.id)
    shown = photos.read(at.where, done.record.id, photo.photo_sha256)
    assert (shown.name, shown.media_type, shown.content) == ("rows.png", "image/png", PNG)
    with pytest.raises(RegisterError, match="has no such photo"):
        photos.read(at.where, done.record.id, "0" * 64)
    with pytest.raises(UnknownRecordError):
        photos.attach(at, run_id, "rows", "a.png", PNG)
    assert verify(yard).problems == ()


def test_a_pack_carries_the_photos(yard: Workspace, tmp_path: Path) -> None:
    """As they came, and listed; the pack passes its own check."""
    run_id = job.start(session(yard, BEGIN), "hose-1").id
    photos.attach(session(yard, LATER), run_id, "rows", "rows.png", PNG)
    job.abort(session(yard, LATER), run_id, "rain")
    at = session(yard, LATER + timedelta(minutes=1))
    target = tmp_path / "pack.zip"
    pack(at.where, Request(supply="yard", target=target), now=at.now)
    with zipfile.ZipFile(target) as file:
        (name,) = [one for one in file.namelist() if one.startswith("photos/")]
        assert name.endswith(".png")
        assert file.read(name) == PNG
