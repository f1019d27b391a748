"""Distributions in exact arithmetic: prints distributions.json and quantiles.json.

    python3 exact_rational.py distributions > distributions.json
    python3 exact_rational.py quantiles > quantiles.json

Probabilities are sums of Python fractions (math.comb, unlimited integers) from the definitions; the Poisson law,
negative binomial laws of fractional size and the chi-square and t tails need exp, ln, sqrt and arctan, taken from the
decimal module at 800 digits. Chi-square tails are the finite sums for whole degrees of freedom (Abramowitz & Stegun
26.4.4, 26.4.5), t tails those of 26.7.3 and 26.7.4. Natural logarithms keep values that a float cannot hold.
"""
import json
import sys
from decimal import Decimal, getcontext
from fractions import Fraction
from math import comb

getcontext().prec = 800


def dec(x):
    x = Fraction(x)
    return Decimal(x.numerator) / Decimal(x.denominator)


def log(x):
    return float(dec(x).ln()) if not isinstance(x, Decimal) else float(x.ln())


def row(mass, lower, upper):
    return {"log_mass": log(mass), "log_lower": log(lower), "log_upper": log(upper)}


def by_weights(weights, x, low):
    total, i = sum(weights), x - low
    return row(Fraction(weights[i], total), Fraction(sum(weights[: i + 1]), total), Fraction(sum(weights[i:]), total))


def hypergeometric(x, m, n, t):
    low = max(0, t - n)
    return {"x": x, "marked": m, "unmarked": n, "drawn": t,
            **by_weights([comb(m, k) * comb(n, t - k) for k in range(low, min(m, t) + 1)], x, low)}


def noncentral(x, m, n, t, ratio):
    """ratio: the odds ratio as a fraction, whose logarithm is given."""
    ratio = Fraction(ratio)
    low, high = max(0, t - n), min(m, t)
    w = [comb(m, k) * comb(n, t - k) * ratio.numerator ** (k - low) * ratio.denominator ** (high - k) for k in range(low, high + 1)]
    total = sum(w)
    mean = Fraction(sum(k * v for k, v in enumerate(w, low)), total)
    square = Fraction(sum(k * k * v for k, v in enumerate(w, low)), total)
    return {"x": x, "first": m, "second": n, "drawn": t, "log_odds": log(ratio), **by_weights(w, x, low),
            "mean": float(mean), "variance": float(square - mean * mean), "mode": low + max(range(len(w)), key=lambda i: (w[i], i))}


def binomial(k, n, p):
    p = Fraction(p)
    a, b = p.numerator, p.denominator - p.numerator
    return {"k": k, "n": n, "p": float(p), "q": float(1 - p), **by_weights([comb(n, j) * a**j * b ** (n - j) for j in range(n + 1)], k, 0)}


def poisson(k, mean):
    mean = dec(mean)
    term, lower = (-mean).exp(), Decimal(0)
    for j in range(k + 1):
        lower += term
        mass = term
        term = term * mean / (j + 1)
    return {"k": k, "mean": float(mean), **row(mass, lower, 1 - lower + mass)}


def negative_binomial(k, size, p):
    """size and p are fractions; p^size in decimals."""
    size, p = Fraction(size), dec(p)
    term, lower = (dec(size) * p.ln()).exp(), Decimal(0)
    for j in range(k + 1):
        lower += term
        mass = term
        term = term * (1 - p) * dec((size + j) / (j + 1))
    return {"k": k, "size": float(size), "p": float(p), "mean": float(dec(size) * (1 - p) / p), **row(mass, lower, 1 - lower + mass)}


def distributions():
    h = [(4, 4, 4, 4), (3, 4, 4, 4), (0, 6, 5, 3), (11, 125, 235, 12), (40, 48, 48, 62), (0, 300, 300, 290), (290, 300, 300, 290),
         (150, 300, 300, 290), (1000, 2000, 1500, 1700), (1400, 2000, 1500, 1700), (999, 1000, 1000, 1998), (5, 30, 3000, 400)]
    n = [(3, 4, 4, 4, 1), (3, 4, 4, 4, "9"), (0, 12, 14, 5, "1/50"), (40, 48, 48, 62, "59/10"), (40, 48, 48, 62, "1/1000000"),
         (150, 300, 300, 290, "3/2"), (10, 300, 300, 290, "3/2"), (280, 300, 300, 290, "2/3"), (1000, 2000, 1500, 1700, "7/5"),
         (1690, 2000, 1500, 1700, "1/100"), (19, 20, 20, 39, "1000000"), (20, 20, 20, 39, "1000000"), (19, 20, 20, 39, "1/1000"), (0, 1, 1, 1, "100000000000000000000")]
    b = [(0, 10, "1/3"), (13, 23, "1/3"), (10, 10, "1/3"), (55, 100, "1/2"), (0, 400, "1/2"), (400, 400, "1/2"), (220, 400, "1/2"),
         (3, 1000, "1/1000000"), (997, 1000, "999999/1000000"), (1500, 3000, "11/20"), (40, 3000, "1/100"), (2990, 3000, "1/100")]
    p = [(0, "1/2"), (3, "1/2"), (0, 50), (50, 50), (49, "101/2"), (120, 50), (2, 300), (300, 300), (700, 300), (5, "1/1000000"), (1, 600)]
    nb = [(0, 3, "1/4"), (9, 3, "1/4"), (200, 3, "1/4"), (2, 10, "9/10"), (40, 10, "9/10"), (7, "1/2", "1/11"), (100, "1/2", "1/11"),
          (0, "1/10", "1/1000"), (500, "1/10", "1/1000"), (3, "117/100", "1/15"), (20, "1000001/7", "9999/10000"), (0, "1000001/7", "9999/10000"),
          (1, "1/1000", "1/3"), (1000, 1000, "1/2"), (700, 1000, "1/2"), (1400, 1000, "1/2")]
    return {
        "title": "Hypergeometric, noncentral hypergeometric, binomial, Poisson and negative binomial probabilities",
        "source": "definitions; arguments are invented, among them tea cups of Fisher (1935), sailfish of Prince et al. (2002) and 13 in 23 of Eagle et al. (2002)",
        "computed_with": {"versions": {"Python": sys.version.split()[0]}, "call": "exact_rational.py distributions, in this folder"},
        "conventions": {"log_lower": "ln P(X <= x)", "log_upper": "ln P(X >= x)", "mode": "the larger where two are"},
        "accuracy": "correctly rounded logarithms",
        "hypergeometric": [hypergeometric(*c) for c in h],
        "noncentral": [noncentral(*c) for c in n],
        "binomial": [binomial(*c) for c in b],
        "poisson": [poisson(*c) for c in p],
        "negative_binomial": [negative_binomial(*c) for c in nb],
    }


def arctan(x):
    """Series after halving the argument until it is small."""
    halvings = 0
    while abs(x) > Decimal("0.01"):
        x = x / (1 + (1 + x * x).sqrt())
        halvings += 1
    total, power, n, square = Decimal(0), x, 1, x * x
    while abs(power) > Decimal(10) ** -900:
        total += power / n
        power = -power * square
        n += 2
    return total * 2**halvings


PI = 4 * arctan(Decimal(1))


def t_upper(t, df):
    """P(T >= t), t > 0, by Abramowitz & Stegun 26.7.3 and 26.7.4 (A is P(|T| <= t))."""
    angle_tan = t / Decimal(df).sqrt()
    cos2 = 1 / (1 + angle_tan * angle_tan)
    cos, sin = cos2.sqrt(), (1 - cos2).sqrt()
    if df % 2:
        total, term = Decimal(0), cos
        for j in range(1, (df - 1) // 2 + 1):
            total += term
            term = term * cos2 * (2 * j) / (2 * j + 1)
        inside = 2 / PI * (arctan(angle_tan) + sin * total)
    else:
        total, term = Decimal(0), Decimal(1)
        for j in range(1, df // 2 + 1):
            total += term
            term = term * cos2 * (2 * j - 1) / (2 * j)
        inside = sin * total
    return (1 - inside) / 2


def erfc(x):
    """1 - 2/√π ∫: the series of erf at full precision."""
    total, term, n, square = Decimal(0), x, 0, x * x
    while abs(term) > Decimal(10) ** -790:
        total += term / (2 * n + 1)
        n += 1
        term = -term * square / n
    return 1 - 2 / PI.sqrt() * total


def chi_upper(x, df):
    """P(X >= x) by Abramowitz & Stegun 26.4.4 and 26.4.5."""
    half = x / 2
    if df % 2 == 0:
        total, term = Decimal(0), Decimal(1)
        for j in range(df // 2):
            total += term
            term = term * half / (j + 1)
        return (-half).exp() * total
    total, term = Decimal(0), 2 * (half / PI).sqrt() * (-half).exp()
    for j in range(1, (df - 1) // 2 + 1):
        total += term
        term = term * x / (2 * j + 1)
    return erfc(half.sqrt()) + total


def chi_lower(x, df):
    """P(X <= x) by the series 26.4.6."""
    half, gamma = x / 2, PI.sqrt() / 2 if df % 2 else Decimal(1)  # Γ(df/2 + 1)
    for j in range(2 + df % 2, df + 1, 2):
        gamma *= Decimal(j) / 2
    total, term, n = Decimal(0), Decimal(1), 0
    while term > Decimal(10) ** -790:
        total += term
        n += 1
        term = term * half / (Decimal(df) / 2 + n)
    return (half.ln() * df / 2 - half).exp() / gamma * total


def quantiles():
    t = [(df, t) for df in (1, 2, 3, 4, 5, 11, 30, 399) for t in ("0.000001", "0.25", "1.5", "6", "40", "1000", "1e9")]
    t += [(1, "1e290"), (2, "1e149"), (4, "1e70"), (5, "1e55"), (30, "1e9")]
    c = [(df, x) for df in (1, 2, 3, 4, 7, 12, 99, 400) for x in ("0.000001", "0.5", "3", "30", "150", "600", "1200")]
    c += [(2, "1e-290"), (1, "1e-250"), (4, "1e-140")]
    return {
        "title": "Tails of Student's t and of chi-square, from the middle to below 1e-300",
        "source": "Abramowitz & Stegun (1964), Handbook of Mathematical Functions, 26.4.4, 26.4.5, 26.4.6, 26.7.3, 26.7.4",
        "computed_with": {"versions": {"Python": sys.version.split()[0]}, "call": "exact_rational.py quantiles, in this folder"},
        "conventions": {"t log_upper": "ln P(T >= t)", "chi_square": "ln P(X <= x), ln P(X >= x)"},
        "accuracy": "correctly rounded logarithms",
        "t": [{"t": float(v), "df": df, "log_upper": log(p)} for df, v in t if (p := t_upper(Decimal(v), df)) > Decimal(10) ** -700],
        "chi_square": [{"x": float(x), "df": df, "log_lower": log(chi_lower(Decimal(x), df)), "log_upper": log(chi_upper(Decimal(x), df))} for df, x in c],
    }


if __name__ == "__main__":
    print(json.dumps({"distributions": distributions, "quantiles": quantiles}[sys.argv[1]](), indent=1))
