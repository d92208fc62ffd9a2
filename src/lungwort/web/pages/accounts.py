"""Accounts: who may sign in, and what machines may do; for those who keep the workspace."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from lungwort.accounts import passwords
from lungwort.accounts.model import IMPORT, READ
from lungwort.errors import InputError, LungwortError
from lungwort.jobs import account as job
from lungwort.jobs import machine_token
from lungwort.web.context import APPROVE, KEEP, LOOK, ROLES, TEST, Ctx, Keeping
from lungwort.web.forms import REFUSED, Field, form_page, form_view
from lungwort.web.lists import Cell, Column, Table, list_page
from lungwort.web.menu import N_
from lungwort.web.pages.sign_in import whole
from lungwort.web.posted import Form, Posted

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lungwort.accounts.model import Account

router = APIRouter()

PLACE: Final = "/accounts"
ROLE_CHOICES: Final = (
    (LOOK, N_("Look: see everything")),
    (TEST, N_("Test: bring in logs, test, judge, withdraw")),
    (APPROVE, N_("Approve: certificates as the second person, return to service")),
    (KEEP, N_("Keep: sites, people, instruments, limits, accounts")),
)
ROLE_LABELS: Final = {
    LOOK: N_("Look"),
    TEST: N_("Test"),
    APPROVE: N_("Approve"),
    KEEP: N_("Keep"),
}
COLUMNS: Final = (
    Column("name", N_("Name")),
    Column("person", N_("Person")),
    Column("role", N_("May")),
    Column("codes", N_("One-time codes")),
    Column("state", N_("State")),
)
_ROLE: Final = Field(
    name="role",
    label=N_("What the account may do"),
    kind="choice",
    choices=ROLE_CHOICES,
    required=True,
    option="--role",
    help=N_("Each may do all that the ones before it may."),
)
_NAME: Final = Field(
    name="name",
    label=N_("Name to sign in with"),
    option="--name",
    help=N_("The person's name if nothing is given."),
)
TOKEN_FIELDS: Final = (
    Field(
        name="label",
        label=N_("What the token is for"),
        required=True,
        option="--label",
        help=N_("For example: the logger in hall 1."),
    ),
    Field(
        name="scope",
        label=N_("What it may do"),
        kind="choice",
        choices=(
            (READ, N_("Read the record")),
            (IMPORT, N_("Bring in logs")),
            ("both", N_("Both")),
        ),
        required=True,
        option="--scope",
    ),
    Field(
        name="days",
        label=N_("Taken for"),
        kind="number",
        unit="d",
        required=True,
        option="--days",
    ),
)


@router.get(PLACE)
def accounts(ctx: Keeping) -> Response:
    """List the accounts and the tokens of machines."""
    found = job.listed(ctx.where)
    rows = tuple(
        (
            Cell(one["name"], href=f"{PLACE}/{one['id']}"),
            Cell(one["person"] or ctx.gettext("voided")),
            Cell(ROLE_LABELS[one["role"]], sort=ROLES.index(one["role"])),
            Cell(N_("on") if one["one_time_codes"] else N_("off")),
            Cell(_state(one)),
        )
        for one in found.plain["accounts"]
    )
    table = Table(
        key="accounts",
        columns=COLUMNS,
        rows=rows,
        empty=N_("There are no accounts yet."),
        file_stem="accounts",
    )
    tokens = machine_token.tokens(ctx.where)
    return list_page(
        ctx,
        "accounts/accounts.html",
        table,
        tokens=list(zip(tokens.table.rows, tokens.plain["tokens"], strict=True)),
        some=bool(rows),
    )


def _state(one: Mapping[str, object]) -> str:
    if not one["can_sign_in"]:
        return N_("cannot sign in: the person has left or was voided")
    return N_("must choose a password") if one["must_change_password"] else N_("in use")


def _add_fields(ctx: Ctx, *, first: bool) -> tuple[Field, ...]:
    person = Field(
        name="person",
        label=N_("Person"),
        kind="choice",
        # Names are no texts of ours: as groups they are neither translated nor taken for HTML.
        groups=(
            (ctx.gettext("On record"), tuple((name, name) for _, name in job.people(ctx.where))),
        ),
        required=True,
        option="--person",
        help=N_("What is done with this account is recorded under this name."),
    )
    password = Field(
        name="password",
        label=N_("Password"),
        kind="password",
        required=first,
        autocomplete="new-password",
        help=N_("At least 12 characters. Several words in a row, with blanks, are good.")
        if first
        else N_("Leave it empty to have one made, which the person changes at the first sign-in."),
    )
    again = Field(
        name="again",
        label=N_("Password once more"),
        kind="password",
        required=first,
        autocomplete="new-password",
    )
    return (person, *(() if first else (_ROLE,)), _NAME, password, again)


@router.get(f"{PLACE}/new")
def new_page(ctx: Keeping) -> Response:
    """Ask for whom an account is."""
    return _new(ctx)


def _new(
    ctx: Ctx, values: Mapping[str, str] | None = None, error: LungwortError | None = None
) -> Response:
    first = not job.exist(ctx.where)
    return form_page(
        ctx,
        "accounts/new.html",
        title=N_("The first account") if first else N_("New account"),
        fields=_add_fields(ctx, first=first),
        action=f"{PLACE}/new",
        submit=N_("Make the account"),
        values=values,
        error=error,
        first=first,
    )


def _shown(form: Posted) -> dict[str, str]:
    return {name: value for name, value in form.values.items() if name not in {"password", "again"}}


@router.post(f"{PLACE}/new")
def new(ctx: Keeping, form: Form) -> Response:
    """Make an account."""
    first = not job.exist(ctx.where)
    password = whole(form, "password")
    made = not password and not first
    try:
        if password != whole(form, "again"):
            raise InputError("The password was not typed the same twice. Type it again.")
        if made:
            password = passwords.temporary()
        told = job.add(
            ctx.where,
            form.text("person") or "",
            role=KEEP if first else form.text("role") or "",
            password=password,
            now=ctx.now,
            name=form.text("name"),
            must_change=not first,
        )
    except LungwortError as error:
        return _new(ctx, _shown(form), error)
    if made:
        return _shown_once(ctx, told.said, password)
    if first:
        # Whoever made the first account goes on with it, and is asked to sign in with it now.
        ctx.request.app.state.visits.leave(ctx.visit, ctx.now)
    ctx.tell(told.said, remarks=told.remarks)
    return RedirectResponse("/sign-in" if first else PLACE, status_code=303)


def _shown_once(ctx: Ctx, said: str, secret: str, *, token: bool = False) -> Response:
    return ctx.page("accounts/shown_once.html", said=said, secret=secret, token=token)


# --- tokens; before the pages of one account, whose addresses they would be taken for ----------


@router.get(f"{PLACE}/tokens/new")
def new_token_page(ctx: Keeping) -> Response:
    """Ask what a token is for."""
    return _new_token(ctx, {"days": str(machine_token.DAYS)})


def _token_fields(ctx: Ctx) -> tuple[Field, ...]:
    with job.open_existing(ctx.where) as accounts:
        names = tuple((one.name, one.name) for one in accounts.list() if one.in_use)
    return (
        Field(
            name="account",
            label=N_("In the name of"),
            kind="choice",
            groups=((ctx.gettext("Accounts"), names),),
            required=True,
            help=N_("What the machine brings in is recorded under the person of this account."),
        ),
        *TOKEN_FIELDS,
    )


def _new_token(ctx: Ctx, values: Mapping[str, str], error: LungwortError | None = None) -> Response:
    return form_page(
        ctx,
        "form.html",
        title=N_("New token for a machine"),
        fields=_token_fields(ctx),
        action=f"{PLACE}/tokens/new",
        submit=N_("Make the token"),
        values=values,
        error=error,
    )


@router.post(f"{PLACE}/tokens/new")
def new_token(ctx: Keeping, form: Form) -> Response:
    """Make a token, and show it once."""
    scope = form.text("scope") or ""
    days = form.text("days") or ""
    try:
        made = machine_token.make_token(
            ctx.where,
            form.text("account") or "",
            scopes=(READ, IMPORT) if scope == "both" else (scope,),
            label=form.text("label") or "",
            now=ctx.now,
            days=int(days) if days.isascii() and days.isdigit() and len(days) < len("10000") else 0,
        )
    except LungwortError as error:
        return _new_token(ctx, form.values, error)
    return _shown_once(ctx, made.said, made.secret, token=True)


@router.post(f"{PLACE}/tokens/{{token_id}}/revoke")
def revoke(ctx: Keeping, token_id: str) -> Response:
    """Take a token no more."""
    ctx.tell(machine_token.revoke(ctx.where, token_id))
    return RedirectResponse(PLACE, status_code=303)


# --- one account ------------------------------------------------------------------------------


@router.get(f"{PLACE}/{{account_id}}")
def account_page(ctx: Keeping, account_id: str) -> Response:
    """Show an account."""
    return _account(ctx, account_id)


def _account(
    ctx: Ctx,
    account_id: str,
    *,
    values: Mapping[str, str] | None = None,
    error: LungwortError | None = None,
) -> Response:
    with job.open_existing(ctx.where) as accounts:
        account: Account = accounts.get(account_id)
    change = form_view(
        (
            _ROLE,
            Field(name="name", label=N_("Name to sign in with"), required=True, option="--name"),
        ),
        action=f"{PLACE}/{account.id}",
        submit=N_("Change the account"),
        values=values or {"role": account.role, "name": account.name},
        error=error,
    )
    return ctx.page(
        "accounts/account.html",
        status=200 if error is None else REFUSED,
        account=account,
        person=job.person_name(ctx.where, account.person_id),
        form=change,
        own=ctx.visit.account is not None and ctx.visit.account.id == account.id,
    )


@router.post(f"{PLACE}/{{account_id}}")
def change(ctx: Keeping, account_id: str, form: Form) -> Response:
    """Change role and name of an account."""
    try:
        told = job.change(ctx.where, account_id, role=form.text("role"), new_name=form.text("name"))
    except LungwortError as error:
        return _account(ctx, account_id, values=form.values, error=error)
    ctx.tell(told.said, remarks=told.remarks)
    return RedirectResponse(PLACE, status_code=303)


@router.post(f"{PLACE}/{{account_id}}/reset")
def reset(ctx: Keeping, account_id: str) -> Response:
    """Give an account a password that is changed at the next sign-in, and show it once."""
    told, password = job.reset(ctx.where, account_id)
    return _shown_once(ctx, told.said, password)


@router.post(f"{PLACE}/{{account_id}}/drop-codes")
def drop_codes(ctx: Keeping, account_id: str) -> Response:
    """Ask an account for one-time codes no more."""
    told = job.change(ctx.where, account_id, drop_codes=True)
    ctx.tell(told.said, remarks=told.remarks)
    return RedirectResponse(f"{PLACE}/{told.account.id}", status_code=303)


@router.post(f"{PLACE}/{{account_id}}/close")
def close(ctx: Keeping, account_id: str) -> Response:
    """Close an account."""
    try:
        told = job.close(ctx.where, account_id)
    except InputError as error:
        return _account(ctx, account_id, error=error)
    ctx.tell(told.said, remarks=told.remarks)
    return RedirectResponse(PLACE, status_code=303)
