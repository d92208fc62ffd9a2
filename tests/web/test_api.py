"""The interface for machines: its shapes, its errors, and whatever schemathesis thinks of."""

from __future__ import annotations

import json
import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from jsonschema import Draft202012Validator
from starlette.datastructures import State
from tests.web.kit import NOW, PLACE, Clock, Visitor, app_on, visitor_on

from lungwort.web.api.interface import make_api

API = "/api/v1"


def test_the_document_is_valid_openapi(reader: Visitor) -> None:
    """OpenAPI 3.1 by its own shape: version, info, and an answer for each operation."""
    document = reader.get(f"{API}/openapi.json").json()
    assert document["openapi"].startswith("3.1")
    assert document["servers"] == [{"url": API}]
    ids = [
        operation["operationId"]
        for path in document["paths"].values()
        for operation in path.values()
    ]
    assert len(ids) == len(set(ids)) > 40
    for shape in document["components"]["schemas"].values():
        Draft202012Validator.check_schema(shape)


def test_what_is_looked_at_is_what_the_jobs_say(reader: Visitor, year: Path) -> None:
    """Status and due are the same JSON as the terminal's."""
    from lungwort.jobs import due, status
    from lungwort.jobs.opening import Where

    where = Where(workspace=year)
    assert reader.get(f"{API}/status").json() == status.as_json(status.status(where, now=NOW))
    assert reader.get(f"{API}/due?within_days=90").json() == due.as_json(
        due.due(where, now=NOW, within_days=90)
    )


@pytest.mark.parametrize(
    ("path", "status", "telling"),
    [
        ("/supplies/nothing-like-it", 404, "nothing-like-it"),
        ("/status?site=nowhere", 404, "nowhere"),
        ("/due?within_days=-1", 422, "OpenAPI document"),
        ("/limit-sets/no-such-set", 422, "no-such-set"),
        ("/limit-sets/..%2f..%2fetc", 404, "Not Found"),
        ("/convert?source=x&target=ppm", 422, "x"),
        ("/nothing", 404, "Not Found"),
    ],
)
def test_errors_are_problem_details(reader: Visitor, path: str, status: int, telling: str) -> None:
    """RFC 9457, section 3: the media type, and the members with their types."""
    answer = reader.get(API + path)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    told = answer.json()
    assert told["status"] == status
    assert told["type"] == "about:blank"
    assert telling in told["detail"]


def test_a_log_is_brought_in_once(visitor: Visitor) -> None:
    """The same file twice is one import; a file that is read in two ways names its choices."""
    text = "Time;CO [ppm]\n" + "".join(f"2026-11-24 10:{m:02}:00;0.5\n" for m in range(60))
    sent = {"files": ("night.csv", text.encode(), "text/csv")}
    first = visitor.post(f"{API}/imports", {"outlet": "hall-1", "zone": "UTC"}, files=sent)
    assert first.status_code == 200, first.text
    assert first.json()["new"]
    again = visitor.post(f"{API}/imports", {"outlet": "hall-1", "zone": "UTC"}, files=sent)
    assert not again.json()["new"]
    odd = {"files": ("odd.csv", text.replace("2026-11-24", "03/04/2026").encode(), "text/csv")}
    refused = visitor.post(f"{API}/imports", {"outlet": "hall-1", "zone": "UTC"}, files=odd)
    assert refused.status_code == 422
    assert len(refused.json()["choices"]) == 2
    assert refused.json()["file"] == "odd.csv"


def test_without_the_token_of_the_visit_nothing_is_changed(visitor: Visitor) -> None:
    """A form of another site is refused before any job is asked."""
    answer = visitor.client.post(
        f"{API}/supplies/hall-compressor/withdraw", json={"because": "forged"}
    )
    assert answer.status_code == 403
    assert "withdrawn" not in json.dumps(visitor.get(f"{API}/status").json()["supplies"])


def test_bad_air_is_withdrawn_cured_and_told(visitor: Visitor) -> None:
    """A supply is withdrawn by a machine-readable call, and cannot come back before its retest."""
    headers = {"content-type": "application/json"}

    def send(path: str, body: dict[str, Any]) -> Any:
        answer = visitor.client.post(
            API + path,
            json=body,
            headers={**headers, "X-CSRF-Token": visitor.csrf, "Origin": PLACE},
        )
        assert answer.status_code == 200, answer.text
        return answer.json()

    found = send("/findings", {"supply": "hall-compressor", "text": "Smell of exhaust"})
    send("/supplies/hall-compressor/withdraw", {"because": "smell", "findings": [found["number"]]})
    send(f"/findings/{found['number']}/actions", {"kind": "cause", "text": "Engine at the intake"})
    against = visitor.get(f"{API}/supplies/hall-compressor/against-return").json()
    assert against
    refused = visitor.client.post(
        f"{API}/supplies/hall-compressor/return",
        json={},
        headers={"X-CSRF-Token": visitor.csrf, "Origin": PLACE},
    )
    assert refused.status_code == 422


# --- schemathesis: every operation, with data that the document allows and data that it does not.


@pytest.fixture(scope="module")
def fuzzed(year: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, Visitor]]:
    """Give the app on a workspace that may be filled with nonsense."""
    folder = shutil.copytree(year, tmp_path_factory.mktemp("fuzzed") / "workspace")
    # The host that schemathesis calls an app inside the process.
    app = app_on(Path(folder), clock=Clock(), names=frozenset({"testserver"}))
    with visitor_on(app, place="http://testserver") as one:
        one.post("/who", {"person": "Wenna Harkle"})
        yield app, one


@pytest.fixture(scope="module")
def described(fuzzed: tuple[Any, Visitor]) -> Any:
    """Load the OpenAPI document."""
    return schemathesis.openapi.from_asgi(f"{API}/openapi.json", fuzzed[0])


def _operations() -> list[tuple[str, str]]:
    document = make_api(State()).openapi()
    return [(path, method) for path, found in document["paths"].items() for method in found]


@pytest.mark.parametrize(("path", "method"), _operations())
def test_no_request_breaks_it(
    path: str, method: str, described: Any, fuzzed: tuple[Any, Visitor]
) -> None:
    """Whatever is sent is answered by a status below 500, in the form that the document says."""
    _, one = fuzzed
    cookies = "; ".join(f"{name}={value}" for name, value in one.client.cookies.items())
    headers = {"X-CSRF-Token": one.csrf, "Cookie": cookies}
    met = Counter[int]()

    @settings(
        max_examples=15, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True
    )
    @given(case=described[path][method].as_strategy())
    def holds(case: Any) -> None:
        real = ON_RECORD.get(path.split("/")[1])
        if real and "name" in (case.path_parameters or {}) and met.total() % 2:
            case.path_parameters["name"] = real
        answer = case.call(headers=headers)
        met[answer.status_code] += 1
        case.validate_response(answer, headers=headers, excluded_checks=_excluded())

    holds()
    assert not set(met) & {401, 403, 421}, "the requests did not reach the jobs"


ON_RECORD = {
    "sites": "merrowgate",
    "supplies": "hall-compressor",
    "outlets": "hall-1",
    "instruments": "monitor-1",
    "lots": "indicators-b",
    "persons": "Idris Pellow",
}
"""Half of the requests for one thing ask for one that is there."""


def _excluded() -> list[Any]:
    from schemathesis.checks import load_all_checks
    from schemathesis.specs.openapi import checks

    load_all_checks()
    # A visit without accounts may do everything here, and texts are read by the jobs, which take
    # and refuse more finely than a JSON schema says.
    return [
        checks.ignored_auth,
        checks.positive_data_acceptance,
        checks.negative_data_rejection,
        checks.missing_required_header,
        checks.unsupported_method,
        checks.use_after_free,
        checks.ensure_resource_availability,
    ]
