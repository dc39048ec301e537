"""What every test may rely on."""

import signal

import pytest

collect_ignore = ["sample-repository"]
"""A repository of its own; tests/unit/pytest_plugin runs it."""


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup() -> None:
    """Ignore SIGPIPE, as Python does: one of the test libraries gives it back its deadly default,
    and then a socket whose other end is gone would end the whole run.
    """
    signal.signal(signal.SIGPIPE, signal.SIG_IGN)
