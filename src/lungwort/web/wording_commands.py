"""How the commands that messages name become links to pages.

A message of a job says 'lungwort certify "hall-1"'; the reader of a page gets the words 'Judge and
certify hall-1' with the address of the page on which that is done.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

from attrs import frozen

from lungwort.web.wording_options import N_

if TYPE_CHECKING:
    from collections.abc import Callable

    Find = Callable[[str, str], str | None]


@frozen
class Way:
    """Where a command leads in the browser.

    Parameters
    ----------
    words : str
        What is done, where it is not said with what.
    page : str
        Address where it is not known with what.
    named : str
        What is done with what is named: holds ``{name}``.
    kind : str
        Kind of thing that the command names; ``"id"`` where it names an id or a number itself.
    one : str
        Address of what is named: holds ``{id}``.
    option : str
        Option that carries the name, where it is not the first argument.
    """

    words: str
    page: str
    named: str = ""
    kind: str = ""
    one: str = ""
    option: str = ""


def _thing(kind: str, plural: str, words: tuple[str, str, str, str, str, str]) -> dict[str, Way]:
    """List the ways of what all kinds of things have: add, list, show, change and void."""
    add, listed, show, change, void, page = words
    one = f"/{plural}/{{id}}"
    return {
        f"{kind} add": Way(add, f"/{plural}/new"),
        f"{kind} list": Way(listed, f"/{plural}"),
        f"{kind} show": Way(listed, f"/{plural}", show, kind, one),
        f"{kind} change": Way(page, f"/{plural}", change, kind, f"{one}/change"),
        f"{kind} void": Way(page, f"/{plural}", void, kind, one),
        kind: Way(listed, f"/{plural}"),
    }


_SITE: Final = (
    N_("Add a site"),
    N_("Sites"),
    N_("Look at site {name}"),
    N_("Change site {name}"),
    N_("Void site {name}"),
    N_("Sites"),
)
_SUPPLY: Final = (
    N_("Add a supply"),
    N_("Supplies"),
    N_("Look at supply {name}"),
    N_("Change supply {name}"),
    N_("Void what is recorded of supply {name}"),
    N_("Supplies"),
)
_OUTLET: Final = (
    N_("Add an outlet"),
    N_("Outlets"),
    N_("Look at outlet {name}"),
    N_("Change outlet {name}"),
    N_("Void outlet {name}"),
    N_("Outlets"),
)
_INSTRUMENT: Final = (
    N_("Add an instrument"),
    N_("Instruments"),
    N_("Look at instrument {name}"),
    N_("Change instrument {name}"),
    N_("Void instrument {name}"),
    N_("Instruments"),
)
_PERSON: Final = (
    N_("Add a person"),
    N_("People"),
    N_("Look at {name}"),
    N_("Change what is on record of {name}"),
    N_("Void the record of {name}"),
    N_("People"),
)
_LOT: Final = (
    N_("Add a lot"),
    N_("Lots"),
    N_("Look at lot {name}"),
    N_("Change lot {name}"),
    N_("Void lot {name}"),
    N_("Lots"),
)
_FINDING_PAGE: Final = "/findings/{id}"
_TEST_PAGE: Final = "/tests/{id}"

WAYS: Final[dict[str, Way]] = {
    **_thing("site", "sites", _SITE),
    **_thing("supply", "supplies", _SUPPLY),
    **_thing("outlet", "outlets", _OUTLET),
    **_thing("instrument", "instruments", _INSTRUMENT),
    **_thing("person", "people", _PERSON),
    **_thing("lot", "lots", _LOT),
    "judge": Way(N_("Bring in a log"), "/logs/new"),
    "inspect": Way(N_("Bring in a log"), "/logs/new"),
    "limits": Way(N_("Limit sets"), "/limits", N_("Limit set {name}"), "id", "/limits/set/{id}"),
    "convert": Way(N_("Convert"), "/convert"),
    "demo": Way(N_("Set up"), "/welcome"),
    "import": Way(
        N_("Bring in a log"),
        "/logs/new",
        N_("Bring in a log for {name}"),
        "outlet",
        "/logs/new?outlet={id}",
        "--outlet",
    ),
    "import --list": Way(N_("Logs"), "/logs"),
    "import --void": Way(N_("Logs"), "/logs", N_("Take out log {name}"), "id", "/logs/{id}"),
    "certify": Way(
        N_("Judge and certify"),
        "/judge",
        N_("Judge and certify {name}"),
        "outlet",
        "/judge/{id}",
    ),
    "withdraw": Way(
        N_("Withdraw the supply"),
        "/supplies",
        N_("Withdraw {name}"),
        "supply",
        "/supplies/{id}/withdraw",
    ),
    "return": Way(
        N_("Return the supply to service"),
        "/supplies",
        N_("Return {name} to service"),
        "supply",
        "/supplies/{id}/return",
    ),
    "pack": Way(N_("Evidence packs"), "/packs"),
    "verify": Way(N_("Check the record"), "/verify"),
    "plant": Way(N_("Plant sheets"), "/plant"),
    "plant form": Way(N_("A plant sheet to fill in"), "/plant/form.toml"),
    "plant set": Way(
        N_("Plant sheets"), "/plant", N_("Plant sheet of {name}"), "supply", "/plant/sheets/{id}"
    ),
    "plant show": Way(
        N_("Plant sheets"), "/plant", N_("Plant sheet of {name}"), "supply", "/plant/sheets/{id}"
    ),
    "plant air": Way(
        N_("Is there enough air?"),
        "/plant/air",
        N_("Is there enough air at {name}?"),
        "supply",
        "/plant/air?asked=1&supply={id}",
    ),
    "plant reserve": Way(
        N_("How long does the reserve last?"),
        "/plant/reserve",
        N_("How long does the reserve of {name} last?"),
        "supply",
        "/plant/reserve?asked=1&supply={id}",
    ),
    "plant bank": Way(
        N_("How many cylinders can be filled?"),
        "/plant/bank",
        N_("How many cylinders can {name} fill?"),
        "supply",
        "/plant/bank?asked=1&supply={id}",
    ),
    "plant treatment": Way(
        N_("How long does the treatment last?"),
        "/plant/treatment",
        N_("How long does the treatment of {name} last?"),
        "supply",
        "/plant/treatment?asked=1&supply={id}",
    ),
    "exposure": Way(N_("What was breathed?"), "/exposure"),
    "cause": Way(N_("Why did the air go wrong?"), "/cause"),
    "trend": Way(N_("When will it go wrong?"), "/trend"),
    "uncertainty": Way(N_("How uncertain is a reading?"), "/uncertainty"),
    "status": Way(N_("Today"), "/today"),
    "due": Way(N_("Plan"), "/plan"),
    "certificate": Way(
        N_("Certificates"),
        "/certificates",
        N_("Certificate {name}"),
        "id",
        "/certificates/{id}",
    ),
    "serve": Way(N_("Today"), "/today"),
    "account": Way(N_("Accounts"), "/accounts"),
    "account add": Way(N_("Accounts"), "/accounts"),
    "account list": Way(N_("Accounts"), "/accounts"),
    "account change": Way(N_("Accounts"), "/accounts"),
    "account close": Way(N_("Accounts"), "/accounts"),
    "account token": Way(N_("Tokens for machines"), "/accounts"),
    "account token add": Way(N_("Tokens for machines"), "/accounts"),
    "account token list": Way(N_("Tokens for machines"), "/accounts"),
    "account token revoke": Way(N_("Tokens for machines"), "/accounts"),
    "workspace": Way(N_("Workspace"), "/workspace"),
    "workspace create": Way(N_("Set up"), "/welcome"),
    "workspace show": Way(N_("Workspace"), "/workspace"),
    "workspace backup": Way(N_("Back up the workspace"), "/workspace"),
    "workspace restore": Way(N_("Restore a backup"), "/workspace"),
    "workspace upgrade": Way(N_("Upgrade the workspace"), "/workspace"),
    "supply stage": Way(
        N_("Enter a stage of treatment"),
        "/supplies",
        N_("Enter a stage of treatment of {name}"),
        "supply",
        "/supplies/{id}",
    ),
    "supply cartridge": Way(
        N_("Enter a change of cartridge"),
        "/supplies",
        N_("Enter a change of cartridge of {name}"),
        "supply",
        "/supplies/{id}",
    ),
    "supply hours": Way(
        N_("Enter the hour meter"),
        "/supplies",
        N_("Enter the hour meter of {name}"),
        "supply",
        "/supplies/{id}",
    ),
    "supply event": Way(
        N_("Enter what happened at a supply"),
        "/supplies",
        N_("Enter what happened at {name}"),
        "supply",
        "/supplies/{id}",
    ),
    "supply assess": Way(
        N_("Decide the test interval"),
        "/supplies",
        N_("Decide the test interval of {name}"),
        "supply",
        "/supplies/{id}",
    ),
    "outlet equipment": Way(
        N_("Enter what is worn at an outlet"),
        "/outlets",
        N_("Enter what is worn at {name}"),
        "outlet",
        "/outlets/{id}",
    ),
    "instrument calibrate": Way(
        N_("Enter a calibration"),
        "/instruments",
        N_("Enter a calibration of {name}"),
        "instrument",
        "/instruments/{id}",
    ),
    "instrument bump": Way(
        N_("Enter a bump test"),
        "/instruments",
        N_("Enter a bump test of {name}"),
        "instrument",
        "/instruments/{id}",
    ),
    "instrument paper": Way(N_("Instruments"), "/instruments"),
    "lot use": Way(
        N_("Enter what was used of a lot"),
        "/lots",
        N_("Enter what was used of lot {name}"),
        "lot",
        "/lots/{id}",
    ),
    "finding": Way(N_("Findings"), "/findings"),
    "finding list": Way(N_("Findings"), "/findings"),
    "finding open": Way(N_("Open a finding"), "/findings/new"),
    "finding show": Way(
        N_("Findings"), "/findings", N_("Look at finding {name}"), "id", _FINDING_PAGE
    ),
    "finding cause": Way(
        N_("Enter the cause"),
        "/findings",
        N_("Enter the cause of finding {name}"),
        "id",
        _FINDING_PAGE,
    ),
    "finding cure": Way(
        N_("Enter the cure"),
        "/findings",
        N_("Enter the cure of finding {name}"),
        "id",
        _FINDING_PAGE,
    ),
    "finding note": Way(
        N_("Add a note to a finding"),
        "/findings",
        N_("Add a note to finding {name}"),
        "id",
        _FINDING_PAGE,
    ),
    "finding close": Way(
        N_("Close a finding"), "/findings", N_("Close finding {name}"), "id", _FINDING_PAGE
    ),
    "test": Way(N_("Tests by hand"), "/tests"),
    "test start": Way(
        N_("Test at the outlet"),
        "/tests/new",
        N_("Test at {name}"),
        "outlet",
        "/tests/new?outlet={id}",
    ),
    "test resume": Way(
        N_("Tests under way"),
        "/tests",
        N_("Go on with test {name}"),
        "id",
        "/tests/under-way/{id}",
    ),
    "test abort": Way(
        N_("Tests under way"), "/tests", N_("Abort test {name}"), "id", "/tests/under-way/{id}"
    ),
    "test from-file": Way(N_("Record a test done on paper"), "/tests/paper"),
    "test form": Way(N_("Form for a test on paper"), "/tests/paper"),
    "test list": Way(N_("Tests by hand"), "/tests"),
    "test show": Way(N_("Tests by hand"), "/tests", N_("Look at test {name}"), "id", _TEST_PAGE),
    "test amend": Way(N_("Tests by hand"), "/tests", N_("Amend test {name}"), "id", _TEST_PAGE),
    "test void": Way(N_("Tests by hand"), "/tests", N_("Void test {name}"), "id", _TEST_PAGE),
    "test procedures": Way(N_("Procedures"), "/tests/new"),
    "test procedures list": Way(N_("Procedures"), "/tests/new"),
    "test procedures show": Way(N_("Procedures"), "/tests/new"),
    "print": Way(N_("Print"), "/print"),
    "print report": Way(N_("Print the report"), "/print"),
    "print summary": Way(N_("Print the summary of a site"), "/print"),
    "print tag": Way(N_("Print the tag of an outlet"), "/print"),
    "print notice": Way(N_("Print the notice"), "/print"),
    "print tests": Way(N_("Print the list of tests"), "/print"),
    "print certificate": Way(
        N_("Certificates"),
        "/certificates",
        N_("Certificate {name} as PDF"),
        "id",
        "/certificates/{id}/pdf",
    ),
}
"""Every command that the command line has, and its page."""

_FIRST_WORDS: Final = frozenset(name.split(" ", 1)[0] for name in WAYS)
_STAND_IN: Final = re.compile(
    r"(?:NAME|OUTLET|SUPPLY|SITE|ID|FILE(?:\.pdf|\.zip)?|TEXT|COUNT|HOURS|NUMBER|FOLDER|DIR|DAY|MOMENT|TIME|SIZE:ROOT|N|…)(?![\w-])"
)
_WORD: Final = re.compile(r"[a-z]+(?:-[a-z]+)*(?![\w-])")
_OPTION: Final = re.compile(r"--[a-z][a-z-]*")
_QUOTED: Final = re.compile(r"\"[^\"]*\"|'[^']*'")
_BARE: Final = re.compile(r"[^\s\"'(),;]*[^\s\"'(),;.:]")
_FLAGS: Final = frozenset(
    (
        *("--passed", "--failed", "--retire", "--in-use", "--withdraw", "--dry-run", "--list"),
        *("--no-certificate", "--no-test", "--no-log", "--not-air", "--clock-is-right", "--json"),
        *("--all", "--history", "--record", "--end-wait", "--judge"),
    )
)


@frozen
class Command:
    """A command that a message names.

    Parameters
    ----------
    name : str
        Such as ``"supply add"``.
    arguments : tuple of str
        What stands after it, without quotes.
    options : dict of str to str
        Values by option; empty for those without one.
    """

    name: str
    arguments: tuple[str, ...]
    options: dict[str, str]


def _plain(token: str) -> str:
    return token[1:-1] if token[:1] in "\"'" and token[:1] == token[-1:] and token[1:] else token


def read(text: str, start: int) -> tuple[Command, int] | None:
    """Read a command in a sentence.

    Parameters
    ----------
    text : str
        The sentence.
    start : int
        Where the word after 'lungwort' and its blank begins.

    Returns
    -------
    tuple of (Command, int), optional
        The command and where it ends; None where no command stands there.

    Examples
    --------
    >>> read("certify hall-1, or wait", 0)
    (Command(name='certify', arguments=('hall-1',), options={}), 14)
    """
    name, place = "", start
    while (found := _WORD.match(text, place)) and (
        (longer := f"{name} {found[0]}".strip()) in WAYS or (not name and found[0] in _FIRST_WORDS)
    ):
        name, place = longer, found.end()
        if text[place : place + 1] != " ":
            break
        place += 1
    if name not in WAYS:
        return None
    end = place - 1 if text[place - 1 : place] == " " else place
    arguments: list[str] = []
    options: dict[str, str] = {}
    most = 1 if not WAYS[name].kind else 2
    while text[end : end + 1] == " ":
        place = end + 1
        if found := _OPTION.match(text, place):
            options[found[0]] = ""
            end = found.end()
            if found[0] in _FLAGS or text[end : end + 1] != " ":
                continue
            value = _QUOTED.match(text, end + 1) or _BARE.match(text, end + 1)
            if value and not value[0].startswith("--"):
                options[found[0]], end = _plain(value[0]), value.end()
            continue
        token = _QUOTED.match(text, place) or _STAND_IN.match(text, place)
        if token is None and len(arguments) < most and not options:
            token = _BARE.match(text, place)
        if token is None:
            break
        arguments.append(_plain(token[0]))
        end = token.end()
    return Command(name, tuple(arguments), options), end


def link(command: Command, find: Find | None, gettext: Callable[[str], str]) -> tuple[str, str]:
    """Give the words and the address of the page on which a command's work is done.

    Parameters
    ----------
    command : Command
        The command.
    find : callable, optional
        Gives the id of a thing on record by its kind and its name.
    gettext : callable
        Gives a text in the reader's language.

    Returns
    -------
    tuple of (str, str)
        The words and the address.
    """
    way = WAYS[command.name]
    for option in ("--list", "--void"):
        if option in command.options and f"{command.name} {option}" in WAYS:
            way = WAYS[f"{command.name} {option}"]
            if option == "--void":
                way = Way(way.words, way.page, way.named, way.kind, way.one, option)
    if way.option:
        name = command.options.get(way.option, "")
    else:
        name = command.arguments[0] if command.arguments else ""
    if not way.kind or not name or _STAND_IN.fullmatch(name):
        return gettext(way.words), way.page
    words = gettext(way.named).replace("{name}", name)
    if way.kind == "id":
        return words, way.one.replace("{id}", quote(name, safe=""))
    known = find(way.kind, name) if find else None
    return words, way.one.replace("{id}", quote(known, safe="")) if known else way.page
