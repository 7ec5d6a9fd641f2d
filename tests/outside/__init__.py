"""The physics against the outside world: published tables, other libraries, weather stations, known traps."""
