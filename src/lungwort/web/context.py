"""What a page is made in: who asks, when, in which language, on which workspace."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, Any, Final

from attrs import define, frozen
from fastapi import Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from lungwort.errors import InputError
from lungwort.jobs.catalogue.shape import Done, Session
from lungwort.jobs.opening import Where
from lungwort.web import rendering
from lungwort.web.settings import Settings

if TYPE_CHECKING:
    from lungwort.web.visits import Visit
    from lungwort.web.wording import Wording

LOOK: Final = "look"
TEST: Final = "test"
APPROVE: Final = "approve"
KEEP: Final = "keep"
ROLES: Final = (LOOK, TEST, APPROVE, KEEP)
"""What an account may do, each with all before it."""

LANGUAGES: Final = ("en", "de")


class NotAllowedError(InputError):
    """Who asks may not do this."""


class NobodySignedInError(InputError):
    """Somebody must sign in first."""


class NoWorkspaceError(InputError):
    """There is no workspace yet."""


@frozen
class User:
    """Who asks.

    Parameters
    ----------
    name : str
        Name of the person who acts; empty where nobody was chosen yet.
    role : str
        What that person may do.
    signed_in : bool
        Whether an account was signed in to.
    """

    name: str
    role: str
    signed_in: bool


@define(slots=False)
class Ctx:
    """What a page is made in.

    Parameters
    ----------
    request : fastapi.Request
        What the browser asks.
    settings : Settings
        What the server was started with.
    now : datetime
        The present moment, UTC; read once a request.
    visit : Visit
        The browser's visit.
    user : User
        Who asks.
    language : str
        ``en`` or ``de``.
    """

    request: Request
    settings: Settings
    now: datetime
    visit: Visit
    user: User
    language: str

    @property
    def where(self) -> Where:
        """Which workspace.

        Raises
        ------
        NoWorkspaceError
            Where there is none yet.
        """
        folder = self.request.app.state.workspace
        if folder is None:
            raise NoWorkspaceError("There is no workspace yet. Make one first.")
        return Where(workspace=folder)

    @property
    def by(self) -> str | None:
        """Who acts, by id or name; None where nobody was chosen."""
        if self.visit.account is not None:
            return self.visit.account.person_id
        return self.visit.person

    def session(self) -> Session:
        """Say where, when and by whom something is recorded."""
        return Session(now=self.now, where=self.where, by=self.by)

    def may(self, role: str) -> bool:
        """Tell whether who asks may do what a role may."""
        return ROLES.index(self.user.role) >= ROLES.index(role)

    @cached_property
    def wording(self) -> Wording:
        """Words and numbers in the visit's language."""
        from lungwort.web.wording import Wording  # noqa: PLC0415 - reads the catalogues

        return Wording(self.language)

    def gettext(self, text: str) -> str:
        """Translate a text of a page."""
        return self.wording.gettext(text)

    @cached_property
    def _ids(self) -> Mapping[tuple[str, str], str]:
        from lungwort.jobs.names import ids_by_name  # noqa: PLC0415 - only where a text names a thing

        return ids_by_name(self.where)

    def find(self, kind: str, name: str) -> str | None:
        """Find the id of a thing by its name, for a link; None where there is none.

        Parameters
        ----------
        kind : str
            Kind of the thing, such as ``outlet``.
        name : str
            Its name, number or id.
        """
        try:
            return self._ids.get((kind, name.casefold()))
        except InputError:
            return None

    def tell(
        self,
        told: Done | str,
        *,
        kind: str = "done",
        remarks: tuple[str, ...] = (),
        next_steps: tuple[str, ...] = (),
    ) -> None:
        """Keep something to be said on the next page.

        Parameters
        ----------
        told : Done or str
            What was done.
        kind : str
            ``done``, ``minded`` or ``refused``.
        remarks, next_steps : tuple of str
            What to mind, and what to do next.
        """
        if isinstance(told, Done):
            kind = "minded" if told.outside else kind
            remarks, next_steps = (*told.remarks, *remarks), (*told.next_steps, *next_steps)
            told = told.said
        self.visit.notes.append(
            {"kind": kind, "said": told, "remarks": remarks, "next_steps": next_steps}
        )

    def page(self, template: str, /, *, status: int = 200, **values: Any) -> HTMLResponse:  # noqa: ANN401 - a template takes anything
        """Make a page.

        Parameters
        ----------
        template : str
            Name below ``templates``.
        status : int
            HTTP status.
        **values
            What the template shows.
        """
        return HTMLResponse(rendering.render(self, template, values), status_code=status)

    def go(self, path: str) -> Response:
        """Send the browser to another page."""
        if self.request.headers.get("HX-Request") == "true":
            return Response(status_code=204, headers={"HX-Redirect": path})
        return RedirectResponse(path, status_code=303)


def context_of(request: Request) -> Ctx:
    """Put together what a page is made in, whoever asks.

    Parameters
    ----------
    request : fastapi.Request
        What the browser asks.

    Returns
    -------
    Ctx
        What the page is made in. Nobody may have signed in.
    """
    if (known := getattr(request.state, "ctx", None)) is not None:
        return known  # type: ignore[no-any-return]
    settings: Settings = request.app.state.settings
    visit: Visit = request.state.visit
    account = visit.account
    if account is not None:
        user = User(account.name, account.role, signed_in=True)
    elif request.app.state.needs_sign_in():
        user = User("", "", signed_in=False)
    else:
        user = User(visit.person or "", KEEP, signed_in=False)
    ctx = Ctx(
        request=request,
        settings=settings,
        now=settings.clock(),
        visit=visit,
        user=user,
        language=_language(request, visit),
    )
    request.state.ctx = ctx
    return ctx


def _language(request: Request, visit: Visit) -> str:
    if visit.language in LANGUAGES:
        return visit.language
    for part in request.headers.get("Accept-Language", "").split(","):
        wanted = part.split(";")[0].strip().lower()[:2]
        if wanted in LANGUAGES:
            return wanted
    return LANGUAGES[0]


def needing(role: str) -> Callable[[Request], Ctx]:
    """Make a dependency that lets only those in who may do what a role may.

    Parameters
    ----------
    role : str
        One of `ROLES`.

    Returns
    -------
    callable
        Raises `NobodySignedInError` or `NotAllowedError`.
    """

    def checked(request: Request) -> Ctx:
        ctx = context_of(request)
        if not ctx.user.role:
            raise NobodySignedInError("Sign in first.")
        if ctx.visit.account is not None and ctx.visit.account.must_change:
            raise NobodySignedInError("Choose a password of your own first.")
        if not ctx.may(role):
            raise NotAllowedError(
                f"{ctx.user.name} may not do this: the account's role is {ctx.user.role!r} and "
                f"{role!r} is needed. Ask somebody who keeps the workspace."
            )
        return ctx

    return checked


Looking = Annotated[Ctx, Depends(needing(LOOK))]
Testing = Annotated[Ctx, Depends(needing(TEST))]
Approving = Annotated[Ctx, Depends(needing(APPROVE))]
Keeping = Annotated[Ctx, Depends(needing(KEEP))]
Anybody = Annotated[Ctx, Depends(context_of)]
