"""The web server, which ends its open streams at once when told to stop."""

from __future__ import annotations

import signal
import threading
from types import FrameType

import uvicorn
from fastapi import FastAPI


class PageServer(uvicorn.Server):
    """A server that ends its open streams at once when told to stop.

    uvicorn waits for open connections before the application hears of the stop, and a stream never ends by
    itself: so the signal handler has to tell the streams.
    """

    def __init__(
        self,
        app: FastAPI,
        host: str = "127.0.0.1",
        port: int = 8080,
        certificate: str | None = None,
        key: str | None = None,
        proxy: str | None = None,
    ) -> None:
        """Args: host, port: where to listen. certificate, key: paths of PEM files for HTTPS, or None.

        proxy: address of a proxy that says in X-Forwarded-For who is asking; from elsewhere nobody is believed.
        """
        self._stop_streams: threading.Event = app.state.stop
        super().__init__(
            uvicorn.Config(
                app, host=host, port=port, ssl_certfile=certificate, ssl_keyfile=key, access_log=False,
                server_header=False, log_config=None, timeout_graceful_shutdown=3,
                proxy_headers=proxy is not None, forwarded_allow_ips=proxy or "127.0.0.1",
            )
        )  # fmt: skip

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:  # noqa: ARG002  the server's own signature
        """End the streams, then let the requests in hand finish; a second Ctrl-C does not wait for them.

        Unlike the base class this does not keep the signal to raise it again after `run`: that would end the
        process before its caller could close the journal.
        """
        self.force_exit = self.should_exit and sig == signal.SIGINT
        self.close()

    def close(self) -> None:
        """Stop without a signal, for a service that handles signals itself."""
        self._stop_streams.set()
        self.should_exit = True
