# Regenerates readings.csv and golden.csv: two made-up recordings of a switching sensor,
# at idle and at 2300 rpm, read at uneven times, and what NumPy 1.24 and SciPy 1.10 say of
# them. Run in this folder: python3 golden.py (Debian: python3-scipy)
import csv
import numpy as np
from scipy import interpolate, signal

rng = np.random.default_rng(5)
readings, golden = [], []
for name, rpm, period, rich, rise, rate, offset in (
        ("idle", 800, 1.4, 0.55, 0.10, 25, 0.0), ("2000 to 2500 rpm", 2300, 0.7, 0.45, 0.06, 30, 200.0)):
    # What the sensor does, every millisecond: cycles of uneven length, edges of a given
    # time from 0.1 to 0.9 V, a slow wander, noise.
    v, edges = [], []
    while len(v) < 90000:
        p = period * rng.uniform(0.85, 1.15)
        up, down = int(1000 * p * rich), int(1000 * p * (1 - rich))
        e = int(1000 * rise)
        edges.append((len(v) / 1000, (len(v) + up) / 1000))
        v += list(np.linspace(0.1, 0.9, e)) + [0.9] * (up - e) + list(np.linspace(0.9, 0.1, e)) + [0.1] * (down - e)
    t = np.arange(len(v)) / 1000
    v = np.array(v) + 0.03 * np.sin(t / 7)
    # What was read: about rate times a second.
    at = np.cumsum(rng.uniform(0.7, 1.3, int(80 * rate)) / rate)
    at = at[at < 80].round(6)
    got = (np.interp(at, t, v) + rng.normal(0, 0.01, len(at))).round(4)
    readings += [(f"{a + offset:.6f}", rpm, x) for a, x in zip(at, got)]
    put = lambda what, value: golden.append((name, what, f"{value:.6f}"))
    put("low", np.quantile(got, 0.01))
    put("high", np.quantile(got, 0.99))
    put("mean", got.mean())
    put("share rich", (got > 0.45).mean())
    put("readings/s", (len(at) - 1) / (at[-1] - at[0]))
    # Cycles as peaks that stand out, of what was read.
    peaks, _ = signal.find_peaks(got, prominence=0.5)
    put("cycles", len(peaks))
    # Crossings of 0.45 V by interpolation between the readings, those apart by less than
    # 50 ms being noise around one.
    cross = interpolate.PchipInterpolator(at, got - 0.45).roots(extrapolate=False)
    cross = cross[np.concatenate(([True], np.diff(cross) > 0.05))]
    put("changes in 10 s", 10 * len(cross) / (at[-1] - at[0]))
    up = cross[interpolate.PchipInterpolator(at, got).derivative()(cross) > 0]
    down = cross[interpolate.PchipInterpolator(at, got).derivative()(cross) < 0]
    put("period", np.median(np.diff(up)))
    put("rich", np.median([down[down > u][0] - u for u in up if (down > u).any()]))
    put("lean", np.median([up[up > d][0] - d for d in down if (up > d).any()]))
    # The strongest frequency of the unevenly read signal.
    f = np.linspace(0.2, 4, 4000)
    power = signal.lombscargle(at, got - got.mean(), 2 * np.pi * f)
    put("frequency", f[power.argmax()])
    put("edge", rise * 0.30 / 0.80)  # from 0.30 to 0.60 V, as it was made

for name, head, rows in (("readings.csv", ("t_s", "rpm", "volts"), readings), ("golden.csv", ("band", "what", "value"), golden)):
    with open(name, "w") as f:
        w = csv.writer(f, lineterminator="\n")
        w.writerow(head)
        w.writerows(rows)
