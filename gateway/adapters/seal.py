"""The one door to pyHanko: seals a report as a later revision of its file, and says what has become of it since.

The first revision is the report itself, byte for byte what the journal gives. The seal (PAdES, ECDSA P-256)
certifies it and permits signing in the fields placed beforehand, nothing else. A person's signature is separate
from the gateway's seal.
Source: ISO 32000-1, 12.8.2.2 (DocMDP, level 2), ETSI EN 319 142-1 (PAdES baseline).
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gateway.adapters.seal_key import seal_key

SEAL = "gateway-seal"
SIGNERS = ("contractor", "inspector", "owner")
OF_A_DRYER = ("yard", "customer", "owner")
# Lower left and upper right of the three boxes on the first page, in points; the template draws them.
BOXES = ((50, 53, 207, 99), (220, 53, 376, 99), (390, 53, 546, 99))
END = b"%%EOF\n"


def sealed(body: bytes, home: Path, persons: tuple[str, ...] = SIGNERS) -> bytes:
    """Return the report with fields for the three persons and the gateway's seal over it all."""
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import fields, signers

    files = seal_key(home)
    writer = IncrementalPdfFileWriter(io.BytesIO(body))
    for name, box in zip(persons, BOXES, strict=True):
        fields.append_signature_field(writer, fields.SigFieldSpec(name, on_page=0, box=box))
    how = signers.PdfSignatureMetadata(
        field_name=SEAL, certify=True, subfilter=fields.SigSeedSubFilter.PADES, md_algorithm="sha256",
        docmdp_permissions=fields.MDPPerm.FILL_FORMS,
    )  # fmt: skip
    signer = signers.SimpleSigner.load(str(files.key), str(files.certificate), (str(files.authority),))  # type: ignore[no-untyped-call]
    if signer is None:
        raise ValueError(f"{files.key.parent}: the seal's key cannot be read")
    made = signers.sign_pdf(writer, how, signer, new_field_spec=fields.SigFieldSpec(SEAL))
    return bytes(made.getbuffer())


@dataclass(frozen=True, slots=True)
class Sealing:
    """What a report's signatures say. holds: sealed by this authority, changed by permitted signatures at most.

    words: the same for a person. persons: who signed in which field, by the name in the certificate, unchecked.
    """

    holds: bool
    words: str
    persons: tuple[tuple[str, str], ...] = ()


def look(pdf: bytes, authority: Path) -> Sealing:
    """Say whether a report is as it was sealed. authority: the certificate handed over beforehand, PEM."""
    from pyhanko.pdf_utils.misc import PdfReadError
    from pyhanko.pdf_utils.reader import PdfFileReader
    from pyhanko_certvalidator import ValidationContext

    trusted = ValidationContext(trust_roots=[_certificate(authority)], allow_fetching=False)
    try:
        found = PdfFileReader(io.BytesIO(pdf), strict=True).embedded_signatures
    except (PdfReadError, ValueError, KeyError, IndexError, OSError) as error:
        return Sealing(False, f"changed after sealing: the file cannot be read ({error})")
    seals = [each for each in found if each.field_name == SEAL]
    if not seals or found[0].field_name != SEAL:
        return Sealing(False, "not sealed by a gateway, or the seal was cut off")
    return _judge(found, trusted)


def _certificate(path: Path) -> Any:
    from pyhanko.keys import load_cert_from_pemder

    return load_cert_from_pemder(str(path))  # type: ignore[no-untyped-call]


def _judge(found: list[Any], trusted: Any) -> Sealing:
    """Every signature must be whole, the seal trusted, and the last must cover the file to its end."""
    from pyhanko.sign.validation import SignatureCoverageLevel, validate_pdf_signature
    from pyhanko.sign.validation.errors import SignatureValidationError

    persons = tuple((each.field_name, each.signer_cert.subject.human_friendly) for each in found[1:])
    try:
        said = [validate_pdf_signature(each, trusted) for each in found]
    except (SignatureValidationError, ValueError) as error:
        return Sealing(False, f"changed after sealing: {error}", persons)
    seal, outside = said[0], {each.field_name for each in found[1:]} - {*SIGNERS, *OF_A_DRYER}
    wrong = (
        (not (seal.intact and seal.valid and seal.docmdp_ok), "changed after sealing"),
        (not all(each.intact and each.valid for each in said[1:]), "a person's signature does not hold"),
        (bool(outside), "changed after sealing: signed outside the fields placed for it"),
        (
            said[-1].coverage is not SignatureCoverageLevel.ENTIRE_FILE,
            "changed after sealing: bytes follow the last signature",
        ),
        (not seal.trusted, "sealed by another gateway, or its certificate has run out"),
    )
    for is_so, words in wrong:
        if is_so:
            return Sealing(False, words, persons)
    signed = f"; signed by {', '.join(f'{who} in the field {where}' for where, who in persons)}" if persons else ""
    return Sealing(True, f"sealed by this gateway and unchanged{signed}", persons)


def first_revision(pdf: bytes) -> bytes:
    """Return the report as it was before fields and seal: all up to the first end of file, with its newline."""
    end = pdf.find(END)
    return pdf[: end + len(END)] if end >= 0 else b""


def keywords(body: bytes) -> str:
    """Return what a report says it was made from, as it stands in the file; empty where it says nothing."""
    from pyhanko.pdf_utils.misc import PdfReadError
    from pyhanko.pdf_utils.reader import PdfFileReader

    try:
        info = PdfFileReader(io.BytesIO(body)).trailer_view["/Info"]
        return str(info.get_object()["/Keywords"])
    except (KeyError, PdfReadError, ValueError):
        return ""
