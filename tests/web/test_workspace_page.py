"""The workspace: what it holds, its backup, the head to note down, and being brought up to date."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from tests.web.kit import NOW, Visitor, app_on, text_of, visitor_on

from lungwort.jobs import workspace as job
from lungwort.jobs.opening import Where


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


def test_an_old_workspace_is_brought_up_to_date(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A database of the first form cannot be read until somebody who may asks for the step."""
    from lungwort.register import migrate

    with monkeypatch.context() as older:
        older.setattr(migrate, "HEAD", "0001")
        folder = job.create(
            tmp_path / "old", name="Merrowgate (invented)", person="Wenna Harkle", now=NOW
        ).folder
    with visitor_on(app_on(folder)) as one:
        answer = one.get("/workspace")
        assert answer.status_code == 503
        assert 'action="/workspace/upgrade"' in answer.text
        said = one.done("/workspace/upgrade")
        assert "has the form of this lungwort" in said
        assert "Merrowgate (invented)" in one.page("/workspace")
