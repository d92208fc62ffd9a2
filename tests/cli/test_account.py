"""``lungwort account``: accounts and tokens at the terminal."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from typer.testing import CliRunner, Result

from lungwort.accounts import passwords
from lungwort.accounts.store import FILE, open_accounts
from lungwort.cli.main import app
from lungwort.errors import InputError, LungwortError
from lungwort.jobs import workspace as workspace_job

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
GOOD = "three damp gulls argue"
OTHER = "seven brass kettles sing"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Make a workspace with one person; passwords come from the environment."""
    hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passwords, "hasher", lambda: hasher)
    monkeypatch.setenv("LUNGWORT_PASSWORD", GOOD)
    made = workspace_job.create(
        tmp_path / "slipway", name="Merrowgate Slipway", person="Wenna Harkle", now=NOW
    )
    return made.folder


def _run(folder: Path, *words: str, typed: str | None = None) -> Result:
    return CliRunner().invoke(
        app,
        ["account", *words, "--workspace", str(folder)],
        input=typed,
        catch_exceptions=True,
        terminal_width=200,
    )


def _done(folder: Path, *words: str) -> str:
    result = _run(folder, *words)
    assert result.exit_code == 0, (result.output, result.exception)
    return " ".join(result.output.split())


def _refused(folder: Path, *words: str) -> str:
    result = _run(folder, *words)
    assert isinstance(result.exception, LungwortError)
    return str(result.exception)


def test_first_account(folder: Path) -> None:
    """It is told what changes, and how to go on."""
    said = _done(folder, "add", "Wenna Harkle", "--role", "keep")

    assert "Wenna Harkle has an account and keeps the workspace." in said
    assert "everybody signs in" in said
    assert "lungwort serve" in said


def test_refused_first_account_closes_no_door(folder: Path) -> None:
    """Without an account there is no file that would ask everybody to sign in."""
    assert "first account must keep" in _refused(folder, "add", "Wenna Harkle", "--role", "test")
    assert not (folder / FILE).exists()


def test_account_needs_a_person_on_record(folder: Path) -> None:
    """Somebody unknown gets none."""
    assert "Nobody" in _refused(folder, "add", "Nobody", "--role", "keep")
    assert not (folder / FILE).exists()


def test_list_as_json(folder: Path) -> None:
    """One document, without anything secret."""
    assert json.loads(_done(folder, "list", "--json")) == {"accounts": []}
    _done(folder, "add", "Wenna Harkle", "--role", "keep", "--name", "wh")
    [one] = json.loads(_done(folder, "list", "--json"))["accounts"]

    assert (one["name"], one["person"], one["role"], one["can_sign_in"]) == (
        "wh",
        "Wenna Harkle",
        "keep",
        True,
    )
    assert not [key for key in one if "hash" in key or key == "password"]
    assert "wh" in _done(folder, "list")


def test_password_from_a_file(folder: Path, tmp_path: Path) -> None:
    """Its first line, without the line's end."""
    file = tmp_path / "password.txt"
    file.write_text(f"{OTHER}\nnot this\n", encoding="utf-8")
    _done(folder, "add", "Wenna Harkle", "--role", "keep", "--password-file", str(file))
    with open_accounts(folder) as accounts:
        found = accounts.sign_in("Wenna Harkle", OTHER, None, now=NOW, peer="")

    assert found.role == "keep"


def test_password_is_asked_for_twice(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At a terminal, hidden; two that differ change nothing."""
    from lungwort.cli import account as command

    monkeypatch.delenv("LUNGWORT_PASSWORD")
    typed = iter([GOOD, OTHER, GOOD, GOOD])
    monkeypatch.setattr("getpass.getpass", lambda _: next(typed))
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    with pytest.raises(InputError, match="not typed the same twice"):
        command._password(None)

    assert command._password(None) == GOOD
    assert not (folder / FILE).exists()


def test_nobody_to_ask(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A script is told how to give it."""
    monkeypatch.delenv("LUNGWORT_PASSWORD")

    assert "LUNGWORT_PASSWORD or give --password-file" in _refused(
        folder, "add", "Wenna Harkle", "--role", "keep"
    )


def test_password_is_no_option(folder: Path) -> None:
    """It would stay in the history of the shell and in the list of processes."""
    result = _run(folder, "add", "Wenna Harkle", "--role", "keep", "--password", GOOD)

    assert result.exit_code == 2
    assert "No such option" in result.output


def test_change_and_close(folder: Path) -> None:
    """A new password ends visits; the last one that keeps the workspace stays."""
    _done(folder, "add", "Wenna Harkle", "--role", "keep")
    with open_accounts(folder) as accounts:
        visit = accounts.begin(accounts.get("Wenna Harkle"), now=datetime.now(UTC))
    assert "Nothing to change" in _refused(folder, "change", "Wenna Harkle")
    assert "--new-password too" in _refused(folder, "change", "Wenna Harkle", "--must-change")
    assert "last account" in _refused(folder, "change", "Wenna Harkle", "--role", "look")
    assert "last account" in _refused(folder, "close", "Wenna Harkle")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LUNGWORT_PASSWORD", OTHER)
        said = _done(folder, "change", "Wenna Harkle", "--new-password", "--must-change")

    assert "new password" in said
    with open_accounts(folder) as accounts:
        assert accounts.visit(visit, now=datetime.now(UTC)) is None
        assert accounts.get("Wenna Harkle").must_change


def test_token_is_printed_alone_and_once(folder: Path) -> None:
    """A script takes it from the output; the list does not show it."""
    _done(folder, "add", "Wenna Harkle", "--role", "keep")
    words = ("token", "add", "Wenna Harkle", "--label", "hall", "--scope", "import")
    result = _run(folder, *words)
    secret = result.stdout.strip()
    assert secret.startswith("lungwort_")
    assert "cannot be shown again" in result.stderr
    [one] = json.loads(_done(folder, "token", "list", "--json"))["tokens"]
    assert (one["label"], one["scopes"], one["account"]) == ("hall", ["import"], "Wenna Harkle")
    assert secret not in _done(folder, "token", "list")
    _done(folder, "token", "revoke", one["id"])

    assert json.loads(_done(folder, "token", "list", "--json")) == {"tokens": []}
    assert "no token" in _refused(folder, "token", "revoke", one["id"])


def test_token_without_accounts(folder: Path) -> None:
    """It is told what comes first."""
    words = ("token", "add", "Wenna Harkle", "--label", "hall", "--scope", "read")

    assert "account add" in _refused(folder, *words)


def test_accounts_are_in_no_backup(folder: Path, tmp_path: Path) -> None:
    """A backup lies on other disks; secrets do not go there."""
    import zipfile

    from lungwort.jobs.opening import opened
    from lungwort.jobs.serving import SERVER_FILE
    from lungwort.register.backup import backup

    _done(folder, "add", "Wenna Harkle", "--role", "keep")
    (folder / SERVER_FILE).write_text("{}", encoding="utf-8")
    with opened(folder) as workspace:
        archive = backup(workspace, tmp_path / "b.zip", now=datetime.now(UTC))
    with zipfile.ZipFile(archive) as file:
        names = file.namelist()

    assert names
    assert not [name for name in names if "account" in name or "server" in name]
