"""An output that was declared and never heard is on the timing page."""

from edgewheel.search.timing import timing_of
from planted_timing import play


def test_an_output_that_never_did_anything_is_told(tmp_path):
    lines = "coil_1: {ignition: 1}, coil_9: {ignition: 4}"
    signals = f"advance_deg: 10, advance: not_reported, outputs: {{{lines}}}"
    timing = timing_of([play(tmp_path / "run", signals=signals)])
    assert any(said.startswith("coil_9: no pulse at all.") for said in timing.runs[0].remarks)
    assert {row.line for row in timing.rows} == {"coil_1"}
