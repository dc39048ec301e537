"""The answer of diagnose, in words and for JSON."""

from __future__ import annotations

from textwrap import fill
from typing import Any

from edgewheel.search.diagnose import Diagnosis, Step

WIDTH = 96
PERHAPS = "Perhaps wrong, since with a signal that suits it sync came nearer"
"""What helped where not all is right in the end: a signal may fit by chance."""


def told(diagnosis: Diagnosis, width: int = WIDTH) -> str:
    """The end in words, in lines of a width."""
    tries = f"{diagnosis.tries} {'try' if diagnosis.tries == 1 else 'tries'}"
    wrong = "Wrong" if diagnosis.complete else PERHAPS
    findings = [
        fill(
            f"* {wrong}: {' or '.join(finding.settings)}. {finding.remedy}",
            width,
            subsequent_indent="  ",
        )
        for finding in diagnosis.findings
    ]
    speeds = " and ".join(map(str, diagnosis.speeds))
    if diagnosis.complete and not findings:
        return (
            f"nothing is wrong at {speeds} rpm: {diagnosis.look.right_words} ({tries}). "
            "Limits at other speeds: 'edgewheel threshold BENCH speed'."
        )
    if diagnosis.complete:
        return "\n".join([f"found in {tries}.", *findings])
    reason = diagnosis.look.reason
    says = f" The controller's last word: {reason}." if reason not in ("", "none") else ""
    head = (
        f"{tries}, and no signal was found with which all is right. Look at the wiring, the supply "
        f"of the sensors, and settings that no signal shows.{says}"
    )
    return "\n".join([fill(head, width), *findings])


def step_line(step: Step) -> str:
    """One try on one line."""
    says = f" (it says: {step.look.reason})" if step.look.reason not in ("", "none") else ""
    return f"try {step.number:2d}  {step.what}: {step.meaning}{says}"


def diagnosis_data(diagnosis: Diagnosis, steps: list[Step]) -> dict[str, Any]:
    """For the summary and for JSON."""
    return {
        "complete": diagnosis.complete,
        "tries": diagnosis.tries,
        "speeds": list(diagnosis.speeds),
        "findings": [
            {"settings": list(finding.settings), "remedy": finding.remedy}
            for finding in diagnosis.findings
        ],
        "steps": [
            {
                "number": step.number,
                "signal": step.what,
                "stage": step.look.stage.name.lower(),
                "sparks_late_deg": dict(step.look.errors_deg),
                "says": step.look.reason,
                "meaning": step.meaning,
            }
            for step in steps
        ],
    }
