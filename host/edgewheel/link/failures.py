"""How a link fails after the greeting, in sentences."""

from __future__ import annotations

from edgewheel.errors import BenchError
from edgewheel.link.messages import Arm, Config, Refusal, Refused


def silent(port: str, silent_ms: int, host_gap_ms: int) -> BenchError:
    """Nothing has come for too long."""
    return BenchError(
        f"The board at {port} has said nothing for {silent_ms} ms: look at its cable and supply, "
        f"then start anew. (It stops by itself; the longest pause of this program was "
        f"{host_gap_ms} ms.)"
    )


def restarted(port: str) -> BenchError:
    """The board knows nothing of the run that it is playing."""
    return BenchError(f"The board at {port} has restarted: look at its supply, then start anew")


def refused(port: str, answer: Refused) -> BenchError:
    """The board did not take CONFIG, ARM or START."""
    name = {Arm.TYPE: "ARM", Config.TYPE: "CONFIG"}.get(answer.type, "START")
    code = Refusal(answer.code).name.lower()
    return BenchError(
        f"The board at {port} refused {name} ({code}): close other programs that use it, or "
        "unplug it and plug it in again"
    )
