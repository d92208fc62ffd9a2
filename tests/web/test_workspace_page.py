"""The workspace: what it holds, its backup, the head to note down, and being brought up to date."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from tests.web.kit import NOW, Visitor, text_of

from lungwort.errors import OldWorkspaceError
from lungwort.jobs import workspace as job
from lungwort.jobs.opening import Where

if TYPE_CHECKING:
    from typing import NoReturn


def test_the_head_is_shown_whole(reader: Visitor, year: Path) -> None:
    """The head is shown whole."""
    page = reader.page("/workspace")
    shown = re.search(r'<p class="head-words">(.*?)</p>', page)
    assert shown
    head = job.show(Where(workspace=year), now=NOW).plain["journal"]
    assert re.sub(r"<[^>]+>", "", shown[1]) == head["root"]
    assert f"With {head['size']} entries in the journal" in text_of(page)


def test_a_backup_can_be_brought_back(visitor: Visitor, folder: Path, tmp_path: Path) -> None:
    """A backup can be brought back."""
    answer = visitor.get("/workspace/backup")
    assert answer.status_code == 200
    assert "attachment" in answer.headers["content-disposition"]
    archive = tmp_path / "backup.zip"
    archive.write_bytes(answer.content)
    made = job.restore(archive, tmp_path / "again")
    before = job.show(Where(workspace=folder), now=NOW).plain["journal"]
    assert job.show(Where(workspace=made.folder), now=NOW).plain["journal"] == before


def test_it_is_brought_up_to_date_though_it_cannot_be_read(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is brought up to date though it cannot be read."""

    def old(*_: object, **__: object) -> NoReturn:
        raise OldWorkspaceError("The database is that of an older lungwort.")

    visitor.page("/today")
    with monkeypatch.context() as patch:
        patch.setattr(job, "show", old)
        answer = visitor.get("/workspace")
        assert answer.status_code == 503
        assert 'action="/workspace/upgrade"' in answer.text
    said = visitor.done("/workspace/upgrade")
    assert "has the form of this lungwort" in said
