"""The settings of the pages on the command line; light, so that every command may load it."""

from __future__ import annotations

import argparse


def page_arguments(run: argparse.ArgumentParser) -> None:
    """Add the settings of the pages."""
    run.add_argument("--page", default="127.0.0.1:8080", help="host:port of the board; loopback by default")
    run.add_argument("--no-page", action="store_true", help="serve no board")
    run.add_argument("--tls-cert", help="PEM file of the certificate, to serve HTTPS; with --tls-key")
    run.add_argument("--tls-key", help="PEM file of the certificate's private key")
    run.add_argument(
        "--behind-proxy", action="store_true",
        help="a proxy on this machine ends TLS: believe its X-Forwarded-For, send cookies for HTTPS only",
    )  # fmt: skip
    run.add_argument(
        "--open-if-simulated", action="store_true",
        help="nobody need sign in on this machine while the jobsite says that it is simulated",
    )  # fmt: skip
