"""Rule sets: the numbers against their documents, and what a mistake in one is told as."""

from __future__ import annotations

from pathlib import Path

import pytest

from lungwort.errors import PlanError
from lungwort.plan import files, rules
from lungwort.plan.rules import load_plan, plan_ids, read_plan


@pytest.mark.parametrize(
    ("plan", "months", "document", "clause", "status"),
    [
        # HSE HSG53 and L5 (6th ed.) paras 178-186: at least every 3 months; from memory.
        ("uk-guidance", 3, "HSG53; L5, 6th edition", "L5 paras 178-186", "from memory"),
        # 29 CFR 1910.430(b)(4): every 6 months; confirmed by OSHA letters 1994-08-25, 1985-10-09.
        ("six-monthly-diving", 6, "29 CFR 1910.430", "(b)(4)", "confirmed"),
        # NFPA 1989: at least quarterly; trade-press article on the 2008 edition.
        ("quarterly", 3, "NFPA 1989", "not seen", "confirmed (secondary)"),
    ],
)
def test_intervals_of_the_documents(
    plan: str, months: int, document: str, clause: str, status: str
) -> None:
    """The test interval of each set is that of its document, with its standing."""
    rule = load_plan(plan).rule("test")

    assert (rule.value, rule.unit) == (months, "months")
    assert (rule.document, rule.clause, rule.status) == (document, clause, status)


def test_records_are_kept_five_years() -> None:
    """COSHH 2002 reg. 9(4): at least 5 years; NISR 2012/179 reg. 13(3) has the same formula."""
    rule = load_plan("uk-guidance").rule("retention")

    assert (rule.value, rule.unit, rule.clause) == (5, "years", "regulation 9(4)")
    assert rule.status == "confirmed (secondary)"


def test_own_assessment_is_monthly_until_there_is_one() -> None:
    """OSHA letter 1994-04-25: more often after installation; no number, so none is claimed."""
    plan = load_plan("own-risk-assessment")

    assert plan.rule("test_unassessed").value == 1
    assert plan.rule("test_unassessed").status == rules.NO_SOURCE
    assert plan.rule("test").value == 6
    assert "1994-04-25" in plan.remarks[0]


def test_shipped_sets_are_whole() -> None:
    """Each says its document, or that it has none; each asks for a test after a doubt."""
    assert plan_ids() == ("own-risk-assessment", "quarterly", "six-monthly-diving", "uk-guidance")
    for name in plan_ids():
        plan = load_plan(name)
        assert plan.origin == "shipped"
        assert {"maintenance", "moved", "doubt"} <= set(plan.rule("events").events)
        for rule in plan.rules:
            assert rule.status in rules.STATUSES
            assert rule.status != rules.OWN
            if rule.status != rules.NO_SOURCE:
                assert all((rule.document, rule.clause, rule.source))
        assert plan.find("nothing of the kind") is None
        with pytest.raises(KeyError, match="nothing"):
            plan.rule("nothing")


def test_no_name_is_the_default() -> None:
    """A site that names no rule set gets the one that needs nothing else."""
    assert load_plan("") is load_plan("uk-guidance")
    assert load_plan("uk-guidance").said("test") == (
        "uk-guidance: HSG53; L5, 6th edition, L5 paras 178-186; from memory"
    )
    assert load_plan("uk-guidance").said("warning") == f"uk-guidance: {rules.NO_SOURCE}"


def test_unknown_set() -> None:
    """Near names are told, and how to give one's own."""
    with pytest.raises(PlanError, match=r"'quaterly' is not known\. Near: 'quarterly'"):
        load_plan("quaterly")
    with pytest.raises(PlanError, match=r"given by its file, like my-plan\.toml"):
        load_plan("zzz")


def _own(**changes: str) -> str:
    text = files.shipped_text("library", "own-risk-assessment")
    text = text.replace('id = "own-risk-assessment"', 'id = "mine"')
    for old, new in changes.items():
        text = text.replace(old, new)
    return text


def test_a_set_of_ones_own(tmp_path: Path) -> None:
    """A file in the same form, with the mark of the byte order and other line ends."""
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbf" + _own().replace("\n", "\r\n").encode())
    plan = load_plan(str(path))

    assert (plan.id, plan.origin, plan.rule("test").value) == ("mine", "mine.toml", 6)


_RULE = '[[rule]]\nkey = "{key}"\nvalue = {value}\nstatus = "own rule"\n'


def _set(**values: object) -> str:
    given = {
        "test": 3,
        "retention": 5,
        "calibration": 12,
        "bump_test": 30,
        "warning": 60,
        "low_stock": 3,
    } | values
    return (
        'format = 1\nid = "mine"\ntitle = "Mine"\n'
        '[[rule]]\nkey = "events"\nevents = ["doubt"]\nstatus = "own rule"\n'
        + "".join(_RULE.format(key=key, value=value) for key, value in given.items())
    )


def test_the_smallest_set() -> None:
    """What is required and no more."""
    plan = read_plan(_set(), "mine.toml")

    assert plan.rule("events").events == ("doubt",)
    assert plan.rule("test").standing == "own rule"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("format = 1\nid =", r"mine\.toml: this is not TOML: .*Correct it there\."),
        ('id = "x"', r"key 'format': found nothing; this version of lungwort reads 1"),
        ("format = true", r"found true; this version"),
        ("format = 2", r"found 2; this version"),
        ("a = " + "[" * 5000, r"nested too deeply|not TOML"),
        ('format = 1\nid = "mine"\ntitle = "x"', r"begins with a line \[\[rule\]\]"),
        ('format = 1\nid = "mine"\ntitle = "x"\nrule = 3', r"begins with a line \[\[rule\]\]"),
        (_set().replace('"mine"', '"uk-guidance"'), "comes with lungwort. Give yours another id"),
        (_set(test=0), r"rule 'test', key 'value': found 0, allowed is 1 to 12 months"),
        (_set(test=13), r"allowed is 1 to 12 months"),
        (_set(test="2.5"), r"found 2\.5, a whole number is needed \[months\]"),
        (_set(test="'3'"), r"found '3', a number without quotes"),
        (_set().replace("value = 3\n", "", 1), r"'value' is missing. Give a whole number from 1"),
        (_set().replace('key = "test"', 'key = "tests"'), r"'tests' is no rule\. Near: 'test'"),
        (_set().replace('key = "test"', 'key = "zz"'), r"'zz' is no rule\. Known rules: test"),
        (_set().replace('key = "test"', "key = 3"), r"rule 2, key 'key': found 3"),
        (_set() + _RULE.format(key="test", value=3), r"rule 'test' stands twice"),
        (_set().replace('key = "test"', 'key = "assessment"'), r"rule 'test' is missing"),
        (_set().replace('["doubt"]', '["moved"]'), "a doubt always asks for a test"),
        (_set().replace('["doubt"]', '["doubt", "rain"]'), r"'rain' is no event\. Known events"),
        (_set().replace('["doubt"]', '["doubt"]\nvalue = 3'), "a list of events has no value"),
        (_set() + 'events = ["doubt"]', r"only the rule 'events' lists events"),
        (_set().replace('status = "own rule"\n', "", 1), r"'status' is missing\. State one of"),
        (_set().replace('"own rule"', '"sure"', 1), r"found 'sure', allowed are"),
        (_set().replace('"own rule"', '"confirmed"', 1), r"'document' is missing, and the rule is"),
        (_set(test_unassessed=6), r"6 months are longer than the longest interval, 3 months"),
        (_set() + "colour = 3", r"'colour': this key is not known"),
    ],
)
def test_mistakes_are_told(text: str, message: str) -> None:
    """What was found, where, and what to do."""
    with pytest.raises(PlanError, match=message):
        read_plan(text, "mine.toml")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    """A missing file, a folder, bytes that are no text, a file that is far too long."""
    with pytest.raises(PlanError, match=r"does not exist\. Check the path"):
        load_plan(str(tmp_path / "none.toml"))
    with pytest.raises(PlanError, match=r"cannot be read"):
        load_plan(str(tmp_path) + "/")
    with pytest.raises(PlanError, match=r"cannot be read"):
        load_plan("a\x00.toml")
    bad = tmp_path / "bad.toml"
    bad.write_bytes(b'format = 1\ntitle = "\xff"')
    with pytest.raises(PlanError, match=r"bad\.toml, line 2: not UTF-8"):
        load_plan(str(bad))
    bad.write_bytes(b"#" * (files.MAX_BYTES + 1))
    with pytest.raises(PlanError, match=r"has 1000001 bytes"):
        load_plan(str(bad))
