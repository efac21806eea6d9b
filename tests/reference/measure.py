"""Reference values for src/measure, from well-known libraries.

Run: python3 measure.py   (writes measure.json beside itself; needs numpy,
scipy, statsmodels, pymannkendall, pingouin, pandas, mir_eval)

The versions used are written into the file.
"""
import json
import math
import pathlib
import platform
import warnings

import mir_eval
import numpy as np
import pandas as pd
import pingouin
import pymannkendall
import scipy
import scipy.optimize
import scipy.special as sp
import scipy.stats as st
import statsmodels
import statsmodels.api
from statsmodels.stats.inter_rater import cohens_kappa
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

warnings.filterwarnings("ignore")
rng = np.random.default_rng(20240613)
out = {
    "versions": {
        "python": platform.python_version(),
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "statsmodels": statsmodels.__version__,
        "pymannkendall": "1.4.3",
        "pingouin": pingouin.__version__,
        "mir_eval": mir_eval.__version__,
    }
}

# --- distributions
out["distributions"] = {
    "normal_cdf": [[z, st.norm.cdf(z)] for z in (-12.0, -6.0, -3.1, -1.96, -0.4, -1e-3, 0.0, 0.7, 2.5, 5.0)],
    "t": [[l, v, st.t.ppf(0.5 + l / 2, v)] for l in (0.5, 0.9, 0.95, 0.99) for v in (1.0, 2.0, 5.0, 16.0, 120.0)],
    "f": [[p, a, b, st.f.ppf(p, a, b)] for p in (0.9, 0.975) for a, b in ((1.0, 3.0), (5.0, 4.79), (9.0, 27.0), (40.5, 3.2))],
    "fair_coins_cdf": [[k, n, st.binom.cdf(k, n, 0.5)] for k, n in ((0, 6), (3, 10), (9, 10), (5, 20), (40, 100), (4900, 10000), (149400, 300000), (60, 100))],
    "erfcx": [[x, sp.erfcx(x)] for x in (0.0, 0.3, 1.0, 5.0, 12.0, 24.9, 25.1, 80.0, 1e4)],
}

# --- quantiles: numpy's names of types 1 to 9
methods = ["inverted_cdf", "averaged_inverted_cdf", "closest_observation", "interpolated_inverted_cdf",
           "hazen", "weibull", "linear", "median_unbiased", "normal_unbiased"]
out["quantiles"] = []
for n in (1, 2, 3, 7, 10, 20, 41):
    values = np.round(rng.normal(200, 60, n), 1)
    for p in (0.05, 0.1, 0.25, 1 / 3, 0.5, 0.77, 0.95):
        out["quantiles"].append({"values": values.tolist(), "p": p,
                                 "types": [float(np.quantile(values, p, method=m)) for m in methods]})

# --- Wilson
out["wilson"] = []
for k, n, level in ((0, 1, 0.95), (1, 1, 0.95), (0, 17, 0.9), (3, 17, 0.95), (17, 17, 0.99), (50, 1000, 0.95), (999, 1000, 0.8)):
    low, high = proportion_confint(k, n, alpha=1 - level, method="wilson")
    out["wilson"].append([k, n, level, max(0.0, float(low)), min(1.0, float(high))])

# --- ex-Gaussian
out["exgauss"] = {"values": [], "fits": []}
for mu, sigma, tau in ((200, 25, 50), (-20, 30, 5), (180, 2, 120), (0, 60, 60)):
    for x in (mu - 6 * sigma, mu - sigma, mu, mu + tau, mu + 5 * sigma + 5 * tau, mu + 30 * tau):
        d = st.exponnorm(tau / sigma, mu, sigma)
        out["exgauss"]["values"].append([mu, sigma, tau, x, float(d.logpdf(x)), float(d.cdf(x))])
for n, mu, sigma, tau in ((40, 200, 25, 50), (80, 230, 15, 80), (150, -10, 30, 40)):
    lags = np.round(mu + sigma * rng.standard_normal(n) + tau * rng.standard_exponential(n), 1)
    best = None
    for k0 in (0.5, 1.0, 2.0, 5.0):
        fit = st.exponnorm.fit(lags, k0, loc=np.quantile(lags, 0.2), scale=lags.std() / 2)
        for _ in range(3):
            fit = st.exponnorm.fit(lags, fit[0], loc=fit[1], scale=fit[2])
        like = st.exponnorm.logpdf(lags, *fit).mean()
        if best is None or like > best[0]:
            best = (like, fit)
    k, loc, scale = best[1]
    out["exgauss"]["fits"].append({"lags_ms": lags.tolist(), "mu_sigma_tau": [loc, scale, k * scale],
                                   "mean_ln_likelihood": best[0]})

# --- trend
out["trend"] = {"mann_kendall": [], "exact": [], "theil_sen": []}
for n, step, slope in ((12, 1, 0.0), (25, 5, 0.6), (40, 10, -0.3), (60, 1, 0.0)):
    y = np.round((slope * np.arange(n) + rng.normal(0, 10, n)) / step) * step
    r = pymannkendall.original_test(y)
    out["trend"]["mann_kendall"].append({"values": y.tolist(), "s": int(r.s), "var_s": float(r.var_s), "z": float(r.z), "p": float(r.p)})
for n in (3, 4, 6, 9, 10):
    y = rng.permutation(n) + np.arange(n) * 0.3
    out["trend"]["exact"].append({"values": y.tolist(), "p": float(st.kendalltau(np.arange(n), y, method="exact").pvalue)})
for n, level, ties in ((10, 0.9, False), (18, 0.95, True), (35, 0.95, False), (50, 0.99, True)):
    t = np.sort(rng.integers(0, n, n)).astype(float) if ties else np.cumsum(rng.exponential(2, n))
    y = 200 - 0.8 * t + rng.normal(0, 12, n)
    if ties:
        y = np.round(y)
    # method="separate": intercept = median(y) - slope * median(t)
    r = st.theilslopes(y, t, alpha=level, method="separate")
    out["trend"]["theil_sen"].append({"t": t.tolist(), "y": y.tolist(), "level": level, "slope": float(r.slope),
                                      "intercept": float(r.intercept), "low": float(r.low_slope), "high": float(r.high_slope)})

# --- comparison
out["compare"] = {"mann_whitney": [], "hodges_lehmann": [], "permutation": [], "holm": []}
for m, n, shift, ties in ((4, 5, 0, False), (12, 9, 20, False), (30, 25, -10, False), (20, 30, 15, True), (60, 55, 8, False), (7, 6, 0, True)):
    x, y = rng.normal(shift, 30, m), rng.normal(0, 30, n)
    if ties:
        x, y = np.round(x / 10) * 10, np.round(y / 10) * 10
    exact = not ties and max(m, n) < 50
    method = "exact" if exact else "asymptotic"
    two = st.mannwhitneyu(x, y, alternative="two-sided", method=method, use_continuity=True)
    one = st.mannwhitneyu(x, y, alternative="greater", method=method, use_continuity=True)
    out["compare"]["mann_whitney"].append({"x": x.tolist(), "y": y.tolist(), "exact": exact, "u": float(two.statistic),
                                           "p": float(two.pvalue), "p_greater": float(one.pvalue)})
for m, n, level in ((6, 7, 0.9), (12, 9, 0.95), (25, 30, 0.99)):
    x, y = rng.normal(15, 30, m), rng.normal(0, 30, n)
    diff = np.sort(np.subtract.outer(x, y).ravel())
    # exact distribution of U by counting: choose(m+n, m) ways as a Gaussian binomial
    ways = [1]
    poly = np.array([1], dtype=object)
    for i in range(1, m + 1):
        up = np.zeros(len(poly) + n + i, dtype=object)
        up[: len(poly)] += poly
        up[n + i :] -= poly
        quotient = np.zeros(len(up) - i, dtype=object)
        for j in range(len(quotient)):
            quotient[j] = up[j] + (quotient[j - i] if j >= i else 0)
        poly = quotient
    total = math.comb(m + n, m)
    cumulative, k = 0, 0
    while True:
        cumulative += int(poly[k])
        if cumulative / total > (1 - level) / 2:
            break
        k += 1
    # scipy's own exact tail agrees with the count
    u_tail = st.mannwhitneyu(np.arange(m) + 0.5, np.arange(n), alternative="less", method="exact")
    assert abs(sum(int(c) for c in poly[: int(u_tail.statistic) + 1]) / total - u_tail.pvalue) < 1e-9
    out["compare"]["hodges_lehmann"].append({"x": x.tolist(), "y": y.tolist(), "level": level, "shift": float(np.median(diff)),
                                             "low": float(diff[k - 1]), "high": float(diff[-k])})
for m, n, name in ((5, 6, "mean"), (7, 7, "median"), (4, 8, "median"), (6, 8, "mean")):
    x, y = np.round(rng.normal(15, 30, m)), np.round(rng.normal(0, 30, n))
    f = np.mean if name == "mean" else np.median
    stat = lambda a, b, axis=-1: np.abs(f(a, axis=axis) - f(b, axis=axis))
    r = st.permutation_test((x, y), stat, n_resamples=np.inf, alternative="greater", vectorized=True)
    out["compare"]["permutation"].append({"x": x.tolist(), "y": y.tolist(), "statistic": name, "difference": float(f(x) - f(y)),
                                          "p": float(r.pvalue), "partings": math.comb(m + n, m)})
for n in (1, 3, 8):
    p = np.round(rng.uniform(0, 0.3, n) ** 2, 4)
    out["compare"]["holm"].append({"p": p.tolist(), "adjusted": multipletests(p, method="holm")[1].tolist()})

# --- agreement
out["agree"] = {"kappa": [], "icc": []}
for table in ([[20, 5], [10, 15]], [[44, 5, 1], [7, 20, 3], [9, 5, 6]], [[3, 9], [8, 2]], [[30, 2, 0, 1], [4, 12, 3, 0], [0, 2, 9, 5], [1, 0, 2, 6]]):
    r = cohens_kappa(np.array(table))
    out["agree"]["kappa"].append({"table": table, "kappa": float(r.kappa), "se": float(r.std_kappa)})
for n, k in ((6, 4), (12, 2), (25, 3)):
    ratings = np.round(rng.normal(0, 3, (n, 1)) + rng.normal(0, 1, (1, k)) + rng.normal(0, 1.5, (n, k)), 2) + 10
    frame = pd.DataFrame([{"t": i, "j": j, "r": ratings[i, j]} for i in range(n) for j in range(k)])
    r = pingouin.intraclass_corr(frame, targets="t", raters="j", ratings="r").set_index("Type")
    two = [i for i in r.index if i in ("ICC2", "ICC(A,1)")][0]
    mean3 = [i for i in r.index if i in ("ICC3k", "ICC(C,k)")][0]
    ci = r.loc[two, "CI95" if "CI95" in r.columns else "CI95%"]
    out["agree"]["icc"].append({"ratings": ratings.tolist(), "icc2": float(r.loc[two, "ICC"]), "icc3k": float(r.loc[mean3, "ICC"]),
                                "icc2_low": float(ci[0]), "icc2_high": float(ci[1])})

# --- detection
out["detection"] = []
for n, m, span, tol in ((0, 0, 1, 0.05), (5, 0, 5, 0.05), (0, 4, 5, 0.05), (20, 22, 4, 0.05), (30, 25, 2, 0.1), (15, 15, 10, 0.5), (40, 40, 2, 0.025), (25, 30, 3, 0.2)):
    ref = np.sort(np.round(rng.uniform(0, span, n), 2))
    # half of the found events are shaken reference events, some exactly on the edge
    near = ref[: m // 2] + rng.choice([-tol, 0.0, tol, 0.3 * tol], min(m // 2, n))
    est = np.sort(np.abs(np.round(np.concatenate([near, rng.uniform(0, span, m - len(near))]), 3)))
    f, p, r = mir_eval.onset.f_measure(ref, est, window=tol)
    matches = len(mir_eval.util.match_events(ref, est, tol)) if n and m else 0
    out["detection"].append({"reference_s": ref.tolist(), "found_s": est.tolist(), "tolerance_s": tol,
                             "matches": matches, "f": float(f), "precision": float(p), "recall": float(r)})

# --- over the weeks. A second source of chance, so that what stands above stays as it is.
rng = np.random.default_rng(20250330)

# Several values at one time, and ties: S by counting, z of scipy's tau-b (no continuity).
out["trend"]["tied_times"] = []
for n, span, step in ((12, 6, 1), (30, 12, 10), (60, 25, 5), (45, 45, 20)):
    t = np.sort(rng.integers(0, span, n)).astype(float)
    y = np.round((rng.normal(0, 15, n) - 0.8 * t) / step) * step
    s = sum(np.sign(y[j] - y[i]) * np.sign(t[j] - t[i]) for i in range(n) for j in range(i + 1, n))
    p = float(st.kendalltau(t, y, method="asymptotic").pvalue)
    out["trend"]["tied_times"].append({"t": t.tolist(), "y": y.tolist(), "s": int(s), "p_without_continuity": p})

# Sen's slope of evenly spaced values, by another program than scipy.
out["trend"]["sens_slope"] = []
for n, step in ((9, 1), (26, 10), (51, 5)):
    y = np.round((40 - 0.7 * np.arange(n) + rng.normal(0, 12, n)) / step) * step
    r = pymannkendall.sens_slope(y)
    out["trend"]["sens_slope"].append({"y": y.tolist(), "slope": float(r.slope), "intercept": float(r.intercept)})

# How neighbours hang together: correlation of neighbouring ranks, put right for a fitted line.
out["trend"]["serial"] = []
for n, phi, step in ((10, 0.0, 0), (15, 0.5, 0), (40, 0.7, 0), (33, 0.4, 10), (25, -0.5, 0)):
    rest = np.empty(n)
    rest[0] = rng.normal()
    for k in range(1, n):
        rest[k] = phi * rest[k - 1] + rng.normal()
    rest *= 15
    if step:
        rest = np.round(rest / step) * step
    ranks = st.rankdata(rest)
    ranks -= ranks.mean()
    r = float(np.dot(ranks[1:], ranks[:-1]) / np.dot(ranks, ranks))
    r = float(np.clip((n * r + 2) / (n - 4), 0, 0.9))
    out["trend"]["serial"].append({"rest": rest.tolist(), "inflation": (1 + r) / (1 - r)})

# When a line reaches a level: every time at which the fitted mean, by statsmodels'
# ordinary least squares, does not differ from the level (its 95 % interval holds it).
out["trend"]["crossing"] = []
for n, slope, target in ((8, -3.0, 40.0), (30, -1.2, 30.0), (19, -2.0, 60.0)):
    t = np.cumsum(rng.integers(1, 4, n)).astype(float)
    y = 100 + slope * t + rng.normal(0, 8, n)
    fit = statsmodels.api.OLS(y, statsmodels.api.add_constant(t)).fit()
    at = (target - fit.params[0]) / fit.params[1]
    def out_by(time, which):
        ends = fit.get_prediction([[1.0, time]]).conf_int(alpha=0.05)[0]
        return float(ends[which] - target)
    # The slope is negative: the lower end comes down to the level first.
    low = scipy.optimize.brentq(out_by, at - 1000, at, args=(0,), xtol=1e-10)
    high = scipy.optimize.brentq(out_by, at, at + 1000, args=(1,), xtol=1e-10)
    out["trend"]["crossing"].append({"t": t.tolist(), "y": y.tolist(), "target": target,
                                     "at": float(at), "low": low, "high": high})

# EWMA by pandas, from a first value that is the target.
out["ewma"] = []
for n, weight in ((25, 0.2), (40, 0.05)):
    y = np.round(rng.normal(20, 12, n), 2)
    averages = pd.Series(np.concatenate([[20.0], y])).ewm(alpha=weight, adjust=False).mean()[1:]
    out["ewma"].append({"target": 20.0, "weight": weight, "values": y.tolist(), "averages": averages.tolist()})

# The interval of a median between order statistics: scipy's for the quantile 1/2.
out["median_interval"] = []
for n, step in ((6, 0), (11, 5), (20, 0), (57, 10)):
    y = rng.normal(30, 40, n)
    y = np.round(y / step) * step if step else y
    ends = [st.quantile_test(y, q=float(np.median(y)), p=0.5, alternative=side).confidence_interval(0.975)
            for side in ("less", "greater")]
    out["median_interval"].append({"values": y.tolist(), "low": float(ends[1].low), "high": float(ends[0].high)})

path = pathlib.Path(__file__).with_name("measure.json")
path.write_text(json.dumps(out, indent=None, separators=(",", ":")).replace('],"', '],\n"').replace('},{', '},\n{') + "\n")
print(path.name, path.stat().st_size, "bytes")
