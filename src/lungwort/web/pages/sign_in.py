"""Signing in and out, one's own account, and who acts where nobody need sign in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, RedirectResponse, Response

from lungwort.accounts.model import Account, SignInError
from lungwort.errors import LungwortError
from lungwort.jobs import account as accounts_job
from lungwort.jobs import own_account as job
from lungwort.jobs.serving import ALIVE
from lungwort.web.context import Anybody, Ctx, Looking, NobodySignedInError
from lungwort.web.forms import REFUSED, Field, FormView, form_view
from lungwort.web.menu import N_
from lungwort.web.pages.today import own_path
from lungwort.web.posted import Form, Posted

if TYPE_CHECKING:
    from collections.abc import Callable

router = APIRouter()

HOME: Final = "/today"
MINE: Final = "/my-account"
_LONGEST: Final = 1024
_PRESENT: Final = Field(
    name="present",
    label=N_("Your present password"),
    kind="password",
    required=True,
    autocomplete="current-password",
)
_CODE: Final = Field(
    name="code",
    label=N_("Code that the device shows now"),
    required=True,
    autocomplete="one-time-code",
)
SIGN_IN_FIELDS: Final = (
    Field(name="name", label=N_("Your name"), required=True, autocomplete="username"),
    Field(
        name="password",
        label=N_("Password"),
        kind="password",
        required=True,
        autocomplete="current-password",
    ),
    Field(
        name="code",
        label=N_("One-time code"),
        help=N_("Only if you set up one-time codes; a recovery code will do too."),
        autocomplete="one-time-code",
    ),
    Field(name="next", label="", kind="hidden"),
)
PASSWORD_FIELDS: Final = (
    _PRESENT,
    Field(
        name="new",
        label=N_("New password"),
        kind="password",
        required=True,
        autocomplete="new-password",
        help=N_(
            "At least 12 characters. Several words in a row, with blanks, are good. There are no "
            "rules about capitals, digits or signs."
        ),
    ),
    Field(
        name="again",
        label=N_("New password once more"),
        kind="password",
        required=True,
        autocomplete="new-password",
    ),
)


def whole(form: Posted, name: str) -> str:
    """Give a password as it was typed, with blanks at its ends.

    Parameters
    ----------
    form : Posted
        The form.
    name : str
        Name of the field.

    Returns
    -------
    str
        What was typed, empty for nothing.
    """
    return next(iter(form.fields.get(name, ())), "")[: _LONGEST + 1]


def peer_of(request: Request) -> str:
    """Give the address that a request comes from."""
    return request.client.host if request.client is not None else ""


# What the one calls itself after holds the words of those before it: the first that fits counts.
_BROWSERS: Final = (
    ("Edg", "Edge"),
    ("Firefox", "Firefox"),
    ("FxiOS", "Firefox"),
    ("CriOS", "Chrome"),
    ("Chrome", "Chrome"),
    ("Safari", "Safari"),
)
_SYSTEMS: Final = (
    ("Android", "Android"),
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Windows", "Windows"),
    ("Mac OS X", "macOS"),
    ("CrOS", "ChromeOS"),
    ("Linux", "Linux"),
)


def browser_words(told: str) -> str:
    """Say in a few words which browser it is.

    Parameters
    ----------
    told : str
        What it calls itself.

    Returns
    -------
    str
        Browser and system; the beginning of what it said where neither is known.

    Examples
    --------
    >>> browser_words("Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0")
    'Firefox, Linux'
    """
    browser = next((name for mark, name in _BROWSERS if mark in told), "")
    system = next((name for mark, name in _SYSTEMS if mark in told), "")
    return ", ".join(part for part in (browser, system) if part) or told[:40]


@router.get(ALIVE)
def alive(request: Request) -> Response:
    """Tell which server this is, so that a second start finds the first."""
    return PlainTextResponse(getattr(request.app.state, "mark", ""))


@router.get("/sign-in")
def sign_in_page(ctx: Anybody) -> Response:
    """Ask who it is."""
    after = own_path(ctx.request.query_params.get("next"))
    if ctx.user.signed_in or not ctx.request.app.state.needs_sign_in():
        return RedirectResponse(after, status_code=303)
    return _sign_in(ctx, {"next": after})


def _sign_in(ctx: Ctx, values: dict[str, str], error: LungwortError | None = None) -> Response:
    form = form_view(
        SIGN_IN_FIELDS, action="/sign-in", submit=N_("Sign in"), values=values, error=error
    )
    return ctx.page("sign_in/sign_in.html", status=200 if error is None else REFUSED, form=form)


@router.post("/sign-in")
def sign_in(ctx: Anybody, form: Form) -> Response:
    """Let somebody in, or say that something was wrong."""
    after = own_path(form.text("next"))
    name = form.text("name") or ""
    try:
        account = job.sign_in(
            ctx.where,
            name,
            whole(form, "password"),
            form.text("code"),
            now=ctx.now,
            peer=peer_of(ctx.request),
        )
    except SignInError as error:
        return _sign_in(ctx, {"name": name, "next": after}, error)
    ctx.request.app.state.visits.enter(
        ctx.visit,
        account,
        ctx.now,
        peer=peer_of(ctx.request),
        browser=ctx.request.headers.get("user-agent", ""),
    )
    if account.must_change:
        after = MINE
    return RedirectResponse(after, status_code=303)


@router.post("/sign-out")
def sign_out(ctx: Anybody) -> Response:
    """End the visit."""
    ctx.request.app.state.visits.leave(ctx.visit, ctx.now)
    return RedirectResponse("/sign-in", status_code=303)


# --- who acts, where nobody need sign in ------------------------------------------------------


@router.get("/who")
def who_page(ctx: Looking) -> Response:
    """Ask who sits here."""
    if ctx.user.signed_in:
        return RedirectResponse(MINE, status_code=303)
    return _who(ctx)


def _who(ctx: Ctx, error: str = "") -> Response:
    return ctx.page(
        "sign_in/who.html",
        status=REFUSED if error else 200,
        people=accounts_job.people(ctx.where),
        after=own_path(ctx.request.query_params.get("next")),
        error=error,
    )


@router.post("/who")
def who(ctx: Looking, form: Form) -> Response:
    """Take who sits here; what is recorded from now on is recorded as done by them."""
    if ctx.user.signed_in:
        return RedirectResponse(MINE, status_code=303)
    wanted = (form.text("person") or "").casefold()
    for person_id, name in accounts_job.people(ctx.where):
        if wanted in {person_id.casefold(), name.casefold()}:
            ctx.visit.person = name
            ctx.request.app.state.visits.save(ctx.visit)
            return RedirectResponse(own_path(form.text("next")), status_code=303)
    return _who(ctx, N_("Nobody in use has this name. Choose one of those listed."))


# --- one's own account ------------------------------------------------------------------------


def _own(ctx: Ctx) -> Account:
    if ctx.visit.account is None:
        raise NobodySignedInError("Sign in first.")
    return ctx.visit.account


@router.get(MINE)
def my_account(ctx: Anybody) -> Response:
    """Show one's own account."""
    if ctx.visit.account is None and not ctx.request.app.state.needs_sign_in():
        return RedirectResponse("/who", status_code=303)
    return _mine(ctx)


def _mine(
    ctx: Ctx,
    *,
    password: FormView | None = None,
    codes: FormView | None = None,
    recovery: tuple[str, ...] = (),
) -> Response:
    account = _own(ctx)
    refused = password is not None or codes is not None
    proposed = None if account.must_change else job.proposed_codes(ctx.where, account)
    return ctx.page(
        "sign_in/my_account.html",
        status=REFUSED if refused else 200,
        account=account,
        role=accounts_job.ROLE_WORDS[account.role],
        password=password or _password_form(),
        codes=codes or _codes_form(account, proposed=proposed is not None),
        proposed=proposed,
        qr=None if proposed is None else _qr(proposed[1]),
        recovery=recovery,
        recovery_left=job.recovery_left(ctx.where, account) if account.totp else 0,
        visits=[
            (one, browser_words(one.browser))
            for one in job.visits(ctx.where, account, now=ctx.now, here=ctx.visit.token)
        ],
        zone=accounts_job.zone(ctx.where),
    )


def _password_form(error: LungwortError | None = None) -> FormView:
    return form_view(
        PASSWORD_FIELDS,
        action=f"{MINE}/password",
        submit=N_("Change the password"),
        error=error,
    )


def _codes_form(
    account: Account, *, proposed: bool, error: LungwortError | None = None
) -> FormView:
    if proposed:
        return form_view(
            (_CODE,), action=f"{MINE}/codes/confirm", submit=N_("Turn them on"), error=error
        )
    if account.totp:
        return form_view(
            (_PRESENT,),
            action=f"{MINE}/codes/drop",
            submit=N_("Turn one-time codes off"),
            error=error,
            danger=True,
        )
    return form_view(
        (_PRESENT,), action=f"{MINE}/codes", submit=N_("Set up one-time codes"), error=error
    )


def _qr(address: str) -> str:
    import segno  # noqa: PLC0415 - only for this page

    made: str = segno.make(address, error="m", micro=False).svg_data_uri(
        scale=6, border=4, light="#ffffff"
    )
    return made


@router.post(f"{MINE}/password")
def change_password(ctx: Anybody, form: Form) -> Response:
    """Change one's own password."""
    account = _own(ctx)
    try:
        told = job.change_own_password(
            ctx.where,
            account,
            present=whole(form, "present"),
            new=whole(form, "new"),
            again=whole(form, "again"),
            now=ctx.now,
            peer=peer_of(ctx.request),
            but=ctx.visit.token,
        )
    except LungwortError as error:
        return _mine(ctx, password=_password_form(error))
    ctx.visit.account = told.account
    ctx.tell(told.said)
    return RedirectResponse(HOME if account.must_change else MINE, status_code=303)


@router.post(f"{MINE}/codes")
def begin_codes(ctx: Looking, form: Form) -> Response:
    """Propose a secret for one-time codes."""
    account = _own(ctx)
    return _on_codes(
        ctx,
        lambda: job.begin_codes(
            ctx.where,
            account,
            password=whole(form, "present"),
            now=ctx.now,
            peer=peer_of(ctx.request),
        ),
    )


@router.post(f"{MINE}/codes/confirm")
def confirm_codes(ctx: Looking, form: Form) -> Response:
    """Turn one-time codes on, and show the recovery codes once."""
    account = _own(ctx)
    try:
        made = job.confirm_codes(ctx.where, account, form.text("code") or "", now=ctx.now)
    except LungwortError as error:
        return _mine(ctx, codes=_codes_form(account, proposed=True, error=error))
    _again(ctx)
    return _mine(ctx, recovery=made)


@router.post(f"{MINE}/codes/drop")
def drop_codes(ctx: Looking, form: Form) -> Response:
    """Turn one-time codes off."""
    account = _own(ctx)
    return _on_codes(
        ctx,
        lambda: job.drop_codes(
            ctx.where,
            account,
            password=whole(form, "present"),
            now=ctx.now,
            peer=peer_of(ctx.request),
        ),
    )


def _on_codes(ctx: Ctx, do: Callable[[], None]) -> Response:
    try:
        do()
    except LungwortError as error:
        return _mine(ctx, codes=_codes_form(_own(ctx), proposed=False, error=error))
    _again(ctx)
    return RedirectResponse(f"{MINE}#codes", status_code=303)


def _again(ctx: Ctx) -> None:
    accounts = ctx.request.app.state.visits.accounts()
    ctx.visit.account = accounts.by_id(_own(ctx).id)


@router.post(f"{MINE}/end-visits")
def end_visits(ctx: Looking) -> Response:
    """Sign out everywhere else."""
    job.end_visits(ctx.where, _own(ctx), but=ctx.visit.token)
    ctx.tell(N_("You are signed out everywhere else."))
    return RedirectResponse(MINE, status_code=303)
