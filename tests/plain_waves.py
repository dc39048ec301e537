"""Half-waves and codes told the slow way, straight from PROTOCOL.md, to hold the code against."""

import random
from fractions import Fraction

MIDDLE = 32768
"""The code of no voltage."""


def told(kinds, peak, lengths, named=None):
    """(kind, height) of half-waves that last so many ticks; `kinds` are knee_ticks, ascending, and
    `named` says of each half-wave which one its number names, if any."""
    kept, before, in_a_row, misfits, found = None, None, [], 0, []
    for ticks, name in zip(lengths, named or [None] * len(lengths), strict=True):
        if kept is None:
            kept, before, in_a_row, misfits = (kinds[name or 0], ticks), None, [], 0
            found.append((name or 0, height(*kept, peak)))
            continue
        share = [Fraction(ticks * kept[0], kind * kept[1]) for kind in kinds]
        spike = share[0] < Fraction(3, 8)
        if (
            spike
            and len(in_a_row) < 8
            and not (
                in_a_row
                and share[0] >= Fraction(1, 8)
                and alike(ticks, in_a_row[-1], Fraction(4, 3))
            )
        ):
            kept, before = before or kept, None
            in_a_row.append(ticks)
            found.append((0, height(*kept, peak)))
            continue
        if share[-1] > 8:
            kept = None
            found.append((len(kinds) - 1, height(kinds[-1], ticks, peak)))
            continue
        off = [abs(ticks - Fraction(kind * kept[1], kept[0])) for kind in kinds]
        kind = off.index(min(off))
        if name is not None and alike(share[name], 1, 2):
            kind = name
        longest = kind == len(kinds) - 1 and share[-1] > 1
        fits = longest or alike(share[kind], 1, Fraction(5, 4)) or misfits == 4
        misfits = 0 if fits else misfits + 1
        if fits or spike or not in_a_row:
            before = None if fits else kept
            kept = (kinds[kind], ticks)
        in_a_row = []
        found.append((kind, height(*kept, peak)))
    return found


def alike(one, other, factor):
    return max(one, other) <= factor * min(one, other)


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


def lifted(codes, every, corner):
    """Codes with what a high-pass of a time constant will take away added; a code `every` ticks."""
    rate = min((every << 24) // corner, 2**14) if corner else 0
    total, found = 0, []
    for code in codes:
        lost = total // 2**24
        found.append(min(max(code + lost, 0), 65535))
        total += rate * (code - MIDDLE) - (1 + rate // 16) * lost
    return found


def number(count, first, mask):
    """The one of so many numbers that the outputs from `first` on form at a mask."""
    return sum((mask >> first + bit & 1) << bit for bit in range(count.bit_length() - 1))


def strong(height, strength):
    """The height of a half-wave of a strength."""
    return int(Fraction(height * strength, 4095))


def code_of(form, told, level, ticks, at):
    """The same of a half-wave as a WaveTrack told it."""
    shape = form.half_waves[told.kind].shape
    return code(shape, told.height, level, form.approach, ticks, at)


OUTPUT = 7
"""The output that a vector's wave follows, above those of its numbers."""

STEPS = [Fraction(*one) for one in ((1, 8), (3, 8), (4, 5), (5, 4), (3, 4), (4, 3), (1, 1))]
"""What one half-wave may be of another where a rule begins or ends."""


def random_lengths(rng, kinds, count):
    """Half-waves of a wheel that speeds up and down, with spikes, pieces, jumps and rests."""
    speed, out = rng.uniform(0.05, 3), []
    while len(out) < count:
        speed = min(4, max(0.001, speed * rng.uniform(0.9, 1.1)))
        length = round(rng.choice(kinds) / speed)
        chance = rng.random()
        if chance < 0.05:
            out.append(rng.choice((1, 2, length // 20, length * 30, 2**32 - 1)))
        elif chance < 0.15:
            cut, width = rng.random(), length // rng.choice((5, 12, 40))
            for _ in range(rng.choice((1, 1, 2, 5))):
                out += [round(length * cut), width]
            out.append(length - round(length * cut))
        elif chance < 0.3 and out:
            out.append(int(out[-1] * rng.choice(STEPS)) + rng.choice((-1, 0, 0, 1)))
        else:
            speed *= rng.choice((1, 1, 1, 1, 1, 0.5, 0.7, 1.5, 2, 3)) if chance > 0.9 else 1
            out.append(length)
    return [min(max(1, length), 2**32 - 1) for length in out[:count]]


def vector(seed):
    """A form, half-waves, and what they are, with a few codes of each, one after the other."""
    rng = random.Random(seed)
    kinds = sorted(rng.sample(range(1, rng.choice((30, 10_000, 2**28))), rng.randint(1, 8)))
    shapes = [rng.randbytes(17) for _ in kinds]
    peak, approach = rng.randint(1, 32767), rng.randrange(2)
    lengths = random_lengths(rng, kinds, 120)
    at = [rng.randrange(ticks) for ticks in lengths]
    first, bits = rng.randrange(4), rng.randint(1, 4)
    shares = [rng.choice((0, 4095, rng.randrange(4096))) for _ in range(2**bits)]
    names = [rng.choice((None, rng.randrange(len(kinds)))) for _ in shares]
    masks = [rng.randrange(128) | (n & 1) << OUTPUT for n in range(len(lengths))]
    numbers = [number(len(shares), first, mask) for mask in masks]
    whole = told(kinds, peak, lengths, [names[n] for n in numbers])
    found = [(kind, strong(one, shares[n])) for (kind, one), n in zip(whole, numbers, strict=True)]
    corner, every = rng.choice((1, 400, rng.randrange(2**16, 2**32))), rng.randint(1, 2000)
    counts = [rng.randint(1, min(5, 1 + (ticks - 1 - first) // every))
              for ticks, first in zip(lengths, at, strict=True)]  # fmt: skip
    run = [
        code(shapes[kind], high, n & 1, approach, lengths[n], at[n] + k * every)
        for n, (kind, high) in enumerate(found)
        for k in range(counts[n])
    ]
    fields = bytes((1, 2)) + peak.to_bytes(2, "little") + bytes((3, 1, approach))
    for kind, shape in zip(kinds, shapes, strict=True):
        fields += bytes((2, 21)) + kind.to_bytes(4, "little") + shape
    fields += bytes((4, 4)) + corner.to_bytes(4, "little")
    fields += bytes((5, 1 + 2 * len(shares), first))
    for share, name in zip(shares, names, strict=True):
        fields += (share + 4096 * (15 if name is None else name)).to_bytes(2, "little")
    return {
        "name": f"wave {seed}",
        "fields": fields.hex(),
        "lengths": lengths,
        "at": at,
        "kinds": [kind for kind, _ in found],
        "heights": [high for _, high in found],
        "masks": masks,
        "code_ticks": every,
        "counts": counts,
        "codes": lifted(run, every, corner),
    }
