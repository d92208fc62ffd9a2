"""The pages themselves of a kind of thing: list, one of them, new, change, retire, void."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import LungwortError
from lungwort.jobs.catalogue.shape import ChangedMeanwhileError, Seen, View
from lungwort.web.context import Approving, Ctx, Keeping, Looking
from lungwort.web.forms import REFUSED, Field, form_page, form_view
from lungwort.web.lists import Cell, Column, Table, list_page
from lungwort.web.menu import N_
from lungwort.web.pages._nouns import (
    REASON,
    THEN,
    VERSION,
    Thing,
    check_choices,
    keeping,
    own_path,
    told,
    typed_values,
    version_in,
    version_of,
)
from lungwort.web.posted import Form, Posted


def pages(thing: Thing, router: APIRouter, *, shown_elsewhere: bool = False) -> None:
    """Make the pages of a kind of thing: list, one of them, new, change, retire, void.

    Parameters
    ----------
    thing : Thing
        The kind of thing.
    router : fastapi.APIRouter
        Gets the addresses ``/things``, ``/things/new``, ``/things/{id}`` and those below it.
    shown_elsewhere : bool
        Whether the list and the page of one are made elsewhere.
    """
    if not shown_elsewhere:
        _looked_at(thing, router)

    @router.get(f"{thing.place}/new")
    def new_page(ctx: Keeping) -> Response:
        """Ask for a new one."""
        asked = ctx.request.query_params
        values = {
            ask.field.name: asked[ask.field.name]
            for ask in thing.asks(ctx, True)
            if ask.field.name in asked
        }
        return _new(ctx, thing, {**thing.start(ctx), **values, "then": own_path(asked.get("then"))})

    @router.post(f"{thing.place}/new")
    def new(ctx: Keeping, form: Form) -> Response:
        """Record a new one."""
        return _add(ctx, thing, form)

    @router.get(f"{thing.place}/{{thing_id}}/change")
    def change_page(ctx: Keeping, thing_id: str) -> Response:
        """Ask what is different."""
        view = thing.shown(ctx, thing_id)
        record = thing.record_of(view)
        values = typed_values(record, thing.asks(ctx, False))
        return _change_form(ctx, thing, view, {**values, "version": str(record["version"])})

    @router.post(f"{thing.place}/{{thing_id}}/change")
    def change(ctx: Keeping, thing_id: str, form: Form) -> Response:
        """Record a new version."""
        return _change(ctx, thing, thing_id, form)

    @router.get(f"{thing.place}/{{thing_id}}/void")
    def void_page(ctx: Approving, thing_id: str) -> Response:
        """Ask why it is voided."""
        return _void_form(ctx, thing, thing.shown(ctx, thing_id))

    @router.post(f"{thing.place}/{{thing_id}}/void")
    def void(ctx: Approving, thing_id: str, form: Form) -> Response:
        """Void it, or something that belongs to it."""
        return _void(ctx, thing, thing_id, form)

    if not shown_elsewhere:
        _one(thing, router)
    if thing.retire:

        @router.get(f"{thing.place}/{{thing_id}}/retire")
        def retire_page(ctx: Keeping, thing_id: str) -> Response:
            """Ask why it is no longer in use, or is in use again."""
            return _retire_form(ctx, thing, thing.shown(ctx, thing_id))

        @router.post(f"{thing.place}/{{thing_id}}/retire")
        def retire(ctx: Keeping, thing_id: str, form: Form) -> Response:
            """Record that it is no longer in use, or is in use again."""
            return _retire(ctx, thing, thing_id, form)


def _looked_at(thing: Thing, router: APIRouter) -> None:
    @router.get(thing.place)
    def listed(ctx: Looking) -> Response:
        """List them."""
        return _list(ctx, thing)


def _one(thing: Thing, router: APIRouter) -> None:
    # After "/new", which would be taken for an id.
    @router.get(f"{thing.place}/{{thing_id}}")
    def shown(ctx: Looking, thing_id: str) -> Response:
        """Show one."""
        return _show(ctx, thing, thing_id)


def _list(ctx: Ctx, thing: Thing) -> Response:
    retired_too = ctx.request.query_params.get("retired") == "yes"
    found = thing.listed(ctx, retired_too)
    records = next(iter(found.plain.values()))
    rows = tuple(
        tuple(_cell(ctx, thing, place, text, record) for place, text in enumerate(texts))
        for texts, record in zip(found.table.rows, records, strict=True)
    )
    table = Table(
        key=thing.place.strip("/"),
        columns=tuple(
            Column(f"c{place}", heading) for place, heading in enumerate(found.table.headings)
        ),
        rows=rows,
        empty=found.table.empty,
        file_stem=thing.place.strip("/"),
    )
    hidden = bool(found.plain.get("not_shown"))
    return list_page(
        ctx,
        "catalogue/list.html",
        table,
        title=thing.many,
        add=(thing.add, f"{thing.place}/new") if ctx.may("keep") else None,
        switch=(thing.none_left, f"{thing.place}?retired=yes")
        if hidden
        else ((N_("Only those in use"), thing.place) if retired_too else None),
    )


def _cell(ctx: Ctx, thing: Thing, place: int, text: str, record: Mapping[str, Any]) -> Cell:
    href = f"{thing.place}/{record['id']}" if place == 0 else ""
    if place in thing.links and text:
        kind, address = thing.links[place]
        found = ctx.find(kind, text)
        href = f"{address}/{found}" if found else ""
    sort = record.get(thing.sorts[place]) if place in thing.sorts else None
    if place in thing.sorts and sort is None:
        sort = ""
    return Cell(text, sort=sort, href=href)


def _show(ctx: Ctx, thing: Thing, thing_id: str) -> Response:
    view = thing.shown(ctx, thing_id)
    record = thing.record_of(view)
    parts = list(thing.parts(ctx, view))
    history = parts.pop() if view.plain.get("history") else None
    return ctx.page(
        "catalogue/thing.html",
        thing=thing,
        view=view,
        record=record,
        name=record["name"],
        facts=[
            (label, words)
            for label, words in view.facts
            if label not in {"Name", "Id", *thing.elsewhere}
        ],
        parts=parts,
        history=history,
        actions=[one[:2] for one in thing.actions(ctx, view) if ctx.may(one[2])],
    )


def _new(
    ctx: Ctx, thing: Thing, values: Mapping[str, str], error: LungwortError | None = None
) -> Response:
    fields = [ask.field for ask in thing.asks(ctx, True)]
    return form_page(
        ctx,
        thing.form_template,
        title=thing.adding,
        fields=(*fields, THEN),
        action=f"{thing.place}/new",
        submit=thing.add,
        values=values,
        error=told(error) if error else None,
        back=own_path(values.get("then")) or thing.place,
        **thing.form_values(values, {}),
    )


def _add(ctx: Ctx, thing: Thing, form: Posted) -> Response:
    values = form.values
    if form.flag("more_rows"):
        return _new(ctx, thing, values)
    given = {
        ask.field.name: ask.given(text)
        for ask in thing.asks(ctx, True)
        if (text := form.text(ask.field.name)) is not None
    }
    name = given.pop("name", "")
    try:
        check_choices((ask.field for ask in thing.asks(ctx, True)), form, {})
        done = thing.do_add(ctx.session(), name, thing.facts(**given, **thing.more(form, {})))
    except LungwortError as error:
        return _new(ctx, thing, values, error)
    ctx.tell(done)
    return ctx.go(own_path(form.text("then")) or f"{thing.place}/{done.record.id}")


def _change_form(
    ctx: Ctx,
    thing: Thing,
    view: View,
    values: Mapping[str, str],
    error: LungwortError | None = None,
    meanwhile: tuple[tuple[str, str, str, str], ...] = (),
) -> Response:
    record = thing.record_of(view)
    asks = thing.asks(ctx, False)
    known = typed_values(record, asks)
    heading = ctx.gettext("On record")
    fields = [keeping(ask.field, known[ask.field.name], heading) for ask in asks]
    return form_page(
        ctx,
        thing.form_template,
        title=thing.change,
        fields=(*fields, REASON, VERSION),
        action=f"{thing.place}/{record['id']}/change",
        submit=N_("Save as a new version"),
        values=values,
        error=told(error) if error else None,
        name=record["name"],
        back=f"{thing.place}/{record['id']}",
        meanwhile=meanwhile,
        **thing.form_values(values, record),
    )


def _change(ctx: Ctx, thing: Thing, thing_id: str, form: Posted) -> Response:
    view = thing.shown(ctx, thing_id)
    record = thing.record_of(view)
    asks = thing.asks(ctx, False)
    values = form.values
    if form.flag("more_rows"):
        return _change_form(ctx, thing, view, values)
    opened_on = version_in(form)
    before = typed_values(version_of(view, record, opened_on), asks)
    given = {
        ask.field.name: ask.given(text)
        for ask in asks
        if ((text := form.text(ask.field.name)) or "") != before[ask.field.name].strip()
        and ask.field.name in form.fields
    }
    facts = thing.facts(**given, **thing.more(form, version_of(view, record, opened_on)))
    session = evolve(ctx.session(), seen=Seen(thing.kind, record["id"], opened_on))
    try:
        check_choices((ask.field for ask in asks), form, before)
        done = thing.do_change(session, record["id"], facts, form.text("reason"))
    except ChangedMeanwhileError as error:
        view = thing.shown(ctx, thing_id)
        record = thing.record_of(view)
        now = typed_values(record, asks)
        told_of = tuple(
            (ask.field.label, before[name], now[name], values.get(name, "").strip())
            for ask in asks
            if before[name := ask.field.name] != now[name]
        )
        merged = {
            name: values.get(name, "")
            if values.get(name, "").strip() != before[name]
            else now[name]
            for name in before
        }
        kept = {**values, **merged, "version": str(record["version"])}
        return _change_form(ctx, thing, view, kept, error, told_of)
    except LungwortError as error:
        return _change_form(ctx, thing, view, values, error)
    ctx.tell(done)
    return ctx.go(f"{thing.place}/{record['id']}")


def _reason_form(
    ctx: Ctx,
    thing: Thing,
    view: View,
    error: LungwortError | None,
    values: Mapping[str, str],
    **more: Any,  # noqa: ANN401 - as form_view
) -> Response:
    record = thing.record_of(view)
    title, lines = more.pop("title"), more.pop("lines")
    fields = (
        evolve(REASON, label=N_("Why"), help=""),
        VERSION,
        Field(name="part", label="", kind="hidden"),
    )
    form = form_view(fields, values=values, error=told(error) if error else None, **more)
    return ctx.page(
        "catalogue/reason.html",
        status=REFUSED if error else 200,
        title=title,
        name=record["name"],
        form=form,
        lines=lines,
        back=f"{thing.place}/{record['id']}",
    )


def _retire_form(
    ctx: Ctx,
    thing: Thing,
    view: View,
    error: LungwortError | None = None,
    values: Mapping[str, str] | None = None,
) -> Response:
    record = thing.record_of(view)
    label = thing.retire if record["in_use"] else thing.back
    return _reason_form(
        ctx,
        thing,
        view,
        error,
        values or {"version": str(record["version"])},
        title=label,
        action=f"{thing.place}/{record['id']}/retire",
        submit=label,
        lines=(N_("What was recorded with it stays, and it can be taken back."),)
        if record["in_use"]
        else (),
    )


def _retire(ctx: Ctx, thing: Thing, thing_id: str, form: Posted) -> Response:
    view = thing.shown(ctx, thing_id)
    record = thing.record_of(view)
    opened_on = version_in(form)
    session = evolve(ctx.session(), seen=Seen(thing.kind, record["id"], opened_on))
    facts = thing.facts(in_use=not record["in_use"])
    try:
        done = thing.do_change(session, record["id"], facts, form.text("reason"))
    except LungwortError as error:
        view = thing.shown(ctx, thing_id)
        kept = {**form.values, "version": str(thing.record_of(view)["version"])}
        return _retire_form(ctx, thing, view, error, kept)
    ctx.tell(done)
    return ctx.go(f"{thing.place}/{record['id']}")


def _void_form(
    ctx: Ctx,
    thing: Thing,
    view: View,
    error: LungwortError | None = None,
    values: Mapping[str, str] | None = None,
) -> Response:
    record = thing.record_of(view)
    asked = ctx.request.query_params.get("part", "")
    return _reason_form(
        ctx,
        thing,
        view,
        error,
        values or {"part": asked},
        title=N_("Take out what was recorded by mistake"),
        action=f"{thing.place}/{record['id']}/void",
        submit=N_("Take it out"),
        danger=True,
        lines=(
            N_("It no longer counts, and it stays to be seen that it was recorded and taken out."),
        ),
    )


def _void(ctx: Ctx, thing: Thing, thing_id: str, form: Posted) -> Response:
    view = thing.shown(ctx, thing_id)
    record = thing.record_of(view)
    part = form.text("part")
    try:
        done = thing.do_void(ctx.session(), part or record["id"], form.text("reason"))
    except LungwortError as error:
        return _void_form(ctx, thing, view, error, form.values)
    ctx.tell(done)
    return ctx.go(f"{thing.place}/{record['id']}" if part else thing.place)
