"""Who may reach the broker, and how: across a network with TLS only, passwords from files nobody else reads."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from gateway.adapters import address
from gateway.adapters.address import Address, Refused, is_loopback


def of(*words: str) -> Address:
    """Return the address these arguments name."""
    parser = argparse.ArgumentParser()
    address.add_arguments(parser)
    return address.of(parser.parse_args(words))


def test_loopback_needs_nothing() -> None:
    """The default is the broker on this machine."""
    assert of() == Address("127.0.0.1", 1883) and str(of("--broker", "[::1]:1884")) == "[::1]:1884"
    assert is_loopback("localhost") and is_loopback("127.8.9.1") and not is_loopback("broker.lan")


def test_name_and_password(tmp_path: Path) -> None:
    """The password stands in a file of its own."""
    file = tmp_path / "password"
    file.write_text("hush\n")
    file.chmod(0o600)
    found = of("--broker-user", "dewgate-run", "--broker-password-file", str(file))
    assert (found.user, found.password) == ("dewgate-run", "hush")


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--broker", "broker.lan:8883"), "give the CA of its certificate"),
        (("--broker", "10.0.0.7:1883"), "give the CA of its certificate"),
        (("--broker", "broker.lan:8883", "--broker-ca", "none.crt"), "there is no such file"),
        (("--broker", "1883"), "host:port"),
        (("--broker", "127.0.0.1:70000"), "host:port"),
        (("--broker-password-file", "none"), "cannot be read"),
    ],
)
def test_what_is_refused(words: tuple[str, ...], why: str) -> None:
    """Each with what to do."""
    with pytest.raises(Refused, match=why):
        of(*words)


def test_a_password_others_can_read_is_refused(tmp_path: Path) -> None:
    """It is a secret no more."""
    file = tmp_path / "password"
    file.write_text("hush")
    file.chmod(0o640)
    with pytest.raises(Refused, match="chmod 600"):
        of("--broker-password-file", str(file))
