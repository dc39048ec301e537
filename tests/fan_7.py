"""The customer's log of the walk-through: invented, and made here.

python tests/fan_7.py > host/edgewheel/examples/fan-7/tooth-log.txt
"""

from fractions import Fraction

import numpy as np

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.table import join
from edgewheel.fault.metal import BentTooth
from edgewheel.fault.signal import signal_of
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.library import find


def tooth_log() -> list[int]:
    """Microseconds from falling edge to falling edge: fan 7 at idle and up to its working speed.

    Tooth 17 is late by 2.4 degrees, and the logger's clock jitters by two microseconds.
    """
    wheel = find("60-minus-2")
    ripple = CompressionRipple(Fraction("0.03"), Fraction(2), Fraction(60))
    motion = Motion(
        [
            hold(Fraction(900), turns=Fraction(12), ripple=ripple),
            ramp(Fraction(900), Fraction(2400), turns=Fraction(18), ripple=ripple),
        ]
    )
    fault = BentTooth("crank", (17,), Fraction("2.4"))
    signal = signal_of(wheel, tuple(t.sensor for t in wheel.tracks), motion, {"bent": fault})
    edges = join(*EdgeCompiler(signal.levels, signal.motion, 1_000_000).chunks())
    times = edges.ticks[edges.level == 0] + np.random.default_rng(7).normal(
        0, 2, sum(edges.level == 0)
    )
    return np.diff(np.rint(times)).astype(int).tolist()


if __name__ == "__main__":
    print("\n".join(map(str, tooth_log())))
