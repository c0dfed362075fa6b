"""Makes the recordings of the seeds A to B-1 step S in a folder, and prints for each a JSON line of what is known of it:
record.py DIR A B S RATES. A recording is written whole before its line is printed."""
import json, os, sys

from scenario import draw
from score import record


def main():
    folder, a, b, s = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
    rates = [float(x) for x in sys.argv[5].split(',')]
    for seed in range(a, b, s):
        sc = draw(seed)
        if sc.spec.get('wide'):
            continue
        rate = rates[(seed - 1) % len(rates)]
        path = os.path.join(folder, '%d.csv' % seed)
        forces = record(sc, rate, path)['force']
        ends = [t for t, side in forces if side == 'release']
        dead = 'failed' not in sc.false.get('input', ())  # nobody can see a force on an input that does not read

        def force(side, t):
            end = min([e for e in ends if e > t], default=0)
            return dict(side=side, begin=t, end=end, faint=dead or end - t < 3.5)

        print(json.dumps(dict(
            seed=seed, rate=rate, fault=sc.fault, style=sc.style, marks=bool(sc.marks), accepted=sorted(sc.accepted), undecided=sorted(sc.undecided),
            false={k: sorted(v) for k, v in sc.false.items()},
            forces=[force(side, t) for t, side in forces if side != 'release'])), flush=True)


if __name__ == '__main__':
    main()
