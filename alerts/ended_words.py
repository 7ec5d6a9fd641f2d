"""What those who were told of an alarm are told when it ends without its limits being back.

The work a limit is for has ended, somebody has put the alarm aside, or the limit is no more. Nothing here says
"inside": that was not so. The sentences stand in the tables of languages.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from alerts.alarm import Change
from alerts.fault_words import Wrong, one_title
from alerts.measured import Quantity
from alerts.notification import COATED, PLACES, Reader, Standing, clock_words, in_short
from alerts.saying import LANGUAGES, hour_words, limit_words, say


@dataclass(frozen=True, slots=True)
class Ended:
    """One alarm that ended so. of: it as it stands now, None where its limit is no more; what: its place then.

    change: SUPPRESSED (work: what ended), SHELVED (until_utc_ms), OUT_OF_SERVICE or WITHDRAWN; by, why: whose act.
    """

    number: str
    change: Change
    what: str
    at_utc_ms: int
    of: Standing | Wrong | None = None
    work: tuple[str, ...] = ()
    by: str = ""
    why: str = ""
    until_utc_ms: int | None = None

    @property
    def exposed(self) -> bool:
        """Whether a film on the steel was in what ended."""
        return self.change is Change.SUPPRESSED and not COATED.isdisjoint(self.work)


def title(number: str, ended: Sequence[Ended], reader: Reader) -> str:
    """Return the line a lock screen shows."""
    first, work = ended[0], _work(ended, reader)
    where = "; ".join(list(dict.fromkeys(_what(each, reader) for each in ended))[:PLACES])
    key = _KEYS[first.change]
    if any(each.exposed for each in ended):
        key = "ended exposed"
    elif work:
        key = "ended"
    elif key == "withdrawn" and number.startswith("K-"):
        key = "unwatched"
    clock = "" if first.until_utc_ms is None else hour_words(first.until_utc_ms, reader.zone)
    return f"{number} {say(reader, key, work=work, where=where, by=first.by, clock=clock)}"


_KEYS = {
    Change.SUPPRESSED: "no more",
    Change.SHELVED: "put aside",
    Change.OUT_OF_SERVICE: "taken out",
    Change.WITHDRAWN: "withdrawn",
}


def body(ended: Sequence[Ended], reader: Reader) -> str:
    """Return the lines under the title: that it was not back, how it stands now, what that asks for."""
    first, *others = ended
    clock = clock_words(first.at_utc_ms, reader.zone)
    lines = [say(reader, f"{_KEYS[first.change]} body", clock=clock, why=first.why)]
    if isinstance(first.of, Standing):
        if first.of.limit.quantity is not Quantity.TIME_INSIDE:  # by now it counts on, which makes up for nothing
            lines.append(say(reader, "now", value=in_short(first.of, reader)))
        lines.append(say(reader, "limit", limit=limit_words(first.of.limit, reader)))
    lines += [say(reader, "also", number=each.number, title=_now(each, reader)) for each in others]
    if first.change is Change.SUPPRESSED:
        lines.append(say(reader, "exposure"))
    return "\n".join([*lines, say(reader, "caution")])


def _what(of: Ended, reader: Reader) -> str:
    return one_title(of.of.watched.kind, of.of.watched.label, reader) if isinstance(of.of, Wrong) else of.what


def _now(of: Ended, reader: Reader) -> str:
    return in_short(of.of, reader) if isinstance(of.of, Standing) else f"{_what(of, reader)}."


def _work(ended: Sequence[Ended], reader: Reader) -> str:
    """What ended, as the first word of a title; nothing where that is not known."""
    names = LANGUAGES[reader.language].activities
    known = dict.fromkeys(names[name] for each in ended for name in each.work)
    said = ", ".join(known)
    return said[:1].upper() + said[1:]
