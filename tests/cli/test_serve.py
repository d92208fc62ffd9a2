"""``lungwort serve``: where it may be started, and a server as a process of its own."""

from __future__ import annotations

import json
import os
import signal
import socket
import ssl
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher

from lungwort.accounts import passwords
from lungwort.accounts.store import FILE
from lungwort.cli import serve as command
from lungwort.errors import InputError, WorkspaceError
from lungwort.jobs import account, serving
from lungwort.jobs import workspace as workspace_job
from lungwort.jobs.opening import Where

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
GOOD = "three damp gulls argue"
_START_SECONDS = 40
EVERYWHERE = "0.0.0.0"  # noqa: S104 - refused wherever it is tried


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Make a workspace with one person and no accounts."""
    hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passwords, "hasher", lambda: hasher)
    monkeypatch.setenv("LUNGWORT_CONFIG", str(tmp_path / "config"))
    made = workspace_job.create(
        tmp_path / "slipway", name="Merrowgate Slipway", person="Wenna Harkle", now=NOW
    )
    return made.folder


@pytest.fixture
def peopled(folder: Path) -> Path:
    """Give it an account."""
    account.add(Where(workspace=folder), "Wenna Harkle", role="keep", password=GOOD, now=NOW)
    return folder


@pytest.fixture(scope="session")
def pems(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Make a throw-away certificate for 127.0.0.1 and its key."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "test")])
    names = [x509.IPAddress(ip_address("127.0.0.1")), x509.DNSName("air.example")]
    begin = datetime.now(UTC) - timedelta(days=1)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(begin)
        .not_valid_after(begin + timedelta(days=9))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    place = tmp_path_factory.mktemp("pem")
    (place / "cert.pem").write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    (place / "key.pem").write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return place / "cert.pem", place / "key.pem"


def _prepare(folder: Path | None, **more: Any) -> serving.Stand:
    more = {"host": "127.0.0.1", "port": 0, **more}
    return serving.prepare(Where(workspace=folder, start=Path("/")), **more)


# --- where it may be started ----------------------------------------------------------------------


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "127.1.2.3"])
def test_on_this_computer_nothing_more_is_needed(folder: Path, host: str) -> None:
    """Only this computer reaches it (RFC 1122, 3.2.1.3; RFC 4291, 2.5.3)."""
    stand = _prepare(folder, host=host)

    assert not stand.exposed
    assert not stand.secure
    assert stand.title == "Merrowgate Slipway"


@pytest.mark.parametrize("host", [EVERYWHERE, "::", "192.0.2.7", "air.example", "128.0.0.1"])
def test_on_a_network_without_accounts_it_does_not_start(
    folder: Path, pems: tuple[Path, Path], host: str
) -> None:
    """Though there is a certificate; the message says how to make an account."""
    with pytest.raises(InputError, match="lungwort account add PERSON --role keep"):
        _prepare(folder, host=host, certificate=pems[0], key=pems[1], names=("air.example",))


def test_on_a_network_without_https_it_does_not_start(peopled: Path) -> None:
    """Passwords would be read on the way."""
    with pytest.raises(InputError, match="--certificate and --key, or put a proxy"):
        _prepare(peopled, host="192.0.2.7")


def test_behind_a_proxy_it_needs_accounts_too(folder: Path) -> None:
    """The proxy is on this computer, but who comes through it is not."""
    with pytest.raises(InputError, match="there are no accounts"):
        _prepare(folder, behind_proxy=True, names=("air.example",))


def test_behind_a_proxy(peopled: Path) -> None:
    """It needs the name; then it is exposed and secure."""
    with pytest.raises(InputError, match="--public-name"):
        _prepare(peopled, behind_proxy=True)
    stand = _prepare(peopled, behind_proxy=True, names=("Air.example",))

    assert (stand.exposed, stand.secure, stand.proxy) == (True, True, "127.0.0.1")
    assert stand.names == {"air.example"}


def test_all_addresses_need_a_name(peopled: Path, pems: tuple[Path, Path]) -> None:
    """Otherwise browsers would be refused by the name that they ask for."""
    with pytest.raises(InputError, match="means all addresses"):
        _prepare(peopled, host=EVERYWHERE, certificate=pems[0], key=pems[1])


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"port": 70000}, "is no port"),
        ({"port": -1}, "is no port"),
        ({"certificate": Path("x.pem")}, "belong together"),
        ({"certificate": Path("x.pem"), "key": Path("y.pem")}, "x.pem is no file"),
        ({"proxy": "192.0.2.1"}, "only with --behind-proxy"),
    ],
)
def test_what_does_not_go_together(folder: Path, more: dict[str, Any], said: str) -> None:
    """Each mistake is told."""
    with pytest.raises(InputError, match=said):
        _prepare(folder, **more)


def test_certificate_that_is_none(folder: Path, pems: tuple[Path, Path], tmp_path: Path) -> None:
    """Neither a text nor a key of another certificate starts it."""
    text = tmp_path / "text.pem"
    text.write_text("no certificate", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be used together"):
        _prepare(folder, certificate=text, key=pems[1])


def test_without_a_workspace_it_starts_on_this_computer_alone(tmp_path: Path) -> None:
    """Its first page makes one; on a network it does not start."""
    where = Where(start=tmp_path)

    assert serving.prepare(where, host="127.0.0.1", port=0).workspace is None
    with pytest.raises(InputError, match="no workspace yet"):
        serving.prepare(where, host="192.0.2.7", port=0)


def test_a_folder_that_is_no_workspace_is_told(tmp_path: Path) -> None:
    """A folder that was named is not passed over."""
    with pytest.raises(WorkspaceError):
        _prepare(tmp_path)


def test_port_that_is_taken(folder: Path) -> None:
    """The message names it, and what to do."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        stand = _prepare(folder, port=taken.getsockname()[1])
        with pytest.raises(InputError, match="Give another --port, or 0"):
            serving.listen(stand)


def test_answers_are_sent_without_delay(folder: Path) -> None:
    """Asyncio sets TCP_NODELAY only on sockets whose protocol is named (base_events._set_nodelay)."""
    with serving.listen(_prepare(folder)) as made:
        assert made.proto == socket.IPPROTO_TCP


def test_address_of_another_computer(folder: Path) -> None:
    """RFC 5737: 192.0.2.0/24 is for documentation and nobody's."""
    stand = serving.Stand(workspace=folder, title="", host="192.0.2.7", port=0)
    with pytest.raises(InputError, match=r"Nothing can listen on 192\.0\.2\.7"):
        serving.listen(stand)


# --- whether one runs already -------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "{}",
        '{"port": "x", "mark": "m"}',
        '{"port": 0, "mark": "m"}',
        '{"port": 99999, "mark": "m"}',
    ],
)
def test_file_that_was_left_behind_means_nothing(folder: Path, text: str) -> None:
    """A broken one, or one of a server that was broken off."""
    (folder / serving.SERVER_FILE).write_text(text, encoding="utf-8")

    assert serving.running(folder) is None


def test_another_program_on_the_port_is_not_taken_for_ours(folder: Path) -> None:
    """It does not answer with the mark, or does not speak HTTP at all."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        serving.announce(folder, port=other.getsockname()[1], mark="m" * 43)

        assert serving.running(folder) is None


def test_only_the_own_mark_is_taken_back(folder: Path) -> None:
    """A server that ends late does not take away what a newer one wrote."""
    serving.announce(folder, port=1, mark="newer")
    serving.withdraw(folder, mark="older")
    assert (folder / serving.SERVER_FILE).exists()
    serving.withdraw(folder, mark="newer")

    assert not (folder / serving.SERVER_FILE).exists()


# --- a process of its own -------------------------------------------------------------------------


@contextmanager
def _process(*words: str, config: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    env = {**os.environ, "LUNGWORT_CONFIG": str(config), "PYTHONUNBUFFERED": "1"}
    process = subprocess.Popen(
        [sys.executable, "-m", "lungwort", "serve", "--no-open", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=env,
        text=True,
        encoding="utf-8",
    )
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        assert "http" in line, line + (process.stderr.read() if process.stderr else "")
        assert "Ctrl-C" in process.stdout.readline()
        yield process, line[line.index("http") :].strip()
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()


def _get(address: str | urllib.request.Request, **more: Any) -> Any:
    return urllib.request.urlopen(address, timeout=_START_SECONDS, **more)  # noqa: S310 - of our own server


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
def test_server_starts_answers_and_ends(folder: Path, tmp_path: Path, name: str) -> None:
    """On a free port, without a password; told to end it ends with 0 and leaves nothing behind."""
    config = tmp_path / "config"
    with _process("--workspace", str(folder), "--port", "0", config=config) as (process, address):
        answer = _get(f"{address}today")
        assert answer.status == 200
        assert "Merrowgate Slipway" in answer.read().decode("utf-8")
        assert answer.headers["server"] is None
        port = int(address.rstrip("/").rsplit(":", 1)[1])
        assert serving.running(folder) == port
        process.send_signal(getattr(signal, name))
        out, err = process.communicate(timeout=_START_SECONDS)

    assert process.returncode == 0
    assert err == ""
    assert out == ""
    assert not (folder / serving.SERVER_FILE).exists()
    assert serving.running(folder) is None
    assert (config / "last-workspace").read_text(encoding="utf-8").strip() == str(folder.resolve())


def test_second_server_on_a_workspace_is_not_needed(folder: Path, tmp_path: Path) -> None:
    """The command says where the first is, and is content; another program there is an error."""
    config = tmp_path / "config"
    with _process("--workspace", str(folder), "--port", "0", config=config) as (_, address):
        port = address.rstrip("/").rsplit(":", 1)[1]
        words = ["serve", "--no-open", "--workspace", str(folder), "--port", port]
        again = _command(*words)
        (folder / serving.SERVER_FILE).unlink()
        taken = _command(*words)

    assert (again.returncode, again.stderr) == (0, "")
    assert again.stdout == f"Merrowgate Slipway is open already: {address}\n"
    assert taken.returncode == 2
    assert "Give another --port" in taken.stderr


def _command(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "lungwort", *words],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        timeout=_START_SECONDS,
    )


def test_server_with_accounts_asks_to_sign_in(peopled: Path, tmp_path: Path) -> None:
    """Also on this computer; and a foreign name is refused."""
    words = ("--workspace", str(peopled), "--port", "0")
    with _process(*words, config=tmp_path / "config") as (_, address):
        page = _get(f"{address}today")
        assert page.url == f"{address}sign-in?next=%2Ftoday"
        foreign = urllib.request.Request(f"{address}today", headers={"Host": "attacker.example"})  # noqa: S310 - of our own server
        with pytest.raises(urllib.error.HTTPError, match="421"):
            _get(foreign)


def test_server_speaks_https(peopled: Path, pems: tuple[Path, Path], tmp_path: Path) -> None:
    """With the certificate that it was given, and a cookie that goes over HTTPS alone."""
    words = ("--certificate", str(pems[0]), "--key", str(pems[1]), "--port", "0")
    context = ssl.create_default_context(cafile=str(pems[0]))
    with _process(*words, "--workspace", str(peopled), config=tmp_path / "config") as (_, address):
        assert address.startswith("https://127.0.0.1:")
        answer = _get(f"{address}sign-in", context=context)

        assert answer.headers["set-cookie"].endswith("; Secure")
        assert "max-age" in answer.headers["strict-transport-security"]


def test_refusal_of_the_command_is_told(folder: Path) -> None:
    """On a network without accounts: exit code 2, one message, no traceback."""
    result = _command("serve", "--host", EVERYWHERE, "--workspace", str(folder))

    assert result.returncode == 2
    assert "lungwort account add" in result.stderr
    assert "Traceback" not in result.stderr


# --- without a terminal -----------------------------------------------------------------------


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Collect what the browser is told to open."""
    told: list[str] = []
    monkeypatch.setattr("webbrowser.open", told.append)
    return told


def test_second_start_opens_the_first_server(
    folder: Path, tmp_path: Path, opened: list[str]
) -> None:
    """A double click while it runs opens the browser on it, and no second one."""
    command._remember(folder)
    words = ("--workspace", str(folder), "--port", "0")
    with _process(*words, config=tmp_path / "config2") as (_, address):
        command.run_windowless()

    assert opened == [address]


def test_windowless_start_serves_the_last_workspace(
    folder: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a free port of this computer."""
    served: list[serving.Stand] = []

    def run(stand: serving.Stand, started: Any, *, idle_seconds: float) -> None:
        assert idle_seconds > 12 * 3600
        served.append(stand)
        started("http://127.0.0.1:1/")

    monkeypatch.setattr(command, "_run", run)
    command._remember(folder)
    command.run_windowless()

    assert [(one.workspace, one.host, one.port) for one in served] == [
        (folder.resolve(), "127.0.0.1", 0)
    ]
    assert opened == ["http://127.0.0.1:1/"]


def test_windowless_start_without_any_workspace(
    tmp_path: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It starts all the same, for the page that makes the first one."""
    monkeypatch.setenv("LUNGWORT_CONFIG", str(tmp_path / "config"))
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    monkeypatch.setattr(
        command, "_run", lambda stand, *_, **__: opened.append(str(stand.workspace))
    )
    command.run_windowless()

    assert opened == ["None"]


def test_windowless_failure_is_told_on_a_page(
    folder: Path, tmp_path: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """There is no terminal to tell it on; what it says is no HTML of its own."""

    def fail(*_: object, **__: object) -> None:
        raise InputError("Port <b>1</b> is taken.")

    monkeypatch.setattr(command, "_run", fail)
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path))
    command._remember(folder)
    with pytest.raises(SystemExit, match="2"):
        command.run_windowless()
    [address] = opened
    page = urllib.request.urlopen(address).read().decode("utf-8")  # noqa: S310 - a file of our own

    assert "Port &lt;b&gt;1&lt;/b&gt; is taken." in page


# --- the app for others -------------------------------------------------------------------------


def test_server_for_others_stays_closed_without_its_accounts(
    peopled: Path, pems: tuple[Path, Path]
) -> None:
    """Though the file is taken away while it runs, nobody comes in without signing in."""
    from fastapi.testclient import TestClient

    from lungwort.web.server import app_for

    stand = _prepare(
        peopled, host="192.0.2.7", certificate=pems[0], key=pems[1], names=("air.example",)
    )
    app = app_for(stand, port=443, clock=lambda: NOW)
    (peopled / FILE).unlink()
    with TestClient(app, base_url="https://air.example", follow_redirects=False) as client:
        answer = client.get("/today")

    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/sign-in")


def test_server_without_a_window_ends_when_nobody_uses_it(folder: Path) -> None:
    """Some time after the last request, and its announcement goes with it."""
    from lungwort.web import server

    stand = _prepare(folder)
    before = {one: signal.getsignal(one) for one in (signal.SIGINT, signal.SIGTERM)}
    told: list[object] = []
    try:
        server.run(
            stand,
            serving.listen(stand),
            clock=lambda: NOW,
            started=told.append,
            used=told.append,
            idle_seconds=0.3,
        )
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)

    assert folder in told
    assert any(str(one).startswith("http://127.0.0.1:") for one in told)
    assert not (folder / serving.SERVER_FILE).exists()


def test_workspace_made_while_it_runs_is_announced(folder: Path) -> None:
    """A second start finds the server that made the first workspace."""
    from lungwort.web import server

    empty = serving.Stand(workspace=None, title="", host="127.0.0.1", port=0)
    before = {one: signal.getsignal(one) for one in (signal.SIGINT, signal.SIGTERM)}
    found: list[int | None] = []
    made: list[Any] = []
    real = server.app_for

    def app_for(*args: Any, **more: Any) -> Any:
        made.append(real(*args, **more))
        return made[0]

    def started(_: str) -> None:
        made[0].state.workspace = folder

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(server, "app_for", app_for)
        try:
            server.run(
                empty,
                serving.listen(empty),
                clock=lambda: NOW,
                started=started,
                used=lambda place: found.append(int((place / serving.SERVER_FILE).exists())),
                idle_seconds=0.5,
            )
        finally:
            for one, handler in before.items():
                signal.signal(one, handler)

    assert found == [1]
    assert not (folder / serving.SERVER_FILE).exists()


def test_last_workspace_that_is_gone(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is not looked for; a file that cannot be read means none."""
    command._remember(folder)
    assert command._last() == folder.resolve()
    folder.rename(tmp_path / "moved")
    assert command._last() is None
    monkeypatch.setenv("LUNGWORT_CONFIG", str(tmp_path / "nowhere"))

    assert command._last() is None


def test_announcement_holds_no_secret(folder: Path) -> None:
    """Port, process and a mark that opens nothing."""
    serving.announce(folder, port=8765, mark="m")
    found = json.loads((folder / serving.SERVER_FILE).read_text(encoding="utf-8"))

    assert found == {"port": 8765, "pid": os.getpid(), "mark": "m"}
