"""The demo's suite, played once for all tests that need it."""

import pytest

from qualify_suite import DEMO, Played, play


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> Played:
    return play(DEMO, tmp_path_factory.mktemp("demo"))
