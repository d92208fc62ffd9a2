"""How messages are worded in the browser: no option, no command, nothing that could do harm."""

from __future__ import annotations

import ast
import importlib.util
import re
from datetime import UTC, date, datetime
from decimal import Decimal
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from markupsafe import Markup

from lungwort.web.wording import Wording, reword
from lungwort.web.wording_commands import WAYS, link, read
from lungwort.web.wording_options import LABELS, label_of
from lungwort.web.wording_phrases import PLACE


def _tool() -> Any:
    """Load the script, which is no part of a package."""
    place = Path(__file__).resolve().parents[2] / "tools" / "texts.py"
    spec = importlib.util.spec_from_file_location("lungwort_texts", place)
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


texts = _tool()


EN = Wording("en")
DE = Wording("de")
OPTION = re.compile(r"(?<![\w-])--[a-z]")
COMMAND = re.compile(rf"\blungwort (?:{'|'.join({name.split()[0] for name in WAYS})})\b")
SAMPLES = {
    "option": "--zone",
    "instead": "Give --no-certificate to have it judged and recorded only.",
    "certify": "'lungwort certify \"hall-1\"'",
    "word": "supply",
}


def _find(kind: str, name: str) -> str | None:
    return f"{kind[:2]}-{name}"


def _plain(html: Markup) -> str:
    return unescape(re.sub(r"<[^>]*>", "", html))


def _messages() -> list[str]:
    """Give every string of the rooms, as the code holds it, that names an option or a command."""
    found = []
    for room in texts.ROOMS:
        for path in sorted((texts.SOURCE / room).rglob("*.py")):
            visitor = texts._Texts()
            visitor.visit(ast.parse(path.read_text(encoding="utf-8")))
            found += [text for _, text in visitor.found if "--" in text or "lungwort " in text]
    return sorted(set(found))


MESSAGES = _messages()


def _filled(text: str) -> str:
    return PLACE.sub(lambda found: SAMPLES.get(found[1], "hall-1"), text)


def test_there_are_messages_that_name_options_and_commands() -> None:
    """There are messages that name options and commands."""
    assert len(MESSAGES) > 150
    assert any("'lungwort limits'" in text for text in MESSAGES)


@pytest.mark.parametrize("language", ["en", "de"])
def test_no_message_leaves_an_option_or_a_command(language: str) -> None:
    """No message leaves an option or a command."""
    wording = Wording(language)
    left = []
    for text in MESSAGES:
        shown = _plain(wording.said(_filled(text), find=_find))
        if OPTION.search(shown) or COMMAND.search(shown) or "LUNGWORT_BY" in shown:
            left.append((text, shown))
    assert not left


def test_every_option_in_a_message_has_a_label() -> None:
    """Every option in a message has a label."""
    named = {
        option for text in MESSAGES for option in re.findall(r"(?<![\w-])--[a-z][a-z-]*[a-z]", text)
    }
    # '--{name} and --no-{name}' is put together from two options that have labels.
    assert named - set(LABELS) - {"--no"} == set()


def test_every_command_has_a_page() -> None:
    """Every command has a page."""
    from typer.main import get_command

    from lungwort.cli.main import app

    def names(command: object, before: str = "") -> list[str]:
        told = []
        for name, inner in getattr(command, "commands", {}).items():
            told += [f"{before}{name}", *names(inner, f"{before}{name} ")]
        return told

    assert set(names(get_command(app))) - set(WAYS) == set()


@pytest.mark.parametrize(
    ("text", "html"),
    [
        ("Give --reason TEXT.", "Give ‘Reason’."),
        ("Give --by NAME.", 'Give ‘<a href="/who">Who are you?</a>’.'),
        (
            "Give --by NAME or set LUNGWORT_BY. ",
            'Give ‘<a href="/who">Who are you?</a>’. ',
        ),
        ("'lungwort limits' lists them.", '‘<a href="/limits">Limit sets</a>’ lists them.'),
        (
            "Return it first: 'lungwort return \"main\"'.",
            'Return it first: ‘<a href="/supplies/su-main/return">Return main to service</a>’.',
        ),
        (
            "lungwort test start hall-1, or lungwort import FILE --outlet hall-1",
            (
                '<a href="/tests/new?outlet=ou-hall-1">Test at hall-1</a>, or '
                '<a href="/logs/new?outlet=ou-hall-1">Bring in a log for hall-1</a>'
            ),
        ),
        (
            "Next: lungwort supply add NAME --site yard --kind airline-compressor",
            'Next: <a href="/supplies/new">Add a supply</a>',
        ),
        (
            "lungwort lot use t-1 COUNT --why TEXT (what is used up outside tests)",
            (
                '<a href="/lots/lo-t-1">Enter what was used of lot t-1</a> '
                "(what is used up outside tests)"
            ),
        ),
        (
            "Put it right with 'lungwort import --void im-7 --reason TEXT'.",
            'Put it right with ‘<a href="/logs/im-7">Take out log im-7</a>’.',
        ),
        (
            "Enter it: 'lungwort finding cause YARD-F-3 --text TEXT'.",
            'Enter it: ‘<a href="/findings/YARD-F-3">Enter the cause of finding YARD-F-3</a>’.',
        ),
        ("run lungwort workspace upgrade", 'run <a href="/workspace">Upgrade the workspace</a>'),
        ("cd /home/air", "The workspace lies in /home/air."),
        ("this version of lungwort reads 1.", "this version of lungwort reads 1."),
        ("Settle it with --decimal point.", "Settle it with ‘Decimal sign’ point."),
    ],
)
def test_options_become_labels_and_commands_links(text: str, html: str) -> None:
    """Options become labels and commands links."""
    assert EN.said(text, find=_find) == html


def test_the_label_of_the_page_goes_first() -> None:
    """The label of the page goes first."""
    said = EN.said("Give --zone.", labels={"--zone": "Time zone of the logger"})
    assert said == "Give ‘Time zone of the logger’."
    assert label_of("--zone", {}, str) == "Time zone"


def test_an_unknown_option_is_written_in_words() -> None:
    """An unknown option is written in words."""
    assert EN.said("Give --never-seen-before X.") == "Give ‘Never seen before’ X."


def test_what_is_not_found_leads_to_the_list() -> None:
    """What is not found leads to the list."""
    said = EN.said("'lungwort return \"main\"'", find=lambda _kind, _name: None)
    assert said == '‘<a href="/supplies">Return main to service</a>’'


def test_a_name_in_capitals_is_a_name_and_a_stand_in_is_none() -> None:
    """A name in capitals is a name and a stand in is none."""
    found = read('certify "MAIN"', 0)
    assert found is not None
    assert link(found[0], _find, str) == ("Judge and certify MAIN", "/judge/ou-MAIN")
    stand_in = read("certify OUTLET", 0)
    assert stand_in is not None
    assert link(stand_in[0], _find, str) == ("Judge and certify", "/judge")


HOSTILE = st.text(max_size=40) | st.sampled_from(
    [
        "<script>alert(1)</script>",
        "\" onclick='x",
        "javascript:alert(1)",
        "a&b",
        "'--x'",
        "\ue000<b>",
    ]
)


@settings(deadline=None, max_examples=200)
@given(name=HOSTILE, language=st.sampled_from(["en", "de"]))
def test_hostile_names_stay_harmless(name: str, language: str) -> None:
    """Hostile names stay harmless."""
    for text in (
        f"Supply {name} is withdrawn.",
        f"Return it: 'lungwort return \"{name}\"'.",
        f"lungwort certify {name}",
        name,
    ):
        html = Wording(language).said(text, find=lambda _kind, given: given)
        bare = re.sub(r'<a href="/[^"<>]*">|</a>|<span lang="en">|</span>', "", html)
        assert "<" not in bare
        assert ">" not in bare
        assert "&" not in re.sub(r"&(?:amp|lt|gt|#34|#39);", "", bare)


def test_markup_stays_as_it_is() -> None:
    """Markup stays as it is."""
    assert EN.said(Markup("<b>safe</b>")) == "<b>safe</b>"
    assert DE.said("<b>Wenna</b>") == "&lt;b&gt;Wenna&lt;/b&gt;"


MOMENT = datetime(2026, 3, 3, 9, 15, tzinfo=UTC)


def test_moments_name_their_zone() -> None:
    """Moments name their zone."""
    assert EN.moment(MOMENT, "Europe/Berlin") == "3 Mar 2026 10:15 CET"
    assert DE.moment(MOMENT, "Europe/Berlin") == "3. März 2026 10:15 CET"
    assert EN.moment(datetime(2026, 7, 1, 9, 0, tzinfo=UTC), "Europe/London") == (
        "1 Jul 2026 10:00 BST"
    )
    # Zones whose abbreviation is a number (IANA tz database) are written as an offset.
    assert EN.moment(MOMENT, "America/Sao_Paulo") == "3 Mar 2026 06:15 UTC-03:00"
    assert EN.moment(MOMENT, "no/zone") == "3 Mar 2026 09:15 UTC"


def test_days_and_numbers() -> None:
    """Days and numbers."""
    assert EN.day(date(2026, 3, 3)) == "3 Mar 2026"
    assert DE.day(date(2026, 3, 3)) == "3. März 2026"
    assert DE.day(datetime(2026, 3, 3, 23, 30, tzinfo=UTC), "Europe/Berlin") == "4. März 2026"
    assert EN.number(Decimal("0.40"), "ppm") == "0.40\u00a0ppm"
    assert DE.number(Decimal("0.40"), "ppm") == "0,40\u00a0ppm"
    assert EN.number(-0.5) == "−0.5"
    assert DE.number(12345.678) == "12345,678"
    assert EN.number(1e-7) == "0.0000001"
    assert EN.number(None, "ppm") == "–"


@settings(deadline=None, max_examples=200)
@given(
    value=st.decimals(
        allow_nan=False, allow_infinity=False, places=6, min_value=-(10**9), max_value=10**9
    )
)
def test_no_figure_of_a_number_is_lost(value: Decimal) -> None:
    """No figure of a number is lost."""
    for wording, sign in ((EN, "."), (DE, ",")):
        written = wording.number(value, "ppm").removesuffix("\u00a0ppm")
        assert Decimal(written.replace(sign, ".").replace("−", "-")) == value


def test_english_is_as_the_code_has_it() -> None:
    """English is as the code has it."""
    assert EN.gettext("Not proven") == "Not proven"
    assert EN.ngettext("%(num)s day", "%(num)s days", 1) == "%(num)s day"
    assert EN.ngettext("%(num)s day", "%(num)s days", 2) == "%(num)s days"
    assert EN.said("Nothing was recorded.") == "Nothing was recorded."
    assert Wording("fr").language == "en"


def test_a_long_text_ends_in_time() -> None:
    """A long text ends in time."""
    assert reword("'lungwort " * 500 + "--" * 500)
    assert DE.said("a " * 100_000)
