"""Limit sets of one's own on pages: begun from a copy, checked, kept by edition, put in force."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from urllib.parse import quote

import pytest
from tests.web.kit import Visitor, text_of

from lungwort.limits.load import limit_set, load_file

HEAD = {"id": "yard", "title": "House rule (invented)", "document": "house rule", "edition": "1"}


def _fields(html: str) -> dict[str, str]:
    """Read what a form holds, as a browser would send it."""
    form = html[html.index('<form class="form limit-form"') :]
    form = form[: form.index("</form>")]
    found = {}
    for tag in re.findall(r"<input [^>]*>", form):
        name = re.search(r' name="([^"]*)"', tag)
        value = re.search(r' value="([^"]*)"', tag)
        if name and ("checkbox" not in tag or " checked" in tag):
            found[name[1]] = unescape(value[1]) if value else ""
    for name, inner in re.findall(
        r'<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.DOTALL
    ):
        options = re.findall(r"<option([^>]*)>([^<]*)", inner)
        marked = [one for one in options if " selected" in one[0]] or options[:1]
        value = re.search(r'value="([^"]*)"', marked[0][0])
        found[name] = unescape(value[1] if value else marked[0][1])
    for name, inner in re.findall(
        r'<textarea [^>]*name="([^"]*)"[^>]*>(.*?)</textarea>', form, re.DOTALL
    ):
        found[name] = unescape(inner)
    found.pop("csrf")
    return found


def _number(fields: dict[str, str], key: str) -> str:
    return next(name.removeprefix("key-") for name, value in fields.items() if value == key)


def test_a_copy_is_changed_kept_and_put_in_force(visitor: Visitor, folder: Path) -> None:
    """What is not typed over stays the original's; the set then holds at the site."""
    fields = _fields(visitor.page("/limits/own/form?base=en12021-2014-airline")) | HEAD
    co = _number(fields, "co")

    refused = visitor.refused("/limits/own/form", {**fields, f"upper-{co}": "3"})
    assert "Say where yours comes from" in refused
    said = visitor.done(
        "/limits/own/form", {**fields, f"upper-{co}": "3", f"source-{co}": "house rule"}
    )

    assert "is kept as yard" in said
    assert "It holds nowhere yet" in said
    made = load_file(folder / "limits" / "yard.toml")
    assert made.limit("co").upper is not None
    base = limit_set("en12021-2014-airline")
    assert [one for one in made if one.key != "co"] == [one for one in base if one.key != "co"]

    page = visitor.page("/limits/own/yard")
    site = re.search(r'value="(site:[^"]+)"', page)
    assert site is not None
    holder = {"holder": site[1], "reason": "Asked for by the yard."}
    assert "Holds here for" in visitor.done("/limits/own/yard/use", holder)
    # It is not written over any more.
    again = _fields(visitor.page("/limits/own/form?name=yard"))
    said = visitor.done("/limits/own/form", {**again, f"upper-{co}": "2"})
    assert "a new edition" in said
    assert load_file(folder / "limits" / "yard.toml").digest == made.digest
    assert (folder / "limits" / "yard.2.toml").is_file()


def test_mistakes_are_told_with_lines_and_what_was_typed_is_kept(visitor: Visitor) -> None:
    """The text that the form makes is shown with its lines beside them."""
    fields = _fields(visitor.page("/limits/own/form")) | HEAD | {"use": "airline"}
    typed = {**fields, "analyte-0": "co", "upper-0": "five", "unit-0": "ppm", "source-0": "x"}
    answer = visitor.post("/limits/own/form", typed)
    assert answer.status_code == 422
    told = text_of(answer.text)
    assert re.search(r"line \d+: limit 'co', key 'upper'", told)
    assert "key 'status' is missing" in told or "key 'status'" in told
    assert _fields(answer.text)["upper-0"] == "five"
    assert "upper = &#34;&lt;= five&#34;" in answer.text


def test_more_rows_keep_what_was_typed(visitor: Visitor) -> None:
    """Empty rows are added after those that are filled."""
    fields = _fields(visitor.page("/limits/own/form"))
    filled = {f"analyte-{n}": "co" for n in range(3)} | {f"upper-{n}": str(n) for n in range(3)}
    more = _fields(visitor.post("/limits/own/form", {**fields, **filled, "more": "yes"}).text)
    assert more["rows"] == "6"
    assert (more["upper-2"], more["upper-3"]) == ("2", "")


@pytest.mark.parametrize(
    "bad",
    [
        {"rows": "99999999999999999999"},
        {"rows": "-1"},
        {"rows": "x"},
        {"base": "../../etc/passwd"},
        {"name": "../lungwort-workspace"},
        {"upper-0": "9" * 5000, "analyte-0": "co", "unit-0": "ppm"},
        {"title": "<script>alert(1)</script>", "analyte-0": '"><script>alert(1)</script>'},
        {"id": "x\n[[limit]]\nkey = 'y'"},
    ],
)
def test_what_means_harm_is_refused(visitor: Visitor, bad: dict[str, str]) -> None:
    """A message, no fault, and nothing of it runs."""
    fields = _fields(visitor.page("/limits/own/form")) | HEAD | {"use": "airline"}
    answer = visitor.post("/limits/own/form", {**fields, **bad})
    assert answer.status_code in {404, 422}
    assert "<script>alert" not in answer.text


@pytest.mark.parametrize("name", ["../workspace", "nix", "<b>", "a" * 300, "..", "%00"])
def test_no_other_file_is_shown(reader: Visitor, name: str) -> None:
    """Only sets of one's own have a page there."""
    address = quote(name, safe="")
    for path in (f"/limits/own/{address}x", f"/limits/own/form?name={address}"):
        assert reader.get(path).status_code == 404
    told = reader.get(f"/limits/compare?a=osha-pel&b=limits/{address}.toml")
    assert told.status_code == 422
    assert "no limit set" in text_of(told.text)


def test_one_of_ones_own_beside_another(visitor: Visitor, folder: Path) -> None:
    """Both lead to their own pages."""
    fields = _fields(visitor.page("/limits/own/form?base=osha-pel")) | HEAD
    visitor.done("/limits/own/form", fields)
    html = visitor.page("/limits/compare?a=osha-pel&b=limits/yard.toml")
    assert 'href="/limits/own/yard"' in html
    assert 'href="/limits/set/osha-pel"' in html
    assert (folder / "limits" / "yard.toml").is_file()
