"""Judging the air of an outlet: what would come of it, then for the record."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import InputError, LungwortError
from lungwort.jobs.certify import Certified, CertifyRequest, certify
from lungwort.jobs.held import STOP
from lungwort.jobs.judge import view
from lungwort.jobs.to_judge import ToJudge, to_judge, verdict_shown
from lungwort.web.context import Ctx, Looking, Testing
from lungwort.web.forms import REFUSED
from lungwort.web.menu import N_
from lungwort.web.posted import Form, Posted
from lungwort.web.tasks import Progress, tasks

if TYPE_CHECKING:
    from starlette.datastructures import QueryParams

router = APIRouter()

AT_ONCE_READINGS: Final = 1_500_000
"""Readings of an outlet up to which it is judged while the page is made; more in a task."""

_MOST_KEPT: Final = 40
_NAMES: Final = ("begin", "end", "decision", "guard_factor", "coverage", "join", "min_excursion")


@router.get("/judge")
def choose(ctx: Testing) -> Response:
    """Ask which outlet's air is to be judged."""
    from lungwort.jobs.hand_test_pages import beginning  # noqa: PLC0415 - only here

    return ctx.page("judge/choose.html", places=beginning(ctx.where).places)


@router.get("/judge/verdicts/{verdict_id}")
def verdict(ctx: Looking, verdict_id: str) -> Response:
    """Show a verdict on record, in large words."""
    done: Certified | None = _kept(ctx, "certified").get(verdict_id)
    shown = verdict_shown(ctx.where, verdict_id, draw=done is None)
    drawn = shown.verdict if done is None else done.verdict
    assert drawn is not None  # noqa: S101 - it is drawn where nothing is kept
    seen = view(drawn)
    return ctx.page(
        "judge/verdict.html",
        shown=shown,
        done=done,
        seen=seen,
        lapses=shown.record.lapses if done is None else done.lapses,
        stop=STOP,
    )


@router.get("/judge/{outlet_id}")
def foresee(ctx: Testing, outlet_id: str) -> Response:
    """Show what would come of judging; nothing is recorded."""
    place = to_judge(ctx.where, outlet_id, now=ctx.now)
    asked = ctx.request.query_params
    values = _values(asked)
    if place.readings > AT_ONCE_READINGS:
        address = f"/judge/{place.outlet_id}" + (f"?{asked}" if asked else "")
        mark = f"{place.outlet_id} {place.size} {ctx.now:%Y-%m-%d %H} {asked}"
        if mark not in _kept(ctx, "foreseen"):
            return _in_task(ctx, place, values, mark, address)
        return _page(ctx, place, values, _kept(ctx, "foreseen")[mark])
    try:
        request = _request(place, values)
        done = certify(ctx.where, evolve(request, dry_run=True, withdraw=False), ctx.now)
    except LungwortError as error:
        return _page(ctx, place, values, None, str(error), status=200)
    return _page(ctx, place, values, done)


def _in_task(ctx: Ctx, place: ToJudge, values: dict[str, Any], mark: str, address: str) -> Response:
    where, now, kept = ctx.where, ctx.now, _kept(ctx, "foreseen")

    def work(progress: Progress) -> str:
        progress(0, 0)
        request = _request(place, values)
        _keep(kept, mark, certify(where, evolve(request, dry_run=True, withdraw=False), now))
        return address

    task = tasks(ctx.request.app).start(
        f"Judging outlet {place.outlet}", work, by=ctx.visit, alone="read", back="/judge"
    )
    return ctx.go(f"/tasks/{task}")


def _kept(ctx: Ctx, name: str) -> dict[str, Any]:
    state = ctx.request.app.state
    if not hasattr(state, name):
        setattr(state, name, {})
    return getattr(state, name)  # type: ignore[no-any-return] # the state of an app may hold anything


def _keep(kept: dict[str, Any], mark: str, what: object) -> None:
    kept[mark] = what
    for old in list(kept)[:-_MOST_KEPT]:
        kept.pop(old, None)


def _values(asked: QueryParams | Posted) -> dict[str, Any]:
    """Read what was chosen, from an address or a form."""
    if isinstance(asked, Posted):
        several, text, flag = asked.texts, asked.text, asked.flag
    else:

        def several(name: str) -> tuple[str, ...]:
            return tuple(one for one in asked.getlist(name) if one.strip())

        def text(name: str) -> str | None:
            return (asked.get(name) or "").strip() or None

        def flag(name: str) -> bool:
            return bool(asked.get(name))

    return {
        "tests": several("test"),
        "logs": several("log"),
        "no_tests": flag("no_tests"),
        "no_logs": flag("no_logs"),
        "only": flag("only"),
        **{name: text(name) for name in _NAMES},
    }


def _request(place: ToJudge, values: dict[str, Any]) -> CertifyRequest:
    request = CertifyRequest(
        outlet=place.outlet_id,
        tests=values["tests"],
        logs=values["logs"],
        no_tests=values["no_tests"],
        no_logs=values["no_logs"],
        begin=_moment(values["begin"]),
        end=_moment(values["end"]),
        certificate=not values["only"],
        join=values["join"],
        min_excursion=values["min_excursion"],
    )
    if values["decision"]:
        request = evolve(request, decision=values["decision"])
    if values["guard_factor"]:
        request = evolve(request, guard_factor=_number(values["guard_factor"], "--guard-factor"))
    if values["coverage"]:
        request = evolve(request, min_coverage=_number(values["coverage"], "--coverage") / 100)
    return request


def _moment(text: str | None) -> str | None:
    return None if text is None else text.replace("T", " ")


def _number(text: str, option: str) -> float:
    try:
        return float(text.replace(",", ".", 1))
    except ValueError as error:
        raise InputError(f"{option} {text!r} is no number. Give one such as 90.") from error


def _page(
    ctx: Ctx,
    place: ToJudge,
    values: dict[str, Any],
    done: Certified | None,
    error: str = "",
    *,
    status: int = 200,
) -> Response:
    alone = not ctx.user.signed_in
    by = ctx.by
    return ctx.page(
        "judge/foresee.html",
        status=status,
        place=place,
        values=values,
        done=done,
        seen=None if done is None else view(done.verdict),
        error=error,
        alone=alone,
        others=tuple((id_, name) for id_, name in place.people if by not in {id_, name}),
        stop=STOP,
        decisions=DECISIONS,
    )


@router.post("/judge/{outlet_id}")
def record(ctx: Testing, outlet_id: str, form: Form) -> Response:
    """Put the verdict on record, with what follows from it."""
    place = to_judge(ctx.where, outlet_id, now=ctx.now)
    values = _values(form)
    try:
        request = _signed(ctx, place, _request(place, values), form)
        if place.readings > AT_ONCE_READINGS:
            return _recorded_in_task(ctx, place, request)
        address = _record(ctx, request)
    except LungwortError as error:
        return _page(ctx, place, values, None, str(error), status=REFUSED)
    return ctx.go(address)


def _signed(ctx: Ctx, place: ToJudge, request: CertifyRequest, form: Posted) -> CertifyRequest:
    """Say who signs: with accounts nobody signs for somebody else."""
    approver = form.text("approved_by")
    ask = form.flag("ask") and request.certificate
    if ctx.user.signed_in:
        if approver is not None:
            raise InputError(
                "The second person signs in and approves it; nobody does that for them. Ask for "
                "the approval instead."
            )
        ask = request.certificate and (ask or place.second_signature)
    return evolve(
        request,
        by=ctx.by,
        approved_by=None if ask or not request.certificate else approver,
        ask=ask,
        withdraw=form.flag("withdraw"),
        clock_is_right=form.flag("clock_is_right"),
    )


def _record(ctx: Ctx, request: CertifyRequest) -> str:
    done = certify(ctx.where, request, ctx.now)
    assert done.record is not None  # noqa: S101 - it was no dry run
    _keep(_kept(ctx, "certified"), done.record.id, done)
    return f"/judge/verdicts/{done.record.id}"


def _recorded_in_task(ctx: Ctx, place: ToJudge, request: CertifyRequest) -> Response:
    def work(progress: Progress) -> str:
        progress(0, 0)
        return _record(ctx, request)

    task = tasks(ctx.request.app).start(
        f"Judging outlet {place.outlet} for the record",
        work,
        by=ctx.visit,
        alone="record",
        back=f"/judge/{place.outlet_id}",
    )
    return ctx.go(f"/tasks/{task}")


DECISIONS: Final = (
    ("simple", N_("as measured (simple acceptance)")),
    ("guarded", N_("with a guard band of the uncertainty")),
)
"""Decision rules by key."""
