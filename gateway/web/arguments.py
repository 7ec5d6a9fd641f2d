"""The settings of the pages on the command line; light, so that every command may load it."""

from __future__ import annotations

import argparse
from ipaddress import ip_address


def page_arguments(run: argparse.ArgumentParser) -> None:
    """Add the settings of the pages."""
    run.add_argument("--page", default="127.0.0.1:8080", help="host:port of the board; loopback by default")
    run.add_argument("--no-page", action="store_true", help="serve no board")
    run.add_argument("--tls-cert", help="PEM file of the certificate, to serve HTTPS; with --tls-key")
    run.add_argument("--tls-key", help="PEM file of the certificate's private key")
    run.add_argument(
        "--behind-proxy", nargs="?", const="127.0.0.1", type=_address, metavar="ADDRESS",
        help="a proxy ends TLS: believe its X-Forwarded-For, send cookies for HTTPS only; ADDRESS: as it reaches "
        "this program, if it is elsewhere or this is a container",
    )  # fmt: skip
    run.add_argument(
        "--open-if-simulated", action="store_true",
        help="nobody need sign in on this machine while the jobsite says that it is simulated",
    )  # fmt: skip


def _address(text: str) -> str:
    """Return the address of one machine; raises what argparse prints for anything else, names too."""
    try:
        return str(ip_address(text))
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r}: the proxy's address in numbers, as 172.31.253.1") from None
