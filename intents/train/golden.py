"""Write golden vectors: what PyTorch makes of a known sound, for the Go test.

golden.py OUT.json NET.bin...: the files are those of the nets as they are
embedded (batch norm folded, 8-bit); the sound is a
formula (see sound), so that the Go side can make it too; OUT holds log-mel
frames and log posteriors of the phones and the callouts.
"""
import json
import sys

import torch

from net import DELAY, EARS, LogMel, Tcn, load, read


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


def posteriors(path, sound):
    """[outputs, 40] and [outputs, callouts] log posteriors of samples [1, n]."""
    t, _ = read(path)
    net = Tcn(len(t["front.b"]), len(t["call.b"]), (EARS[int(t["level"].item())],))
    return [y[0, :, 0].log_softmax(0).T for y in load(path, net, 0).eval()([LogMel(t["warp"].item())(sound)])]


def main():
    with torch.no_grad():
        x = sound().unsqueeze(0)
        m, nets = LogMel().eval()(x), [posteriors(f, x) for f in sys.argv[2:]]
        phones, calls = (sum(y).div(len(nets)).log_softmax(1) for y in zip(*nets))
    rnd = lambda t: [[round(x, 5) for x in row] for row in t.tolist()]
    json.dump({"mel": rnd(m[0].T[::20]), "mel_every": 20, "delay": DELAY, "log_posteriors": rnd(phones), "log_callouts": rnd(calls)}, open(sys.argv[1], "w"))


if __name__ == "__main__":
    main()
