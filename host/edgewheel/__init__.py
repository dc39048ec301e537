"""edgewheel: a bench signal generator for engine controllers."""

__version__ = "0.1.0"
