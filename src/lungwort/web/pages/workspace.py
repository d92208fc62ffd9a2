"""The workspace: what it holds, its backup, and the head of its tree to note down."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Final

from fastapi import APIRouter
from fastapi.responses import FileResponse, Response
from starlette.background import BackgroundTask

from lungwort.errors import LungwortError
from lungwort.jobs import workspace as job
from lungwort.web.context import Keeping, Looking

router = APIRouter()

PLACE: Final = "/workspace"
GROUP: Final = 4


@router.get(PLACE)
def workspace(ctx: Looking) -> Response:
    """Show what the workspace holds."""
    found = job.show(ctx.where, now=ctx.now)
    root = found.plain["journal"]["root"]
    large = {"Head of the tree", "Journal", "Name"}
    return ctx.page(
        "workspace/workspace.html",
        name=found.plain["name"],
        facts=[one for one in found.facts if one[0] not in large],
        counts=found.counts,
        remarks=found.remarks,
        size=found.plain["journal"]["size"],
        root=[root[place : place + GROUP] for place in range(0, len(root), GROUP)],
    )


@router.get(f"{PLACE}/backup")
def backup(ctx: Keeping) -> Response:
    """Give all of the workspace as one file."""
    folder = Path(tempfile.mkdtemp(prefix="lungwort-"))
    try:
        saved = job.backup(ctx.where, folder, now=ctx.now)
    except (LungwortError, OSError):
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return FileResponse(
        saved.file,
        filename=saved.file.name,
        media_type="application/octet-stream",
        background=BackgroundTask(shutil.rmtree, folder, ignore_errors=True),
    )


@router.post(f"{PLACE}/upgrade")
def upgrade(ctx: Keeping) -> Response:
    """Bring the database of an older lungwort to the form of this one."""
    made = job.upgrade(ctx.where)
    ctx.tell(made.said, next_steps=made.next_steps)
    return ctx.go(PLACE)
