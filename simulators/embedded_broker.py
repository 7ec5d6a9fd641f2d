"""The embedded broker, for a demonstration on a machine without Mosquitto. It keeps nothing over a restart."""

from __future__ import annotations

import sys

from iotcore import Broker

if __name__ == "__main__":
    Broker(port=int(sys.argv[1]), listen="127.0.0.1").run_forever()
