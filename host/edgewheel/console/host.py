"""What pages need of the application: it imports them, they do not import it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from edgewheel.console.desk import Desk
    from edgewheel.console.search.job import Job, Running


class Host(Protocol):
    """The application as its pages know it, see `edgewheel.console.app.ConsoleApp`."""

    running: Running | None

    @property
    def desk(self) -> Desk:
        """What lies on the desk."""

    @property
    def is_searching(self) -> bool:
        """Whether a search has the bench."""

    def do(self, order: Callable[[], None]) -> bool:
        """Give an order to the desk; what cannot be is said to the person. Whether it could."""

    def begin(self, job: Job, done_share: float = 0.0) -> None:
        """Park, and let a search have the bench."""
