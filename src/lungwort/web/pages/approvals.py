"""Approvals: what waits for a second person, and what that person decides."""

from __future__ import annotations

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import InputError, LungwortError
from lungwort.jobs import approve as job
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.hand_test_pages import beginning
from lungwort.jobs.judge import view
from lungwort.web.context import Approving, Ctx, Looking, Testing
from lungwort.web.forms import REFUSED, attempt
from lungwort.web.lists import Cell, Column, Table, list_page
from lungwort.web.menu import N_
from lungwort.web.posted import Form, Posted

router = APIRouter()

STATE_WORDS = {
    "asked": N_("waits"),
    "approved": N_("approved"),
    "refused": N_("refused"),
}


@router.get("/approvals")
def listed(ctx: Looking) -> Response:
    """List what waits for a second person, and what was decided."""
    found = job.listed(ctx.where, now=ctx.now)
    rows = tuple(
        (
            Cell(
                ctx.wording.moment(one.decided_at, one.zone),
                sort=one.decided_at,
                href=f"/approvals/{one.id}",
            ),
            Cell(one.outlet, href=f"/outlets/{one.outlet_id}"),
            Cell(ctx.gettext(STATE_WORDS[one.state])),
            Cell(one.asked_by),
            Cell(one.decided_by),
            Cell(
                one.certificate or one.why,
                href=f"/certificates/{one.certificate}" if one.certificate else "",
            ),
        )
        for one in found
        if one.decided_at is not None
    )
    table = Table(
        key="approvals",
        columns=(
            Column("decided", N_("Decided")),
            Column("outlet", N_("Outlet")),
            Column("state", N_("State")),
            Column("asked", N_("Asked by")),
            Column("by", N_("Decided by")),
            Column("what", N_("Certificate, or why not")),
        ),
        rows=rows,
        empty=N_("Nothing was decided yet."),
        file_stem="approvals",
    )
    return list_page(
        ctx,
        "approvals/list.html",
        table,
        waiting=tuple(one for one in found if one.state == "asked"),
        not_asked=tuple(one for one in found if not one.state),
        ages={one.verdict_id: _age(ctx, one) for one in found},
    )


def _age(ctx: Ctx, one: job.Waiting) -> str:
    age = one.age(ctx.now)
    if age is None:
        return ctx.gettext("not known")
    if age.days < 1:
        return ctx.gettext("less than a day old")
    return ctx.wording.ngettext("%(num)s day old", "%(num)s days old", age.days) % {"num": age.days}


@router.post("/approvals/ask/{verdict_id}")
def ask(ctx: Testing, verdict_id: str) -> Response:
    """Ask a second person for the approval of a verdict on record."""

    def do() -> str:
        done = job.ask(ctx.session(), verdict_id)
        ctx.tell(done)
        return f"/approvals/{done.record.id}"

    def again(error: LungwortError) -> Response:
        ctx.tell(str(error), kind="refused")
        return ctx.go("/approvals")

    return attempt(ctx, do, again=again)


@router.get("/approvals/{approval_id}")
def shown(ctx: Looking, approval_id: str) -> Response:
    """Show what a second person is asked to approve."""
    return _shown(ctx, approval_id)


def _shown(
    ctx: Ctx, approval_id: str, error: LungwortError | None = None, reason: str = ""
) -> Response:
    look = job.look(ctx.where, approval_id, now=ctx.now)
    waiting = look.waiting
    by = ctx.by
    asked_it = ctx.user.signed_in and by in {waiting.asked_by_id, waiting.asked_by}
    return ctx.page(
        "approvals/approval.html",
        status=200 if error is None else REFUSED,
        look=look,
        waiting=waiting,
        age=_age(ctx, waiting),
        seen=view(look.verdict),
        error="" if error is None else str(error),
        reason=reason,
        asked_it=asked_it,
        alone=not ctx.user.signed_in,
        others=tuple(
            (id_, name) for id_, name in beginning(ctx.where).people if id_ != waiting.asked_by_id
        ),
        state_words=STATE_WORDS,
    )


def _second(ctx: Ctx, form: Posted) -> Session:
    """Say who decides: who is signed in, or on this computer alone who is chosen."""
    session = ctx.session()
    if ctx.user.signed_in:
        return session
    chosen = form.text("second")
    if chosen is None:
        raise InputError("Choose who decides: another person than the one who asked.")
    return evolve(session, by=chosen)


@router.post("/approvals/{approval_id}/approve")
def approve(ctx: Approving, approval_id: str, form: Form) -> Response:
    """Approve: the certificate is issued."""

    def do() -> str:
        if not form.flag("looked"):
            raise InputError("Say first that you looked at the evidence and the verdict yourself.")
        ctx.tell(job.approve(_second(ctx, form), approval_id))
        return f"/approvals/{approval_id}"

    return attempt(ctx, do, again=lambda error: _shown(ctx, approval_id, error))


@router.post("/approvals/{approval_id}/refuse")
def refuse(ctx: Approving, approval_id: str, form: Form) -> Response:
    """Refuse, with a reason."""

    def do() -> str:
        ctx.tell(job.refuse(_second(ctx, form), approval_id, form.text("reason")), kind="minded")
        return f"/approvals/{approval_id}"

    return attempt(
        ctx, do, again=lambda error: _shown(ctx, approval_id, error, form.text("reason") or "")
    )
