"""What is kept: sites, supplies, outlets, instruments, lots and persons."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path as FilePath
from typing import Annotated, Any, Final, get_type_hints

import attrs
from fastapi import APIRouter, Body, Query
from fastapi.responses import Response
from pydantic import BaseModel, Field, create_model

from lungwort.jobs.catalogue import instrument, lot, outlet, person, site, supply
from lungwort.web.api.shapes import (
    Approver,
    Json,
    Keeper,
    Name,
    Reader,
    Reason,
    Recorded,
    answer,
    recorded,
)
from lungwort.web.context import Ctx

router = APIRouter(tags=["keep"])


@attrs.frozen
class _Noun:
    """How one kind of thing is reached.

    Parameters
    ----------
    plural : str
        In addresses.
    job : module
        The job that keeps it.
    facts : type
        What is said of it.
    retired : str
        Parameter of the job's list for those that are no longer in use.
    timed_list, timed_one : bool
        Whether lists, and what is shown of one, depend on the time.
    """

    plural: str
    job: Any
    facts: type
    retired: str = "retired_too"
    timed_list: bool = True
    timed_one: bool = True


NOUNS: Final = (
    _Noun("sites", site, site.SiteFacts, timed_list=False, timed_one=False),
    _Noun("supplies", supply, supply.SupplyFacts),
    _Noun("outlets", outlet, outlet.OutletFacts, timed_list=False, timed_one=False),
    _Noun("instruments", instrument, instrument.InstrumentFacts),
    _Noun("lots", lot, lot.LotFacts, retired="used_up_too"),
    _Noun("persons", person, person.PersonFacts, timed_list=False),
)
_FIELD: Final = Field(default=None, max_length=4000)
_MEMBERS: Final[dict[str, tuple[Any, Any]]] = {
    "str | None": (str | None, _FIELD),
    "bool | None": (bool | None, None),
    "tuple[str, ...] | None": (list[Annotated[str, Field(max_length=400)]] | None, None),
}


def facts_model(kind: type) -> type[BaseModel]:
    """Make the JSON shape of what is said of a kind of thing.

    Parameters
    ----------
    kind : type
        The facts as a job takes them: an attrs class of texts, as typed.

    Returns
    -------
    type
        A pydantic model with the same members, each of which may be left out.
    """
    hints = get_type_hints(kind, localns={"Path": FilePath})
    members = {
        one.name: _MEMBERS[str(hints[one.name]).replace("typing.", "")]
        for one in attrs.fields(kind)
    }
    made: type[BaseModel] = create_model(kind.__name__, **members)  # type: ignore[call-overload]
    return made


def _taken(kind: type, body: BaseModel) -> Any:  # noqa: ANN401 - the kind's own class
    given = body.model_dump(exclude_none=True)
    return kind(**{key: tuple(v) if isinstance(v, list) else v for key, v in given.items()})


def _add(noun: _Noun) -> None:
    model = facts_model(noun.facts)

    def listed(
        ctx: Reader,
        retired: Annotated[
            bool, Query(description="Whether to list what is no longer in use too.")
        ] = False,
    ) -> Response:
        given: dict[str, Any] = {noun.retired: retired}
        if noun.timed_list:
            given["now"] = ctx.now
        return answer(noun.job.listed(ctx.where, **given).plain)

    def shown(
        ctx: Reader,
        name: Name,
        history: Annotated[bool, Query(description="Whether to give all versions.")] = False,
    ) -> Response:
        given: dict[str, Any] = {"history": history}
        if noun.timed_one:
            given["now"] = ctx.now
        return answer(noun.job.show(ctx.where, name, **given).plain)

    def added(ctx: Keeper, body: Annotated[BaseModel, Body()]) -> Recorded:
        return recorded(_write(noun, ctx, body))

    def changed(
        ctx: Keeper,
        name: Name,
        body: Annotated[BaseModel, Body()],
        reason: Annotated[str, Query(max_length=4000, description="Why.")],
    ) -> Recorded:
        facts = _taken(noun.facts, body)
        return recorded(noun.job.change(ctx.session(), name, facts, reason))

    def voided(ctx: Approver, name: Name, body: Reason) -> Recorded:
        return recorded(noun.job.void(ctx.session(), name, body.reason))

    # Each kind has its own shape; FastAPI reads it from the annotation.
    added.__annotations__["body"] = model
    changed.__annotations__["body"] = model
    one = noun.plural[:-1] if noun.plural != "supplies" else "supply"
    routes: tuple[tuple[Callable[..., Any], str, str, str], ...] = (
        (listed, "GET", f"/{noun.plural}", f"List the {noun.plural}"),
        (shown, "GET", f"/{noun.plural}/{{name}}", f"Show one {one}"),
        (added, "POST", f"/{noun.plural}", f"Record a new {one}"),
        (changed, "PUT", f"/{noun.plural}/{{name}}", f"Record a new version of a {one}"),
        (voided, "POST", f"/{noun.plural}/{{name}}/void", f"Void a {one}"),
    )
    for call, method, path, summary in routes:
        router.add_api_route(
            path,
            call,
            methods=[method],
            summary=summary,
            operation_id=f"{call.__name__}_{noun.plural}",
            response_model=Json if method == "GET" else Recorded,
            description=noun.facts.__doc__.split("\n")[0] if noun.facts.__doc__ else "",
        )


def _write(noun: _Noun, ctx: Ctx, body: BaseModel) -> Any:  # noqa: ANN401 - a job's Done
    facts = _taken(noun.facts, body)
    return noun.job.add(ctx.session(), facts.name or "", facts)


for _noun in NOUNS:
    _add(_noun)
