"""Write golden vectors: what PyTorch makes of a known sound, for the Go test.

golden.py OUT.json NET.bin...: the files are those of the nets as they are
embedded (batch norm folded, 8-bit); the sound is a
formula (see sound), so that the Go side can make it too; OUT holds log-mel
frames and log posteriors of the phones and the callouts.
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
    """{name: tensor}, [(dilation, depthwise, its bias, pointwise, its bias)] of a weights file: see net.save."""
    b, at, rows = open(path, "rb").read(), 8, []
    def take(kind, n):
        nonlocal at
        x = np.frombuffer(b, kind, n, at).astype(np.float32)
        at += x.size * np.dtype(kind).itemsize
        return x
    while at < len(b):
        n, = struct.unpack_from("<I", b, at); name = b[at + 4:at + 4 + n].decode(); at += 4 + n
        rank, = struct.unpack_from("<I", b, at)
        shape = struct.unpack_from(f"<{rank}I", b, at + 4); at += 4 + 4 * rank
        if rank == 1:
            x = take("<f2", shape[0])
        else:
            scale = take("<f2", shape[0])
            x = take("i1", int(np.prod(shape))).reshape(shape[0], -1) * scale[:, None]
        rows.append((name, torch.tensor(x.reshape(shape))))
    first = [i for i, (n, _) in enumerate(rows) if n[:2] == "dw" and n[-1] == "w"]
    return dict(rows), [(int(rows[i][0][2:-2]), *(t for _, t in rows[i:i + 4])) for i in first]


def posteriors(path, sound):
    """[outputs, 40] and [outputs, callouts] log posteriors of samples [1, n]."""
    t, layers = read(path)
    m = LogMel(level=t["level"].item() > 0, warp=t["warp"].item()).eval()(sound)
    x = F.relu(F.conv1d(m, t["front.w"], t["front.b"], stride=2))
    for n, (d, dw, db, pw, pb) in enumerate(layers):
        if n == len(layers) - 2:
            phones = F.conv1d(x, t["out.w"].unsqueeze(2), t["out.b"])
        h = F.conv1d(F.pad(x, ((dw.shape[1] - 1) * d, 0)), dw.unsqueeze(1), db, dilation=d, groups=len(dw))
        x = x + F.relu(F.conv1d(h, pw.unsqueeze(2), pb))
    return [y.log_softmax(1)[0].T for y in (phones, F.conv1d(x, t["call.w"].unsqueeze(2), t["call.b"]))]


def main():
    with torch.no_grad():
        x = sound().unsqueeze(0)
        m, nets = LogMel().eval()(x), [posteriors(f, x) for f in sys.argv[2:]]
        phones, calls = (sum(y).div(len(nets)).log_softmax(1) for y in zip(*nets))
    rnd = lambda t: [[round(x, 5) for x in row] for row in t.tolist()]
    json.dump({"mel": rnd(m[0].T[::20]), "mel_every": 20, "delay": DELAY, "log_posteriors": rnd(phones), "log_callouts": rnd(calls)}, open(sys.argv[1], "w"))


if __name__ == "__main__":
    main()
