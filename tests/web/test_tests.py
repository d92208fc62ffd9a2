"""Tests by hand in the browser's face, from the server's side."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any, get_type_hints

import pytest
from fastapi.routing import APIRoute
from tests.jobs.tablet_kit import (
    BEGIN,
    IDRIS,
    PNG,
    WENNA,
    as_json,
    furnish,
    queued,
    session,
)
from tests.web.kit import PLACE, Clock, Visitor, app_on, text_of, visitor_on

from lungwort.jobs import hand_test as job
from lungwort.jobs.hand_test_sync import batch_of, take_entries
from lungwort.register import model as r
from lungwort.register.workspace import Workspace, create_workspace, open_workspace
from lungwort.web.pages.tests_words import WORDS

LATER = BEGIN + timedelta(hours=1)
STATIC = Path(__file__).parents[2] / "src" / "lungwort" / "web" / "static"


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Workspace]:
    """Furnish an invented yard."""
    with create_workspace(
        tmp_path / "workspace", name="Merrowgate Slipway (invented)", person=WENNA, now=BEGIN
    ) as made:
        furnish(made)
        yield made


@pytest.fixture
def one(yard: Workspace) -> Iterator[Visitor]:
    """Give a visitor who acts as Idris Pellow, an hour after the test began."""
    with visitor_on(app_on(yard.folder, clock=Clock(LATER))) as found:
        found.post("/who", {"person": IDRIS})
        yield found


def send(one: Visitor, run_id: str, batch: Any, **headers: str) -> Any:
    """Send what a tablet kept."""
    one.get("/tests")
    return one.client.post(
        f"/tests/under-way/{run_id}/entries",
        json=batch,
        headers={
            "Origin": PLACE,
            "X-CSRF-Token": one.csrf,
            "Accept": "application/json",
            **headers,
        },
        follow_redirects=False,
    )


def whole(co: str = "< 1") -> dict[str, Any]:
    """Write a whole test with its end as a tablet sends it."""
    entries = [as_json(each) for each in queued(co=co)]
    end = {"id": "end", "place": 99, "doing": "finish", "time": LATER.isoformat()}
    return {"sent": LATER.isoformat(), "entries": [*entries, end]}


def begun(yard: Workspace) -> str:
    """Begin a test on the computer."""
    return job.start(session(yard, BEGIN), "hose-1").id


def test_a_test_is_begun_where_it_is_chosen(one: Visitor) -> None:
    """By supply, with its procedure, its cautions first and who tests."""
    first = one.page("/tests/new")
    assert "Yard compressor" in text_of(first)
    address = re.search(r'href="(/tests/new\?outlet=[^"]+)"', first)
    assert address is not None
    second = one.page(address[1])
    words = text_of(second)
    assert words.index("nobody wears a hood or mask") < words.index("I have read this: begin")
    outlet = address[1].partition("=")[2]
    said = one.refused("/tests/new", {"tester": IDRIS})
    assert "Choose the outlet first." in said
    answer = one.post("/tests/new", {"outlet": outlet, "tester": WENNA})
    assert answer.status_code == 303
    page = text_of(one.page(answer.headers["location"]))
    assert "Step 1 of 13" in page
    assert WENNA in page
    listed = text_of(one.page("/tests"))
    assert "Next: Which instrument reads the gases?" in listed
    assert "Under way: Wenna Harkle" in text_of(one.page("/tests/new"))


def test_the_document_of_a_test_holds_all_that_a_tablet_needs(
    one: Visitor, yard: Workspace
) -> None:
    """Steps, choices with what follows, lots with their days, rows of the indicator, words."""
    run_id = begun(yard)
    html = one.page(f"/tests/under-way/{run_id}")
    text = re.search(
        r'<script type="application/json" id="document">(.*?)</script>', html, re.DOTALL
    )
    assert text is not None
    document = json.loads(text[1])
    assert document == one.get(f"/tests/under-way/{run_id}/stand").json() | {
        "stand": document["stand"]
    }
    asks = {ask["name"]: ask for step in document["procedure"]["steps"] for ask in step["asks"]}
    assert asks["seal"]["choices"][1]["effect"] == "void"
    assert asks["settling"]["when"] == [{"name": "on-air", "word": "no"}]
    assert (asks["oil-sample"]["minutes"], asks["oil-sample"]["longest_minutes"]) == (5, 7)
    kind = document["indicators"]["banded-oil-indicator"]
    assert [row["name"] for row in kind["rows"]] == ["lowest", "middle", "top"]
    lots = {lot["name"]: lot for lot in document["lots"]}
    assert lots["ind-old"]["expires"] == "2026-03-01"
    assert lots["ind-1"]["sample_min"] == 5
    assert [person["name"] for person in document["persons"]] == [WENNA]
    assert document["csrf"] == one.csrf


def test_nothing_in_a_name_ends_the_document(one: Visitor, yard: Workspace) -> None:
    """A lot whose name is a script is text."""
    with yard.register.change(who=WENNA, now=LATER) as change:
        change.add(r.Lot(name="</script><script>alert(1)</script>", kind="oil_indicator", stock=1))
    html = one.page(f"/tests/under-way/{begun(yard)}")
    assert "<script>alert" not in html
    assert "\\u003c/script\\u003e" in html


def test_a_tablet_s_whole_test_is_recorded_and_shown(one: Visitor, yard: Workspace) -> None:
    """One request; the page says what it says, and that it is no verdict."""
    answer = send(one, begun(yard), whole()).json()
    assert {each["state"] for each in answer["answers"]} == {"taken"}
    assert answer["stand"] is None
    assert answer["test"]["state"] == "done"
    html = one.page(f"/tests/{answer['test']['id']}")
    page = text_of(html)
    assert "On record, not judged here" in page
    assert "the air counts as not proven until it is judged" in page
    assert "Oxygen reading in fresh air 20.9 %" in page
    assert re.search(r'href="/judge/outlet-[a-z2-7]+"', html)
    assert "hose-1" in text_of(one.page("/tests"))
    gone = one.get("/tests/under-way/open-aaaaaaaa")
    assert gone.status_code == 404


def test_air_that_is_outside_is_told_in_large_words(one: Visitor, yard: Workspace) -> None:
    """Each time the page is opened, not only right after; with the way to withdraw the supply."""
    answer = send(one, begun(yard), whole(co="50")).json()
    for _ in range(2):
        page = text_of(one.page(f"/tests/{answer['test']['id']}"))
        assert "STOP Let nobody breathe this air" in page
        assert "Carbon monoxide" in page
        assert "Judge and withdraw" in page


def test_what_was_under_way_leads_to_the_record(one: Visitor, yard: Workspace) -> None:
    """The old address of a test that a tablet ended leads on."""
    run_id = begun(yard)
    answer = send(one, run_id, whole()).json()
    moved = one.get(f"/tests/under-way/{run_id}")
    assert moved.headers["location"] == f"/tests/{answer['test']['id']}"
    again = send(one, run_id, whole()).json()
    assert again["test"] == answer["test"]


def test_without_a_token_nothing_is_taken(one: Visitor, yard: Workspace) -> None:
    """Entries from a foreign page are refused and the test is as it was."""
    run_id = begun(yard)
    assert send(one, run_id, whole(), **{"X-CSRF-Token": "x"}).status_code == 403
    assert send(one, run_id, whole(), Origin="https://elsewhere.example").status_code == 403
    assert job.stand(session(yard, LATER).where, run_id, now=LATER).run.entries == ()


@pytest.mark.parametrize(
    ("batch", "said"),
    [
        ({"entries": []}, "no moment with a time zone"),
        ([1], "must be a JSON object"),
        (
            {"sent": LATER.isoformat(), "entries": [{"id": "<b>", "doing": "x"}]},
            "nothing that is done",
        ),
    ],
)
def test_what_is_no_batch_is_told(
    one: Visitor, yard: Workspace, batch: dict[str, Any], said: str
) -> None:
    """As JSON, with what to do."""
    answer = send(one, begun(yard), batch)
    assert answer.status_code == 422
    assert said in answer.json()["detail"]


def test_what_is_no_json_or_endless_is_told(one: Visitor, yard: Workspace) -> None:
    """Nested without end, cut off, or longer than any tablet sends."""
    run_id = begun(yard)
    one.get("/tests")
    for content, said in (
        (b"[" * 100_000, "is no JSON"),
        (b'{"sent": "2026', "is no JSON"),
        (b"\xff\xfe", "is no JSON"),
        (b" " * (4 * 1024 * 1024 + 1), "longer than 4 MB"),
    ):
        answer = one.client.post(
            f"/tests/under-way/{run_id}/entries",
            content=content,
            headers={"Origin": PLACE, "X-CSRF-Token": one.csrf, "Content-Type": "application/json"},
        )
        assert answer.status_code == 422
        assert said in answer.json()["detail"]


def test_an_unknown_test_is_told(one: Visitor) -> None:
    """As JSON to the tablet."""
    answer = send(one, "open-aaaaaaaa", {"sent": LATER.isoformat()})
    assert answer.status_code == 404
    assert "What was entered on the device is kept there" in answer.json()["detail"]
    assert one.get("/tests/under-way/open-aaaaaaaa/stand").status_code == 404


def test_a_photo_is_taken_shown_and_refused(one: Visitor, yard: Workspace) -> None:
    """Shown with its own kind and never guessed at; what is none is refused."""
    run_id = begun(yard)
    file = {"photo": ("rows.png", PNG, "text/html")}
    times = {"time": LATER.isoformat(), "sent": (LATER + timedelta(minutes=5)).isoformat()}
    answer = one.post(f"/tests/under-way/{run_id}/photos", {"step": "rows", **times}, files=file)
    assert answer.status_code == 200
    sha256 = answer.json()["sha256"]
    shown = one.get(f"/tests/under-way/{run_id}/photos/{sha256}")
    assert (shown.content, shown.headers["content-type"]) == (PNG, "image/png")
    no_photo = {"photo": ("rows.png", b"<svg onload=alert(1)>", "image/png")}
    refused = one.post(f"/tests/under-way/{run_id}/photos", {"step": "rows"}, files=no_photo)
    assert refused.status_code == 422
    assert "no photo that can be kept" in refused.json()["detail"]
    large = {"photo": ("rows.png", PNG + bytes(12 * 1024 * 1024), "image/png")}
    assert one.post(f"/tests/under-way/{run_id}/photos", {}, files=large).status_code == 422
    test_id = send(one, run_id, whole()).json()["test"]["id"]
    html = one.page(f"/tests/{test_id}")
    assert f'src="/tests/{test_id}/photos/{sha256}"' in html
    kept = one.get(f"/tests/{test_id}/photos/{sha256}")
    assert kept.headers["x-content-type-options"] == "nosniff"
    assert kept.headers["content-disposition"] == "inline; filename*=UTF-8''rows.png"
    assert one.get(f"/tests/{test_id}/photos/{'0' * 64}").status_code == 422
    (photo,) = yard.register.all(r.Photo)
    assert photo.time == LATER - timedelta(minutes=5)


def test_a_photo_is_added_to_a_test_on_record(one: Visitor, yard: Workspace) -> None:
    """By a form."""
    test_id = send(one, begun(yard), whole()).json()["test"]["id"]
    file = {"photo": ("gauge.png", PNG, "image/png")}
    said = one.done(f"/tests/{test_id}/photos", {"step": "rows"}, files=file)
    assert "gauge.png" in said
    assert "Read the indicator" in said


def test_the_plain_way(one: Visitor, yard: Workspace) -> None:
    """Forms alone: entered, refused, amended with a reason, aborted."""
    run_id = begun(yard)
    base = f"/tests/under-way/{run_id}"
    one.done(base, {"name": "instrument", "given": "logger A"})
    assert "Not accepted" in one.done(base, {"name": "fresh-air-o2", "given": "19"})
    one.done(base, {"name": "fresh-air-o2", "given": "20.9"})
    assert "is no number" in one.refused(base, {"name": "line-pressure", "given": "high"})
    assert "the next entry is" in one.refused(base, {"name": "odour", "given": "none"})
    assert "Why" in one.refused(f"{base}/amend", {"name": "fresh-air-o2", "given": "20.8"})
    one.done(f"{base}/amend", {"name": "fresh-air-o2", "given": "20.8", "reason": "misread"})
    assert "still to be entered" in one.refused(f"{base}/finish")
    assert "reason" in one.refused(f"{base}/abort").lower()
    said = one.done(f"{base}/abort", {"reason": "rain"})
    assert "Given up rain" in said
    assert "It says nothing of the air" in said


def test_amend_and_void_on_record(one: Visitor, yard: Workspace) -> None:
    """Both entries stay; what is void says nothing, and says so."""
    test_id = send(one, begun(yard), whole()).json()["test"]["id"]
    assert "no longer fits" not in one.page(f"/tests/{test_id}")
    said = one.refused(f"/tests/{test_id}/amend", {"name": "co", "given": "50"})
    assert "reason" in said.lower()
    said = one.done(
        f"/tests/{test_id}/amend", {"name": "co", "given": "50", "reason": "wrong line"}
    )
    assert "STOP" in said
    assert "amended later" in said
    assert "amended to this" in said
    said = one.done(f"/tests/{test_id}/void", {"reason": "an old indicator"})
    assert "Void an old indicator" in said
    assert "STOP" not in said


def test_a_form_on_paper_goes_out_and_comes_back(one: Visitor, yard: Workspace) -> None:
    """The form of the procedure, filled in, is a test on record; a bad line is told."""
    form = one.get("/tests/form/full-outlet-test")
    assert form.headers["content-disposition"] == 'attachment; filename="full-outlet-test.toml"'
    assert "CAUTION" in form.text
    filled = (
        'format = 1\nprocedure = "full-outlet-test"\noutlet = "hose-1"\n'
        f'tester = "{IDRIS}"\nstarted = "2026-03-02 10:00"\naborted = "rain"\n'
        '[[entry]]\nname = "instrument"\ngiven = "logger A"\ntime = "10:05"\n'
    )
    bad = filled.replace("logger A", "logger Z")
    said = one.refused("/tests/paper", {}, files={"file": ("a.toml", bad.encode(), "text/plain")})
    assert "is not on record for this" in said
    assert yard.register.all(r.HandTest) == []
    said = one.done("/tests/paper", {}, files={"file": ("a.toml", filled.encode(), "text/plain")})
    assert "Given up rain" in said


def test_the_list_is_searched_and_taken_along(one: Visitor, yard: Workspace) -> None:
    """What a cell says is never a formula."""
    send(one, begun(yard), whole())
    assert "Nothing in this list" in text_of(one.page("/tests?q=nowhere"))
    taken = one.get("/tests?export=csv").text
    assert "Oil: indicator: nothing seen; Oxygen: 20.9 %" in taken
    assert "hose-1" in taken


def test_every_address_names_the_role_it_needs() -> None:
    """Looking shows, testing enters, approving voids; the worker holds nobody's data."""
    from lungwort.web.context import Anybody, Approving, Looking, Testing
    from lungwort.web.pages import tests as pages

    found = {}
    for route in pages.router.routes:
        assert isinstance(route, APIRoute)
        for method in route.methods or ():
            hints = get_type_hints(route.endpoint, include_extras=True)
            found[method, route.path] = hints["ctx"]
    assert found.pop(("GET", "/tests/worker.js")) == Anybody
    assert found.pop(("POST", "/tests/{test_id}/void")) == Approving
    for (method, path), role in found.items():
        enters = method == "POST" or path in {
            "/tests/new",
            "/tests/paper",
            "/tests/under-way/{run_id}",
            "/tests/under-way/{run_id}/stand",
        }
        assert role == (Testing if enters else Looking), (method, path)


def test_the_worker_changes_with_the_files_it_keeps(
    one: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its mark is one over their contents; it governs /tests/ alone and is looked at each time."""
    from lungwort.web.pages import tests as pages

    first = one.get("/tests/worker.js")
    assert first.headers["cache-control"] == "no-cache"
    assert first.headers["service-worker-allowed"] == "/tests/"
    mark = re.match(r'const VERSION = "([0-9a-f]{12})";', first.text)
    assert mark is not None
    pages._worker.cache_clear()
    monkeypatch.setattr(pages, "_OFFLINE", pages._OFFLINE[1:])
    assert mark[1] not in one.get("/tests/worker.js").text
    pages._worker.cache_clear()


def test_every_word_of_the_tablet_s_page_is_there() -> None:
    """The scripts ask for texts by name; none may be missing, and none is kept for nothing."""
    scripts = "".join(
        path.read_text(encoding="utf-8") for path in sorted((STATIC / "js").glob("outlet-test*.js"))
    )
    asked = set(re.findall(r'word\(\s*"([a-z_]+)"', scripts))
    named = set(re.findall(r'"([a-z_]+)"', scripts))
    assert len(asked) > 50
    assert asked - set(WORDS) == set()
    # Some are chosen among two, or named by what follows from an entry.
    follows = {"then_refuse", "then_warn", "then_doubt", "then_void"}
    assert set(WORDS) - named - follows == set()
    assert follows <= set(WORDS)


def test_no_script_makes_html_of_text() -> None:
    """What others entered is put into the page as text."""
    for path in sorted((STATIC / "js").glob("outlet-test*.js")):
        text = path.read_text(encoding="utf-8")
        for risky in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval("):
            assert risky not in text, path.name


def test_entries_of_the_page_and_of_the_job_are_one(one: Visitor, yard: Workspace) -> None:
    """What the page sends is what the job takes; a workspace opened elsewhere shows the same."""
    run_id = begun(yard)
    entries = [as_json(each) for each in queued("seal")]
    send(one, run_id, {"sent": LATER.isoformat(), "entries": entries[:3]})
    with open_workspace(yard.folder) as again:
        synced = take_entries(
            session(again, LATER),
            run_id,
            batch_of({"sent": LATER.isoformat(), "entries": entries}),
        )
    assert synced.stand is not None
    assert [one.name for one in synced.stand.run.entries] == [one["name"] for one in entries]
