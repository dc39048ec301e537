"""`python -m edgewheel`."""

from edgewheel.cli.main import entry

entry()
