"""One-time codes against the published vectors, and how secrets are kept."""

from __future__ import annotations

import base64
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.accounts import codes

# RFC 6238, Appendix B: the shared secret is the ASCII string "12345678901234567890"; time [s] and
# the TOTP of eight digits for SHA-1 as printed. With six digits a code is the last six of them,
# since RFC 4226, section 5.3, takes the same number modulo 10^digits.
SECRET = base64.b32encode(b"12345678901234567890").decode("ascii")
VECTORS = (
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
)


@pytest.mark.parametrize(("at", "printed"), VECTORS)
def test_codes_are_those_of_rfc_6238(at: int, printed: str) -> None:
    """Each vector of the RFC is taken, at the time step that the RFC gives it."""
    now = datetime.fromtimestamp(at, UTC)

    assert codes.step_of(SECRET, printed[-6:], now=now) == at // 30


def test_a_code_is_taken_once() -> None:
    """RFC 6238, section 5.2: a second use of a one-time code is refused."""
    now = datetime.fromtimestamp(59, UTC)
    step = codes.step_of(SECRET, "287082", now=now)

    assert step == 1
    assert codes.step_of(SECRET, "287082", now=now, after=step) is None


@pytest.mark.parametrize(
    ("late", "taken"), [(0, True), (30, True), (60, False), (-30, True), (-60, False)]
)
def test_one_step_of_delay_is_allowed_for(late: int, *, taken: bool) -> None:
    """RFC 6238, section 5.2: at most one time step of network delay is recommended."""
    now = datetime.fromtimestamp(1111111111 // 30 * 30 + late, UTC)

    assert (codes.step_of(SECRET, "050471", now=now) is not None) is taken


@pytest.mark.parametrize(
    "typed", ["", "28708", "2870822", "abcdef", "２８７０８２", "-87082", "28 7082 1"]
)
def test_what_is_no_code_is_refused(typed: str) -> None:
    """Anything but six plain digits is no code."""
    assert codes.step_of(SECRET, typed, now=datetime.fromtimestamp(59, UTC)) is None


def test_blanks_in_a_code_do_not_count() -> None:
    """Devices show codes in two groups of three."""
    assert codes.step_of(SECRET, " 287 082 ", now=datetime.fromtimestamp(59, UTC)) == 1


@given(st.text(max_size=12), st.integers(0, 2**33))
@settings(deadline=None, max_examples=60)
def test_any_text_is_a_code_or_none(typed: str, at: int) -> None:
    """Whatever is typed, there is an answer, and a step that is taken is near the moment."""
    found = codes.step_of(SECRET, typed, now=datetime.fromtimestamp(at, UTC))

    assert found is None or abs(found - at // 30) <= 1


def test_secret_has_160_bits() -> None:
    """RFC 4226, section 4, R6: the shared secret should have 160 bits."""
    assert len(base64.b32decode(codes.new_secret())) * 8 == 160


def test_device_reads_the_same_secret() -> None:
    """The address in the QR code holds secret, issuer and account."""
    import pyotp

    read = pyotp.parse_uri(codes.address(SECRET, account="Wenna Harkle", workspace="Slipway"))

    assert isinstance(read, pyotp.TOTP)
    assert (read.secret, read.name, read.issuer) == (SECRET, "Wenna Harkle", "lungwort Slipway")
    assert (read.digits, read.interval) == (6, 30)
    assert read.at(datetime.fromtimestamp(59, UTC)) == "287082"


def test_secrets_are_random_and_long() -> None:
    """No two are alike; a visit's and a machine's secret have 256 bits, a recovery code 80."""
    many = {codes.new_visit_secret() for _ in range(50)}
    recovery = codes.new_recovery_codes()

    assert len(many) == 50
    assert len(base64.urlsafe_b64decode(many.pop() + "=")) == 32
    assert len(set(recovery)) == 10
    assert {len(base64.b32decode(code.upper())) for code in recovery} == {10}
    assert codes.new_machine_secret().startswith("lungwort_")


def test_recovery_code_as_it_is_typed() -> None:
    """Blanks, hyphens and capitals do not matter."""
    assert codes.plain_recovery_code(" ABCD-efgh 2345 ") == "abcdefgh2345"


def test_names_are_compared_without_case_and_doubled_blanks() -> None:
    """What people type differs in case and blanks."""
    assert codes.name_key("  Wenna   HARKLE ") == codes.name_key("wenna harkle")


def test_clock_before_1970_gives_no_code() -> None:
    """A computer with a dead clock refuses instead of failing."""
    now = datetime.fromtimestamp(0, UTC) - timedelta(days=1)

    assert codes.step_of(SECRET, "287082", now=now) is None
