"""A process of its own that answers one question about history and ends: narrow columns, or a file to take away.

Folding a day again keeps a core busy for seconds, and Parquet wants a big library: neither may happen beside the
writer. The question comes as one JSON argument, the answer goes to standard output; the process is nice to others.
"""

from __future__ import annotations

import csv
import io
import os
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from alerts.measured import DIMENSION, Dimension, Quantity
from gateway.adapters.history import Drawn, draw
from gateway.adapters.history_fine import DAY_MS, draw_fine, raw
from gateway.adapters.journal import open_reader
from gateway.adapters.landmarks import clocks, config_at
from gateway.jobsite import Jobsite
from gateway.payload import canonical

NICE = 10
MOST_COLUMNS = 100_000
UNITS = {
    Dimension.TEMPERATURE: "Cel", Dimension.DIFFERENCE: "K", Dimension.PRESSURE: "Pa", Dimension.FRACTION: "/",
    Dimension.RATIO: "kg/kg", Dimension.DENSITY: "kg/m3", Dimension.FLOW: "m3/s", Dimension.SHARE: "/",
    Dimension.COUNT: "count", Dimension.SPEED: "m/s", Dimension.TIME: "s", Dimension.WARMING: "K/h",
    Dimension.MOISTENING: "1/h",
}  # fmt: skip
"""Of a file: the units used inside, which RFC 8428, 12.1 (and RFC 8798 for ratios) name as well."""
COLUMNS = (
    "kind", "channel", "quantity", "unit", "from_utc", "entry", "received_utc", "value", "corrected", "validity",
    "least", "mean", "greatest", "weight", "known_s",
)  # fmt: skip
_QUANTITIES = frozenset(map(str, Quantity))
FORMS = {
    "csv": "text/csv; charset=utf-8", "parquet": "application/vnd.apache.parquet",
    "senml": "application/senml+json",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: channels over a range of UTC ms. form: "draw" or one of FORMS; count: of columns, to draw."""

    path: str
    form: str
    names: tuple[str, ...]
    from_ms: int
    until_ms: int
    count: int = 0


def ask(question: Question) -> subprocess.Popen[bytes]:
    """Start the process; what it says is on its standard output."""
    words = [sys.executable, "-m", "gateway.adapters.history_out", canonical.to_bytes(asdict(question)).decode()]
    return subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE)  # noqa: S603 - ourselves


def drawn_of(said: bytes) -> Mapping[str, Drawn]:
    """Return what a process that was asked to draw has said."""
    return {name: Drawn(**columns) for name, columns in canonical.to_dict(said).items()}


def main(words: list[str]) -> int:
    """Answer one question."""
    os.nice(NICE)
    said = canonical.to_dict(words[0].encode())
    question = Question(**(said | {"names": tuple(said["names"])}))
    with closing(open_reader(Path(question.path))) as db:
        answer(db, question, sys.stdout.buffer)
    return 0


def answer(db: Any, question: Question, out: IO[bytes]) -> None:
    """Write the answer. Raises ValueError for a question that makes no sense."""
    if question.form == "draw":
        found = draw_fine(db, question.names, question.from_ms, question.until_ms, question.count)
        out.write(canonical.to_bytes({name: asdict(drawn) for name, drawn in found.items()}))
        return
    write = {"csv": _csv, "parquet": _parquet, "senml": _senml}[question.form]
    write(rows(db, question), out)


def rows(db: Any, question: Question) -> Iterator[dict[str, object]]:
    """Yield what a file holds: readings of up to a day entry by entry, and every channel's columns."""
    site = _site(db, question.until_ms)
    units = (
        {each.id: (str(each.quantity), UNITS[DIMENSION[each.quantity]]) for each in site.sensors} if site else {}
    )
    if question.until_ms - question.from_ms <= DAY_MS:
        for said in raw(db, question.from_ms, question.until_ms, frozenset(question.names)):
            quantity, unit = units.get(said.sensor, ("", ""))
            yield _row(
                kind="reading", channel=said.sensor, quantity=quantity, unit=unit, from_utc=iso(said.measured_ms),
                entry=said.seq, received_utc=iso(said.received_ms), value=said.value, corrected=said.corrected,
                validity=str(said.validity),
            )  # fmt: skip
    found = draw(db, question.names, question.from_ms, question.until_ms, MOST_COLUMNS)
    for name, drawn in found.items():
        quantity, unit = units.get(name) or _derived(name)
        yield from _column_rows(name, quantity, unit, drawn)


def _column_rows(name: str, quantity: str, unit: str, drawn: Drawn) -> Iterator[dict[str, object]]:
    columns = zip(drawn.low, drawn.mean, drawn.high, drawn.weight, drawn.known_ms, strict=True)
    for at, (low, mean, high, weight, known_ms) in enumerate(columns):
        yield _row(
            kind="column", channel=name, quantity=quantity, unit=unit,
            from_utc=iso(drawn.from_ms + at * drawn.each_ms), least=low, mean=mean, greatest=high, weight=weight,
            known_s=known_ms / 1000,
        )  # fmt: skip


def _row(**said: object) -> dict[str, object]:
    return {name: said.get(name) for name in COLUMNS}


def _site(db: Any, until_ms: int) -> Jobsite | None:
    body = config_at(db, clocks(db).core_span(0, until_ms)[1])
    return canonical.jobsite_of(body) if body else None


def _derived(name: str) -> tuple[str, str]:
    quantity = name.split("|")[1] if name.count("|") == 2 else ""
    return (quantity, UNITS[DIMENSION[Quantity(quantity)]]) if quantity in _QUANTITIES else ("", "")


def iso(ms: int) -> str:
    """Return UTC ms as ISO 8601."""
    return datetime.fromtimestamp(ms / 1000, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _csv(found: Iterator[dict[str, object]], out: IO[bytes]) -> None:
    text = io.TextIOWrapper(out, "utf-8", newline="", write_through=True)
    writer = csv.DictWriter(text, COLUMNS)  # RFC 4180: header line, CRLF
    writer.writeheader()
    writer.writerows(found)
    text.detach()


def _parquet(found: Iterator[dict[str, object]], out: IO[bytes]) -> None:
    import pyarrow as pa
    from pyarrow import parquet

    text, real = pa.string(), pa.float64()
    kinds = dict.fromkeys(COLUMNS, text) | {"entry": pa.int64(), "weight": pa.int64()}
    kinds |= dict.fromkeys(("value", "corrected", "least", "mean", "greatest", "known_s"), real)
    kinds |= dict.fromkeys(("from_utc", "received_utc"), pa.timestamp("ms", "UTC"))
    schema = pa.schema(list(kinds.items()))
    made = pa.BufferOutputStream()
    with parquet.ParquetWriter(made, schema) as writer:
        for chunk in _chunks(found):
            for row in chunk:
                for name in ("from_utc", "received_utc"):
                    row[name] = datetime.fromisoformat(str(row[name])) if row[name] else None
            writer.write_table(pa.Table.from_pylist(chunk, schema))
    out.write(made.getvalue())


def _chunks(found: Iterator[dict[str, object]]) -> Iterator[list[dict[str, object]]]:
    chunk: list[dict[str, object]] = []
    for row in found:
        chunk.append(row)
        if len(chunk) == 50_000:
            yield chunk
            chunk = []
    yield chunk


def _senml(found: Iterator[dict[str, object]], out: IO[bytes]) -> None:
    """One pack (RFC 8428): readings as they came, and the mean of each column under the channel's name."""
    out.write(b"[")
    first = True
    for row in found:
        value = row["value"] if row["kind"] == "reading" else row["mean"]
        if value is None:
            continue
        name = re.sub(r"[^A-Za-z0-9\-:./_]", "-", str(row["channel"]).replace("|", "/"))  # its clause 4.1
        time = datetime.fromisoformat(str(row["from_utc"])).timestamp()
        suffix = "" if row["kind"] == "reading" else "/mean"
        record = {"n": f"dewgate:{name}{suffix}", "u": row["unit"], "v": value, "t": time}
        out.write((b"" if first else b",\n") + canonical.to_bytes(record))
        first = False
    out.write(b"]\n")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
