"""The page of a long task: how far it has come, and where it leads."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import UnknownRecordError
from lungwort.web.context import Looking
from lungwort.web.tasks import DONE, tasks

router = APIRouter()


@router.get("/tasks/{task_id}")
def task(ctx: Looking, task_id: str) -> Response:
    """Show how far a task has come; once it is done, lead on to what came of it."""
    found = tasks(ctx.request.app).get(task_id, ctx.visit)
    if found is None:
        raise UnknownRecordError(
            "There is no such task. The server was started anew meanwhile, or somebody else "
            "started it. What was not done then is not on record: look whether it is there."
        )
    if found.state == DONE:
        return ctx.go(found.goes_to)
    alone = ctx.request.headers.get("HX-Request") == "true"
    notes = list(ctx.visit.notes)
    page = ctx.page("tasks/progress.html" if alone else "tasks/task.html", task=found)
    if found.state == DONE:
        # It ended while the page was made, which would then wait for nothing.
        ctx.visit.notes = notes
        return ctx.go(found.goes_to)
    return page
