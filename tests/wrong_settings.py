"""Settings of the simulated controller that are wrong in one or two ways, and what they are called.

Three engines: 60-2 with a half-moon on the cam, read by level; 36-1 with one tooth on the cam, read
by an edge in a window; a two-stroke of three cylinders with 24-1.
"""

from dataclasses import dataclass, field

SIXTY = """
format: 1
name: Sixty
wheel: 60-minus-2-half-moon-cam
controller:
  kind: sim
  settings:
    crank: {line: crank, edge: rising, inverted: false, filter_us: 0, blanking_us: 0, blanking_percent: 20}
    cam: {line: cam, edge: rising, inverted: false}
    wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
    phase: {by: level, level: high}
    sync: {stall_ms: 500}
    engine: {firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}
    ignition: {output_delay_us: 0}
"""  # noqa: E501

THIRTY_SIX = """
format: 1
name: Thirty-six
wheel: 36-minus-1-1-tooth-cam
sensors: {crank: {kind: hall}, cam: {kind: hall}}
controller:
  kind: sim
  settings:
    crank: {line: crank, edge: rising, inverted: false, filter_us: 0, blanking_us: 0, blanking_percent: 20}
    cam: {line: cam, edge: rising, inverted: false}
    wheel: {kind: missing_teeth, pitches: 36, missing: 1, gap_ratio_low: 1.5, gap_ratio_high: 3}
    phase: {by: edge, window_from_deg: 154, window_to_deg: 174}
    sync: {stall_ms: 500}
    engine: {firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 440}
    ignition: {output_delay_us: 0}
"""  # noqa: E501

TWO_STROKE = """
format: 1
name: Two-stroke
wheel: 24-minus-1-two-stroke
sensors: {crank: {kind: hall}}
controller:
  kind: sim
  settings:
    crank: {line: crank, edge: rising}
    wheel: {kind: missing_teeth, pitches: 24, missing: 1, gap_ratio_low: 1.5, gap_ratio_high: 3}
    engine: {firing_order: [1, 2, 3], firing_deg: [0, 120, 240], tdc_after_reference_deg: 60}
"""


@dataclass(frozen=True)
class Case:
    """`wrong` settings by address below the controller's, and the names that they go by."""

    bench: str
    wrong: dict[str, str]
    names: tuple[str, ...] = field(default_factory=tuple)


def wheel(pitches: int, missing: int, low: float, high: float) -> dict[str, str]:
    values = {"pitches": pitches, "missing": missing, "gap_ratio_low": low, "gap_ratio_high": high}
    return {f"wheel.{key}": str(value) for key, value in values.items()}


CRANK_EDGE, CAM_EDGE = "crank edge or polarity", "cam edge or polarity"

CASES = {
    "crank edge": Case(SIXTY, {"crank.edge": "falling"}, (CRANK_EDGE,)),
    "crank polarity": Case(SIXTY, {"crank.inverted": "true"}, (CRANK_EDGE,)),
    "both edges": Case(SIXTY, {"crank.edge": "both"}, ("crank edge",)),
    "cam polarity": Case(SIXTY, {"cam.inverted": "true"}, (CAM_EDGE,)),
    "cam level": Case(SIXTY, {"phase.level": "low"}, (CAM_EDGE,)),
    "another wheel": Case(SIXTY, wheel(36, 1, 1.5, 3), ("teeth a turn", "missing teeth")),
    "a rarer wheel": Case(SIXTY, wheel(58, 2, 2.2, 4), ("teeth a turn",)),
    "missing teeth": Case(SIXTY, wheel(60, 1, 1.5, 3.2), ("missing teeth",)),
    "gap limits too high": Case(SIXTY, wheel(60, 2, 3.3, 5), ("gap-ratio limits",)),
    "gap limits too low": Case(SIXTY, wheel(60, 2, 1.5, 2.6), ("gap-ratio limits",)),
    "blanking share": Case(SIXTY, {"crank.blanking_percent": "42"}, ("crank blanking",)),
    "blanking time": Case(SIXTY, {"crank.blanking_us": "1500"}, ("crank blanking",)),
    "noise filter": Case(SIXTY, {"crank.filter_us": "600"}, ("crank filter",)),
    "reference angle": Case(SIXTY, {"engine.tdc_after_reference_deg": "96"}, ("reference angle",)),
    "firing order": Case(SIXTY, {"engine.firing_order": "[1, 2, 4, 3]"}, ("firing order",)),
    "inputs": Case(
        SIXTY, {"crank.line": "cam", "cam.line": "crank"}, ("assignment of the inputs",)
    ),
    "stall": Case(SIXTY, {"sync.stall_ms": "2.5"}, ("stall time-out",)),
    "shaft": Case(SIXTY, {"wheel.shaft": "cam"}, ("shaft of the wheel",)),
    "no phase": Case(SIXTY, {"phase.by": "none"}, ("way of telling the turns apart",)),
    "output delay": Case(SIXTY, {"ignition.output_delay_us": "600"}, ("spark output",)),
    "cam window": Case(
        THIRTY_SIX, {"phase.window_from_deg": "100", "phase.window_to_deg": "140"}, ("cam window",)
    ),
    "cam edge": Case(THIRTY_SIX, {"cam.edge": "falling"}, (CAM_EDGE,)),
    "level where an edge is": Case(
        THIRTY_SIX, {"phase.by": "level"}, ("way of telling the turns apart",)
    ),
    "another wheel, edge": Case(
        THIRTY_SIX, wheel(60, 2, 2.2, 4), ("teeth a turn", "missing teeth")
    ),
    "wheel and cam": Case(
        SIXTY,
        {**wheel(36, 1, 1.5, 3), "cam.inverted": "true"},
        ("teeth a turn", "missing teeth", CAM_EDGE),
    ),
    "edge and reference": Case(
        SIXTY,
        {"crank.edge": "falling", "engine.tdc_after_reference_deg": "96"},
        (CRANK_EDGE, "reference angle"),
    ),
    "limits and cam": Case(
        SIXTY,
        {**wheel(60, 2, 3.3, 5), "phase.level": "low"},
        ("gap-ratio limits", CAM_EDGE),
    ),
    "reference and cam": Case(
        SIXTY,
        {"engine.tdc_after_reference_deg": "96", "phase.level": "low"},
        ("reference angle", CAM_EDGE),
    ),
    "filter and cam": Case(
        SIXTY, {"crank.filter_us": "600", "cam.inverted": "true"}, ("crank filter", CAM_EDGE)
    ),
    "blanking and edge": Case(
        SIXTY,
        {"crank.blanking_percent": "42", "crank.edge": "falling"},
        ("crank blanking", CRANK_EDGE),
    ),
}
