"""Combination of the worked examples D1, D2 and the BCG trials at 60 digits.

Everything follows the formulas directly: tau2 by bisection of the estimating
equation, t and chi-square quantiles by bisection of incomplete beta and gamma
functions. Prints the values of worked.json. Needs mpmath and sets.json.
"""
import json
import pathlib

import mpmath as mp

mp.mp.dps = 60


def bisect(f, lo, hi):
    """Root of a decreasing f."""
    for _ in range(200):
        mid = (lo + hi) / 2
        lo, hi = (mid, hi) if f(mid) > 0 else (lo, mid)
    return (lo + hi) / 2


def t_quantile(p, df):
    upper = lambda x: mp.betainc(mp.mpf(df) / 2, mp.mpf(1) / 2, 0, df / (df + x * x), regularized=True) / 2
    return bisect(lambda x: upper(x) - (1 - p), mp.mpf(0), mp.mpf(1000))


def chi2_quantile(p, df):
    return bisect(lambda x: p - mp.gammainc(mp.mpf(df) / 2, 0, x / 2, regularized=True), mp.mpf(0), mp.mpf(10000))


def fit(y, v, tau2):
    w = [1 / (vi + tau2) for vi in v]
    mu = sum(a * b for a, b in zip(w, y)) / sum(w)
    return w, mu, sum(a * (b - mu) ** 2 for a, b in zip(w, y))


def tau2s(y, v):
    k = len(y)
    w, _, q = fit(y, v, 0)
    dl = max(mp.mpf(0), (q - (k - 1)) / (sum(w) - sum(a * a for a in w) / sum(w)))

    def score(tau2, restricted):
        w, mu, _ = fit(y, v, tau2)
        s = sum(a * a * (b - mu) ** 2 for a, b in zip(w, y)) - sum(w)
        return s + (sum(a * a for a in w) / sum(w) if restricted else 0)

    def root(f):
        return mp.mpf(0) if f(mp.mpf(0)) <= 0 else bisect(f, mp.mpf(0), mp.mpf(100))

    return {
        "DL": dl,
        "PM": root(lambda t: fit(y, v, t)[2] - (k - 1)),
        "REML": root(lambda t: score(t, True)),
        "ML": root(lambda t: score(t, False)),
    }


def combine(y, v):
    k = len(y)
    p = mp.mpf("0.975")
    tau2 = tau2s(y, v)
    w, common, q = fit(y, v, 0)
    out = {"y": y, "v": v, "common": common, "common_se": 1 / mp.sqrt(sum(w)), "q": q, "i2": max(mp.mpf(0), (q - (k - 1)) / q), "tau2": tau2}
    out["mu"] = {name: fit(y, v, t)[1] for name, t in tau2.items()}
    w, mu, qr = fit(y, v, tau2["REML"])
    se = 1 / mp.sqrt(sum(w))
    hk, modified = se * mp.sqrt(qr / (k - 1)), se * mp.sqrt(max(mp.mpf(1), qr / (k - 1)))
    out["reml_se"], out["hk_se"], out["modified_hk_se"] = se, hk, modified
    interval = lambda c, s: [mu - c * s, mu + c * s]
    z, t1, t2 = mp.sqrt(2) * mp.erfinv(2 * p - 1), t_quantile(p, k - 1), t_quantile(p, k - 2)
    out["wald"], out["hk"], out["modified_hk"] = interval(z, se), interval(t1, hk), interval(t1, modified)
    out["modified_hk_prediction"] = interval(t2, mp.sqrt(tau2["REML"] + modified**2))
    profile = lambda c: mp.mpf(0) if q <= c else bisect(lambda t: fit(y, v, t)[2] - c, mp.mpf(0), mp.mpf(1000))
    out["tau2_qprofile"] = [profile(chi2_quantile(p, k - 1)), profile(chi2_quantile(1 - p, k - 1))]
    shrink = [tau2["REML"] / (tau2["REML"] + vi) for vi in v]
    out["blups"] = [s * yi + (1 - s) * mu for s, yi in zip(shrink, y)]
    # Given tau2: var(b_i - its estimate) = s v + (1-s)^2 var(mu).
    out["blup_se"] = [mp.sqrt(s * vi + (1 - s) ** 2 * se**2) for s, vi in zip(shrink, v)]
    return out


def log_odds_ratio(lower1, of, lower2):
    a, b, d, c = map(mp.mpf, (lower1, of - lower1, lower2, of - lower2))
    if 0 in (a, b, c, d):
        a, b, c, d = (x + mp.mpf("0.5") for x in (a, b, c, d))
    return mp.log(a * c / (b * d)), 1 / a + 1 / b + 1 / c + 1 / d


D1 = ("abcadefbcdef", [3, 4, 3, 4, 2, 3, 4, 3, 4, 3, 4, 3], [2, 2, 1, 3, 2, 1, 2, 3, 1, 1, 2, 2])
D2 = ([18, 20, 14, 22, 12, 19], [10, 8, 13, 6, 11, 12])


def plain(x):
    if isinstance(x, dict):
        return {k: plain(v) for k, v in x.items()}
    return [plain(v) for v in x] if isinstance(x, list) else float(x)


if __name__ == "__main__":
    by = lambda counts, name: sum(c for c, n in zip(counts, D1[0]) if n == name)
    d1 = [log_odds_ratio(by(D1[1], n), 8, by(D1[2], n)) for n in "abcdef"]
    d2 = [log_odds_ratio(a, 24, b) for a, b in zip(*D2)]
    bcg = json.loads((pathlib.Path(__file__).parent / "sets.json").read_text())["sets"][0]
    sets = {"d1": zip(*d1), "d2": zip(*d2), "bcg": ([mp.mpf(x) for x in bcg["yi"]], [mp.mpf(x) for x in bcg["vi"]])}
    print(json.dumps({name: plain(combine(*map(list, pair))) for name, pair in sets.items()}, indent=1))
