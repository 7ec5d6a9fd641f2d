"""The one door to time-stamp authorities (RFC 3161): somebody else's word that a head was there at a time.

A token lies beside the record as `stamps/H17.tsr`, the whole answer as it came. Asking needs the network, once;
checking never does. Anybody can check it with OpenSSL as well: `openssl ts -verify -in H17.tsr -data H17.json
-CAfile ROOT.pem`.
"""

from __future__ import annotations

import hashlib
from datetime import datetime
from pathlib import Path

import httpx
from cryptography.x509 import load_pem_x509_certificates
from rfc3161_client import TimestampRequestBuilder, VerificationError, VerifierBuilder, decode_timestamp_response

from gateway.adapters import brief

FOLDER = "stamps"
TIMEOUT_S = 20
MOST_BYTES = 65_536


class NoStamp(Exception):
    """The authority gave no token, or one that proves nothing."""


def ask(url: str, statement: bytes) -> bytes:
    """Return an authority's answer for a head's statement. Raises NoStamp."""
    asked = TimestampRequestBuilder().data(statement).cert_request(cert_request=True).build()
    head = {"Content-Type": "application/timestamp-query"}
    try:
        with httpx.Client(timeout=TIMEOUT_S) as client:
            answer = brief.ask(client, "POST", url, MOST_BYTES, TIMEOUT_S, content=asked.as_bytes(), headers=head)
            answer.raise_for_status()
    except (httpx.HTTPError, httpx.InvalidURL) as error:
        raise NoStamp(f"{url}: {error}") from error
    try:
        stamp = decode_timestamp_response(answer.content).tst_info
    except ValueError as error:
        raise NoStamp(f"{url}: its answer cannot be read: {error}") from error
    if stamp.nonce != asked.nonce or stamp.message_imprint.message != asked.message_imprint.message:
        raise NoStamp(f"{url}: its answer is for something else")
    return answer.content


def stamped(token: bytes, statement: bytes, roots: bytes) -> datetime:
    """Return the time an authority under one of these roots (PEM) vouches for. Raises NoStamp."""
    try:
        answer = decode_timestamp_response(token)
        builder = VerifierBuilder(roots=list(load_pem_x509_certificates(roots)))
        digest = _digest(answer.tst_info.message_imprint.hash_algorithm.dotted_string, statement)
        builder.build().verify(answer, digest)
    except (ValueError, VerificationError) as error:
        raise NoStamp(f"the time stamp does not hold: {error}") from error
    return answer.tst_info.gen_time


def _digest(algorithm: str, statement: bytes) -> bytes:
    names = {"2.16.840.1.101.3.4.2.1": "sha256", "2.16.840.1.101.3.4.2.3": "sha512"}  # RFC 5754, 2
    if algorithm not in names:
        raise ValueError(f"its hash {algorithm} is neither SHA-256 nor SHA-512")
    return hashlib.new(names[algorithm], statement).digest()


def keep(home: Path, number: int, token: bytes) -> Path:
    """Write a token beside the record, whole or not at all."""
    path = home / FOLDER / f"H{number}.tsr"
    path.parent.mkdir(exist_ok=True)
    path.with_suffix(".part").write_bytes(token)
    return path.with_suffix(".part").replace(path)


def kept(home: Path) -> list[Path]:
    """Return the tokens beside a record."""
    return sorted((home / FOLDER).glob("H*.tsr"))
