"""The one door to pyarrow: the rows of a climate record as a Parquet file, and nothing else."""

from __future__ import annotations

import io
from collections.abc import Sequence

from gateway.record_files import Row


def table(found: Sequence[Row]) -> bytes:
    """Return the rows of a record; the columns are those of the CSV file, empty figures are null."""
    import pyarrow as pa
    from pyarrow import parquet

    text, number = pa.string(), pa.float64()
    kinds = [text if name in _TEXTS else number for name in Row._fields]
    columns = list(zip(*found, strict=True)) or [()] * len(kinds)
    arrays = [pa.array(column, kind) for column, kind in zip(columns, kinds, strict=True)]
    made = io.BytesIO()
    parquet.write_table(pa.table(arrays, names=list(Row._fields)), made, compression="zstd")
    return made.getvalue()


_TEXTS = frozenset({"from_utc", "until_utc", "subject", "quantity", "place", "unit"})
