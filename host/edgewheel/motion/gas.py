"""Compression ripple from gas forces: the crank's kinetic energy rises and falls by their work."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache

from edgewheel.errors import UsageError
from edgewheel.motion.engine import Engine
from edgewheel.motion.segment import DEG_PER_S_PER_RPM
from edgewheel.motion.series import SeriesRipple, fitted

LEAST_SHARE = 0.25
"""Of its mean speed. An engine that gets slower than this in a cycle is taken to stop there."""

SMALLEST_HARMONIC = 1e-7
"""Of the mean slowness. Smaller ones are left out of a ripple."""

FEWEST_SAMPLES = 128
MOST_SAMPLES = 4096
ENERGY_SAMPLES = 1024
_BISECTIONS = 100
_RAD_PER_S_PER_RPM = math.radians(DEG_PER_S_PER_RPM)


@lru_cache(maxsize=512)
def gas_ripple(engine: Engine, mean_rpm: Fraction) -> SeriesRipple:
    """The ripple of an engine whose mean speed over a cycle is `mean_rpm` (> 0).

    Starter and friction are taken to balance at every angle, so J omega^2 / 2 = E + W(theta), W the
    work of the gas, and E such that the mean over a cycle is met. The ripple is the Fourier series
    of 1 / omega without harmonics below 1e-7 of its mean. Raises UsageError if the engine would
    stop within a cycle.
    """
    least = least_rpm(engine)
    if mean_rpm < least:
        raise _would_stop(engine, mean_rpm, least)
    target = float(mean_rpm) * _RAD_PER_S_PER_RPM
    most = float(engine.inertia_kg_m2) * target**2 / 2 + max(_works(engine, ENERGY_SAMPLES))
    energy = _bisect(lambda energy: _mean_speed(engine, energy) < target, most)
    samples = FEWEST_SAMPLES
    while samples <= MOST_SAMPLES:
        slowness = [1 / math.sqrt(energy + work) for work in _works(engine, samples)]
        ripple = fitted(engine.ripple_deg, slowness, SMALLEST_HARMONIC)
        if ripple is not None:
            return ripple
        samples *= 2
    raise UsageError(
        f"The ripple at {float(mean_rpm):g} rpm is too sharp to be computed. Raise the speed or "
        "the inertia."
    )


@lru_cache(maxsize=64)
def least_rpm(engine: Engine) -> float:
    """The mean speed below which the engine would stop within a cycle: see LEAST_SHARE."""

    def stops(energy: float) -> bool:
        slowest = math.sqrt(2 * energy / float(engine.inertia_kg_m2))
        return slowest < LEAST_SHARE * _mean_speed(engine, energy)

    energy = _bisect(stops, max(_works(engine, ENERGY_SAMPLES)))
    return _mean_speed(engine, energy) / _RAD_PER_S_PER_RPM


def _mean_speed(engine: Engine, energy: float) -> float:
    """Mean over a cycle, rad/s, of an engine with this kinetic energy where it is slowest.

    The mean over time is the harmonic mean over angle. Equidistant samples of a smooth periodic
    function integrate it as well as any rule can.
    """
    works = _works(engine, ENERGY_SAMPLES)
    slowness = sum([1 / math.sqrt(energy + work) for work in works]) / len(works)
    return math.sqrt(2 / float(engine.inertia_kg_m2)) / slowness


@lru_cache(maxsize=64)
def _works(engine: Engine, samples: int) -> tuple[float, ...]:
    """The work of the gas, joules, at equidistant angles from 0, counted from where it is least."""
    least = _least_work(engine)
    return tuple(work - least for work in _raw_works(engine, samples))


@lru_cache(maxsize=64)
def _least_work(engine: Engine) -> float:
    return min(_raw_works(engine, ENERGY_SAMPLES))


def _raw_works(engine: Engine, samples: int) -> list[float]:
    width = float(engine.ripple_deg) / samples
    return [engine.work_j(step * width) for step in range(samples)]


def _bisect(too_low: Callable[[float], bool], high: float) -> float:
    """Where a condition that holds from 0 on ends, found on a scale of magnitudes."""
    low = high * 1e-12
    for _ in range(_BISECTIONS):
        middle = math.sqrt(low * high)
        if not low < middle < high:
            break
        low, high = (middle, high) if too_low(middle) else (low, middle)
    return high


def _would_stop(engine: Engine, rpm: Fraction, least: float) -> UsageError:
    enough = float(engine.inertia_kg_m2) * (least / float(rpm)) ** 2
    return UsageError(
        f"At {float(rpm):g} rpm an inertia of {float(engine.inertia_kg_m2):g} kg m2 lets the "
        f"engine stop within a cycle: a compression takes more than the crank carries. Give at "
        f"least {_rounded_up(enough):g} kg m2, flywheel and starter included, or "
        f"{_rounded_up(least):g} rpm."
    )


def _rounded_up(value: float) -> float:
    """To three digits."""
    step = 10.0 ** (math.floor(math.log10(value)) - 2)
    return math.ceil(value / step) * step
