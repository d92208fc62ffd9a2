"""What the options that messages name are called on the screens.

A message of a job says 'Give --by NAME.'; the reader of a page has a field before them and no
option. Each option that occurs in a message has the label of its field here.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping


def _n(text: str) -> str:
    """Mark a text for translation."""
    return text


N_: Final = _n

LABELS: Final[dict[str, str]] = {
    "--address": N_("Address"),
    "--all": N_("Show all"),
    "--also-here": N_("Why it belongs here too"),
    "--altitude": N_("Altitude"),
    "--analyte": N_("Analyte"),
    "--answer": N_("Answers"),
    "--approved-by": N_("Approved by"),
    "--at": N_("Temperature at which it is counted"),
    "--at-pressure": N_("Pressure at which it is counted"),
    "--because": N_("Why"),
    "--behind-proxy": N_("Behind a proxy"),
    "--bump-days": N_("Bump tested every"),
    "--by": N_("Who are you?"),
    "--calibration-months": N_("Calibrated every"),
    "--certificate": N_("Certificate"),
    "--change-hours": N_("Changed after hours"),
    "--change-months": N_("Changed after months"),
    "--channel": N_("Channels"),
    "--clock-is-right": N_("The clock is right"),
    "--column": N_("Columns"),
    "--competent-until": N_("Competent to test until"),
    "--count": N_("Worn at once"),
    "--coverage": N_("Least coverage"),
    "--database": N_("Database"),
    "--date-order": N_("Order of the date"),
    "--days": N_("Days"),
    "--decides": N_("Who decides on the return"),
    "--decimal": N_("Decimal sign"),
    "--decision": N_("Decision rule"),
    "--delimiter": N_("Delimiter"),
    "--device": N_("Device"),
    "--done-by": N_("Done by"),
    "--drop-codes": N_("Turn one-time codes off"),
    "--dry-run": N_("Judge only, record nothing"),
    "--encoding": N_("Encoding"),
    "--end-wait": N_("End the wait now"),
    "--escape": N_("Time to get out"),
    "--example": N_("Example"),
    "--expires": N_("Last day of use"),
    "--failed": N_("Not passed"),
    "--figure": N_("Figure of a day"),
    "--finding": N_("Finding"),
    "--from": N_("From"),
    "--gas": N_("Gas"),
    "--guard-factor": N_("Width of the guard band"),
    "--head": N_("Tree head"),
    "--header-line": N_("Line of the headings"),
    "--highest-pressure": N_("Highest pressure at the hose's inlet"),
    "--highest-water": N_("Highest water content allowed"),
    "--history": N_("History"),
    "--host": N_("Address of the server"),
    "--hours": N_("Hour meter"),
    "--html": N_("As a web page"),
    "--ics": N_("As a calendar"),
    "--ignore": N_("Columns to leave alone"),
    "--in-use": N_("In use"),
    "--instrument": N_("Instrument"),
    "--intake": N_("Draws its air from"),
    "--join": N_("Join excursions nearer than"),
    "--json": N_("As JSON"),
    "--json-file": N_("As JSON"),
    "--judge": N_("Hold against the limits at once"),
    "--key": N_("Key"),
    "--kind": N_("Kind"),
    "--label": N_("What the token is for"),
    "--least-coverage": N_("Least share of a day that must be read"),
    "--limits": N_("Limit set"),
    "--list": N_("List"),
    "--log": N_("Logs"),
    "--lot": N_("Lot"),
    "--lot-number": N_("Lot number"),
    "--lowest-pressure": N_("Lowest pressure at the hose's inlet"),
    "--lowest-temperature": N_("Lowest temperature of the line or cylinder"),
    "--lubricant": N_("Lubricant"),
    "--min-excursion": N_("Shortest excursion listed"),
    "--minimum-flow": N_("Least flow for one wearer"),
    "--missing": N_("Cell that means no reading"),
    "--molar-mass": N_("Molar mass"),
    "--months": N_("Months"),
    "--name": N_("Name"),
    "--new-password": N_("New password"),
    "--no-certificate": N_("Without a certificate"),
    "--no-log": N_("No log"),
    "--no-test": N_("No test by hand"),
    "--not-air": N_("Not about the air"),
    "--note": N_("Note"),
    "--oil-lubricated": N_("Oil-lubricated"),
    "--outlet": N_("Outlet"),
    "--pack": N_("Evidence pack"),
    "--paper": N_("Its paper"),
    "--passed": N_("Passed"),
    "--pdf": N_("As PDF"),
    "--person": N_("Person"),
    "--place": N_("Place"),
    "--plan": N_("Rule set for intervals"),
    "--plate": N_("Plate"),
    "--port": N_("Port"),
    "--pressure": N_("Pressure"),
    "--procedure": N_("Procedure"),
    "--proxy-address": N_("Address of the proxy"),
    "--public-name": N_("Name that browsers use"),
    "--questionnaire": N_("Questionnaire"),
    "--reason": N_("Reason"),
    "--recipe": N_("Recipe"),
    "--record": N_("With a year of history"),
    "--retention-years": N_("Records are kept"),
    "--retire": N_("No longer in use"),
    "--role": N_("Role"),
    "--row": N_("Values"),
    "--save-recipe": N_("Save as a recipe"),
    "--scope": N_("What it may do"),
    "--second-signature": N_("Certificates need a second signature"),
    "--serial": N_("Serial number"),
    "--serves": N_("Serves"),
    "--settle": N_("Settling time"),
    "--settle-gap": N_("Gap after which the cells settle anew"),
    "--sheet": N_("Worksheet"),
    "--sign-with": N_("File to sign with"),
    "--site": N_("Site"),
    "--spot": N_("Tests by hand"),
    "--stage": N_("Stage"),
    "--start": N_("Start of the log"),
    "--stay": N_("Who was where"),
    "--stays": N_("Table of stays"),
    "--stock": N_("Came with"),
    "--supercooled": N_("Supercooled water"),
    "--supply": N_("Supply"),
    "--supply-pressure": N_("Highest supply pressure"),
    "--temperature": N_("Temperature"),
    "--test": N_("Tests"),
    "--text": N_("In words"),
    "--time": N_("When"),
    "--time-column": N_("Column of the time"),
    "--title": N_("Title"),
    "--to": N_("To"),
    "--to-date": N_("To"),
    "--to-pressure": N_("Pressure at which it is wanted"),
    "--trust": N_("Known to be true"),
    "--type": N_("Type"),
    "--uncertainties": N_("Uncertainties"),
    "--unit": N_("Units"),
    "--until": N_("Last until"),
    "--valid-until": N_("Valid until"),
    "--void": N_("Take out"),
    "--volume": N_("Water volume"),
    "--wanted": N_("Cylinders wanted"),
    "--what": N_("What happened"),
    "--why": N_("Why"),
    "--withdraw": N_("Withdraw at once"),
    "--within": N_("How far ahead"),
    "--without": N_("Days left out"),
    "--workspace": N_("Workspace"),
    "--write": N_("File of uncertainties"),
    "--write-example": N_("Example to fill in"),
    "--xlsx": N_("As a workbook"),
    "--zone": N_("Time zone"),
}
"""Label of the field by the option that messages name; a page's own field goes before it."""

PAGES: Final = {"--by": "/who"}
"""Options that no form has a field for, and the page on which they are chosen."""

_METAVAR: Final = r"(?: (?:[A-Z]{2,}[A-Z0-9:]*|[NR])(?![\w-])(?:\.(?:pdf|zip)\b)?| …)?"
OPTION: Final = re.compile(rf"(?<![\w-])--[a-z][a-z-]*[a-z]\b{_METAVAR}")
"""An option in a sentence, with the stand-in for its value where one follows."""


def label_of(found: str, labels: Mapping[str, str], gettext: Callable[[str], str]) -> str:
    """Give the label of an option's field.

    Parameters
    ----------
    found : str
        The option as it stands in a message.
    labels : Mapping of str to str
        Labels of the page's own fields by option, already in the reader's language.
    gettext : callable
        Gives a text in the reader's language.

    Returns
    -------
    str
        The label; an option that is not known is written in words, so that no sign of a terminal
        is left.

    Examples
    --------
    >>> label_of("--by NAME", {}, str), label_of("--zone", {"--zone": "Clock's zone"}, str)
    ('Who are you?', "Clock's zone")
    """
    option = found.split(" ", 1)[0]
    if option in labels:
        return labels[option]
    if option in LABELS:
        return gettext(LABELS[option])
    if option.startswith("--no-") and f"--{option[5:]}" in LABELS:
        return gettext(LABELS[f"--{option[5:]}"])
    words = option.removeprefix("--").replace("-", " ")
    return words[:1].upper() + words[1:]
