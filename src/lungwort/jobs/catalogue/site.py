"""Sites: the places with breathing air."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import RegisterError
from lungwort.jobs.catalogue import (
    chosen,
    shape,
    showing,
    typed,
    voiding,
)
from lungwort.jobs.catalogue.shape import Done, Fact, Listing, Noun, Section, Session, Taken, View
from lungwort.jobs.opening import Where, opened
from lungwort.plan.rules import DEFAULT, plan_ids
from lungwort.register.model import Outlet, Site, Supply

if TYPE_CHECKING:
    from typing import Any

    from lungwort.register.records import Reader

LONGEST_RETENTION_YEARS: Final = 100
RETENTION_YEARS: Final = 5
"""Years that a record is kept where nothing else is said; that of `Site`."""


def read_limit_set(text: str, option: str) -> Taken:
    """Read a limit set, with what is to be minded about it."""
    name = chosen.limit_set(text, option)
    return Taken(name, chosen.limit_set_remarks(name))


def _retention(text: str, option: str) -> int:
    return typed.whole(text, option, 1, LONGEST_RETENTION_YEARS, "years")


NOUN: Final = Noun(
    Site,
    "site",
    "sites",
    (
        Fact("name", "Name", "--name", typed.short_name),
        Fact("title", "Title", "--title", typed.words),
        Fact("address", "Address", "--address", typed.words),
        Fact("zone", "Time zone", "--zone", chosen.zone),
        Fact("limit_set", "Limit set", "--limits", read_limit_set),
        Fact(
            "plan",
            "Rule set for intervals",
            "--plan",
            chosen.plan_id,
            str,
            f"not named: {DEFAULT} holds",
        ),
        Fact(
            "retention_years",
            "Records are kept",
            "--retention-years",
            _retention,
            lambda years: shape.counted(years, "year"),
        ),
        Fact(
            "second_signature",
            "Certificates need a second signature",
            "--second-signature",
            typed.yes_no,
            shape.yes_no,
        ),
        Fact("note", "Note", "--note", typed.words),
    ),
)


@frozen(kw_only=True)
class SiteFacts:
    """What is said of a site, as typed; None where it is not said.

    Parameters
    ----------
    name, title, address, zone, limit_set, plan, retention_years, note : str, optional
        As in `lungwort.register.model.Site`.
    second_signature : str, optional
        ``yes`` or ``no``.
    in_use : bool, optional
        False to retire it.
    """

    name: str | None = None
    title: str | None = None
    address: str | None = None
    zone: str | None = None
    limit_set: str | None = None
    plan: str | None = None
    retention_years: str | None = None
    second_signature: str | None = None
    note: str | None = None
    in_use: bool | None = None


def add(at: Session, name: str, facts: SiteFacts) -> Done:
    """Record a new site.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Short name.
    facts : SiteFacts
        What is said of it.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a value cannot be used, or the name is taken.
    """
    values, remarks = NOUN.values(facts)
    values["name"] = typed.short_name(name, "NAME")
    if "zone" not in values:
        remarks.append("No --zone was given: times are read and shown in UTC.")
    if not values.get("limit_set"):
        remarks.append(
            "No limit set was given: each supply needs its own (--limits) before it can be certified. "
            "'lungwort limits' lists them."
        )
    if not values.get("plan"):
        remarks.append(
            f"No rule set for intervals was given (--plan): {DEFAULT} is used. "
            f"Others: {', '.join(one for one in plan_ids() if one != DEFAULT)}."
        )
    with at.recording() as (_, change, said):
        record = change.add(Site(**chosen.placed(values, change.folder)))
    return Done(
        record,
        f"Site {record.name} is on record.",
        (*said, *remarks),
        (f"lungwort supply add NAME --site {record.name} --kind airline-compressor",),
    )


def change(at: Session, name: str, facts: SiteFacts, reason: str | None) -> Done:
    """Record a new version of a site.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Its name or id.
    facts : SiteFacts
        What is different.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a value cannot be used, nothing would be different, or there is no reason.
    """
    values, remarks = NOUN.need_values(facts, reason)
    with at.recording() as (_, changing, said):
        old = changing.get(Site, name)
        if values.get("in_use") is False:
            _refuse_if_supplies_are_left(changing, old)
        new = shape.replaced(changing, NOUN, old, values, reason)
        told = shape.told_change(NOUN, old, new, {})
    return Done(new, told, (*said, *remarks))


def _refuse_if_supplies_are_left(register: Reader, site: Site) -> None:
    left = [one.name for one in register.all(Supply, site_id=site.id) if one.in_use]
    if left:
        raise RegisterError(
            f"Site {site.name} still has supplies in use: {', '.join(sorted(left))}. Retire them "
            "first with 'lungwort supply change NAME --retire --reason TEXT', or move them with "
            "--site; else nobody would be told any more when their air is due for a test."
        )


def void(at: Session, name: str, reason: str | None) -> Done:
    """Void a site that was recorded by mistake.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Its name or id.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        What was done.

    Raises
    ------
    RegisterError
        Where something on record refers to it.
    """
    return voiding.void(
        at,
        NOUN,
        name,
        reason,
        instead="To give a site up, use 'lungwort site change NAME --retire'.",
    )


def listed(where: Where, *, retired_too: bool = False) -> Listing:
    """List the sites.

    Parameters
    ----------
    where : Where
        Which workspace.
    retired_too : bool
        Whether those that were given up are listed too.

    Returns
    -------
    Listing
        The list.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        supplies = [one for one in register.all(Supply) if one.in_use]
        return showing.listing(
            NOUN,
            register.all(Site),
            retired_too=retired_too,
            headings=("name", "title", "time zone", "limit set", "plan", "supplies"),
            row=lambda one: (
                one.name,
                one.title,
                one.zone,
                one.limit_set,
                one.plan or DEFAULT,
                str(sum(supply.site_id == one.id for supply in supplies)),
            ),
            more=lambda one: {
                "supplies": sorted(supply.name for supply in supplies if supply.site_id == one.id)
            },
            empty="No site is on record. Next: lungwort site add NAME --zone Europe/London",
        )


def show(where: Where, name: str, *, history: bool = False) -> View:
    """Show a site.

    Parameters
    ----------
    where : Where
        Which workspace.
    name : str
        Its name or id.
    history : bool
        Whether all versions are listed.

    Returns
    -------
    View
        What is known of it.

    Raises
    ------
    UnknownRecordError
        Where there is none of that name.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        site = showing.found(register, NOUN, name)
        supplies = register.all(Supply, site_id=site.id)
        outlets = register.all(Outlet)
        sections = [
            Section(
                "Supplies",
                ("name", "title", "kind", "outlets", "in use"),
                tuple(
                    (
                        one.name,
                        one.title,
                        shape.kind_words(one.kind),
                        ", ".join(
                            outlet.name
                            for outlet in outlets
                            if outlet.supply_id == one.id and outlet.in_use
                        ),
                        shape.yes_no(one.in_use),
                    )
                    for one in supplies
                ),
                f"None on record. Next: lungwort supply add NAME --site {site.name} --kind …",
            )
        ]
        plain: dict[str, Any] = {
            "site": shape.plain(site),
            "supplies": [shape.plain(one) for one in supplies],
        }
        return showing.view(register, NOUN, site, site.zone, sections, plain, history=history)
