"""The pack and the script in it: sound ones pass, and every alteration is found by Python alone."""

from __future__ import annotations

import ast
import hashlib
import json
import os
import shutil
import subprocess
import sys
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests import record_kit as kit

from lungwort.errors import OutputError, RegisterError
from lungwort.jobs.opening import Where
from lungwort.jobs.pack import Request, pack
from lungwort.paper import verify_pack
from lungwort.paper.pack import (
    Member,
    PackSheet,
    ProvedEntry,
    ProvedHead,
    pack_members,
    safe_name,
    script,
    write_pack,
)
from lungwort.register import merkle
from lungwort.register.canonical import canonical

NOW = datetime(2026, 5, 4, 10, 20, 31, tzinfo=UTC)
LEAVES = [merkle.leaf_hash(bytes([number])) for number in range(40)]


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make the pack of a whole record once."""
    folder = tmp_path_factory.mktemp("pack")
    kit.build(folder / "workspace")
    pack(Where(folder / "workspace"), Request(supply="yard", target=folder / "yard.zip"), now=NOW)
    return folder / "yard.zip"


@pytest.fixture(scope="module")
def outside(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Put the script where nothing else is, as an inspector keeps it."""
    path = tmp_path_factory.mktemp("inspector") / "verify_pack.py"
    path.write_bytes(script())
    return path


def run(command: Path, *arguments: object, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a script by Python alone: no site packages, no environment, from another folder."""
    return subprocess.run(
        [sys.executable, "-I", "-S", str(command), *map(str, arguments)],
        cwd=folder,
        check=False,
        capture_output=True,
        encoding="utf-8",
        env={"PYTHONIOENCODING": "utf-8", "SYSTEMROOT": os.environ.get("SYSTEMROOT", "")},
    )


def altered(sound: Path, target: Path, changes: dict[str, bytes | None]) -> Path:
    """Copy a pack with other, added (new names) or removed (None) members."""
    with zipfile.ZipFile(sound) as old, zipfile.ZipFile(target, "w") as new:
        for info in old.infolist():
            content = changes.get(info.filename, old.read(info))
            if content is not None:
                new.writestr(info, content)
        for name in changes.keys() - set(old.namelist()):
            new.writestr(name, changes[name] or b"")
    return target


def said(path: Path, heads: list[tuple[int, str]] | None = None) -> str:
    """Check a pack in this process and give all that does not fit."""
    report = verify_pack.check(path, heads)
    return "\n".join(f"{where}: {what}" for where, what in report.problems)


def forged(sound: Path, target: Path, changes: dict[str, bytes | None]) -> Path:
    """Alter members as one who can hash: the list of files and its digest are made anew."""
    with zipfile.ZipFile(sound) as old:
        manifest = json.loads(old.read("manifest.json"))
    listed = {one["path"]: one for one in manifest["files"]}
    for name, content in changes.items():
        if content is None:
            del listed[name]
        else:
            digest = hashlib.sha256(content).hexdigest()
            listed[name] = {"path": name, "sha256": digest, "size_bytes": len(content), "about": ""}
    manifest["files"] = list(listed.values())
    text = json.dumps(manifest).encode()
    line = f"{hashlib.sha256(text).hexdigest()}  manifest.json\n".encode()
    return altered(sound, target, {**changes, "manifest.json": text, "manifest.sha256": line})


def read(path: Path, name: str) -> bytes:
    """Give a member of a pack."""
    with zipfile.ZipFile(path) as archive:
        return archive.read(name)


def names(path: Path, start: str = "") -> list[str]:
    """List the members of a pack."""
    with zipfile.ZipFile(path) as archive:
        return [name for name in archive.namelist() if name.startswith(start)]


# --- The script, as an inspector runs it --------------------------------------------------------


def test_a_sound_pack_passes(sound: Path, outside: Path, tmp_path: Path) -> None:
    """By the ZIP, by its folder, and by the script of the pack itself."""
    with zipfile.ZipFile(sound) as archive:
        archive.extractall(tmp_path / "unpacked")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()

    for done in (
        run(outside, sound, folder=elsewhere),
        run(outside, tmp_path / "unpacked", folder=elsewhere),
        run(tmp_path / "unpacked" / "verify_pack.py", folder=elsewhere),
    ):
        assert (done.returncode, done.stderr) == (0, "")
        assert "RESULT: everything in this pack fits together." in done.stdout
        assert "2 certificates, 2 verdicts, 2 tests by hand, 2 log imports" in done.stdout
        assert "What it does not prove:" in done.stdout
        assert "Note: Newest state of the supply in this pack: withdrawn" in done.stdout
        assert "Note: Finding F-2026-0001 is open: smell of oil reported" in done.stdout
    assert sorted(one.name for one in (tmp_path / "unpacked").iterdir() if one.is_file()) == [
        "README.txt",
        "manifest.json",
        "manifest.sha256",
        "proofs.json",
        "verify_pack.py",
    ]


def test_an_older_python(sound: Path, outside: Path, tmp_path: Path) -> None:
    """The oldest that runs here, where there is one; the next test looks at the grammar."""
    for version in ("3.8", "3.9", "3.10"):
        found = shutil.which(f"python{version}")
        if found and not subprocess.run([found, "-V"], check=False, capture_output=True).returncode:
            break
    else:
        pytest.skip("no older Python runs here")
    done = subprocess.run(
        [found, "-I", "-S", str(outside), str(sound)],
        check=False,
        cwd=tmp_path,
        capture_output=True,
        encoding="utf-8",
    )

    assert (done.returncode, done.stderr) == (0, "")


def test_the_script_is_python_3_8_and_imports_the_standard_library_alone() -> None:
    """Its grammar is that of 3.8 (PEP 569), and nothing of lungwort is in it."""
    tree = ast.parse(script(), feature_version=(3, 8))
    imported = {
        alias.name.split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for alias in node.names
    } | {
        (node.module or "").split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
    }

    assert imported <= sys.stdlib_module_names
    assert b"\r" not in script()


def test_heads_from_paper(sound: Path, outside: Path, tmp_path: Path) -> None:
    """The right one fits, another one does not, and one without a proof is not taken for proved."""
    report = verify_pack.check(sound)
    number, size, root = report.heads[0]
    right = run(outside, sound, "--head", f"{size}:{root}", folder=tmp_path)
    wrong = run(outside, sound, "--head", f"{size}:{'ab' * 32}", folder=tmp_path)
    other = run(outside, sound, "--head", f"3:{'ab' * 32}", folder=tmp_path)
    later = run(outside, sound, "--head", f"999:{'ab' * 32}", folder=tmp_path)
    own = run(outside, sound, "--head", f"{report.size}:{report.root}", folder=tmp_path)
    nonsense = run(outside, sound, "--head", "12", folder=tmp_path)

    assert number == "YARD-2026-0001"
    assert right.returncode == own.returncode == 0
    assert f"The head {size}:{root} that was kept outside fits." in right.stdout
    assert wrong.returncode == other.returncode == later.returncode == 1
    assert f"It was kept outside, and the pack says {size}:{root}." in wrong.stdout
    assert "The pack holds no proof for a head of that size." in other.stdout
    assert "Ask for a newer pack." in later.stdout
    assert nonsense.returncode == 2
    assert "a head is SIZE:ROOT" in nonsense.stderr


def test_there_must_be_something_to_check(outside: Path, tmp_path: Path) -> None:
    """No such file, no ZIP, an empty folder, an empty ZIP."""
    (tmp_path / "text.zip").write_text("no ZIP", encoding="utf-8")
    (tmp_path / "empty").mkdir()
    zipfile.ZipFile(tmp_path / "empty.zip", "w").close()
    missing = run(outside, tmp_path / "none.zip", folder=tmp_path)

    assert missing.returncode == 2
    assert "does not exist" in missing.stderr
    for name in ("text.zip", "empty", "empty.zip"):
        done = run(outside, tmp_path / name, folder=tmp_path)

        assert (done.returncode, done.stderr) == (1, "")
        assert "NOT FIT" in done.stdout
        assert "fits together" not in done.stdout


def test_one_alteration_by_the_real_script(sound: Path, outside: Path, tmp_path: Path) -> None:
    """The sweep below runs in this process; this one shows that the script says the same."""
    name = names(sound, "certificates/")[0]
    content = read(sound, name)
    path = altered(sound, tmp_path / "a.zip", {name: content[:-1] + b"!"})
    done = run(outside, path, folder=tmp_path)

    assert (done.returncode, done.stderr) == (1, "")
    assert f"DOES NOT FIT: {name}: Its SHA-256 is " in done.stdout
    assert "Do not rely on this pack." in done.stdout
    assert "What this proves" not in done.stdout


# --- Every member altered, removed; members added -----------------------------------------------


def test_every_member_altered(sound: Path, tmp_path: Path) -> None:
    """One bit in the middle of each, the list of files and its digest among them."""
    with zipfile.ZipFile(sound) as archive:
        archive.extractall(tmp_path)
    for name in names(sound):
        content = read(sound, name)
        place = len(content) // 2
        other = content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :]
        (tmp_path / name).write_bytes(other)
        found = said(tmp_path)
        (tmp_path / name).write_bytes(content)

        assert (name if name != "manifest.sha256" else "manifest.json") in found, name
    assert said(tmp_path) == ""


def test_every_member_removed(sound: Path, tmp_path: Path) -> None:
    """Each by itself."""
    with zipfile.ZipFile(sound) as archive:
        archive.extractall(tmp_path)
    for name in names(sound):
        (tmp_path / name).unlink()
        found = said(tmp_path)
        (tmp_path / name).write_bytes(read(sound, name))

        assert f"{name}: It is " in found, name
    assert said(tmp_path) == ""


@pytest.mark.parametrize("name", ["README.txt", "manifest.json", "proofs.json", "verify_pack.py"])
def test_a_member_altered_or_removed_in_the_zip(sound: Path, tmp_path: Path, name: str) -> None:
    """As above, without unpacking."""
    other = altered(sound, tmp_path / "a.zip", {name: read(sound, name) + b" "})
    gone = altered(sound, tmp_path / "b.zip", {name: None})

    assert f"{name}: Its SHA-256 is " in said(other)
    assert f"{name}: It is " in said(gone)


@pytest.mark.parametrize("name", ["more.txt", "journal/000099.json", "certificates/X.pdf"])
def test_an_added_member(sound: Path, tmp_path: Path, name: str) -> None:
    """Wherever it lies."""
    path = altered(sound, tmp_path / "a.zip", {name: b"added"})

    assert f"{name}: It is not listed: it was added to the pack." in said(path)


def test_two_swapped_members(sound: Path, tmp_path: Path) -> None:
    """The papers of two certificates."""
    one, other = names(sound, "certificates/")
    path = altered(sound, tmp_path / "a.zip", {one: read(sound, other), other: read(sound, one)})

    assert one in said(path)
    assert other in said(path)


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_member_twice(sound: Path, tmp_path: Path) -> None:
    """One that a reader sees, and one that the check sees."""
    path = tmp_path / "a.zip"
    shutil.copy(sound, path)
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("README.txt", read(sound, "README.txt"))

    assert "README.txt: It is in the pack twice." in said(path)


@pytest.mark.parametrize("name", ["../evil.txt", "/evil.txt", "a\\..\\evil.txt", "C:evil.txt"])
def test_a_member_that_leads_out(sound: Path, tmp_path: Path, name: str) -> None:
    """It must not be unpacked."""
    path = altered(sound, tmp_path / "a.zip", {name: b"evil"})

    assert "Its name leads out of the pack. Do not unpack it." in said(path)


def test_an_added_folder(sound: Path, tmp_path: Path) -> None:
    """Folders of the files there are harmless; others are told."""
    path = tmp_path / "a.zip"
    shutil.copy(sound, path)
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("journal/", b"")
    assert said(path) == ""
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("hidden/", b"")
    assert "hidden/: A folder without files was added" in said(path)


def test_what_systems_leave_in_folders_is_remarked_on(sound: Path, tmp_path: Path) -> None:
    """It is no part of the pack and no alteration."""
    with zipfile.ZipFile(sound) as archive:
        archive.extractall(tmp_path)
    (tmp_path / "journal" / ".DS_Store").write_bytes(b"x")
    report = verify_pack.check(tmp_path)

    assert report.problems == []
    assert "journal/.DS_Store was left there by an operating system." in report.remarks


def test_line_ends_of_the_digest_line(sound: Path, tmp_path: Path) -> None:
    """Another system's line end is no alteration of the digest."""
    line = read(sound, "manifest.sha256").replace(b"\n", b"\r\n")

    assert said(altered(sound, tmp_path / "a.zip", {"manifest.sha256": line})) == ""


def test_a_damaged_zip(sound: Path, tmp_path: Path) -> None:
    """Cut short, or with a byte of its packed data changed."""
    content = sound.read_bytes()
    (tmp_path / "cut.zip").write_bytes(content[: len(content) // 2])
    place = content.index(b"EVIDENCE"[:4]) if b"EVIDENCE"[:4] in content else 200
    (tmp_path / "bit.zip").write_bytes(content[:place] + b"\x00\x01" + content[place + 2 :])

    assert "neither a folder nor a ZIP that can be read" in said(tmp_path / "cut.zip")
    assert "cannot be read" in said(tmp_path / "bit.zip")


# --- By one who can hash: the list of files is made anew ----------------------------------------


def _entry(sound: Path, kind: str) -> tuple[str, dict[str, Any]]:
    for name in names(sound, "journal/"):
        content = json.loads(read(sound, name))
        if content["kind"] == kind:
            return name, content
    raise AssertionError(kind)


@pytest.mark.parametrize(
    "kind",
    ["certificate", "verdict", "hand_test", "log_import", "finding", "outlet", "calibration"],
)
def test_a_rewritten_entry(sound: Path, tmp_path: Path, kind: str) -> None:
    """With its record and the list: it is not proved to be in the journal."""
    name, content = _entry(sound, kind)
    content["record"]["note"] = "forged"
    record = f"records/{kind}/{content['id']}-{content['version']}.json"
    changes: dict[str, bytes | None] = {
        name: canonical(content).encode(),
        record: json.dumps(content["record"]).encode(),
    }
    found = said(forged(sound, tmp_path / "a.zip", changes))

    assert f"{name}: It is not proved to be entry {content['seq']} of the journal" in found


@pytest.mark.parametrize("other", [{"state": "void"}, None])
def test_a_rewritten_record(sound: Path, tmp_path: Path, other: dict[str, str] | None) -> None:
    """The text for people says otherwise than the entry, or nothing."""
    name = names(sound, "records/hand_test/")[0]
    record = None if other is None else json.loads(read(sound, name)) | other
    found = said(forged(sound, tmp_path / "a.zip", {name: json.dumps(record).encode()}))

    assert f"{name}: It is not the record of entry " in found


@pytest.mark.parametrize(
    "start",
    [
        "certificates/",
        "results/",
        "inputs/",
        "logger-files/",
        "procedures/",
        "papers/",
        "readings/",
    ],
)
def test_a_rewritten_file(sound: Path, tmp_path: Path, start: str) -> None:
    """What a record names by its digest cannot be changed."""
    for name in names(sound, start):
        content = read(sound, name)
        if name.endswith(".csv") and start == "readings/":
            continue
        found = said(forged(sound, tmp_path / "a.zip", {name: content + b" "}))

        assert "No file of the pack has the digest" in found, name


def test_a_table_with_other_rows(sound: Path, tmp_path: Path) -> None:
    """The CSV is a copy for people; its number of readings is held against the record."""
    name = next(one for one in names(sound, "readings/") if one.endswith(".csv"))
    lines = read(sound, name).splitlines(keepends=True)
    found = said(forged(sound, tmp_path / "a.zip", {name: b"".join(lines[:-1])}))

    assert f"{name}: It has 120 readings, and 121 were recorded." in found


def test_a_table_left_out(sound: Path, tmp_path: Path) -> None:
    """Of the list of tables."""
    manifest = json.loads(read(sound, "manifest.json"))
    manifest["tables"] = {}
    text = json.dumps(manifest).encode()
    line = f"{hashlib.sha256(text).hexdigest()}  manifest.json\n".encode()
    path = altered(sound, tmp_path / "a.zip", {"manifest.json": text, "manifest.sha256": line})

    assert "Its readings are not in the pack as CSV." in said(path)


def _without(sound: Path, tmp_path: Path, kind: str, version: int | None = None) -> str:
    proofs = json.loads(read(sound, "proofs.json"))
    changes: dict[str, bytes | None] = {}
    for name in names(sound, "journal/"):
        content = json.loads(read(sound, name))
        if content["kind"] == kind and version in {None, content["version"]}:
            changes[name] = None
            changes[f"records/{kind}/{content['id']}-{content['version']}.json"] = None
            proofs["entries"] = [one for one in proofs["entries"] if one["file"] != name]
    changes["proofs.json"] = json.dumps(proofs).encode()
    return said(forged(sound, tmp_path / "a.zip", changes))


@pytest.mark.parametrize("kind", ["verdict", "hand_test", "log_import", "person", "instrument"])
def test_what_others_name_cannot_be_left_out(sound: Path, tmp_path: Path, kind: str) -> None:
    """A certificate without its verdict, a verdict without its tests."""
    assert "which is not in the pack" in _without(sound, tmp_path, kind)


def test_a_version_cannot_be_left_out(sound: Path, tmp_path: Path) -> None:
    """The first one of a supply that was changed."""
    assert "Versions [2] are in the pack: some were left out." in _without(
        sound, tmp_path, "supply", 1
    )


def test_rewritten_proofs(sound: Path, tmp_path: Path) -> None:
    """Each kind of change in them."""
    proofs = json.loads(read(sound, "proofs.json"))

    def found(**change: Any) -> str:
        content = json.dumps(proofs | change).encode()
        return said(forged(sound, tmp_path / "a.zip", {"proofs.json": content}))

    entries, consistency = proofs["entries"], proofs["consistency"]
    other = {**entries[0], "path": entries[1]["path"]}
    head = {"size": proofs["head"]["size"], "root": "ab" * 32}
    assert found() == ""
    assert "is not proved to be entry 1 " in found(entries=[other, *entries[1:]])
    assert "is not proved" in found(entries=[{**entries[0], "path": None}, *entries[1:]])
    assert "is not proved" in found(entries=[{**entries[0], "path": ["x"]}, *entries[1:]])
    assert "There is no proof of it." in found(entries=entries[1:])
    assert "is in the pack twice" in found(entries=[*entries, entries[0]])
    assert "a proof that names no file" in found(entries=[*entries, 7])
    assert "It proves no entry." in found(entries=[])
    assert "It is for another head" in found(head=head)
    assert "It does not say under which head" in said(
        forged(sound, tmp_path / "a.zip", {"proofs.json": b"[]"})
    )
    assert "The journal is not proved to go on from the head that it carries" in found(
        consistency=[]
    )
    broken = [{**consistency[0], "path": consistency[0]["path"][:-1]}, *consistency[1:]]
    assert "PROOFS" not in found(consistency=broken)
    assert "The journal is not proved to go on from the head" in found(consistency=broken)
    assert "a proof that names no head" in found(consistency=[*consistency, {}])


def test_a_pack_under_another_head(sound: Path, tmp_path: Path) -> None:
    """Head of list and proofs are changed together: no entry is proved any more."""
    head = {"size": 31, "root": "ab" * 32}
    proofs = json.dumps(json.loads(read(sound, "proofs.json")) | {"head": head}).encode()
    path = forged(sound, tmp_path / "a.zip", {"proofs.json": proofs})
    manifest = json.loads(read(path, "manifest.json")) | {"head": head}
    text = json.dumps(manifest).encode()
    line = f"{hashlib.sha256(text).hexdigest()}  manifest.json\n".encode()
    found = said(
        altered(path, tmp_path / "b.zip", {"manifest.json": text, "manifest.sha256": line})
    )

    assert found.count("is not proved to be entry") == len(names(sound, "journal/"))


@pytest.mark.parametrize(
    "manifest",
    [b"", b"[]", b"{}", b"\xff", b'{"format": "lungwort-pack/2"}', b"[" * 100_000],
)
def test_a_list_that_is_none(sound: Path, tmp_path: Path, manifest: bytes) -> None:
    """No traceback, and nothing proved."""
    report = verify_pack.check(altered(sound, tmp_path / "a.zip", {"manifest.json": manifest}))

    assert any(where == "manifest.json" for where, _ in report.problems)
    assert report.root == ""


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=5,
)


@given(
    st.sampled_from(["files", "head", "tables", "title"]),
    st.sampled_from(["entries", "consistency", "head"]),
    JSON,
    JSON,
)
@settings(deadline=None, max_examples=25)
def test_any_shape_is_survived(
    sound: Path, tmp_path_factory: pytest.TempPathFactory, one: str, other: str, a: Any, b: Any
) -> None:
    """Whatever stands where a list or a head should: a report, never a traceback."""
    folder = tmp_path_factory.mktemp("shape")
    proofs = json.dumps(json.loads(read(sound, "proofs.json")) | {other: b}).encode()
    path = forged(sound, folder / "a.zip", {"proofs.json": proofs})
    text = json.dumps(json.loads(read(path, "manifest.json")) | {one: a}).encode()
    line = f"{hashlib.sha256(text).hexdigest()}  manifest.json\n".encode()
    path = altered(path, folder / "b.zip", {"manifest.json": text, "manifest.sha256": line})
    report = verify_pack.check(path)

    assert report.problems
    assert "NOT FIT" in verify_pack.shown(report)


# --- The proofs of the script are those of the register -----------------------------------------


@given(st.integers(1, 40), st.data())
@settings(deadline=None, max_examples=80)
def test_the_script_checks_proofs_as_the_register_does(size: int, data: st.DataObject) -> None:
    """Two writings of RFC 9162's algorithms agree, on right and on wrong proofs."""
    tree = merkle.Tree(LEAVES)
    index = data.draw(st.integers(0, size - 1))
    path = tree.inclusion(index, size)
    assert verify_pack.root_from_inclusion(LEAVES[index], index, size, path) == tree.root(size)
    old = data.draw(st.integers(1, size))
    proof = tree.consistency(old, size)
    heads = (old, tree.root(old)), (size, tree.root(size))
    assert verify_pack.is_consistent(*heads, proof)
    drop = data.draw(st.integers(0, len(path)))
    if drop < len(path):
        wrong = path[:drop] + path[drop + 1 :]
        found = verify_pack.root_from_inclusion(LEAVES[index], index, size, wrong)
        assert found != tree.root(size)
    if proof:
        assert not verify_pack.is_consistent(*heads, proof[:-1])
        assert not verify_pack.is_consistent(*heads, [*proof, proof[0]])
        assert not verify_pack.is_consistent(heads[0], (size, LEAVES[0]), proof)
    assert not verify_pack.is_consistent(*heads, [*proof, LEAVES[0]])


# --- Packs of a journal in which nonsense was recorded ------------------------------------------

RESULT = json.dumps({"verdict": "conforms", "limit_set": {"digest": "ab" * 32}}).encode()


def sha(content: bytes) -> str:
    """Give the digest of a content."""
    return hashlib.sha256(content).hexdigest()


def paper(root: str | None = None, result: bytes = RESULT) -> bytes:
    """Write as much of a paper as the check looks at."""
    code = f"lungwort-certificate/1 N-1 sha256:{sha(result)} head:1:{root}" if root else ""
    return b"%%PDF-1.7 %s\nstream\n%s\nendstream" % (code.encode(), result)


def journal_of(*records: tuple[str, str, dict[str, Any]]) -> tuple[list[str], merkle.Tree]:
    """Chain entries over records, as whoever may record could."""
    contents: list[str] = []
    tree = merkle.Tree()
    previous = "0" * 64
    versions: dict[str, int] = {}
    for seq, (kind, thing, record) in enumerate(records, start=1):
        versions[thing] = versions.get(thing, 0) + 1
        content = canonical(
            {
                "format": "lungwort-journal/1",
                "seq": seq,
                "time": "2026-03-02T08:00:00.000000Z",
                "who": "Wenna Harkle",
                "action": "add",
                "kind": kind,
                "id": thing,
                "version": versions[thing],
                "record": {"voided": False, **record},
                "previous": previous,
            }
        )
        previous = sha(content.encode())
        contents.append(content)
        tree.append(merkle.leaf_hash(content.encode()))
    return contents, tree


def packed(
    target: Path, records: list[tuple[str, str, dict[str, Any]]], files: dict[str, bytes]
) -> Path:
    """Make a pack of these records; certificates carry the head that stands in them."""
    contents, tree = journal_of(*records)
    entries = []
    for seq, content in enumerate(contents, start=1):
        whole = json.loads(content)
        path = tuple(one.hex() for one in tree.inclusion(seq - 1))
        entries.append(
            ProvedEntry(
                seq, whole["kind"], whole["id"], whole["version"], content, whole["record"], path
            )
        )
    heads = tuple(
        ProvedHead(size, tree.root(size).hex(), tuple(one.hex() for one in tree.consistency(size)))
        for size in range(1, tree.size + 1)
    )
    sheet = _sheet(
        entries=tuple(entries), heads=heads, tree_size=tree.size, tree_root=tree.root().hex()
    )
    members = [Member(name, content, "") for name, content in files.items()]
    return write_pack(pack_members(sheet, members), target, NOW)


VERDICT: dict[str, Any] = {
    "overall": "conforms",
    "limit_set_digest": "ab" * 32,
    "result_sha256": sha(RESULT),
}
ROOT = journal_of(("verdict", "v", VERDICT))[1].root().hex()
CERTIFICATE: dict[str, Any] = {
    "number": "N-1",
    "verdict_id": "v",
    "tree_size": 1,
    "tree_root": ROOT,
    "result_sha256": sha(RESULT),
    "pdf_sha256": sha(paper(ROOT)),
}
FILES = {"results/v.json": RESULT, "certificates/N-1.pdf": paper(ROOT)}


def certified(target: Path, *, files: dict[str, bytes] | None = None, **other: Any) -> Path:
    """Make a pack of one verdict and one certificate, with other fields in the certificate."""
    records = [("verdict", "v", VERDICT), ("certificate", "c", CERTIFICATE | other)]
    return packed(target, records, FILES if files is None else files)


def test_the_small_pack_passes(tmp_path: Path) -> None:
    """The counterpart of those below."""
    report = verify_pack.check(certified(tmp_path / "a.zip"), [(1, ROOT), (2, "ab" * 32)])

    assert [what for _, what in report.problems] == [
        f"It was kept outside, and the pack says 2:{report.root}."
    ]
    assert report.heads == [("N-1", 1, ROOT)]
    assert report.remarks == [f"The head 1:{ROOT} that was kept outside fits."]


@pytest.mark.parametrize(
    ("other", "telling"),
    [
        ({"tree_size": 2}, "The journal is not proved to go on from the head that it carries."),
        ({"tree_root": "cd" * 32}, "not proved to go on from the head that it carries."),
        ({"tree_root": None}, "not proved to go on from the head that it carries."),
        ({"tree_size": "1"}, "not proved to go on from the head that it carries."),
        ({"verdict_id": "w"}, "Its result is not the one of the verdict that it names."),
        ({"result_sha256": sha(paper(ROOT))}, "Its result is not the one of the verdict"),
        ({"result_sha256": sha(paper(ROOT))}, "The result that it carries is not the one"),
        ({"pdf_sha256": sha(RESULT)}, "results/v.json: It is the paper of certificate N-1"),
    ],
)
def test_a_certificate_that_was_made_up(
    tmp_path: Path, other: dict[str, Any], telling: str
) -> None:
    """It is in the journal, and cannot be."""
    assert telling in said(certified(tmp_path / "a.zip", **other))


def test_a_certificate_that_carries_its_own_head(tmp_path: Path) -> None:
    """A head that was there only after it."""
    plain = [("verdict", "v", VERDICT), ("person", "p", {})]
    tree = journal_of(*plain)[1]
    late = CERTIFICATE | {"tree_size": 2, "tree_root": tree.root().hex()}
    # The certificate is entry 2 here, so it cannot know a head of two entries; another tree has it.
    found = said(packed(tmp_path / "a.zip", [plain[0], ("certificate", "c", late)], FILES))

    assert "certificate N-1: The journal is not proved to go on from" in found


def test_a_paper_that_shows_another_head(tmp_path: Path) -> None:
    """Its code is not that of the record."""
    other = paper("cd" * 32)
    files = {"results/v.json": RESULT, "certificates/N-1.pdf": other}
    found = said(certified(tmp_path / "a.zip", files=files, pdf_sha256=sha(other)))

    assert f"It shows the head 1:{'cd' * 32}, not the recorded one." in found


@pytest.mark.parametrize("overall", ["does_not_conform", "not_proven"])
def test_a_certificate_of_air_that_does_not_conform(tmp_path: Path, overall: str) -> None:
    """The verdict is as recorded; it earns no certificate."""
    result = json.dumps({"verdict": overall, "limit_set": {"digest": "ab" * 32}}).encode()
    verdict = VERDICT | {"overall": overall, "result_sha256": sha(result)}
    root = journal_of(("verdict", "v", verdict))[1].root().hex()
    pdf = paper(root, result)
    certificate = CERTIFICATE | {
        "tree_root": root,
        "result_sha256": sha(result),
        "pdf_sha256": sha(pdf),
    }
    path = packed(
        tmp_path / "a.zip",
        [("verdict", "v", verdict), ("certificate", "c", certificate)],
        {"results/v.json": result, "certificates/N-1.pdf": pdf},
    )

    assert said(path) == (
        "certificate N-1: The verdict that it names does not say that the air conforms."
    )


@pytest.mark.parametrize(
    ("other", "telling"),
    [
        ({"overall": "not_proven"}, "Its verdict is not the one of entry 1"),
        ({"limit_set_digest": "cd" * 32}, "Its limit set is not the one of entry 1"),
    ],
)
def test_a_verdict_that_says_otherwise_than_its_result(
    tmp_path: Path, other: dict[str, Any], telling: str
) -> None:
    """The result tells."""
    path = packed(tmp_path / "a.zip", [("verdict", "v", VERDICT | other)], {"r.json": RESULT})

    assert telling in said(path)


@pytest.mark.parametrize("result", [b"no JSON", b"[]", b'{"limit_set": 7}'])
def test_a_result_that_is_none(tmp_path: Path, result: bytes) -> None:
    """No traceback."""
    verdict = VERDICT | {"result_sha256": sha(result)}
    found = said(packed(tmp_path / "a.zip", [("verdict", "v", verdict)], {"r.json": result}))

    assert found.startswith("r.json: It")


def test_what_was_voided_is_told(tmp_path: Path) -> None:
    """A certificate and its verdict that count no more are no alteration, and must be known."""
    reason = {"voided": True, "reason": "wrong outlet"}
    path = packed(
        tmp_path / "a.zip",
        [
            ("verdict", "v", VERDICT),
            ("certificate", "c", CERTIFICATE),
            ("verdict", "v", VERDICT | reason),
            ("certificate", "c", CERTIFICATE | reason),
        ],
        FILES,
    )
    report = verify_pack.check(path)

    assert report.problems == []
    assert "Certificate N-1 was voided and counts no more: wrong outlet" in report.remarks
    assert "The verdict of certificate N-1 was voided: wrong outlet" in report.remarks
    assert report.heads == [("N-1", 1, ROOT)]


def test_the_standing_is_told(tmp_path: Path) -> None:
    """Newest state by its time; a finding is closed by a closing that was not voided."""
    state = {"state": "in_service", "time": "2026-03-03T00:00:00Z", "why": "fit"}
    path = packed(
        tmp_path / "a.zip",
        [
            ("supply_state", "s", state | {"state": "withdrawn", "time": "2026-03-01T00:00:00Z"}),
            ("supply_state", "t", state),
            ("finding", "f", {"number": "F-1", "text": "oil"}),
            ("finding", "g", {"number": "F-2", "text": "odour"}),
            ("finding", "h", {"number": "F-3", "text": "wrong", "voided": True}),
            ("action", "a", {"kind": "close", "finding_id": "f"}),
            ("action", "b", {"kind": "close", "finding_id": "g", "voided": True}),
        ],
        {},
    )

    assert verify_pack.check(path).remarks == [
        "Newest state of the supply in this pack: in service, 2026-03-03T00:00:00Z (fit).",
        "Finding F-2 is open: odour",
    ]


def test_a_chain_that_does_not_go_on(tmp_path: Path) -> None:
    """Both entries are proved under the head, and the second does not name the first."""
    first, second = journal_of(("person", "p", {}), ("person", "q", {}))[0]
    broken = canonical(json.loads(second) | {"previous": "ab" * 32})
    tree = merkle.Tree([merkle.leaf_hash(one.encode()) for one in (first, broken)])
    entries = tuple(
        ProvedEntry(
            seq,
            "person",
            thing,
            1,
            content,
            json.loads(content)["record"],
            tuple(one.hex() for one in tree.inclusion(seq - 1)),
        )
        for seq, thing, content in ((1, "p", first), (2, "q", broken))
    )
    sheet = _sheet(entries=entries, tree_size=2, tree_root=tree.root().hex())
    path = write_pack(pack_members(sheet, ()), tmp_path / "a.zip", NOW)

    assert said(path) == "entry 2: It does not go on from entry 1."


@pytest.mark.parametrize("content", [b"[]", b"{}", b"no JSON", b'{"format": "lungwort-journal/1"}'])
def test_an_entry_that_is_none(sound: Path, tmp_path: Path, content: bytes) -> None:
    """No traceback."""
    name = names(sound, "journal/")[0]
    found = said(forged(sound, tmp_path / "a.zip", {name: content}))

    assert f"{name}: It is no " in found


def test_the_script_runs_in_this_process_too(
    sound: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As the command line of lungwort uses it."""
    assert verify_pack.main([str(sound)]) == 0
    assert "everything in this pack fits together" in capsys.readouterr().out
    assert verify_pack.main([str(altered(sound, tmp_path / "a.zip", {"README.txt": None}))]) == 1
    assert "RESULT: 1 thing does NOT FIT." in capsys.readouterr().out
    assert verify_pack.main([str(tmp_path / "none")]) == 2
    assert "does not exist. Give the ZIP or its folder." in capsys.readouterr().err


# --- Making it ----------------------------------------------------------------------------------


def _sheet(**other: Any) -> PackSheet:
    content = canonical(
        {
            "format": "lungwort-journal/1",
            "seq": 1,
            "time": "2026-03-02T08:00:00.000000Z",
            "who": "Wenna Harkle",
            "action": "add",
            "kind": "person",
            "id": "person-a",
            "version": 1,
            "record": {"id": "person-a", "name": "Wenna Harkle"},
            "previous": "0" * 64,
        }
    )
    root = merkle.leaf_hash(content.encode()).hex()
    given: dict[str, Any] = {
        "workspace": "Merrowgate Slipway (invented)",
        "site": "Merrowgate Slipway",
        "supply": "Yard compressor",
        "period": "all that is on record",
        "made_at": NOW,
        "program_version": "0.1.0",
        "tree_size": 1,
        "tree_root": root,
        "entries": (
            ProvedEntry(1, "person", "person-a", 1, content, json.loads(content)["record"], ()),
        ),
    } | other
    return PackSheet(**given)


def test_the_smallest_pack_passes(tmp_path: Path) -> None:
    """One entry, no file."""
    path = write_pack(pack_members(_sheet(), ()), tmp_path / "a.zip", NOW)

    assert said(path) == ""
    assert "Nothing in this pack certifies the air." in read(path, "README.txt").decode()


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    """Order and times are fixed; the files are given in another order."""
    files = [Member("results/a.json", b"{}", "a"), Member("inputs/b.json", b"{} ", "b")]
    one = write_pack(pack_members(_sheet(), files), tmp_path / "a.zip", NOW).read_bytes()
    other = write_pack(pack_members(_sheet(), files[::-1]), tmp_path / "b.zip", NOW).read_bytes()

    assert one == other
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        assert {info.date_time for info in archive.infolist()} == {(2026, 5, 4, 10, 20, 30)}
        assert archive.namelist()[:4] == [
            "README.txt",
            "verify_pack.py",
            "manifest.json",
            "manifest.sha256",
        ]


def test_the_readme_says_what_is_and_is_not_proved() -> None:
    """With head, certificates, state, and all sentences of the script, in short lines."""
    sheet = _sheet(
        certificates=(("YARD-2026-0001", "issued 2026-03-10"),),
        standing=("Newest state of the supply in this pack: withdrawn.",),
        heads=(ProvedHead(1, _sheet().tree_root, ()),),
    )
    readme = next(one for one in pack_members(sheet, ()) if one.path == "README.txt").content
    assert isinstance(readme, bytes)
    text = " ".join(readme.decode().split())

    assert f"Head: 1:{sheet.tree_root}" in text
    assert "YARD-2026-0001: issued 2026-03-10" in text
    assert "! Newest state of the supply in this pack: withdrawn." in text
    for one in (*verify_pack.PROVES, *verify_pack.PROVES_NOT):
        assert f"- {one}" in text
    assert "a competent person decide" in text
    assert max(len(line) for line in readme.decode().splitlines()) <= 90


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("YARD-2026-0001", "YARD-2026-0001"),
        ("../../etc/passwd", "%2F..%2Fetc%2Fpasswd"),
        ("a\\b:c*.csv", "a%5Cb%3Ac%2A.csv"),
        ("Müller.csv", "M%C3%BCller.csv"),
        ("..", "_"),
        ("", "_"),
        ("\ud800.csv", "%ED%A0%80.csv"),
    ],
)
def test_names_are_safe_on_every_system(name: str, safe: str) -> None:
    """Nothing leads out, and nothing is refused."""
    assert safe_name(name) == safe


def test_a_long_name_keeps_its_end() -> None:
    """The ending says what it is."""
    assert safe_name("x" * 300 + ".csv").endswith("xx.csv")
    assert len(safe_name("x" * 300 + ".csv")) == 80


def test_a_check_that_refuses_leaves_nothing(tmp_path: Path) -> None:
    """An older file of the same name stays as it was."""

    def refuse(path: Path) -> None:
        assert path.exists()
        raise RegisterError("It does not pass.")

    target = tmp_path / "a.zip"
    target.write_bytes(b"older")

    with pytest.raises(RegisterError, match="does not pass"):
        write_pack(pack_members(_sheet(), ()), target, NOW, refuse)
    assert [one.name for one in tmp_path.iterdir()] == ["a.zip"]
    assert target.read_bytes() == b"older"


def test_a_file_that_is_gone_is_named(tmp_path: Path) -> None:
    """Before anything is written."""
    lost = Member("results/a.json", tmp_path / "gone", "a")

    with pytest.raises(OutputError, match="gone cannot be read for the pack"):
        pack_members(_sheet(), [lost])


def test_a_target_that_cannot_be_is_named(tmp_path: Path) -> None:
    """A folder, or a folder that is not there."""
    with pytest.raises(OutputError, match="is a folder"):
        write_pack((), tmp_path, NOW)
    with pytest.raises(OutputError, match="does not exist"):
        write_pack((), tmp_path / "none" / "a.zip", NOW)
