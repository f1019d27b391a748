"""Exact conditional values for stratified 2x2 tables, by integer arithmetic.

The coefficients C(m, x) C(n, t-x) of every stratum are multiplied as polynomials
with Python's unlimited integers, so nothing is rounded until tails are divided;
estimate and limits are found by bisection with mpmath at 60 digits. Prints
exact/large.json and the tight values of exact/worked.json. Needs mpmath.
"""
import json
import sys
from math import comb

import mpmath as mp

mp.mp.dps = 60


def weights(strata):
    """Smallest possible sum and the number of ways to get each sum from there on."""
    low, ways = 0, [1]
    for a, b, c, d in strata:  # rows (a, b), (c, d), as in the other files
        m, n, t = a + b, c + d, a + c
        lo, hi = max(0, t - n), min(m, t)
        one = [comb(m, x) * comb(n, t - x) for x in range(lo, hi + 1)]
        # Kronecker substitution: one big-integer product instead of a double loop.
        bits = (max(one).bit_length() + max(ways).bit_length() + len(one).bit_length() + 8) // 8 * 8
        pack = lambda v: int.from_bytes(b"".join(x.to_bytes(bits // 8, "little") for x in v), "little")
        product = pack(one) * pack(ways)
        size = len(one) + len(ways) - 1
        raw = product.to_bytes(size * bits // 8 + 16, "little")
        ways = [int.from_bytes(raw[i * bits // 8 : (i + 1) * bits // 8], "little") for i in range(size)]
        low += lo
    return low, ways


def window(a, b, c, d):
    """What weights returns for one table of very many fish, to 60 digits: 60 standard deviations around the
    middle, by the ratio of neighbouring terms (what lies outside is under 1e-700)."""
    m, n, t = a + b, c + d, a + c
    mean = m * t // (m + n)
    sd = int(mp.sqrt(mp.mpf(m) * n * t * (m + n - t) / (m + n) ** 3)) + 1
    lo, hi = max(0, t - n, mean - 60 * sd), min(m, t, mean + 60 * sd)
    ways = {mean: mp.mpf(1)}
    for x in range(mean, hi):
        ways[x + 1] = ways[x] * (m - x) * (t - x) / (mp.mpf(x + 1) * (n - t + x + 1))
    for x in range(mean, lo, -1):
        ways[x - 1] = ways[x] * x * (n - t + x) / (mp.mpf(m - x + 1) * (t - x + 1))
    return lo, [ways[x] for x in range(lo, hi + 1)]


def bisect(f, lo, hi):
    """Root of an increasing f."""
    for _ in range(75):
        mid = (lo + hi) / 2
        lo, hi = (mid, hi) if f(mid) < 0 else (lo, mid)
    return (lo + hi) / 2


def conditional(strata):
    many = len(strata) == 1 and sum(strata[0]) > 20000
    low, ways = window(*strata[0]) if many else weights(strata)
    s = sum(a for a, _, _, _ in strata) - low
    total = sum(ways)
    bound = ways[s] * (10**7 + 1)
    ratio = lambda p: mp.mpf(p) / mp.mpf(total)
    minlik = sum(w for w in ways if w * 10**7 <= bound)
    less, greater = sum(ways[: s + 1]), sum(ways[s:])
    def tilt(phi):
        e = mp.e**phi
        power, out = mp.mpf(1), []
        for w in ways:
            out.append(w * power)
            power *= e
        return out

    def mean(phi):
        p = tilt(phi)
        return sum(i * x for i, x in enumerate(p)) / sum(p) - s

    def upper(phi):
        p = tilt(phi)
        return sum(p[s:]) / sum(p) - mp.mpf("0.025")

    def lower(phi):
        p = tilt(phi)
        return mp.mpf("0.025") - sum(p[: s + 1]) / sum(p)

    span = mp.mpf(1) if many else mp.mpf(60)
    first, last = s == 0, s == len(ways) - 1
    return {
        "p_minlik": float(ratio(minlik)),
        "p_doubled": float(min(mp.mpf(1), 2 * ratio(min(less, greater)))),
        "log_or_cond_mle": "-Inf" if first else "Inf" if last else float(bisect(mean, -span, span)),
        "log_or_ci_exact": [
            "-Inf" if first else float(bisect(upper, -span, span)),
            "Inf" if last else float(bisect(lower, -span, span)),
        ],
    }


CASES = {
    "one table, 4,000 fish": [[900, 1100, 700, 1300]],
    "one table, far from even": [[1500, 20, 30, 1400]],
    "two tables that disagree": [[400, 100, 300, 300], [200, 300, 350, 150]],
    "at the upper end": [[50, 0, 20, 30], [40, 0, 0, 25]],
    "at the lower end": [[0, 12, 5, 9]],
    "six anglers, uneven": [[30, 10, 12, 25], [3, 1, 0, 4], [55, 60, 41, 77], [9, 0, 6, 1], [0, 5, 2, 6], [18, 22, 20, 19]],
    "thirty anglers": [[12 + i % 5, 8 - i % 5, 9 - i % 3, 11] for i in range(30)],
    "thirty anglers, no effect": [[10 + i % 3, 10 - i % 4, 9 + (i + 1) % 3, 11 - i % 3] for i in range(30)],
    "a p-value far below any other": [[300, 100, 90, 310], [250, 150, 60, 340]],
    "a million fish in a cell": [[1000300, 999700, 999100, 1000900]],
    "lower takes rare": [[3, 997, 9, 991], [1, 499, 6, 1494]],
}

if __name__ == "__main__":
    extra = json.load(open(sys.argv[1])) if len(sys.argv) > 1 else CASES
    print(json.dumps({name: {"strata_a_b_c_d": s, **conditional(s)} for name, s in extra.items()}, indent=1))
