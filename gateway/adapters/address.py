"""Where the broker is and how it knows us: host and port, a name with its password, the CA that vouches for it.

Across a network only with TLS: what sensors say and who we are can be read and changed on the way otherwise.
"""

from __future__ import annotations

import argparse
import ipaddress
import stat
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import paho.mqtt.client as paho

_NO_FORM = "{}: an address is written host:port, as in 127.0.0.1:1883"


class Refused(Exception):
    """The address cannot be used; the message says why and what to do."""


class Address(NamedTuple):
    """Host and port of a broker; user and password it asks for, the file of the CA for TLS; empty: none."""

    host: str
    port: int
    user: str = ""
    password: str = ""
    ca: str = ""

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"

    def dress(self, client: paho.Client) -> None:
        """Give a client, before it connects, what it needs to be let in."""
        if self.user:
            client.username_pw_set(self.user, self.password)
        if self.ca:
            client.tls_set(self.ca)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what a command that speaks with the broker takes."""
    parser.add_argument("--broker", default="127.0.0.1:1883", metavar="HOST:PORT", help="the MQTT broker")
    parser.add_argument("--broker-user", default="", help="name the broker knows this program by")
    parser.add_argument("--broker-password-file", type=Path, help="its password, in a file of mode 0600")
    parser.add_argument("--broker-ca", default="", help="PEM file of the CA that signed the broker's certificate")


def of(args: argparse.Namespace) -> Address:
    """Return the address the arguments name. Raises Refused."""
    host, _, port = args.broker.rpartition(":")
    if not host or not port.isdecimal() or not 0 < int(port) < 65_536:
        raise Refused(_NO_FORM.format(args.broker))
    if not args.broker_ca and not is_loopback(host):
        raise Refused(f"{args.broker} is across a network: give the CA of its certificate with --broker-ca")
    if args.broker_ca and not Path(args.broker_ca).is_file():
        raise Refused(f"{args.broker_ca}: there is no such file; it is the PEM file of the broker's CA")
    return Address(host, int(port), args.broker_user, _password(args.broker_password_file), args.broker_ca)


def is_loopback(host: str) -> bool:
    """Whether a host is this machine, reached without a network."""
    try:
        return host == "localhost" or ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _password(file: Path | None) -> str:
    if file is None:
        return ""
    try:
        if stat.S_IMODE(file.stat().st_mode) & 0o077:
            raise Refused(f"{file}: others can read it; chmod 600 {file}")
        return file.read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise Refused(f"{file}: cannot be read ({error})") from None
