"""Limit sets of one's own: what is kept, what is never overwritten, and the form for them."""

from __future__ import annotations

import contextlib
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from attrs import evolve
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lungwort.errors import (
    InputError,
    LimitSetError,
    RegisterError,
    UnknownRecordError,
)
from lungwort.jobs import own_limits as job
from lungwort.jobs.catalogue import site, supply
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.judging import limits_of
from lungwort.jobs.opening import Where
from lungwort.jobs.own_limits_form import MOST_ROWS, Draft, Row, begin, draft_of, toml_of, uses
from lungwort.limits.load import available, limit_set, read_text
from lungwort.limits.model import Bound
from lungwort.plan.snapshot import take
from lungwort.register.model import Site, Supply
from lungwort.register.workspace import create_workspace, open_workspace

NOW = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
SET = """format = 1
id = "yard"
title = "House rule of the yard (invented)"
document = "house rule"
edition = "2026"
use = "airline"
reference_temperature_c = 20
reference_pressure_kpa = 101.325
source = "invented"
status = "from memory"

[[limit]]
key = "co"
analyte = "co"
unit = "ppm"
upper = "<= 5"
"""
STRICTER = SET.replace("<= 5", "<= 3")


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a workspace with a site and a supply (invented), once."""
    folder = tmp_path_factory.mktemp("own") / "yard"
    with create_workspace(folder, name="Yard", person="Wenna Harkle", now=NOW):
        pass
    at = Session(now=NOW, where=Where(workspace=folder))
    site.add(at, "slipway", site.SiteFacts(zone="Europe/London", limit_set="en12021-2014-airline"))
    supply.add(at, "hall", supply.SupplyFacts(kind="airline-compressor", site="slipway"))
    return folder


@pytest.fixture
def at(template: Path, tmp_path: Path) -> Session:
    """Give a copy of it."""
    return Session(now=NOW, where=Where(workspace=Path(shutil.copytree(template, tmp_path / "w"))))


def _folder(at: Session) -> Path:
    assert at.where.workspace is not None
    return at.where.workspace / "limits"


def test_a_set_is_kept_under_its_id_and_put_in_force(at: Session) -> None:
    """It is listed with whom it holds for, and verdicts are drawn by it."""
    saved = job.save(at, SET.replace("\n", "\r\n"))

    assert saved.name == "yard"
    assert "holds nowhere" in " ".join(saved.remarks)
    assert (_folder(at) / "yard.toml").read_bytes() == SET.encode("utf-8")
    assert job.text_of(at.where, "yard") == SET
    assert job.show(at.where, "yard").limit_set.title.startswith("House rule")

    done = job.use(at, "yard", "supply:hall", "Asked for by the yard.")

    assert "limits/yard.toml" in done.said
    (own,) = job.listed(at.where)
    assert [(one.kind, one.name) for one in own.held] == [("supply", "hall")]
    with open_workspace(_folder(at).parent) as workspace:
        hall = workspace.register.get(Supply, "hall")
        assert hall.limit_set == "limits/yard.toml"
        assert limits_of(take(workspace.register, NOW), hall).id == "yard"


def test_a_set_that_holds_is_never_overwritten(at: Session) -> None:
    """What is saved is a new edition that holds nowhere; the old one stays byte for byte."""
    job.save(at, SET)
    job.use(at, "yard", "site:slipway", "Asked for by the yard.")

    saved = job.save(at, STRICTER, name="yard")

    assert saved.name == "yard.2"
    assert "a new edition" in saved.said
    assert "yard holds for slipway and stays as it is" in " ".join(saved.remarks)
    assert (_folder(at) / "yard.toml").read_text(encoding="utf-8") == SET
    assert {one.name: len(one.held) for one in job.listed(at.where)} == {"yard": 1, "yard.2": 0}
    # Nobody is held against the new one: it may be written over until it is put in force.
    assert job.save(at, STRICTER.replace("<= 3", "<= 4"), name="yard.2").name == "yard.2"
    job.use(at, "yard.2", "site:slipway", "Stricter.")
    assert job.save(at, STRICTER, name="yard.2").name == "yard.3"
    with open_workspace(_folder(at).parent) as workspace:
        assert workspace.register.get(Site, "slipway").limit_set == "limits/yard.2.toml"


def test_a_set_named_by_its_absolute_path_holds_too(at: Session) -> None:
    """Records from before sets had a folder name them so."""
    job.save(at, SET)
    path = _folder(at) / "yard.toml"
    with open_workspace(_folder(at).parent) as workspace:
        old = workspace.register.get(Site, "slipway")
        with workspace.register.change(who="Wenna Harkle", now=NOW) as change:
            change.replace(old, evolve(old, limit_set=str(path.resolve())), "As it was once.")

    assert job.save(at, STRICTER, name="yard").name == "yard.2"


def test_a_comment_is_no_edition(at: Session) -> None:
    """The same content under another layout stays in its file; the very same text is refused."""
    job.save(at, SET)
    job.use(at, "yard", "site:slipway", "Asked for by the yard.")
    with pytest.raises(InputError, match="Nothing changes"):
        job.save(at, SET, name="yard")
    assert job.save(at, f"# Checked by hand.\n{SET}", name="yard").name == "yard"


def test_mistakes_are_told_with_their_lines_and_nothing_is_kept(at: Session) -> None:
    """As for every file of that form."""
    with pytest.raises(LimitSetError, match=r"line 15: limit .co., key .unit."):
        job.save(at, SET.replace('"ppm"', '"ppx"'))
    with pytest.raises(LimitSetError, match="not TOML"):
        job.save(at, "id = ")
    with pytest.raises(LimitSetError, match="comes with lungwort"):
        job.save(at, SET.replace('"yard"', '"osha-pel"'))
    with pytest.raises(LimitSetError, match="at most"):
        job.save(at, SET + "#" * 1_000_001)
    assert job.listed(at.where) == ()


@pytest.mark.parametrize("name", ["con", "nul", "lpt1", "yard.2", "a" * 81])
def test_ids_that_are_no_names_of_files(at: Session, name: str) -> None:
    """Some system cannot hold them, or they would be taken for an edition."""
    with pytest.raises(InputError, match="cannot be the name of a file"):
        job.save(at, SET.replace('"yard"', f'"{name}"'))


def test_a_set_of_the_same_id_is_not_replaced(at: Session) -> None:
    """Neither by a new one, nor by another that is renamed."""
    job.save(at, SET)
    with pytest.raises(InputError, match="already"):
        job.save(at, STRICTER)
    job.save(at, SET.replace('"yard"', '"pier"'))
    with pytest.raises(InputError, match="already"):
        job.save(at, STRICTER, name="pier")


@pytest.mark.parametrize(
    "name", ["../lungwort-workspace", "yard", "", ".", "..", "limits/yard", "Yard", "a\0b", "a\nb"]
)
def test_no_other_file_is_reached(at: Session, name: str) -> None:
    """Only sets right in the folder are found."""
    for ask in (job.find, job.text_of, job.show):
        with pytest.raises(UnknownRecordError, match="no limit set"):
            ask(at.where, name)
    with pytest.raises(UnknownRecordError, match="no limit set"):
        job.save(at, SET, name=name)
    with pytest.raises(UnknownRecordError, match="no limit set"):
        job.loadable(at.where, f"limits/{name}.toml")


def test_what_can_be_loaded(at: Session) -> None:
    """Sets that come with lungwort and one's own, and no path."""
    job.save(at, SET)
    assert job.loadable(at.where, "osha-pel") == "osha-pel"
    assert Path(job.loadable(at.where, "limits/yard.toml")) == _folder(at) / "yard.toml"
    with pytest.raises(UnknownRecordError, match="no limit set"):
        job.loadable(at.where, str(_folder(at) / "yard.toml"))


def test_a_set_with_mistakes_is_listed_and_put_in_force_nowhere(at: Session) -> None:
    """It may have been written by hand."""
    _folder(at).mkdir()
    (_folder(at) / "bad.toml").write_text("format = 1\n", encoding="utf-8")
    (_folder(at) / "worse.toml").write_bytes(b"\xff\xfe\x00")
    bad, worse = job.listed(at.where)
    assert bad.found is None
    assert "is missing" in bad.problem
    assert "UTF-8" in worse.problem
    with pytest.raises(InputError, match="cannot be put in force"):
        job.use(at, "bad", "site:slipway", "Why not.")
    with pytest.raises(LimitSetError, match="UTF-8"):
        job.text_of(at.where, "worse")


def test_whom_it_may_hold_for(at: Session) -> None:
    """Sites and supplies; something else is refused, and so is no reason."""
    job.save(at, SET)
    assert [(one.kind, one.name) for one in job.holders(at.where)] == [
        ("site", "slipway"),
        ("supply", "hall"),
    ]
    for wrong in ("", "person:x", "site:"):
        with pytest.raises(InputError, match="Choose the site or the supply"):
            job.use(at, "yard", wrong, "Why not.")
    with pytest.raises(UnknownRecordError, match="nowhere"):
        job.use(at, "yard", "site:nowhere", "Why not.")
    with pytest.raises(InputError, match="--reason"):
        job.use(at, "yard", "site:slipway", None)


def test_only_somebody_on_record_saves(at: Session) -> None:
    """Who writes a set is known."""
    with pytest.raises((RegisterError, UnknownRecordError), match="Nobody There"):
        job.save(evolve(at, by="Nobody There"), SET)
    assert job.listed(at.where) == ()


# The form.

NAMED: dict[str, Any] = {"id": "mine", "title": "Ours", "document": "house rule", "edition": "2026"}


@pytest.mark.parametrize("base", [one.id for one in available()])
def test_a_copy_says_what_the_original_says(base: str) -> None:
    """Each set can be begun from; untyped, all limits are the very same, and a form holds it."""
    draft = evolve(begin(base), **NAMED)

    made = read_text(toml_of(draft), "mine.toml")

    assert made.limits == limit_set(base).limits
    assert made.extends == base
    again = draft_of(made)
    assert again is not None
    assert read_text(toml_of(again), "mine.toml").digest == made.digest


def _typed(draft: Draft, key: str, **values: Any) -> Draft:
    rows = tuple(evolve(one, **values) if one.key == key else one for one in draft.rows)
    return evolve(draft, **NAMED, rows=rows)


def test_a_number_is_typed_over_a_limit_is_left_out_another_added() -> None:
    """The rest stays the original's; the set says that it is not that document."""
    draft = _typed(
        begin("en12021-2014-airline"), "co", upper="3,5", source="house rule", clause="2"
    )
    draft = _typed(draft, "odour", left_out=True)
    new = Row(analyte="no2", unit="ppm", upper="< 0.5", source="house rule", status="confirmed")
    made = read_text(toml_of(evolve(draft, rows=(*draft.rows, new))), "mine.toml")

    base = limit_set("en12021-2014-airline")
    assert made.limit("co").upper == Bound(3.5, included=True)
    assert made.limit("no2").upper == Bound(0.5, included=False)
    assert "odour" not in {one.key for one in made}
    assert made.limit("water") == base.limit("water")
    assert "not a verdict by that document" in made.remarks[0]
    again = draft_of(made)
    assert again is not None
    assert {one.key for one in again.rows if one.left_out} == {"odour"}


def test_a_number_of_ones_own_does_not_borrow_the_source() -> None:
    """Else it would stand there as if the document said so."""
    draft = _typed(begin("en12021-2014-airline"), "co", upper="30")
    with pytest.raises(InputError, match=r"limit co .* Say where yours comes from"):
        toml_of(draft)
    # Another way of writing the same number changes nothing.
    same = _typed(begin("en12021-2014-airline"), "co", upper="<= 5")
    assert read_text(toml_of(same), "m").limit("co") == limit_set("en12021-2014-airline").limit(
        "co"
    )


def test_an_empty_form_makes_a_set_of_its_own() -> None:
    """Rows without anything in them are no limits; keys are made of the analyte."""
    co = Row(analyte="co", unit="ppm", upper="5", source="house rule", status="confirmed")
    draft = Draft(**NAMED, use="airline", rows=(co, Row(), evolve(co, averaging="8 h", upper="2")))
    made = read_text(toml_of(draft), "mine.toml")
    assert [(one.key, one.averaging) for one in made] == [("co", "any reading"), ("co-2", "8 h")]
    assert begin("") == Draft()
    assert "airline" in uses()
    assert max(len(one.limits) for one in available()) < MOST_ROWS


def test_numbers_that_can_be_read_in_two_ways() -> None:
    """They are refused, with the limit named."""
    row = Row(analyte="co2", unit="ppm", upper="1,050", source="x", status="confirmed")
    with pytest.raises(InputError, match=r"co2: 1,050 can be 1\.050 or 1050"):
        toml_of(Draft(**NAMED, use="airline", rows=(row,)))
    with pytest.raises(InputError, match="no limit set 'nix'"):
        begin("nix")


def test_what_no_form_holds_is_left_to_the_text() -> None:
    """A table by pressure of one's own would be lost in it."""
    text = SET + (
        '\n[[limit]]\nkey = "water"\nanalyte = "water"\nunit = "mg/m3"\n'
        'rows = [{ up_to_bar_g = 10, upper = "<= 100" }]\n'
    )
    assert draft_of(read_text(text, "x")) is None
    assert draft_of(read_text(SET, "x")) is not None


_ANY = st.text(max_size=30)


@given(
    st.builds(
        Row,
        key=_ANY,
        analyte=st.sampled_from(["co", "o2", "oil", "odour", "x\n[[limit]]"]) | _ANY,
        unit=st.sampled_from(["ppm", "%", "mg/m3"]) | _ANY,
        lower=_ANY | st.floats().map(str),
        upper=_ANY | st.integers().map(str),
        wording=_ANY,
        source=_ANY,
        status=_ANY,
        remark=_ANY,
    ),
    _ANY,
)
@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.too_slow])
def test_whatever_is_typed_is_a_set_or_a_message(row: Row, title: str) -> None:
    """No sign that is typed becomes a part of the file's form."""
    draft = Draft(**{**NAMED, "title": title}, use="airline", rows=(row,))
    made = None
    with contextlib.suppress(InputError):
        made = read_text(toml_of(draft), "mine.toml")
    if made is not None:
        assert made.title == title.strip()
        assert len(made.limits) == 1
