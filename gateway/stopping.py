"""Being told to stop: by the supervisor, or by a person's Ctrl-C."""

import signal
import threading


def when_told() -> threading.Event:
    """Return what is set at SIGTERM or Ctrl-C, from here on; call it from the main thread.

    An exception would do for Ctrl-C, but it is lost where it falls into a generator's or an object's end.
    """
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    return stop
