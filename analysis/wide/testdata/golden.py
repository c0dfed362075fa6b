# Writes scipy.csv: SciPy 1.10 on the traces that the test wrote into traces.json, by other ways than the program's:
# the noise is a dense covariance matrix under Cholesky's factor, lags are digital filters of a straight-line hold, all
# parameters are sought at once, and an interval's ends by a root of the profile likelihood.
# Run in this folder: /usr/bin/python3 golden.py (Debian: python3-scipy)
import json
import numpy as np
from scipy import linalg, optimize, signal, stats

STEP = 0.02


class Ring:
    def __init__(self, c):
        self.scale = c["Scale"]
        self.fades = c["Fall"]
        self.t, self.y = np.array(c["YT"]), np.log1p(c["Y"])
        self.line = (self.t - self.t[0]) / (self.t[-1] - self.t[0]) - 0.5
        self.grid = np.arange(self.t[0] - 8, self.t[-1] + STEP, STEP)
        self.u = np.interp(self.grid, c["UT"], np.log1p(c["U"]))
        d = np.abs(self.t[:, None] - self.t[None, :])
        cov = c["Share"] * np.exp(-d / c["Fade"]) + (1 - c["Share"]) * np.eye(len(self.t))
        self.root = linalg.cholesky(cov, lower=True)

    def lag(self, x, tau):
        num, den, _ = signal.cont2discrete(([1.0], [tau, 1.0]), STEP, method="foh")
        zi = signal.lfilter_zi(num[0], den) * x[0]
        return signal.lfilter(num[0], den, x, zi=zi)[0]

    def residual(self, v):
        begin, on, end, off, delay, tau, p, g, c, d = v
        after = self.grid - end
        fall = 1 - np.exp(-np.maximum(after, 0) / off) if self.fades else np.clip(after / off, 0, 1)
        ramp = np.clip((self.grid - begin) / on, 0, 1) - fall
        s = np.interp(self.t, self.grid, self.lag(ramp, tau))
        u = np.interp(self.t - delay, self.grid, self.lag(self.u, tau))
        white = linalg.solve_triangular(self.root, self.y - p * s - g * u - c - d * self.line, lower=True)
        known = self.scale * np.array([(delay - 0.4) / 0.15, np.log(tau / 0.12) / 1.2, (g - 1) / 0.5])  # one more reading each
        return np.append(white, known)

    def fit(self, start, held=None):
        lo = np.array([start[0] - 4, 0.15, start[2] - 4, 0.15, 0.05, 0.02, -1, -3, -1, -1])
        hi = np.array([start[0] + 4, 6, start[2] + 4, 6, 2, 2, 1, 5, 1, 1])
        free = [i for i in range(10) if i != held]

        def f(x):
            v = np.array(start, float)
            v[free] = x
            return self.residual(v)

        x0 = np.clip(np.array(start, float), lo + 1e-6, hi - 1e-6)[free]
        r = optimize.least_squares(f, x0, bounds=(lo[free], hi[free]), x_scale=np.array([1, 1, 1, 1, .3, .1, .05, 1, .01, .01])[free], diff_step=1e-3)
        v = np.array(start, float)
        v[free] = r.x
        return v, 2 * r.cost

    def ends(self, best, rss, i, step, least, most):
        limit = stats.chi2.ppf(0.95, 1) * 3

        def over(x):
            v = best.copy()
            v[i] = x
            return len(self.t) * np.log(self.fit(v, i)[1] / rss) - limit

        out = []
        for sign, to in ((-1, least), (1, most)):
            a, s = best[i], step
            while True:
                b = a + sign * s
                if sign * (b - to) >= 0:
                    b = to
                if over(b) > 0:
                    out.append(optimize.brentq(over, a, b, xtol=2e-3))
                    break
                if b == to:
                    out.append(to)
                    break
                a, s = b, 1.5 * s
        return out


with open("scipy.csv", "w") as w:
    w.write("name,gain,gain_low,gain_high,delay,delay_low,delay_high,lag,lag_low,lag_high,fed,rss\n")
    for c in json.load(open("traces.json")):
        r = Ring(c)
        start = [c["Begin"], c["On"], c["End"], c["Off"], 0.35, 0.15, c["P"], 0.8, 0, 0]
        best, rss = r.fit(start)
        row = [best[7], *r.ends(best, rss, 7, 0.05, -3, 5), best[4], *r.ends(best, rss, 4, 0.05, 0.05, 2),
               best[5], *r.ends(best, rss, 5, 0.05, 0.02, 2), np.expm1(best[6]), rss]
        w.write(c["Name"] + "," + ",".join("%.5g" % x for x in row) + "\n")
        print(c["Name"], row)
