"""Which sensors are fed by sources and edge nodes, and so by nothing else."""

from __future__ import annotations

import re

from gateway.jobsite import Jobsite


def means(name: str, sensor: str) -> bool:
    """Whether a source's sensor name, in which {1} to {3} stand for any texts, may mean this sensor."""
    seen: set[str] = set()
    pattern = ""
    for at, part in enumerate(re.split(r"\{([1-3])\}", name)):
        if at % 2 == 0:
            pattern += re.escape(part)
        else:
            pattern += f"(?P=n{part})" if part in seen else f"(?P<n{part}>.+)"
            seen.add(part)
    return re.fullmatch(pattern, sensor) is not None


def fed(jobsite: Jobsite) -> frozenset[str]:
    """Return the ids of the sensors that sources and edge nodes feed; nothing else may: one way in only."""
    names = [value.sensor for source in jobsite.sources for value in source.values]
    names += [value.sensor for edge in jobsite.edges for value in edge.values]
    return frozenset(each.id for each in jobsite.sensors if any(means(name, each.id) for name in names))
