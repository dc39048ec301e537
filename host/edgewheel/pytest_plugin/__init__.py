"""The pytest plugin: a controller's crank and cam inputs tested on a bench, simulated by default.

This module is imported whenever pytest starts, so it imports nothing heavy; what plays is in
`edgewheel.pytest_plugin.playing`, and only the fixture imports it.

A bench that is lost, or a file that cannot be used, is an error of the test, never a failure of
the controller: such a report has `when` BENCH, which pytest and its JUnit file take for an error.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import TYPE_CHECKING, Any

import pytest

from edgewheel import __version__
from edgewheel.errors import BenchError, EdgewheelError
from edgewheel.pytest_plugin.choices import Choices, add_options, add_properties

if TYPE_CHECKING:
    from edgewheel.pytest_plugin.playing import Bench

BENCH = "bench"
_LOST = pytest.StashKey[EdgewheelError]()
_MARKERS = (
    "edgewheel(bench=FILE, set={ADDRESS: VALUE}): the bench file of a test, named from the folder "
    "of its module, and numbers and words set in it",
    "edgewheel_board: needs a real board; skipped on the simulated bench",
    "edgewheel_simulated: means something on the simulated bench only; skipped on a real board",
)


def pytest_addoption(parser: pytest.Parser) -> None:
    """The options and their namesakes in pytest's own settings file."""
    add_options(parser)


def pytest_configure(config: pytest.Config) -> None:
    """Declare the markers."""
    for line in _MARKERS:
        config.addinivalue_line("markers", line)


def pytest_report_header(config: pytest.Config) -> list[str]:
    """What is played on, at the head of pytest's output, where a bench file is named."""
    choices = Choices.of(config)
    if choices.bench is None:
        return []
    return [f"edgewheel {__version__}: {choices.bench} on {choices.board or 'the simulated bench'}"]


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip what the chosen board cannot show, before anything is opened."""
    real = Choices.of(item.config).real_board
    if item.get_closest_marker("edgewheel_board") and not real:
        pytest.skip("needs a real board: give --edgewheel-board auto, or a port")
    if item.get_closest_marker("edgewheel_simulated") and real:
        pytest.skip("means something on the simulated bench only")


@pytest.fixture(scope="session")
def edgewheel_session(
    request: pytest.FixtureRequest,
    record_testsuite_property: Any,
    tmp_path_factory: pytest.TempPathFactory,
) -> Choices:
    """What was chosen for the whole session; notes it as properties of the JUnit file."""
    choices = Choices.of(request.config)
    if choices.runs is None:
        choices = choices.with_runs(tmp_path_factory.mktemp("edgewheel-runs"))
    add_properties(choices, record_testsuite_property)
    return choices


@pytest.fixture
def bench(
    request: pytest.FixtureRequest, edgewheel_session: Choices, subtests: pytest.Subtests
) -> Bench:
    """The bench of this test: plays, searches and judges; see host/docs/pytest.md."""
    from edgewheel.pytest_plugin.playing import open_bench

    return open_bench(request.node, edgewheel_session, subtests)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, Any, Any]:
    """A bench that was lost inside a subtest is lost for the test, too."""
    result = yield
    if _LOST in item.stash:
        raise item.stash[_LOST]
    return result


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Turn what is no fault of the controller into an error, whatever was expected of the test.

    Only of a test that has the bench: others may know these exceptions as their own.
    """
    report = yield
    error = call.excinfo.value if call.excinfo else None
    on_bench = "edgewheel_session" in getattr(item, "fixturenames", ())
    if on_bench and isinstance(error, EdgewheelError):
        item.stash[_LOST] = error
        report.outcome = "failed"
        report.longrepr = _words(error)
        if hasattr(report, "wasxfail"):
            del report.wasxfail
        if report.when == "call":
            report.when = BENCH  # type: ignore[assignment]
    return report


@pytest.hookimpl(tryfirst=True)
def pytest_report_teststatus(report: pytest.TestReport) -> tuple[str, str, str] | None:
    """An error by its letter and word."""
    if report.when == BENCH and report.failed:
        return "error", "E", "ERROR"
    return None


def _words(error: EdgewheelError) -> str:
    if isinstance(error, BenchError):
        return f"The bench was lost, so nothing is said about the controller. {error}"
    return f"This cannot be played. {error}"
