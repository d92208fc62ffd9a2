"""The result as JSON."""

from __future__ import annotations

import hashlib
import json
import re
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from attrs import evolve
from jsonschema import Draft202012Validator, FormatChecker, ValidationError

from lungwort.paper import result
from lungwort.paper.document import ResultDocument

if TYPE_CHECKING:
    from lungwort.verdict.model import Verdict

SHIPPED = resources.files("lungwort.paper") / "schema" / "result-1.schema.json"


@pytest.fixture(scope="module")
def validator() -> Draft202012Validator:
    """Give a validator for the shipped schema."""
    schema = json.loads(SHIPPED.read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema, format_checker=FormatChecker())


def test_the_shipped_schema_is_what_the_model_says() -> None:
    """The shipped schema is what the model says."""
    assert SHIPPED.read_text(encoding="utf-8") == result.schema_text(), (
        "stale: write lungwort.paper.result.schema_text() to the file"
    )


@pytest.mark.parametrize("which", ["failing", "clean", "unproven"])
def test_documents_keep_to_the_schema(
    which: str, validator: Draft202012Validator, request: pytest.FixtureRequest
) -> None:
    """Documents keep to the schema."""
    verdict: Verdict = request.getfixturevalue(which)
    for indent in (2, None):
        document = json.loads(result.to_json(verdict, indent))
        validator.validate(document)
    assert document["verdict"] == verdict.overall
    assert document["format"] == "lungwort-result/1"


def test_a_document_with_a_key_too_many_is_refused(
    validator: Draft202012Validator, clean: Verdict
) -> None:
    """A document with a key too many is refused."""
    document = json.loads(result.to_json(clean))
    document["extra"] = 1
    with pytest.raises(ValidationError, match="extra"):
        validator.validate(document)


def test_times_are_in_utc_with_z(failing: Verdict) -> None:
    """Times are in UTC with z."""
    written = result.to_json(failing)
    times = re.findall(r'"(\d{4}-\d\d-\d\dT[^"]*)"', written)

    assert len(times) > 20
    assert all(re.fullmatch(r"[\d-]+T[\d:]+(\.\d+)?Z", one) for one in times)
    assert json.loads(written)["judged_at"] == "2026-03-06T08:15:30Z"


def test_numbers_that_are_not_finite_become_null(unproven: Verdict) -> None:
    """Numbers that are not finite become null."""
    written = result.to_json(unproven)

    def refuse(name: str) -> float:
        raise AssertionError(name)

    document = json.loads(written, parse_constant=refuse)
    (oil,) = [one for one in document["limits"] if one["key"] == "oil"]
    assert oil["worst"]["value"] is None
    assert oil["worst"]["text"] == "> 0.1 mg/m3"
    assert document["spots"][0]["value"]["upper"] is None


def test_the_document_holds_what_the_verdict_says(failing: Verdict) -> None:
    """The document holds what the verdict says."""
    document = json.loads(result.to_json(failing))
    (co,) = [one for one in document["limits"] if one["key"] == "carbon_monoxide"]

    assert co["verdict"] == "does_not_conform"
    assert co["operators"] == {"lower": None, "upper": "<="}
    assert (co["upper"], co["unit"], co["worst"]["value"]) == (5.0, "ppm", 21.9)
    assert co["required"] is True
    assert co["status"] == "from memory"
    (advice,) = [one for one in document["limits"] if one["key"] == "advice_co"]
    assert advice["operators"]["upper"] == "<"
    (oxygen,) = [one for one in document["limits"] if one["key"] == "oxygen"]
    assert oxygen["operators"] == {"lower": ">=", "upper": "<="}
    second = document["excursions"][1]
    assert second["duration_s"] == 2600.0
    assert second["ended_by"] == "data_gap"
    assert second["may_have_lasted"] == "2026-03-04T07:00:00Z"
    assert document["coverage"]["lowest"] == 0.985
    source = document["sources"][0]
    assert source["refused"] == 7
    assert source["refusals"][0]["first_lines"] == [812, 813, 4409, 4410]
    assert document["not_judged"][0]["outside"] == ["carbon_monoxide"]
    assert document["conditions"] == {"supply_pressure_bar_g": 7.0, "lowest_temperature_c": None}


def test_reading_the_document_back_gives_the_same_document(failing: Verdict) -> None:
    """Reading the document back gives the same document."""
    written = result.to_json(failing)

    assert ResultDocument.model_validate_json(written) == result.to_document(failing)


def test_hand_tests_alone_have_no_period_and_no_coverage(unproven: Verdict) -> None:
    """Hand tests alone have no period and no coverage."""
    document = json.loads(result.to_json(unproven))

    assert document["period"] == {"start": None, "end": None, "zone": "UTC"}
    assert document["coverage"]["lowest"] is None
    assert document["log"] is None
    assert document["sources"] == []


def test_the_lowest_coverage_is_that_of_channels_held_against_a_limit(clean: Verdict) -> None:
    """The lowest coverage is that of channels held against a limit."""
    shares = tuple(
        evolve(part, share=0.2 if part.channel == "pressure" else 0.95) for part in clean.coverage
    )
    verdict = evolve(clean, coverage=shares)

    assert result.lowest_coverage(verdict) == 0.95
    assert result.lowest_coverage(evolve(verdict, findings=())) == 0.2


def test_a_file_name_that_is_not_valid_unicode_is_escaped(factory: Any) -> None:
    """A file name that is not valid unicode is escaped."""
    verdict = factory.failing(name="log\udcff.csv")

    assert json.loads(result.to_json(verdict))["sources"][0]["name"] == "log\\udcff.csv"


def test_the_digest_is_sha256_of_the_utf8_text(clean: Verdict) -> None:
    """The digest is sha256 of the utf8 text."""
    written = result.to_json(clean)

    assert result.digest(written) == hashlib.sha256(written.encode()).hexdigest()
    # FIPS 180-4 example, 'abc'.
    assert result.digest("abc").startswith("ba7816bf8f01cfea414140de5dae2223")


def test_the_documentation_names_every_key() -> None:
    """The documentation names every key."""
    page = Path(__file__).parents[2] / "docs" / "reference" / "result-json.md"
    named = set(re.findall(r"`([a-z0-9_]+)`", page.read_text(encoding="utf-8")))
    schema = result.schema()
    keys = {key for part in (schema, *schema["$defs"].values()) for key in part["properties"]}

    assert keys - named == set()
