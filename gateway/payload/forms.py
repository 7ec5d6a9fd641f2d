"""Every form in which a message may come, behind one door: which one it is follows from its topic.

SenML comes on `dewgate/<jobsite>/<sensor>`; a device that does not speak it has a source with a topic of its own.
What Sparkplug edge nodes send depends on what they sent before, and goes its own way (`payload.sparkplug`).
"""

from __future__ import annotations

from dataclasses import dataclass

from gateway.jobsite import Jobsite
from gateway.payload import senml
from gateway.payload.mapped import Sources
from gateway.reading import Reading, Rejected

OUR_FAULTS = (ArithmeticError, AttributeError, LookupError, RecursionError, TypeError, ValueError)


@dataclass(frozen=True, slots=True)
class Forms:
    """The forms a jobsite's messages may have, made once when it is set."""

    jobsite: str
    names: senml.Names
    sources: Sources

    @classmethod
    def of(cls, jobsite: Jobsite) -> Forms:
        """Return the forms of a checked jobsite."""
        return cls(jobsite.id, senml.Names.of(jobsite), Sources.of(jobsite))

    def decode(self, topic: str, payload: bytes, received_ms: int) -> list[Reading] | Rejected:
        """Return the readings of a message, or why nothing of it is believed. received_ms: UTC at reception.

        Never raises: the broker gives what stopped the gateway once more at each start.
        """
        try:
            if not topic.startswith("dewgate/") and (match := self.sources.find(topic)) is not None:
                return self.sources.decode(match, payload, received_ms)
            return senml.decode(topic, payload, self.names, received_ms)
        except OUR_FAULTS as error:
            return Rejected("not readable", f"this program fails at it ({type(error).__name__}); please report it")


def topics(jobsite: Jobsite) -> list[str]:
    """Return the topic filters to subscribe to, at QoS 1."""
    return [f"dewgate/{jobsite.id}/#", *sorted({source.topic for source in jobsite.sources})]
