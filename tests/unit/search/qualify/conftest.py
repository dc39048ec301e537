"""The demo's suite, played once for all tests that need it."""

import pytest

from edgewheel.cli import qualify
from qualify_suite import Played, play


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> Played:
    return play(qualify.DEMO, tmp_path_factory.mktemp("demo"))
