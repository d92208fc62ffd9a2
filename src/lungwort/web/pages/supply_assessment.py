"""How often a supply is tested: questions, proposal, decision."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import LungwortError
from lungwort.jobs.catalogue import assess
from lungwort.jobs.catalogue import supply as job
from lungwort.web.context import Ctx, Keeping
from lungwort.web.forms import Field, form_page
from lungwort.web.menu import N_
from lungwort.web.pages._nouns import told
from lungwort.web.posted import Form

if TYPE_CHECKING:
    from collections.abc import Mapping

router = APIRouter()

PLACE: Final = "/supplies"


def _assessment(
    ctx: Ctx,
    supply_id: str,
    values: Mapping[str, str],
    error: LungwortError | None = None,
    proposed: assess.Proposed | None = None,
) -> Response:
    supply = job.show(ctx.where, supply_id, now=ctx.now).plain["supply"]
    asked = assess.questionnaire(None)
    decision = (
        Field(
            name="months",
            label=N_("Decided: a test at least every"),
            kind="number",
            unit="months",
            option="--months",
            required=True,
        ),
        Field(
            name="why",
            label=N_("Why another interval than the proposed one"),
            kind="area",
            option="--why",
            help=N_("Needed for a longer one: a competent person answers for it."),
        ),
    )
    fields = [
        Field(
            name=f"q.{one.key}",
            label=one.text,
            kind="choice",
            choices=tuple((choice.key, choice.text) for choice in one.choices),
        )
        for one in asked.questions
    ]
    return form_page(
        ctx,
        "supply_facts/assessment.html",
        title=N_("How often to test"),
        fields=(*fields, *decision) if proposed else fields,
        action=f"{PLACE}/{supply['id']}/assessment",
        submit=N_("Record the decision") if proposed else N_("See what it leads to"),
        values=values,
        error=told(error) if error else None,
        name=supply["title"] or supply["name"],
        back=f"{PLACE}/{supply['id']}",
        asked=asked,
        proposed=proposed,
    )


@router.get(f"{PLACE}/{{supply_id}}/assessment")
def assessment_page(ctx: Keeping, supply_id: str) -> Response:
    """Ask the questions on how often a supply is tested."""
    return _assessment(ctx, supply_id, {})


@router.post(f"{PLACE}/{{supply_id}}/assessment")
def assessment(ctx: Keeping, supply_id: str, form: Form) -> Response:
    """Propose an interval; record the decision once it is made."""
    supply = job.show(ctx.where, supply_id, now=ctx.now).plain["supply"]
    asked = assess.questionnaire(None)
    answers = {
        one.key: text for one in asked.questions if (text := form.text(f"q.{one.key}")) is not None
    }
    proposed = None
    try:
        proposed = assess.propose(ctx.session(), supply["id"], asked, answers)
        months = form.text("months")
        if months is None:
            return _assessment(
                ctx,
                supply_id,
                {**form.values, "months": str(proposed.proposal.months)},
                proposed=proposed,
            )
        done = assess.decide(
            ctx.session(), supply["id"], asked, answers, months=months, why=form.text("why")
        )
    except LungwortError as error:
        return _assessment(ctx, supply_id, form.values, error, proposed)
    ctx.tell(done)
    return ctx.go(f"{PLACE}/{supply['id']}")
