"""Feed every decoder bytes that a coverage-guided search makes from real messages; none may raise, hang or swell.

`python -m tests.faults.fuzz_decoders --seconds 10` prints `fault fuzz_<decoder> <runs> lost <n> twice <n>` for
each decoder and fails when a message was lost: the decoder raised, took over 5 s for it, or over 512 MB. The bytes
that did it are kept. Each search has a process of its own, which it ends.
A new decoder is one line in `DECODERS`: a function that imports it and returns its check, and where to begin.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
import tempfile
import zlib
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from math import isfinite
from pathlib import Path

Check = Callable[[bytes], None]
TABLES = Path(__file__).parents[1] / "tables"
EXAMPLE = Path(__file__).parents[2] / "deploy" / "example.toml"
LONGEST_S = 5
MOST_MB = 512  # the interpreter and the watched modules take 50
LONGEST_BYTES = 8192
_DONE = re.compile(r"Done (\d+) runs")


def senml_json() -> Check:
    """A message on a sensor's topic that does not begin as CBOR does."""
    from gateway.payload.senml import Names, decode
    from gateway.reading import Rejected
    from tests.sites import T0, site

    names = Names.of(site())

    def check(payload: bytes) -> None:
        said = decode("dewgate/test/steel", payload, names, T0)
        if isinstance(said, Rejected):
            assert said.code and 0 < len(said.detail) < 500, said
        else:
            assert said and all(r.sensor == "steel" and isfinite(r.value) for r in said), said
            assert all(r.next_within_ms is None or r.next_within_ms > 0 for r in said), said

    return check


def senml_cbor() -> Check:
    """The same, of which every message begins with an array in CBOR."""
    check = senml_json()
    return lambda payload: check(bytes([0x80 | (payload[:1] or b"\0")[0] & 0x1F]) + payload[1:])


def mapped_json() -> Check:
    """A message of a device with a source: values, unit, time and quality picked by paths."""
    from gateway.jobsite import Source, SourceValue
    from gateway.payload.mapped import Sources
    from gateway.reading import Rejected
    from tests.sites import T0, site

    values = (SourceValue("air-t", "air.t"), SourceValue("air-rh", "air.rh", "air.u"))
    box = Source("box", "yard/box", "json", values, "at", "s", "air.ok", (True,))
    sources = Sources.of(replace(site(), sources=(box,)))
    match = sources.find("yard/box")
    assert match is not None

    def check(payload: bytes) -> None:
        said = sources.decode(match, payload, T0)
        assert isinstance(said, Rejected) or all(isfinite(r.value) for r in said), said

    return check


def sparkplug() -> Check:
    """A payload of an edge node, with every value of it by its type."""
    from gateway.payload.sparkplug_wire import read, value_of
    from gateway.reading import Rejected

    def check(payload: bytes) -> None:
        said = read(payload)
        for metric in [] if isinstance(said, Rejected) else said.metrics:
            value_of(metric, metric.datatype or 0)

    return check


def jobsite_file() -> Check:
    """A jobsite file as a person may leave it: a jobsite, or its mistakes in words."""
    from gateway.config import ConfigErrors, load

    place = Path(tempfile.mkdtemp()) / "jobsite.toml"

    def check(text: bytes) -> None:
        place.write_bytes(text)
        with suppress(ConfigErrors):
            load(place)

    return check


def packs(form: str, key: str) -> list[bytes]:
    """The packs that other libraries wrote."""
    golden = [
        pack for pack in json.loads((TABLES / "senml-packs.json").read_text())["packs"] if pack["form"] == form
    ]
    return [pack[key].encode() if key == "text" else bytes.fromhex(pack[key]) for pack in golden]


def yard_stretch() -> Check:
    """A stretch of a journal that a site with a token sends to the yard, before it is packed."""
    from gateway.yard_batch import MOST_BYTES, NoBatch, unpack

    def check(payload: bytes) -> None:
        with suppress(NoBatch):
            said = unpack(zlib.compress(payload, 0))
            assert sum(map(len, said.entries)) <= MOST_BYTES and all(each.head for each in said.heads), said

    return check


def stretches() -> list[bytes]:
    """One without anything, one of two entries with a head behind them."""
    from gateway.entry import Kind, plain
    from gateway.heads import Head, Signed
    from gateway.yard_batch import Stretch, pack

    made = [plain(Kind.HEARTBEAT, 1_780_000_000_000 + n) for n in range(2)]
    head = Signed(Head("ab", "cd", "", 2, "ef", "01", 2, 1_780_000_000_000), bytes(64))
    return [zlib.decompress(pack(each)) for each in (Stretch([], []), Stretch(made, [head]))]


def births() -> list[bytes]:
    """Edge node messages that another library wrote."""
    golden = json.loads((TABLES / "sparkplug-messages.json").read_text())
    return [bytes.fromhex(message["hex"]) for message in golden["messages"]]


@dataclass(frozen=True, slots=True)
class Fuzzed:
    """A decoder: what makes its check (it imports inside, so as to be watched), where to begin, words to try."""

    make: Callable[[], Check]
    seeds: Callable[[], Iterable[bytes]]
    words: tuple[str, ...] = ()


LABELS = tuple(f'"{label}":' for label in "bn bt bu bv bs bver n u v vs vb vd s t ut a_".split())  # noqa: SIM905
DECODERS = {
    "senml_json": Fuzzed(
        senml_json, lambda: packs("json", "text"), (*LABELS, "[{", "},{", "}]", "1e999", "1e308", "\\u005f")
    ),
    "senml_cbor": Fuzzed(
        senml_cbor, lambda: packs("cbor", "hex"), ("\x00esteel", "\x02\xfb", "\xc4\x82", "\x9f\xbf")
    ),
    "mapped_json": Fuzzed(
        mapped_json,
        lambda: [b'{"at":1780000000,"air":{"ok":true,"t":21.5,"rh":64,"u":"%RH"}}'],
        ('"at":', '"air":', '"ok":', '"t":', '"rh":', '"u":', "1e999", "1e308"),
    ),
    "sparkplug": Fuzzed(sparkplug, births),
    "yard_stretch": Fuzzed(
        yard_stretch, stretches, ("dewgate entries 1\n", "\x00\x00\x00\x02", "previous", "root")
    ),
    "jobsite_file": Fuzzed(
        jobsite_file, lambda: [EXAMPLE.read_bytes()], ("[[sensor]]\n", "id = ", "unit = ", "limit")
    ),
}


def search(name: str, arguments: list[str]) -> None:
    """Run the search in this process, which it ends."""
    import atheris

    with atheris.instrument_imports(include=["gateway", "alerts"]):
        check = DECODERS[name].make()
    atheris.Setup([sys.argv[0], *arguments], check)
    atheris.Fuzz()


def fuzz(name: str, seconds: int, kept: Path, program: str) -> int | None:
    """Return how many messages the decoder took in the time, or None when one of them was lost."""
    with tempfile.TemporaryDirectory() as work:
        seeds, words = Path(work) / "seeds", Path(work) / "words"
        seeds.mkdir()
        for number, seed in enumerate(DECODERS[name].seeds()):
            (seeds / f"{number}").write_bytes(seed)
        words.write_text("".join(f'"{_escaped(word)}"\n' for word in DECODERS[name].words) or "# none\n")
        limits = [
            f"-max_total_time={seconds}", f"-timeout={LONGEST_S}", f"-rss_limit_mb={MOST_MB}", f"-dict={words}",
            f"-max_len={LONGEST_BYTES}", f"-artifact_prefix={kept}/{name}-", "-print_final_stats=0",
        ]  # fmt: skip
        command = [sys.executable, "-m", program, "--search", name, "--", *limits, str(seeds)]
        place = os.environ | {"TMPDIR": work}
        done = subprocess.run(command, capture_output=True, text=True, errors="replace", env=place, check=False)
    runs = _DONE.search(done.stderr)
    if done.returncode == 0 and runs:
        return int(runs[1])
    print(done.stdout[-3000:], done.stderr[-3000:], f"kept in {kept}", sep="\n", file=sys.stderr, flush=True)
    return None


def _escaped(word: str) -> str:
    return "".join(f"\\x{byte:02x}" for byte in word.encode("latin-1"))


def main(program: str = "tests.faults.fuzz_decoders") -> int:
    """Fuzz the decoders one after another, or be the search of one."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=60, help="for each decoder")
    parser.add_argument("--only", choices=DECODERS, action="append")
    parser.add_argument("--kept", type=Path, default=Path(tempfile.gettempdir()), help="where lost bytes are kept")
    parser.add_argument("--search", choices=DECODERS, help=argparse.SUPPRESS)
    parser.add_argument("arguments", nargs="*", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.search:
        search(chosen.search, chosen.arguments)
    failed = False
    for name in chosen.only or DECODERS:
        runs = fuzz(name, chosen.seconds, chosen.kept, program)
        failed = failed or runs is None
        print(f"fault fuzz_{name} {runs or 0} lost {int(runs is None)} twice 0", flush=True)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
