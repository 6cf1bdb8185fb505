"""Write golden vectors: what PyTorch makes of a known sound, for the Go test.

golden.py OUT.json PLAIN.bin LEVEL.bin: the files are those of the nets as they
are embedded (batch norm folded, 16-bit); the sound is a formula (see sound), so
that the Go side can make it too; OUT holds log-mel frames and log posteriors.
"""
import json
import struct
import sys

import numpy as np
import torch
import torch.nn.functional as F

from net import DELAY, LogMel


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


def read(path):
    """[(name, tensor)] of a weights file: see net.save."""
    b, at, rows = open(path, "rb").read(), 8, []
    while at < len(b):
        n, = struct.unpack_from("<I", b, at); name = b[at + 4:at + 4 + n].decode(); at += 4 + n
        rank, = struct.unpack_from("<I", b, at)
        shape = struct.unpack_from(f"<{rank}I", b, at + 4); at += 4 + 4 * rank
        size = int(np.prod(shape))
        rows.append((name, torch.tensor(np.frombuffer(b, "<f2", size, at).astype(np.float32).reshape(shape)))); at += 2 * size
    return rows


def posteriors(rows, m):
    """[outputs, 40] log posteriors of log-mel frames [1, 40, n]."""
    rows = iter(rows[1:])  # without the priors
    take = lambda: next(rows)[1]
    x = F.relu(F.conv1d(m, take(), take(), stride=2))
    for name, dw in rows:
        if name == "out.w":
            return F.conv1d(x, dw.unsqueeze(2), take()).log_softmax(1)[0].T
        d = int(name[2:-2])
        h = F.conv1d(F.pad(x, ((dw.shape[1] - 1) * d, 0)), dw.unsqueeze(1), take(), dilation=d, groups=len(dw))
        x = x + F.relu(F.conv1d(h, take().unsqueeze(2), take()))


def main():
    with torch.no_grad():
        x, nets = sound().unsqueeze(0), []
        m = LogMel().eval()(x)
        for path, mel in ((sys.argv[2], m), (sys.argv[3], LogMel(level=True).eval()(x))):
            nets.append(posteriors(read(path), mel))
        lp = ((nets[0] + nets[1]) / 2).log_softmax(1)
    rnd = lambda t: [[round(x, 5) for x in row] for row in t.tolist()]
    json.dump({"mel": rnd(m[0].T[::20]), "mel_every": 20, "delay": DELAY, "log_posteriors": rnd(lp)}, open(sys.argv[1], "w"))


if __name__ == "__main__":
    main()
