"""What all papers of the register share: text fit for the fonts, days, and the attached JSON."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from attrs import frozen

from lungwort.errors import OutputError
from lungwort.paper.sheet import Attached, day_text, json_text, plain, set_pdf

NOW = datetime(2026, 3, 6, 9, 0, tzinfo=UTC)


@frozen
class _Inner:
    day: date
    text: str


@frozen
class _Outer:
    when: datetime
    inner: tuple[_Inner, ...]
    none: None = None


def test_every_text_at_any_depth_can_be_drawn() -> None:
    """Drawings alone are left as they are."""
    made = plain(
        {
            "a": ["空", ("x\u202ey",)],
            "svg": "<svg>空</svg>",
            "n": 3,
            "i": _Inner(date(2026, 3, 6), "\x07"),
        }
    )

    assert made == {
        "a": ["[U+7A7A]", ["x[U+202E]y"]],
        "svg": "<svg>空</svg>",
        "n": 3,
        "i": {"day": "6 Mar 2026", "text": "[U+0007]"},
    }


def test_a_moment_must_be_shown_by_a_clock() -> None:
    """A day of UTC in place of the site's would be wrong for an hour, or for ten."""
    with pytest.raises(TypeError, match="issued must be shown by the clock of the site first"):
        plain({"issued": NOW})


def test_the_attached_file_is_json_in_utc() -> None:
    """With its format; letters as they are; halves of surrogates escaped, or nobody could read it."""
    tokyo = NOW.astimezone(timezone(timedelta(hours=9)))
    text = json_text("lungwort-x/1", _Outer(tokyo, (_Inner(date(2026, 3, 6), "空\udcff"),)))

    assert json.loads(text) == {
        "format": "lungwort-x/1",
        "when": "2026-03-06T09:00:00Z",
        "inner": [{"day": "2026-03-06", "text": "空\\udcff"}],
        "none": None,
    }
    assert "空" in text
    text.encode("utf-8")


def test_days_in_words() -> None:
    """As the papers write them; what stands for none is the caller's."""
    assert (day_text(date(2026, 12, 31)), day_text(None), day_text(None, "not set")) == (
        "31 Dec 2026",
        "",
        "not set",
    )


def test_a_page_that_cannot_be_set_is_told() -> None:
    """As an error of the program's own, without the library's class."""
    with pytest.raises(OutputError, match=r"the PDF could not be set: .*Nothing is lost"):
        set_pdf(
            "notice.typ",
            {"facts": []},
            title="",
            description="",
            dated=NOW,
            attached=Attached("x.json", "{}", ""),
        )
