"""What was heard: the journal's entries folded to who spoke, how often, what was said last, and who is not known.

Input: entries in order (`adapters.journal`), with what was in force before the first of them. Output: a `Heard`
for `heard_words`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from gateway import entry
from gateway.entry import Arrival, Kind, Refusal
from gateway.heard_message import REMEMBERED, Said, Seen, Shown, Standing, after, believed, shown, told
from gateway.reading import Rejected

UNKNOWN_SENSOR = "unknown sensor"  # the code by which a message of an unknown sensor is refused
MOST = 1000  # topics and names kept apart: whoever may publish could send any number of them
FIRST_BYTES = 60
# A name in the sentence of the refusal, where it was not cut off: when the bytes are not kept or no JSON.
_SENTENCE = re.compile(r"no sensor (.{1,59}) on topic level .*", re.DOTALL)
Name = tuple[str, str | None]  # topic and SenML name


@dataclass(slots=True)
class Voice:
    """How often something was heard. Times of reception in core ms; gaps across a stop are not counted."""

    count: int = 0
    last_ms: int = 0
    last_utc_ms: int = 0
    gaps: int = 0
    gaps_ms: int = 0
    longest_ms: int = 0

    @property
    def every_ms(self) -> float | None:
        """The mean time between two messages [ms], None when there is none."""
        return self.gaps_ms / self.gaps if self.gaps else None


@dataclass(slots=True)
class Speaker:
    """A sensor of the jobsite: what it said last and how many of its readings were marked how."""

    voice: Voice = field(default_factory=Voice)
    last: Shown | None = None
    marked: dict[str, int] = field(default_factory=dict)


@dataclass(slots=True)
class Unknown:
    """A name that no sensor of the jobsite has: detail of the refusal, example as sent.

    name None: what came on a topic that is no sensor's holds no readable SenML record.
    """

    topic: str
    name: str | None
    detail: str
    example: Said | None
    first_bytes: bytes
    voice: Voice = field(default_factory=Voice)


@dataclass(slots=True)
class Refused:
    """How often messages of one topic were refused for one reason, with the first sentence said."""

    topic: str
    code: str
    detail: str
    first_bytes: bytes
    voice: Voice = field(default_factory=Voice)


@dataclass(slots=True)
class Heard:
    """The fold. from_ms: core time from which on it counts; entries before only say what is in force."""

    from_ms: int
    standing: Standing
    sequence: int = 0
    entries: int = 0
    first_ms: int = 0
    newest_ms: int = 0
    began_ms: int = 0
    stopped: bool = False
    speakers: dict[str, Speaker] = field(default_factory=dict)
    unknown: dict[Name, Unknown] = field(default_factory=dict)
    refused: dict[tuple[str, str], Refused] = field(default_factory=dict)
    duplicates: dict[str, int] = field(default_factory=dict)
    unread: dict[str, int] = field(default_factory=dict)
    beyond: int = 0
    seen: Seen = field(default_factory=dict)
    topics: dict[int, tuple[int, str]] = field(default_factory=dict)
    names_of: dict[tuple[str, str], list[Name]] = field(default_factory=dict)


def take(heard: Heard, made: bytes) -> None:
    """Fold the next entry in. Raises ValueError for an entry of a newer program."""
    kind, core_ms, body = entry.unpack(made)
    heard.sequence += 1
    heard.newest_ms = core_ms
    heard.standing = after(heard.standing, kind, body)
    heard.stopped = kind is Kind.STOPPING
    if kind is Kind.STARTED:
        heard.began_ms = core_ms
    if core_ms < heard.from_ms:
        return
    heard.first_ms = heard.first_ms or core_ms
    heard.entries += 1
    match kind:
        case Kind.MESSAGE:
            _message(heard, entry.message_of(body), core_ms)
        case Kind.REJECTION:
            _rejection(heard, entry.rejection_of(body), core_ms)
        case Kind.DUPLICATE:
            first = entry.duplicate_of(body)
            at, topic = heard.topics.get(first % REMEMBERED, (0, ""))
            _count(heard, heard.duplicates, topic if at == first else "")
        case _:
            pass


def _again(heard: Heard, voice: Voice, core_ms: int) -> None:
    if voice.count and voice.last_ms >= heard.began_ms:
        gap = core_ms - voice.last_ms
        voice.gaps, voice.gaps_ms, voice.longest_ms = (
            voice.gaps + 1,
            voice.gaps_ms + gap,
            max(voice.longest_ms, gap),
        )
    voice.count += 1
    voice.last_ms, voice.last_utc_ms = core_ms, core_ms + heard.standing.offset_ms


def _count(heard: Heard, counts: dict[str, int], key: str) -> None:
    if key in counts or len(counts) < MOST:
        counts[key] = counts.get(key, 0) + 1
    else:
        heard.beyond += 1


def _message(heard: Heard, arrival: Arrival, core_ms: int) -> None:
    heard.topics[heard.sequence % REMEMBERED] = (heard.sequence, arrival.topic)
    readings = believed(arrival, heard.standing, core_ms)
    if isinstance(readings, Rejected):
        _count(heard, heard.unread, arrival.topic)
        return
    for reading in readings:
        speaker = heard.speakers.setdefault(reading.sensor, Speaker())
        _again(heard, speaker.voice, core_ms)
        speaker.last = shown(reading, arrival, heard.standing, core_ms, heard.seen)
        for mark in speaker.last.marks:
            speaker.marked[mark] = speaker.marked.get(mark, 0) + 1


def _rejection(heard: Heard, refusal: Refusal, core_ms: int) -> None:
    heard.topics[heard.sequence % REMEMBERED] = (heard.sequence, refusal.topic)
    key = (refusal.topic, refusal.code)
    if key not in heard.refused and len(heard.refused) >= MOST:
        heard.beyond += 1
        return
    refused = heard.refused.setdefault(key, Refused(*key, refusal.detail, refusal.kept[:FIRST_BYTES]))
    _again(heard, refused.voice, core_ms)
    for name in _unknown_names(heard, refusal):
        _again(heard, heard.unknown[name].voice, core_ms)


def _unknown_names(heard: Heard, refusal: Refusal) -> list[Name]:
    """Return the unknown names of a refused message. After ten a minute no bytes are kept: as before, then."""
    words = (refusal.topic, refusal.detail)
    if not refusal.kept and words in heard.names_of:
        return heard.names_of[words]
    found: dict[Name, None] = {}
    for name, said in _unknown_sayings(heard.standing, refusal):
        key = (refusal.topic, name)
        if key not in heard.unknown and len(heard.unknown) >= MOST:
            heard.beyond += 1
            continue
        heard.unknown.setdefault(key, Unknown(*key, refusal.detail, said, refusal.kept[:FIRST_BYTES]))
        found[key] = None
    if len(heard.names_of) < MOST:
        heard.names_of[words] = list(found)
    return list(found)


def _unknown_sayings(standing: Standing, refusal: Refusal) -> list[tuple[str | None, Said | None]]:
    nothing: list[tuple[str | None, Said | None]] = [(None, None)]
    if refusal.code != UNKNOWN_SENSOR:
        return [] if standing.is_own(refusal.topic) else nothing
    level, known = standing.level(refusal.topic), standing.forms.names.on(refusal.topic)
    spoken = told(refusal.kept)
    found = [(said.name or level, said) for said in spoken if said.name not in known]
    if not found and (named := _SENTENCE.fullmatch(refusal.detail)):
        return [(named[1], None)]
    return [*found] or nothing


def still_unknown(heard: Heard) -> list[Unknown]:
    """Return the unknown names that the jobsite now in force does not know either, most heard first."""
    standing = heard.standing
    left = [each for each in heard.unknown.values() if not _known_now(standing, each)]
    named = {each.topic for each in heard.unknown.values() if each.name is not None}
    # Refused in a flood, before any bytes of that topic were kept in what was read: counted among the refused.
    left = [each for each in left if each.name is not None or each.first_bytes or each.topic not in named]
    return sorted(left, key=lambda each: -each.voice.count)


def _known_now(standing: Standing, unknown: Unknown) -> bool:
    if unknown.name is None:
        return standing.is_own(unknown.topic)
    return unknown.name in standing.forms.names.on(unknown.topic)
