"""The doors to the outside: broker, journal file, time-series server. Each outside library has one."""
