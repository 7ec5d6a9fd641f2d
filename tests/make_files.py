"""Write `deploy/guide/files.md` from the tables the program reads by: python -m tests.make_files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from alerts import contacts
from gateway import dryer_file, dryer_tables
from gateway import plan_figures as plans
from gateway.pieces import SALTS
from gateway.plan_figures import SCALES, TEMPERATURES, Figure
from gateway.plan_file import KINDS
from gateway.wired_keys import KEYS, WiredFile
from tests.make_settings import section, tables

TARGET = Path(__file__).parent.parent / "deploy" / "guide" / "files.md"
HEAD = """# Settings of the other files

Made by `python -m tests.make_files` from the program itself; change the program, not this page. The jobsite file
has a page of its own: [settings](settings.md). Amounts stand in quotes with their unit, decimals have a point;
every command names each mistake with its line. What is not stated is an error, left out where the table says so,
or an assumption that is printed with its reason; none of these is a limit.
"""
CONTACTS = {
    "channels": [
        (
            "NAME",
            "an address for each channel that the jobsite file names; `env:NAME` takes it from the environment",
        ),
    ],
    "heartbeat": [
        ("address", "where a sign of life goes, away from the site, while the record grows"),
        ("every", 'how often, from 1 s to 24 h; left out: "5 min"'),
    ],
    "watch": [("silent", 'how long the record may stand still before people are told; left out: "150 s"')],
}
HEADINGS = {
    "weather": ("[weather]", plans.WEATHER, ()),
    "compressor": ("[compressor]", plans.COMPRESSOR, ("kind",)),
    "nozzle": ("[[nozzle]]", plans.NOZZLE, ("number",)),
    "hood": ("[[hood]]", plans.HOOD, ("number", "label")),
    "blow_down": ("[blow_down]", plans.BLOW_DOWN, ()),
    "need": ("[need]", plans.NEED, ("clause",)),
}
OTHERS = {
    "kind": f"one of {', '.join(f'`{kind}`' for kind in KINDS)}",
    "number": "how many of them, 1 to 100; left out: 1",
    "label": "what people call it",
    "clause": "where it is written; an error without it",
    "salt": f"instead of its humidity: {', '.join(f'`{name}`' for name in sorted(SALTS))}",
    "around": "labels of the pieces right after it that it goes around",
}


def page() -> str:
    """The whole page."""
    return "\n".join([HEAD, *_contacts(), *_wired(), *_plan(), *_dryer(), *_units()])


def _contacts() -> Iterator[str]:
    assert set(CONTACTS) == contacts._TABLES
    yield "## The contacts file\n\n`dewgate deliver --contacts FILE`, mode 0600. Read again when it changes;"
    yield "one that cannot be used leaves the old addresses in force, and says so.\n"
    for name, rows in CONTACTS.items():
        yield _table(f"[{name}]", [f"| `{key}` | {what} |" for key, what in rows], "key | what")


def _wired() -> Iterator[str]:
    needs = "; ".join(f"`{kind}` needs {', '.join(f'`{key}`' for key in keys)}" for kind, keys in KEYS.items())
    begin = "`dewgate wired FILE`; begin with `deploy/wired.toml`."
    yield f"## Wired transmitters\n\n{begin} A line of kind {needs}.\n"
    yield from (section(path, model).replace("## ", "### ", 1) for path, model in tables(WiredFile, ""))


def _plan() -> Iterator[str]:
    yield "## A plan\n\n`dewgate plan FILE`; begin with `deploy/plans/hot-humid.toml`.\n"
    for heading, figures, others in HEADINGS.values():
        yield _figures(heading, figures, others)
    for kind, figures in plans.PIECES.items():
        others = {"bypass": ("label", "around"), "deliquescent dryer": ("label", "salt")}.get(kind, ("label",))
        yield _figures(f'[[piece]] kind = "{kind}"', figures, others)


def _dryer() -> Iterator[str]:
    begin = "`dewgate dryer check UNIT TEST`; begin with the files in `deploy/yard`."
    yield f"## A dryer on the yard's bench\n\n{begin}\n"
    yield _words("[unit]", (*dryer_file._UNIT, *dryer_tables.UNIT))
    yield _figures("[rating]", dryer_tables.RATING, ())
    yield _words("[[rentals]]", dryer_file._RENTAL)
    yield _figures("[[refills]]", dryer_tables.REFILL, ())
    yield _figures("[[criterion]] name = ..., limit = ..., clause = ...", dryer_tables.LIMITS, ())
    yield _words("[test]", dryer_file._TEST)
    for name, figures in (("brine", dryer_tables.BRINE), ("leak", dryer_tables.LEAK)):
        yield _figures(f"[{name}]", figures, ())
    yield _figures("[accuracy]", dryer_tables.ACCURACY, ())
    yield _words("columns of the readings (CSV)", ("time", *dryer_tables.COLUMNS))


def _units() -> Iterator[str]:
    rows = [f"| {name} | {', '.join(f'`{unit}`' for unit in units)} |" for name, units in SCALES.items()]
    rows.insert(0, f"| temperature | {', '.join(f'`{unit}`' for unit in TEMPERATURES)} |")
    yield "## Units of plans and dryers\n\n| of | spellings |\n|---|---|\n" + "\n".join(rows) + "\n"


def _figures(heading: str, figures: Mapping[str, Figure], others: tuple[str, ...]) -> str:
    rows = [f"| `{name}` | {OTHERS[name]} | | |" for name in others]
    rows += [
        f"| `{name}` | {each.meaning} | {each.measures} | {_left_out(each)} |" for name, each in figures.items()
    ]
    return _table(heading, rows, "key | what | measures | when left out")


def _left_out(figure: Figure) -> str:
    if figure.optional:
        return "left out"
    return f"`{figure.assumed}` ({figure.why})" if figure.assumed else "**an error**"


def _words(heading: str, names: tuple[str, ...]) -> str:
    return f"### `{heading}`\n\n{', '.join(f'`{name}`' for name in names)}\n"


def _table(heading: str, rows: list[str], head: str) -> str:
    return "\n".join([f"### `{heading}`", "", f"| {head} |", "|---" * (head.count("|") + 1) + "|", *rows, ""])


if __name__ == "__main__":
    TARGET.write_text(page())
    print(f"{TARGET.name}: {len(page().splitlines())} lines")
