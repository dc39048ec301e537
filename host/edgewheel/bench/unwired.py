"""Inputs of the simulated controller that no track of the wheel drives."""

from __future__ import annotations

from collections.abc import Iterator

from edgewheel.bench.plan import Plan, SimulatedController


def unwired(plan: Plan) -> Iterator[str]:
    """A sentence for each input whose line is no track: it hears nothing, which is no fault."""
    if not isinstance(plan.controller, SimulatedController):
        return
    tracks = [track.name for track in plan.wheel.tracks]
    settings = plan.controller.settings
    for name, found in (("crank", settings.crank), ("cam", settings.cam)):
        if found is not None and found.line not in tracks:
            yield (
                f"The wheel has no track '{found.line}', so the controller's {name} input hears "
                f"nothing. Write at controller.settings.{name}.line one of: {', '.join(tracks)}."
            )
