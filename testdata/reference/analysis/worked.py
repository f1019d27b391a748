"""Values of the worked examples D1 and D2 (invented trials) to 12 digits, by plain formulas with mpmath 1.3.0.

Run in this folder: python3 worked.py > worked.json. Everything is on the scale of theta = half the log odds ratio.
Sources of the formulas: Woolf 1955; DerSimonian & Laird 1986; Paule & Mandel 1982; Viechtbauer 2005 (REML, ML) and
2007 (Q-profile); Hartung & Knapp 2001; Roever, Knapp & Friede 2015; Higgins, Thompson & Spiegelhalter 2009. The mixed
model is the Laplace approximation with an effect of the angler on the pattern only, maximised by Newton's method on
numerical derivatives; D2's position effect does not vary, so that the model with both effects has the same maximum.
"""
import json

from mpmath import mp, mpf, log, sqrt, exp, findroot, diff, gammainc, betainc, matrix, inverse

mp.dps = 40
D1 = [(7, 1, 3, 5), (7, 1, 3, 5), (7, 1, 6, 2), (5, 3, 5, 3), (7, 1, 5, 3), (7, 1, 4, 4)]
D2 = [(a, 24 - a, 24 - b, b) for a, b in zip([18, 20, 14, 22, 12, 19], [10, 8, 13, 6, 11, 12])]


def t_quantile(p, df):
    cdf = lambda x: 1 - betainc(mpf(df) / 2, mpf(1) / 2, 0, df / (df + x * x), regularized=True) / 2
    return findroot(lambda x: cdf(x) - p, (2, 3), solver="anderson", tol=1e-30)


def chi2_cdf(x, df):
    return gammainc(mpf(df) / 2, 0, x / 2, regularized=True)


def bisect(f, lo, hi):
    for _ in range(300):
        mid = (lo + hi) / 2
        lo, hi = (mid, hi) if f(mid) > 0 else (lo, mid)
    return (lo + hi) / 2


def pool(y, v, tau2):
    w = [1 / (x + tau2) for x in v]
    mu = sum(a * b for a, b in zip(w, y)) / sum(w)
    return mu, sqrt(1 / sum(w)), w, sum(a * (b - mu) ** 2 for a, b in zip(w, y))


def reml_score(y, v, tau2):
    mu, _, w, _ = pool(y, v, tau2)
    s1, s2 = sum(w), sum(x * x for x in w)
    return sum(x * x * (b - mu) ** 2 for x, b in zip(w, y)) - s1 + s2 / s1


def ml_score(y, v, tau2):
    mu, _, w, _ = pool(y, v, tau2)
    return sum(x * x * (b - mu) ** 2 for x, b in zip(w, y)) - sum(w)


def at_least_zero(f):
    return mpf(0) if f(mpf(0)) <= 0 else bisect(f, mpf(0), mpf(100))


def combine(cells):
    y = [(log(mpf(a) / b) + log(mpf(c) / d)) / 2 for a, b, c, d in cells]
    v = [(1 / mpf(a) + 1 / mpf(b) + 1 / mpf(c) + 1 / mpf(d)) / 4 for a, b, c, d in cells]
    k = len(y)
    mu, se, w, q = pool(y, v, mpf(0))
    s1, s2 = sum(w), sum(x * x for x in w)
    out = {"theta": y, "variance": v, "common": {"mu": mu, "std_error": se}, "q": q, "i2": max(mpf(0), (q - (k - 1)) / q)}
    tau2 = {
        "DL": max(mpf(0), (q - (k - 1)) / (s1 - s2 / s1)),
        "PM": at_least_zero(lambda t: pool(y, v, t)[3] - (k - 1)),
        "REML": at_least_zero(lambda t: reml_score(y, v, t)),
        "ML": at_least_zero(lambda t: ml_score(y, v, t)),
    }
    out["q_p"] = 1 - chi2_cdf(q, k - 1)
    z = findroot(lambda x: mp.ncdf(x) - mpf("0.975"), 2)
    t1, t2 = t_quantile(mpf("0.975"), k - 1), t_quantile(mpf("0.975"), k - 2)
    rows = {}
    for name, value in tau2.items():
        mu, se, _, residual = pool(y, v, value)
        scale = residual / (k - 1)
        for adjustment, factor, quantile in (("none", mpf(1), z), ("HK", scale, t1), ("modified_HK", max(mpf(1), scale), t1)):
            s = se * sqrt(factor)
            width = t2 * sqrt(value + s * s)
            rows[name + " " + adjustment] = {"mu": mu, "std_error": s, "low": mu - quantile * s, "high": mu + quantile * s, "tau2": value,
                                             "prediction_low": mu - width, "prediction_high": mu + width}
    out["rows"] = rows
    for name, p in (("tau2_low", mpf("0.975")), ("tau2_high", mpf("0.025"))):
        quantile = bisect(lambda x: p - chi2_cdf(x, k - 1), mpf(0), mpf(100))
        out[name] = at_least_zero(lambda t: pool(y, v, t)[3] - quantile)
    return out


def laplace(cells):
    def log_likelihood(theta, beta, sd):
        total = mpf(0)
        for a, b, c, d in cells:
            rows = ((a, a + b, theta + beta), (c, c + d, theta - beta))
            u = mpf(0)
            for _ in range(60):
                p = [1 / (1 + exp(-(eta + sd * u))) for _, _, eta in rows]
                slope = sd * sum(k - n * x for (k, n, _), x in zip(rows, p)) - u
                curve = 1 + sd * sd * sum(n * x * (1 - x) for (_, n, _), x in zip(rows, p))
                u += slope / curve
                if abs(slope) < mpf(10) ** -35:
                    break
            total += sum(k * (eta + sd * u) - n * log(1 + exp(eta + sd * u)) for k, n, eta in rows) - u * u / 2 - log(curve) / 2
        return total

    x = [mpf("0.69"), mpf("0.34"), mpf("0.43")]
    order = lambda i, j: tuple((1 if m == i else 0) + (1 if m == j else 0) for m in range(3))
    for _ in range(8):
        g = [diff(log_likelihood, tuple(x), tuple(1 if m == i else 0 for m in range(3))) for i in range(3)]
        h = matrix(3, 3)
        for i in range(3):
            for j in range(3):
                h[i, j] = -diff(log_likelihood, tuple(x), order(i, j))
        covariance = inverse(h)
        x = [a + sum(covariance[i, j] * g[j] for j in range(3)) for i, a in enumerate(x)]
    return {"log_odds": x[0], "position_log_odds": x[1], "sd_pattern": x[2], "log_likelihood": log_likelihood(*x),
            "std_error": sqrt(covariance[0, 0]), "position_std_error": sqrt(covariance[1, 1])}


def plain(x):
    if isinstance(x, dict):
        return {key: plain(value) for key, value in x.items()}
    if isinstance(x, list):
        return [plain(value) for value in x]
    return x if isinstance(x, str) else float(x)


if __name__ == "__main__":
    print(json.dumps({
        "source": "worked examples D1 and D2, invented trials (testdata/scenario/d1.csv, d2.csv); not from a publication",
        "computed_with": "Python 3 with mpmath 1.3.0, 40 digits: worked.py beside this file",
        "d1": plain(combine(D1)),
        "d2": plain({**combine(D2), "laplace": laplace(D2)}),
    }, indent=1))
