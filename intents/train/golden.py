"""Write golden vectors: what PyTorch makes of a known sound, for the Go test.

golden.py WEIGHTS.pt OUT.json [WIDTH]: the sound is a formula (see sound), so
that the Go side can make it too; OUT holds log-mel frames and log posteriors.
"""
import json
import sys

import torch

from net import DELAY, LogMel, Tcn


def sound(n=32000):
    """2 s: a rising tone with harmonics over noise from a linear congruence."""
    out, seed = [], 1
    for i in range(n):
        seed = (seed * 1103515245 + 12345) % 2147483648
        f = 120 + 60 * i / n
        t = i / 16000
        saw = 2 * ((f * t) % 1) - 1
        out.append(int(3000 * saw * (1 if (i // 3200) % 2 == 0 else .2) + (seed / 2147483648 - .5) * 800))
    return torch.tensor(out).float() / 32768


def main():
    model = Tcn(c=int((sys.argv[3:] + [256])[0])).eval()
    model.load_state_dict(torch.load(sys.argv[1], map_location="cpu"))
    with torch.no_grad():
        m = LogMel()(sound().unsqueeze(0))
        lp = model(m).log_softmax(1)[0].T
    rnd = lambda t: [[round(x, 5) for x in row] for row in t.tolist()]
    json.dump({"mel": rnd(m[0].T[::20]), "mel_every": 20, "delay": DELAY, "log_posteriors": rnd(lp)}, open(sys.argv[2], "w"))


if __name__ == "__main__":
    main()
