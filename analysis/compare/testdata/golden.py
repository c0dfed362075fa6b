# Regenerates intervals.csv (from before.csv and after.csv of golden.R), switching.csv and
# errors.csv with SciPy. Run in this folder: python3 golden.py (SciPy 1.10.1)
import csv, math
import numpy as np
from scipy import stats

BETWEEN, LEVEL = 2.0, 0.05

# The intervals of the trims: circular blocks of 20 s within each recording (Politis and
# Romano), what recordings differ by, Welch's degrees of freedom, Student's t, Holm.
def side(name, rng):
    rows = list(csv.DictReader(open(name + ".csv")))
    y = np.array([float(r["total"]) for r in rows])
    rpm = np.array([float(r["rpm"]) for r in rows])
    n, block = len(y), max(math.ceil(len(y) ** (1 / 3)), 20)
    draws = {c: [] for c in (800, 1800, 2300)}
    for _ in range(20000):
        starts = rng.integers(0, n, math.ceil(n / block))
        i = ((starts[:, None] + np.arange(block)) % n).ravel()[:n]
        for c in draws:
            v = y[i][rpm[i] == c]
            draws[c].append(v.mean() if len(v) else np.nan)
    return {c: (y[rpm == c].mean(), np.nanstd(d, ddof=1), max((rpm == c).sum() / block, 1)) for c, d in draws.items()}

rng = np.random.default_rng(7)
before, after = side("before", rng), side("after", rng)
with open("intervals.csv", "w") as f:
    f.write("rpm,difference,lo,hi,p\n")
    for c in before:
        (mb, sb, kb), (ma, sa, ka) = before[c], after[c]
        v = sb**2 + sa**2 + 2 * BETWEEN**2
        df = v**2 / (sb**4 / max(kb - 1, 1) + sa**4 / max(ka - 1, 1))
        half = stats.t.ppf(0.975, df) * math.sqrt(v)
        near = abs(ma) - abs(mb)
        f.write(f"{c},{ma-mb:.8f},{ma-mb-half:.6f},{ma-mb+half:.6f},{2*stats.t.sf(abs(near)/math.sqrt(v), df):.8f}\n")

# The errors of the sensor's figures, by scipy.stats.bootstrap over parts of 10 s.
t = np.arange(0, 200, 0.1)
slow = np.convolve(rng.normal(size=len(t) + 50), np.ones(50) / 50, "valid")[: len(t)]
amplitude = 0.38 + 0.05 * np.sin(t / 9) + 0.02 * rng.normal(size=len(t))
phase = 2 * np.pi * np.cumsum(0.1 / (1.7 + 1.5 * slow))
v = np.clip(0.45 + amplitude * np.tanh(4 * np.sin(phase) + 3 * slow), 0, 1.2)
v = np.round(v / 0.005) * 0.005
with open("switching.csv", "w") as f:
    f.write("t,volts\n")
    for a, b in zip(t, v):
        f.write(f"{a:.1f},{b:.3f}\n")
seconds = t[-1] - t[0]
n = round(seconds / 10)
part = np.minimum((t / (seconds / n)).astype(int), n - 1)
changes, last = np.zeros(len(t)), 0
for i, x in enumerate(v):
    now = 1 if x > 0.5 else -1 if x < 0.4 else last
    changes[i] = last != 0 and now != last
    last = now
parts = [np.flatnonzero(part == k) for k in range(n)]
pick = lambda i: np.concatenate([parts[int(k)] for k in i])
figures = {
    "lowest voltage (1 %)": lambda i: np.quantile(v[pick(i)], 0.01, method="lower"),
    "highest voltage (99 %)": lambda i: np.quantile(v[pick(i)], 0.99, method="lower"),
    "mean voltage": lambda i: v[pick(i)].mean(),
    "share rich": lambda i: (v[pick(i)] > 0.45).mean(),
    "changes of side in 10 s": lambda i: 10 * changes[pick(i)].sum() / seconds,
}
with open("errors.csv", "w") as f:
    f.write("figure,value,se\n")
    for name, figure in figures.items():
        b = stats.bootstrap((np.arange(n),), figure, vectorized=False, n_resamples=5000, method="percentile", random_state=rng)
        f.write(f"{name},{figure(range(n)):.6f},{b.standard_error:.6f}\n")
