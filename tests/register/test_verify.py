"""The check of a whole record: a sound one passes, and what is no alteration is remarked on."""

from __future__ import annotations

import json
import shutil
from datetime import timedelta
from pathlib import Path
from typing import Any

import attrs
import pytest
from tests import record_kit as kit

from lungwort import __version__
from lungwort.errors import RegisterError
from lungwort.jobs.judging import rejudge
from lungwort.register import model as m
from lungwort.register import verify as check_module
from lungwort.register.merkle import leaf_hash, tree_root
from lungwort.register.model import TreeHead, VerdictRecord
from lungwort.register.papers import carries, code_of, streams
from lungwort.register.verify import Checked, verify
from lungwort.register.workspace import Workspace, open_workspace


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the record once."""
    folder: Path = kit.build(tmp_path_factory.mktemp("kit") / "workspace").folder
    return folder


@pytest.fixture
def folder(template: Path, tmp_path: Path) -> Path:
    """Give a copy of it that may be spoiled."""
    shutil.copytree(template, tmp_path / "workspace")
    return tmp_path / "workspace"


def check(folder: Path, **given: Any) -> Checked:
    """Verify a workspace that is opened for reading."""
    with open_workspace(folder, read_only=True) as workspace:
        return verify(workspace, **given)


def test_a_sound_record_fits(tmp_path: Path, database: str) -> None:
    """On both databases: everything is looked at, verdicts are drawn again, nothing is wrong."""
    kit.build(tmp_path / "workspace", database)
    before = kit.bytes_below(tmp_path / "workspace")
    with open_workspace(tmp_path / "workspace", read_only=True) as workspace:
        found = verify(workspace, rejudge=lambda one: rejudge(workspace, one))
        head = workspace.register.head()
        entries = list(workspace.register.entries())

    assert found.problems == ()
    assert found.remarks == ()
    assert found.entries == found.records == len(entries)
    # Two of each: CSV, recipe, log document, procedure, inputs, result, PDF; one calibration paper.
    # The recipe of both imports is the same file.
    assert found.files == 15
    assert (found.parts, found.certificates, found.verdicts) == (2, 2, 2)
    assert found.head == head
    leaves = [leaf_hash(entry.content.encode()) for entry in entries]
    assert found.head == TreeHead(len(entries), tree_root(leaves).hex())
    assert kit.bytes_below(tmp_path / "workspace") == before


def test_an_empty_record_fits(workspace: Workspace) -> None:
    """One person, nothing else, on both databases."""
    found = verify(workspace)

    assert (found.entries, found.records, found.files, found.problems) == (1, 1, 0, ())


def test_progress_is_told(folder: Path) -> None:
    """From nothing to all."""
    told: list[tuple[int, int]] = []
    found = check(folder, progress=lambda done, total: told.append((done, total)))

    assert told[0] == (0, found.entries)
    assert told[-1] == (found.entries, found.entries)
    assert told == sorted(told)


def test_heads_kept_elsewhere_fit(folder: Path) -> None:
    """Every head that the record ever had."""
    with open_workspace(folder, read_only=True) as workspace:
        heads = [
            workspace.register.head(size) for size in range(workspace.register.head().size + 1)
        ]
        found = verify(workspace, known_heads=heads)

    assert found.problems == ()


def test_a_head_of_another_record_does_not_fit(folder: Path) -> None:
    """Of the same size and of a larger one."""
    size = check(folder).head.size
    found = check(folder, known_heads=[TreeHead(3, "ab" * 32), TreeHead(size + 1, "cd" * 32)])

    assert [one.where for one in found.problems] == [
        f"known head 3:{'ab' * 32}",
        f"known head {size + 1}:{'cd' * 32}",
    ]
    assert "is not the one that was recorded" in found.problems[0].what
    assert f"the journal holds {size}" in found.problems[1].what


def test_foreign_files_are_remarked_on(folder: Path) -> None:
    """What a crash left, or somebody put there, counts for nothing and is no alteration."""
    (folder / "files" / "notes.txt").write_text("mine", encoding="utf-8")
    (folder / "files" / ("ab" * 32)).write_bytes(b"left over")
    (folder / "readings" / "outlet=x").mkdir(parents=True)
    (folder / "readings" / "outlet=x" / ".lungwort-abc.part").write_bytes(b"half")
    found = check(folder)

    assert found.problems == ()
    assert found.remarks == (
        f"No record names the file files/{'ab' * 32}.",
        "No record names the file files/notes.txt.",
        "No record names the readings readings/outlet=x/.lungwort-abc.part.",
    )


def test_a_clock_that_went_back_is_remarked_on(sqlite_workspace: Workspace) -> None:
    """It was allowed, and it should be known."""
    register = sqlite_workspace.register
    first = register.entry(1).time
    with register.change(
        who=kit.ANSWERS, now=first - timedelta(hours=1), clock_is_right=True
    ) as one:
        one.add(m.Person(name=kit.TESTS))
    found = verify(sqlite_workspace)

    assert found.problems == ()
    assert len(found.remarks) == 1
    assert "The clock went back before entry 2 (person Idris Pellow, version 1)" in found.remarks[0]


def test_a_change_that_a_crash_kept_from_its_head_is_remarked_on(folder: Path) -> None:
    """Only the newest change can lack its line; a line cut off half is one, too."""
    heads = folder / "heads.txt"
    lines = heads.read_text(encoding="ascii").splitlines(keepends=True)
    heads.write_text("".join(lines[:-1]), encoding="ascii", newline="\n")
    lacking = check(folder)
    heads.write_text("".join(lines[:-1]) + lines[-1][:30], encoding="ascii", newline="\n")
    cut = check(folder)

    assert lacking.problems == cut.problems == ()
    assert "lacks the line of the newest change" in lacking.remarks[0]
    assert "was cut off, as by a crash" in cut.remarks[0]


def test_a_missing_line_in_the_middle_is_remarked_on(folder: Path) -> None:
    """Two processes that record at once can leave a gap; the heads around it hold all the same."""
    heads = folder / "heads.txt"
    lines = heads.read_text(encoding="ascii").splitlines(keepends=True)
    heads.write_text("".join(lines[:2] + lines[3:]), encoding="ascii", newline="\n")
    found = check(folder)

    assert found.problems == ()
    assert f"no line for the change that ended with entry {lines[2].split()[0]}" in found.remarks[0]


def test_line_ends_of_another_system_are_no_alteration(folder: Path) -> None:
    """As an editor on Windows writes them."""
    heads = folder / "heads.txt"
    heads.write_bytes(heads.read_bytes().replace(b"\n", b"\r\n"))

    assert check(folder).problems == ()


def test_a_change_that_is_recorded_meanwhile_is_no_alteration(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its entry is not seen yet, and its head is there already."""
    journal = check_module._journal

    def meanwhile(*given: Any) -> Any:
        with (
            open_workspace(folder) as other,
            other.register.change(who=kit.ANSWERS, now=kit.START.replace(month=5)) as change,
        ):
            change.add(m.Person(name="New Person"))
        return journal(*given)

    monkeypatch.setattr(check_module, "_journal", meanwhile)
    found = check(folder)
    monkeypatch.undo()

    assert (found.entries, found.problems, found.remarks) == (34, (), ())
    assert check(folder).entries == 35


def test_a_verdict_that_comes_out_otherwise_is_found(folder: Path) -> None:
    """The result on record must be what its inputs give."""
    found = check(folder, rejudge=lambda _: b"{}")

    assert [one.what for one in found.problems] == [
        "Drawn again from what it rests on, it does not give the same result."
    ] * 2
    assert "(verdict verdict-" in found.problems[0].where


def test_a_verdict_that_cannot_be_drawn_again_is_found(folder: Path) -> None:
    """With the reason."""

    def refuse(_: VerdictRecord) -> bytes:
        raise RegisterError("The inputs cannot be read.")

    found = check(folder, rejudge=refuse)

    assert found.problems[0].what == "It cannot be drawn again: The inputs cannot be read."


def test_verdicts_of_another_version_are_not_drawn_again(sqlite_workspace: Workspace) -> None:
    """Another version may say it otherwise; that is remarked on and is no alteration."""
    _verdict_of(sqlite_workspace, program_version="0.0.1", result_version="0.0.1")
    found = verify(sqlite_workspace, rejudge=lambda _: b"{}")

    assert found.problems == ()
    assert (
        f"1 verdict of lungwort 0.0.1 was not drawn again: this is {__version__}." in found.remarks
    )


@pytest.mark.parametrize(
    ("result", "telling"),
    [
        ({"verdict": "not_proven"}, "The verdict is 'not_proven' in its result and 'conforms'"),
        ({"limit_set": {"id": "other", "digest": "ab" * 32}}, "The limit set is 'other'"),
        ({"limit_set": {"id": "own", "digest": "cd" * 32}}, "The digest of the limit set is"),
        ({"limit_set": None}, "The limit set is None"),
        ({"version": "9"}, "The version of lungwort is '9'"),
        ([], "Its result is no JSON object"),
        (None, "Its result is no JSON."),
    ],
)
def test_a_record_that_says_otherwise_than_its_result_is_found(
    sqlite_workspace: Workspace, result: Any, telling: str
) -> None:
    """Somebody who may record could record a verdict that was never drawn."""
    _verdict_of(sqlite_workspace, result=result)
    found = verify(sqlite_workspace)

    assert any(telling in one.what for one in found.problems), found.problems


def _verdict_of(
    workspace: Workspace,
    *,
    program_version: str = __version__,
    result_version: str = __version__,
    result: Any = ...,
    **other: Any,
) -> VerdictRecord:
    now = workspace.register.entry(1).time
    said: Any = {
        "verdict": "conforms",
        "limit_set": {"id": "own", "digest": "ab" * 32},
        "version": result_version,
    }
    if result is None:
        content = b"no JSON"
    elif isinstance(result, list):
        content = b"[]"
    else:
        content = json.dumps(said | ({} if result is ... else result)).encode()
    with workspace.register.change(who=kit.ANSWERS, now=now) as change:
        site = change.find(m.Site, "slipway") or change.add(m.Site(name="slipway"))
        supply = change.find(m.Supply, "yard") or change.add(m.Supply(site_id=site.id, name="yard"))
        outlet = change.find(m.Outlet, "hose 1") or change.add(
            m.Outlet(supply_id=supply.id, name="hose 1")
        )
        given: dict[str, Any] = {
            "outlet_id": outlet.id,
            "supply_id": supply.id,
            "overall": "conforms",
            "limit_set": "own",
            "limit_set_digest": "ab" * 32,
            "inputs_sha256": workspace.put_file(b"inputs"),
            "result_sha256": workspace.put_file(content),
            "judged_at": now,
            "program_version": program_version,
            "by_id": change.who.id,
        } | other
        return change.add(VerdictRecord(**given))


def _certified(workspace: Workspace, verdict: VerdictRecord, pdf: bytes, **other: Any) -> None:
    now = workspace.register.entry(1).time
    with workspace.register.change(who=kit.ANSWERS, now=now) as change:
        head = change.head()
        given: dict[str, Any] = {
            "number": "YARD-1",
            "verdict_id": verdict.id,
            "outlet_id": verdict.outlet_id,
            "supply_id": verdict.supply_id,
            "issued_at": now,
            "issued_by_id": change.who.id,
            "tree_size": head.size,
            "tree_root": head.root,
            "result_sha256": verdict.result_sha256,
            "pdf_sha256": workspace.put_file(pdf),
        } | other
        change.add(m.Certificate(**given))


def _pdf_of(content: bytes, code: str = "") -> bytes:
    # As much of a PDF as the check looks at.
    return b"%%PDF-1.7\n%s\n1 0 obj <<>> stream\n%s\nendstream endobj" % (code.encode(), content)


def test_a_certificate_as_it_should_be_fits(sqlite_workspace: Workspace) -> None:
    """The counterpart of the next test."""
    verdict = _verdict_of(sqlite_workspace)
    _certified(
        sqlite_workspace, verdict, _pdf_of(sqlite_workspace.read_file(verdict.result_sha256))
    )

    assert verify(sqlite_workspace).problems == ()


@pytest.mark.parametrize(
    ("other", "telling"),
    [
        ({"tree_root": "ab" * 32}, "is not the one that was recorded"),
        ({"tree_size": 3}, "is not the one that was recorded"),
        ({"tree_size": 99}, "and is itself entry 6"),
        ({"tree_size": 0}, "and is itself entry 6"),
        ({"result_sha256": "other"}, "Its result is not the one of the verdict"),
    ],
)
def test_a_certificate_that_was_made_up_is_found(
    sqlite_workspace: Workspace, other: dict[str, Any], telling: str
) -> None:
    """Head, place in the journal, result."""
    verdict = _verdict_of(sqlite_workspace)
    if other.get("result_sha256") == "other":
        other = {"result_sha256": sqlite_workspace.put_file(b"another result")}
    pdf = _pdf_of(sqlite_workspace.read_file(other.get("result_sha256", verdict.result_sha256)))
    _certified(sqlite_workspace, verdict, pdf, **other)
    found = verify(sqlite_workspace)

    assert any(telling in one.what for one in found.problems), found.problems
    assert all("(certificate YARD-1, version 1)" in one.where for one in found.problems)


@pytest.mark.parametrize("overall", ["not_proven", "does_not_conform"])
def test_a_certificate_of_a_verdict_that_does_not_conform_is_found(
    sqlite_workspace: Workspace, overall: str
) -> None:
    """Whoever recorded it."""
    verdict = _verdict_of(sqlite_workspace, overall=overall, result={"verdict": overall})
    _certified(
        sqlite_workspace, verdict, _pdf_of(sqlite_workspace.read_file(verdict.result_sha256))
    )
    found = verify(sqlite_workspace)

    assert [one.what for one in found.problems] == [
        f"The verdict {verdict.id} does not say that the air conforms."
    ]


def test_a_certificate_of_other_air_is_found(sqlite_workspace: Workspace) -> None:
    """The verdict is of hose 1, the certificate says hose 2."""
    verdict = _verdict_of(sqlite_workspace)
    with sqlite_workspace.register.change(who=kit.ANSWERS, now=kit.START) as change:
        hose = change.add(m.Outlet(supply_id=verdict.supply_id, name="hose 2"))
    pdf = _pdf_of(sqlite_workspace.read_file(verdict.result_sha256))
    _certified(sqlite_workspace, verdict, pdf, outlet_id=hose.id)
    found = verify(sqlite_workspace)

    assert [one.what for one in found.problems] == [f"The verdict {verdict.id} is of other air."]


def test_a_paper_that_carries_or_shows_something_else_is_found(sqlite_workspace: Workspace) -> None:
    """Another result inside it, or another head in its code."""
    verdict = _verdict_of(sqlite_workspace)
    digest = verdict.result_sha256
    code = f"lungwort-certificate/1 YARD-1 sha256:{digest} head:2:{'ef' * 32}"
    _certified(sqlite_workspace, verdict, _pdf_of(b"another result", code))
    found = verify(sqlite_workspace)

    assert next(one.what for one in found.problems) == (
        "The result that its PDF carries is not the one that was recorded."
    )
    assert f"Its PDF shows the head 2:{'ef' * 32}, and " in found.problems[1].what


def test_the_papers_of_the_record_carry_what_is_looked_for(template: Path) -> None:
    """Real certificates, as typeset: the result is attached, and the code's text can be read."""
    with open_workspace(template, read_only=True) as workspace:
        for one in workspace.register.all(m.Certificate):
            pdf = workspace.read_file(one.pdf_sha256)

            assert carries(pdf, one.result_sha256)
            assert not carries(pdf, "ab" * 32)
            assert code_of(pdf) == (one.result_sha256, one.tree_size, one.tree_root)


@pytest.mark.parametrize(
    "content", [b"", b"nothing", b"stream\n", b"stream\nx", b"stream\r\nxendstream"]
)
def test_what_is_no_paper_carries_nothing(content: bytes) -> None:
    """No error either."""
    assert not carries(content, "ab" * 32)
    assert code_of(content) is None
    assert all(isinstance(one, bytes) for one in streams(content))


def test_a_head_at_the_time_of_another_change_is_found(folder: Path) -> None:
    """The time of a line is that of its change."""
    heads = folder / "heads.txt"
    lines = heads.read_text(encoding="ascii").splitlines()
    size, root, _ = lines[1].split()
    lines[1] = f"{size} {root} 2026-03-02T23:00:00.000000Z"
    heads.write_text("\n".join(lines) + "\n", encoding="ascii", newline="\n")
    found = check(folder)

    assert [one.where for one in found.problems] == ["heads.txt, line 2"]
    assert "Its time is 2026-03-02T23:00:00.000000Z, and entry" in found.problems[0].what


def test_problems_come_in_the_order_of_the_journal(folder: Path) -> None:
    """What belongs to no entry comes last."""
    with open_workspace(folder, read_only=True) as workspace:
        first, second = workspace.register.all(m.LogImport)
        (workspace.folder / second.parts[0].path).unlink()
        workspace.file_path(first.recipe_sha256).unlink()
    with (folder / "heads.txt").open("a", encoding="ascii", newline="\n") as heads:
        heads.write("nonsense\n")
    found = check(folder)

    assert found.problems[0].where.startswith(f"entry {first.seq} ")
    assert "(recipe_sha256) is missing" in found.problems[0].what
    assert found.problems[-1].where.startswith("heads.txt, line ")
    seqs = [int(one.where.split()[1]) for one in found.problems if one.where.startswith("entry")]
    assert seqs == sorted(seqs)


def test_the_result_is_plain_data(template: Path) -> None:
    """It can be shown by any face."""
    assert set(attrs.asdict(check(template))) == {
        "entries",
        "records",
        "files",
        "parts",
        "certificates",
        "verdicts",
        "head",
        "problems",
        "remarks",
    }
