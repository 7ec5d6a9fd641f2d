"""Time stamps from a real authority's program (OpenSSL), asked over HTTP, checked offline."""

from __future__ import annotations

import subprocess
import threading
import zipfile
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

from gateway import stamp_command
from gateway.adapters import heads as table
from gateway.adapters import record_zip, stamping
from gateway.adapters.journal import open_reader
from gateway.adapters.stamping import NoStamp
from tests.sites import T0
from tests.test_verify_record import honest, make

SETTINGS = """[tsa]
default_tsa = one
[one]
serial = {0}/serial
signer_cert = {0}/tsa.pem
signer_key = {0}/tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256, sha512
ess_cert_id_alg = sha256
[signing]
extendedKeyUsage = critical,timeStamping
keyUsage = critical,digitalSignature
basicConstraints = CA:FALSE
"""


def openssl(*words: object) -> None:
    subprocess.run(["openssl", *map(str, words)], check=True, capture_output=True)


class Authority:
    """A time-stamp authority of this test: its root, and an HTTP server in front of `openssl ts`."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.root = folder, folder / "root.pem"
        (folder / "settings").write_text(SETTINGS.format(folder))
        (folder / "serial").write_text("01\n")
        openssl("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", folder / "root.key", "-out", self.root,
                "-subj", "/CN=test root", "-days", "2")  # fmt: skip
        openssl("req", "-newkey", "rsa:2048", "-nodes", "-keyout", folder / "tsa.key", "-out", folder / "tsa.csr",
                "-subj", "/CN=test authority")  # fmt: skip
        openssl("x509", "-req", "-in", folder / "tsa.csr", "-CA", self.root, "-CAkey", folder / "root.key",
                "-days", "2", "-extfile", folder / "settings", "-extensions", "signing",
                "-out", folder / "tsa.pem")  # fmt: skip
        authority = self

        class Answer(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                query = self.rfile.read(int(self.headers["Content-Length"]))
                body = authority.answer(query)
                self.send_response(200)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_: object) -> None:
                pass

        self.says: bytes | None = None
        self.server = HTTPServer(("127.0.0.1", 0), Answer)
        self.url = f"http://127.0.0.1:{self.server.server_port}/"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def answer(self, query: bytes) -> bytes:
        if self.says is not None:
            return self.says
        (self.folder / "query").write_bytes(query)
        openssl("ts", "-reply", "-config", self.folder / "settings", "-queryfile", self.folder / "query",
                "-out", self.folder / "answer")  # fmt: skip
        return (self.folder / "answer").read_bytes()


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Authority]:
    made = Authority(tmp_path_factory.mktemp("authority"))
    yield made
    made.server.shutdown()
    made.server.server_close()


def test_a_head_is_stamped_exported_and_checked_offline(
    authority: Authority, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The token lies beside the record, goes into the export, holds there, and OpenSSL says the same."""
    made = make(tmp_path, honest(200))
    home = ["--home", str(tmp_path)]
    assert stamp_command.run("stamp", [*home, "--tsa", authority.url, "--roots", str(authority.root)], "") == 0
    assert made.heads[-1].code in capsys.readouterr().out
    record_zip.write(tmp_path / "journal.db", made.zip, record_zip.Wanted(), T0, lambda *_: None)
    check = ["--record", str(made.zip), "--roots", str(authority.root)]
    assert stamp_command.run("stamp", check, "") == 0
    said = capsys.readouterr().out
    assert f"PROVEN: head {made.heads[-1].code} of " in said and "1 time stamps, 0 do not hold" in said
    with zipfile.ZipFile(made.zip) as record:
        record.extractall(tmp_path / "unpacked")
    folder = tmp_path / "unpacked" / "stamps"
    openssl("ts", "-verify", "-in", folder / "H2.tsr", "-data", folder / "H2.json", "-CAfile", authority.root)
    with zipfile.ZipFile(made.zip, "a") as record, pytest.warns(UserWarning, match="Duplicate"):
        record.writestr("stamps/H2.tsr", (folder / "H2.tsr").read_bytes()[:-1] + b"\0")
    assert stamp_command.run("stamp", check, "") == 1
    assert "WRONG: head " in capsys.readouterr().out


def test_a_stamp_holds_for_its_own_head_and_its_own_root_only(authority: Authority, tmp_path: Path) -> None:
    """The time is the authority's; another statement, another root, half a token prove nothing."""
    token = stamping.ask(authority.url, b"a statement")
    roots = authority.root.read_bytes()
    assert abs(stamping.stamped(token, b"a statement", roots) - datetime.now(UTC)) < timedelta(minutes=5)
    with pytest.raises(NoStamp, match="does not hold"):
        stamping.stamped(token, b"another statement", roots)
    with pytest.raises(NoStamp, match="does not hold"):
        stamping.stamped(token[:-5], b"a statement", roots)
    other = tmp_path / "other.pem"
    openssl("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", tmp_path / "k", "-out", other,
            "-subj", "/CN=other", "-days", "2")  # fmt: skip
    with pytest.raises(NoStamp, match="does not hold"):
        stamping.stamped(token, b"a statement", other.read_bytes())


def test_what_is_no_answer_is_never_kept(
    authority: Authority, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nonsense, an old answer given again, nobody there: a sentence, code 2, and no file."""
    made = make(tmp_path, honest(200))
    old = stamping.ask(authority.url, made.heads[-1].head.statement())  # the right head, another question
    words = ["--home", str(tmp_path), "--tsa"]
    for says, why in (
        (b"nonsense", "cannot be read"),
        (old, "for something else"),
        (b"x" * 70_000, "more than 65536 bytes"),
    ):
        authority.says = says
        try:
            assert stamp_command.run("stamp", [*words, authority.url], "") == 2
        finally:
            authority.says = None
        assert why in capsys.readouterr().err
    assert stamp_command.run("stamp", [*words, "http://127.0.0.1:9/"], "") == 2
    assert stamping.kept(tmp_path) == []
    with closing(open_reader(tmp_path / "journal.db")) as reader:
        assert table.newest(reader) is not None
