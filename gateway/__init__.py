"""The gateway: from a sensor's message to a condition, a judgement and a journal nobody can quietly change."""

__version__ = "0.1.0"
