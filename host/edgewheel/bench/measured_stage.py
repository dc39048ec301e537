"""The output stage of a run: what the bench file says, else what was measured on this board."""

from __future__ import annotations

from dataclasses import replace

from edgewheel.bench.plan import Plan, StageTimes
from edgewheel.board.stage_store import KnownStage, StageStore
from edgewheel.link.welcome import SIMULATED, Welcome


def with_measured_stage(plan: Plan, welcome: Welcome, store: StageStore | None = None) -> Plan:
    """The plan with the measured stages of a real board for the tracks of which it says nothing.

    Raises FileError if the file of the board's stages cannot be read.
    """
    if welcome.board == SIMULATED or all(times.origin for times in plan.stage):
        return plan
    known = (store or StageStore()).find(welcome.unique_id)
    stage = tuple(
        times if times.origin or track not in known else _times(known[track])
        for track, times in enumerate(plan.stage)
    )
    return replace(plan, stage=stage)


def stage_words(plan: Plan) -> dict[str, str]:
    """Where the numbers of each track's stage are from, for the record."""
    return {
        track.name: f"{times.origin}: {_numbers(times)}" if times.origin else "none known: wires"
        for track, times in zip(plan.wheel.tracks, plan.stage, strict=True)
    }


def _times(known: KnownStage) -> StageTimes:
    return StageTimes(known.inverts, known.rise_us, known.fall_us, origin=known.origin)


def _numbers(times: StageTimes) -> str:
    inverted = ", inverted" if times.inverts else ""
    return f"a rise takes {float(times.rise_us):g} us, a fall {float(times.fall_us):g} us{inverted}"
