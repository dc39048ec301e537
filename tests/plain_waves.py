"""Half-waves and codes told the slow way, straight from PROTOCOL.md, to hold the code against."""

import random
from fractions import Fraction

MIDDLE = 32768
"""The code of no voltage."""


def told(kinds, peak, lengths):
    """(kind, height) of half-waves that last so many ticks; `kinds` are knee_ticks, ascending."""
    kept, spikes, found = None, 0, []
    for ticks in lengths:
        if kept is None:
            kind, kept = 0, (kinds[0], ticks)
            found.append((kind, height(kinds[0], ticks, peak)))
            continue
        k, t = kept
        expected = [Fraction(kind * t, k) for kind in kinds]
        if 8 * ticks < expected[0] and spikes < 8:
            spikes += 1
            found.append((0, height(k, t, peak)))
            continue
        spikes = 0
        if ticks > 8 * expected[-1]:
            kept = None
            found.append((len(kinds) - 1, height(kinds[-1], ticks, peak)))
            continue
        off = [abs(ticks - one) for one in expected]
        kind = off.index(min(off))
        kept = (kinds[kind], ticks)
        found.append((kind, height(kinds[kind], ticks, peak)))
    return found


def height(knee, ticks, peak):
    return min(peak, int(Fraction(peak * knee, ticks)))


def code(shape, high, level, approach, ticks, at):
    """The code `at` ticks after a half-wave of `ticks` began."""
    phase = at * ((2**48 - 1) // ticks) // 2**36
    if level == approach:
        phase = 4095 - phase
    place, part = phase // 256, phase % 256
    share = 256 * shape[place] + (shape[place + 1] - shape[place]) * part
    value = high * share // 65536
    return MIDDLE + (value if level else -value)


def code_of(form, told, level, ticks, at):
    """The same of a half-wave as a WaveTrack told it."""
    shape = form.half_waves[told.kind].shape
    return code(shape, told.height, level, form.approach, ticks, at)


def random_lengths(rng, kinds, count):
    """Half-waves of a wheel that speeds up and down, with spikes and rests."""
    speed, out = rng.uniform(0.05, 3), []
    for _ in range(count):
        speed = min(4, max(0.001, speed * rng.uniform(0.9, 1.1)))
        length = round(rng.choice(kinds) / speed)
        if rng.random() < 0.03:
            length = rng.choice((1, 2, length // 20, length * 30, 2**32 - 1))
        out.append(min(max(1, length), 2**32 - 1))
    return out


def vector(seed):
    """A form, half-waves, and what they are, with a code in each."""
    rng = random.Random(seed)
    kinds = sorted(rng.sample(range(1, rng.choice((30, 10_000, 2**28))), rng.randint(1, 8)))
    shapes = [rng.randbytes(17) for _ in kinds]
    peak, approach = rng.randint(1, 32767), rng.randrange(2)
    lengths = random_lengths(rng, kinds, 60)
    at = [rng.randrange(ticks) for ticks in lengths]
    found = told(kinds, peak, lengths)
    codes = [
        code(shapes[kind], high, n & 1, approach, lengths[n], at[n])
        for n, (kind, high) in enumerate(found)
    ]
    fields = bytes((1, 2)) + peak.to_bytes(2, "little") + bytes((3, 1, approach))
    for kind, shape in zip(kinds, shapes, strict=True):
        fields += bytes((2, 21)) + kind.to_bytes(4, "little") + shape
    return {
        "name": f"wave {seed}",
        "fields": fields.hex(),
        "lengths": lengths,
        "at": at,
        "kinds": [kind for kind, _ in found],
        "heights": [high for _, high in found],
        "codes": codes,
    }
