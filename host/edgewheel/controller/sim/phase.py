"""Which turn of the cycle it is, from the cam, on wheels that repeat every turn."""

from __future__ import annotations

from abc import ABC, abstractmethod

from edgewheel.controller.sim.settings import PhaseSettings


class CamPhase(ABC):
    """Keeps the turn (0 or 1, None if unknown) and holds it against what the cam says.

    Both calls give the reason why the phase was lost, or None. `complaint` is the last thing that
    was wrong, whether it cost the phase or not.
    """

    def __init__(self, settings: PhaseSettings) -> None:
        self.turn: int | None = None
        self.complaint = ""
        self._settings = settings
        self._candidate: int | None = None
        self._agreed = 0
        self._errors = 0

    def begin_turn(self, cam_level: int) -> str | None:
        """The reference has come, with the cam input at this level."""
        if self._candidate is not None:
            self._candidate = 1 - self._candidate
        if self.turn is not None:
            self.turn = 1 - self.turn
        return self._judge(self._at_reference(cam_level))

    def cam_edge(self, angle_deg: float) -> str | None:
        """A cam edge has come at this angle after the reference, 0 to 360."""
        return self._judge(self._at_edge(angle_deg))

    def forget(self) -> None:
        """The crank has lost its position."""
        self.turn = self._candidate = None
        self._agreed = self._errors = 0
        self.complaint = ""

    @abstractmethod
    def _at_reference(self, cam_level: int) -> int | str | None:
        """The turn that begins as far as this tells, what is wrong, or None if it tells nothing."""

    @abstractmethod
    def _at_edge(self, angle_deg: float) -> int | str | None:
        """The same for a cam edge, about the turn it lies in."""

    def _judge(self, evidence: int | str | None) -> str | None:
        if evidence is None:
            return None
        if isinstance(evidence, int):
            if self._candidate in (None, evidence):
                self._agree(evidence)
                return None
            evidence = "the cam says the other turn"
        return self._object(evidence)

    def _agree(self, turn: int) -> None:
        self._candidate = turn
        self._agreed += 1
        self._errors = 0
        if self._agreed >= self._settings.turns_wanted:
            self.turn = turn

    def _object(self, complaint: str) -> str | None:
        self._errors += 1
        was_known = self.turn is not None
        if not was_known or self._errors > self._settings.errors_allowed:
            self.forget()
        self.complaint = complaint
        return complaint if was_known and self.turn is None else None


class PhaseByLevel(CamPhase):
    """The level of the cam input at the reference."""

    def _at_reference(self, cam_level: int) -> int:
        return 0 if cam_level == (self._settings.level == "high") else 1

    def _at_edge(self, angle_deg: float) -> None:
        return None


class PhaseByEdge(CamPhase):
    """An edge that comes inside a window in the first turn, and nowhere else."""

    def __init__(self, settings: PhaseSettings) -> None:
        super().__init__(settings)
        self._seen = False

    def _at_reference(self, cam_level: int) -> str | None:
        seen, self._seen = self._seen, False
        missed = self.turn == 1 and not seen
        return "no cam edge in its window" if missed else None

    def _at_edge(self, angle_deg: float) -> int | str:
        low, high = self._settings.window_from_deg, self._settings.window_to_deg
        if low <= angle_deg <= high:
            self._seen = True
            return 0
        return f"cam edge at {angle_deg:.0f} deg, outside its window of {low:g} to {high:g} deg"


class PhaseByCount(CamPhase):
    """The number of cam edges in each turn."""

    def __init__(self, settings: PhaseSettings) -> None:
        super().__init__(settings)
        self._edges: int | None = None

    def forget(self) -> None:
        super().forget()
        self._edges = None

    def _at_reference(self, cam_level: int) -> int | str | None:
        edges, self._edges = self._edges, 0
        first, second = self._settings.first_turn_edges, self._settings.second_turn_edges
        if edges in (None, first, second):
            return None if edges is None else int(edges == first)
        return f"{edges} cam edges in a turn, where {first} or {second} were due"

    def _at_edge(self, angle_deg: float) -> None:
        if self._edges is not None:
            self._edges += 1


class NoPhase(CamPhase):
    """The two turns are not told apart."""

    def _at_reference(self, cam_level: int) -> None:
        return None

    def _at_edge(self, angle_deg: float) -> None:
        return None


def cam_phase(settings: PhaseSettings) -> CamPhase:
    """The way of telling the turns apart that is set."""
    ways: dict[str, type[CamPhase]] = {
        "none": NoPhase,
        "level": PhaseByLevel,
        "edge": PhaseByEdge,
        "count": PhaseByCount,
    }
    return ways[settings.by](settings)
