"""The key that a home seals its reports with, and the certificates over it (ECDSA P-256).

The gateway is its own authority: a seal proves that the same gateway made two reports, not whose it is. Hand the
authority's fingerprint over on paper. Keys stay in the home, mode 0600, outside the journal.
"""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

AUTHORITY_DAYS, SEAL_DAYS = 20 * 365, 5 * 365
EARLY = timedelta(days=1)  # a clock that was a little ahead when the key was made does not make it invalid
CURVE = ec.SECP256R1()


class SealKey(NamedTuple):
    """Where the seal's key, its certificate and the authority's certificate are, all PEM."""

    key: Path
    certificate: Path
    authority: Path


def seal_key(home: Path, now: datetime | None = None) -> SealKey:
    """Return the home's seal key; make it and its authority where there is none, renew it where it has run out."""
    folder = home / "seal"
    folder.mkdir(mode=0o700, exist_ok=True)
    files = SealKey(folder / "seal.key.pem", folder / "seal.pem", folder / "authority.pem")
    authority_key = folder / "authority.key.pem"
    moment = now or datetime.now(UTC)
    if not authority_key.exists():
        _make_authority(authority_key, files.authority, home.resolve().name, moment)
    if not files.certificate.exists() or _until(files.certificate) <= moment:
        _make_seal(files, authority_key, home.resolve().name, moment)
    return files


def fingerprint(authority: Path) -> str:
    """Return the SHA-256 of the authority's certificate, to be compared on paper."""
    found = x509.load_pem_x509_certificate(authority.read_bytes()).fingerprint(hashes.SHA256()).hex()
    return " ".join(found[i : i + 4] for i in range(0, len(found), 4))


def _until(certificate: Path) -> datetime:
    return x509.load_pem_x509_certificate(certificate.read_bytes()).not_valid_after_utc


def _make_authority(key_file: Path, certificate_file: Path, label: str, now: datetime) -> None:
    key = ec.generate_private_key(CURVE)
    name = _name("dewgate gateway authority", label)
    built = _certificate(name, name, key.public_key(), now, AUTHORITY_DAYS)
    built = built.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
    signed = built.add_extension(_usage(certifies=True), critical=True).sign(key, hashes.SHA256())
    _write(key_file, _pem(key))
    certificate_file.write_bytes(signed.public_bytes(serialization.Encoding.PEM))


def _make_seal(files: SealKey, authority_key: Path, label: str, now: datetime) -> None:
    authority = x509.load_pem_x509_certificate(files.authority.read_bytes())
    issuer = serialization.load_pem_private_key(authority_key.read_bytes(), None)
    assert isinstance(issuer, ec.EllipticCurvePrivateKey)
    key = ec.generate_private_key(CURVE)
    name = _name("dewgate gateway seal", label)
    built = _certificate(name, authority.subject, key.public_key(), now, SEAL_DAYS)
    built = built.add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
    signed = built.add_extension(_usage(certifies=False), critical=True).sign(issuer, hashes.SHA256())
    _write(files.key, _pem(key))
    files.certificate.write_bytes(signed.public_bytes(serialization.Encoding.PEM))


def _name(what: str, label: str) -> x509.Name:
    return x509.Name(
        [x509.NameAttribute(NameOID.COMMON_NAME, f"{what} {label}"[:64])],
    )


def _certificate(
    name: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, days: int
) -> x509.CertificateBuilder:
    built = x509.CertificateBuilder().subject_name(name).issuer_name(issuer).public_key(key)
    built = built.serial_number(x509.random_serial_number()).not_valid_before(now - EARLY)
    return built.not_valid_after(now + timedelta(days=days))


def _usage(*, certifies: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not certifies, content_commitment=not certifies, key_encipherment=False,
        data_encipherment=False, key_agreement=False, key_cert_sign=certifies, crl_sign=certifies,
        encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    kind, plain = serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    return key.private_bytes(serialization.Encoding.PEM, kind, plain)


def _write(path: Path, secret: bytes) -> None:
    path.unlink(missing_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(secret)
