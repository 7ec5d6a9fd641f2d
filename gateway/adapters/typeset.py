"""The one door to typst, a process of its own: a document as JSON in, PDF/A-2b out, within bounds.

It imports nothing of the rest, so that all of its memory is typst's.
"""

from __future__ import annotations

import json
import resource
import sys
from pathlib import Path

LONGEST_S, MOST_BYTES = 120, 2 << 30
TEMPLATE = Path(__file__).parent.parent / "report.typ"


def main() -> None:
    """Read a document, write its pages."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_S, LONGEST_S))
    import typst

    data = sys.stdin.buffer.read().decode()
    made = typst.compile(
        TEMPLATE.read_bytes(), sys_inputs={"data": data}, pdf_standards=["a-2b"], pdf_tags=False,
        ignore_system_fonts=True, timestamp=json.loads(data)["as_of_ms"] // 1000, format="pdf",
    )  # fmt: skip
    sys.stdout.buffer.write(made)


if __name__ == "__main__":
    main()
