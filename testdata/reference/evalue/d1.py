# Worked example D1 from the definitions at 30 digits: python3 d1.py > d1_30_digits.json  (mpmath)
import json
import mpmath
from mpmath import mp, mpf, binomial, exp, quad, sqrt, pi, findroot, log

mp.dps = 30
a = [3, 4, 3, 4, 2, 3, 4, 3, 4, 3, 4, 3]  # lower takes of 4 with the test pattern lower
b = [2, 2, 1, 3, 2, 1, 2, 3, 1, 1, 2, 2]  # lower takes of 4 with the control lower
n = 4

def f(y, m, l):
    ks = range(max(0, m - n), min(n, m) + 1)
    return binomial(n, y) * binomial(n, m - y) / sum(binomial(n, k) * binomial(n, m - k) * exp(l * (k - y)) for k in ks)

def likelihood(blocks, l):
    p = mpf(1)
    for i in range(blocks):
        p *= f(a[i], a[i] + b[i], l)
    return p

def mixture(blocks, s):
    return quad(lambda l: likelihood(blocks, l) * exp(-l * l / (2 * s * s)) / (s * sqrt(2 * pi)), [-14, -4, -1, 0, 1, 2, 3, 5, 8, 16])

def conditional(blocks, s):
    return mixture(blocks, s) / likelihood(blocks, mpf(0))

def two_stream():
    e, out, g = mpf(1), [], mpf('0.18')
    for i in range(12):
        N, sa, sb = n * i, sum(a[:i]), sum(b[:i])
        ta, tb = (sa + g) / (N + 2 * g), (sb + g) / (N + 2 * g)
        t0 = (ta + tb) / 2
        e *= ta**a[i] * (1 - ta)**(n - a[i]) * tb**b[i] * (1 - tb)**(n - b[i]) / (t0**(a[i] + b[i]) * (1 - t0)**(2 * n - a[i] - b[i]))
        out.append(e)
    return out

def design(blocks):
    total = mpf(0)
    for i in range(1, 201):
        for l in (mpf(i) / 100, -mpf(i) / 100):
            p = mpf(1)
            for j in range(blocks):
                p *= 2 / (1 + exp(-2 * l * (a[j] - b[j])))
            total += p / 400
    return total

def limits(blocks, low, high):
    mix = mixture(blocks, 1)
    return [findroot(lambda l: log(mix / likelihood(blocks, l) / 20), x) for x in (low, high)]

text = lambda v: float(mpmath.nstr(v, 17))
lim = [(4, -.5, 5.4), (8, -.2, 3.29), (12, .27, 3.33)]
print(json.dumps({
    "source": "Worked example D1, invented (d1.json); definitions of Turner, Ly & Gruenwald (2024), Fisher (1935) with a normal mixture of spread 1, and a fair bet on a coin",
    "computed_with": {"mpmath": mpmath.__version__, "digits": mp.dps, "call": "d1.py beside this file"},
    "two_stream": [text(v) for v in two_stream()],
    "conditional": [text(conditional(k, mpf(1))) for k in range(1, 13)],
    "design_based": [text(design(k)) for k in range(1, 13)],
    "conditional_spread_0.5_end": text(conditional(12, mpf('0.5'))),
    "conditional_spread_2_end": text(conditional(12, mpf(2))),
    "limits": [dict(zip(("block", "low", "high"), [k] + [text(v) for v in limits(k, lo, hi)])) for k, lo, hi in lim],
}, indent=1))
