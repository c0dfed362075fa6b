# Regenerates scipy.csv: NumPy 1.24 and SciPy 1.10 on the data that golden.R made.
# Run in this folder: python3 golden.py (Debian: python3-scipy)
import csv
import numpy as np
from scipy import optimize, stats

rows = []
put = lambda what, value: rows.append((what, "%.12g" % value))


def column(name, i=0):
    return np.genfromtxt(name + ".csv", delimiter=",", skip_header=1, ndmin=2)[:, i]


lake, nile, x, y = column("LakeHuron"), column("Nile"), column("map", 0), column("map", 1)
for name, v in (("LakeHuron", lake), ("Nile", nile), ("map", y)):
    for q in (0, 0.01, 0.1, 0.25, 0.5, 0.9, 0.99, 1):
        put("quantile %s %g" % (name, q), np.quantile(v, q))  # linear: Hyndman and Fan's 7
    put("sd " + name, np.std(v, ddof=1))
for p in (1e-6, 0.025, 0.2, 0.5, 0.9, 0.999):
    put("normal %g" % p, stats.norm.ppf(p))
for df in (1, 2, 4.5, 12, 80):
    for t in (0.5, 2, 4):
        put("p %g %g" % (t, df), 2 * stats.t.sf(t, df))

# Ordinary least squares by the singular value decomposition.
X = np.column_stack([np.ones_like(x), 1 / x, x])
ols = np.linalg.lstsq(X, y, rcond=None)[0]
for i in range(3):
    put("ols %d" % i, ols[i])

# Huber's estimate by minimizing Huber's loss itself, not by reweighting; the scale is
# proposed again from the residuals until it stays.
b = ols
for _ in range(200):
    s = np.median(np.abs(y - X @ b)) / 0.6745
    b = optimize.minimize(lambda b: np.sum(2 * np.where(np.abs(y - X @ b) <= 1.345 * s, (y - X @ b) ** 2 / 2,
        1.345 * s * (np.abs(y - X @ b) - 1.345 * s / 2))), b, jac=lambda b: -2 * X.T @ np.clip(y - X @ b, -1.345 * s, 1.345 * s),
        method="BFGS", options={"gtol": 1e-10}).x
for i in range(3):
    put("huber %d" % i, b[i])
put("huber scale", s)

# The ordinary bootstrap, which is the block bootstrap of blocks of one reading: standard
# error and 95 % percentile interval of a mean.
for name, v in (("LakeHuron", lake), ("Nile", nile)):
    r = stats.bootstrap((v,), np.mean, n_resamples=100000, method="percentile", random_state=1)
    put("bootstrap %s se" % name, r.standard_error)
    put("bootstrap %s lo" % name, r.confidence_interval.low)
    put("bootstrap %s hi" % name, r.confidence_interval.high)

with open("scipy.csv", "w") as f:
    w = csv.writer(f, lineterminator="\n")
    w.writerow(("what", "value"))
    w.writerows(rows)
