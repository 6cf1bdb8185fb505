"""The log-mel front end, the two nets and their export. The Go side
(intents/acoustic) computes the same; golden vectors hold both to 1e-3."""
import math
import struct

import numpy as np
import torch
import torch.nn as nn
import torch.nn.functional as F

MELS, HOP, WIN, FFT, FLOOR = 40, 160, 400, 512, 1e-5
DELAY = 7  # output frames (20 ms each) that the net may look ahead


def mel_matrix(warp=1.):
    """[257, 40] triangular filters, 60 to 7600 Hz on the HTK mel scale. warp
    moves the frequency axis as a longer or shorter vocal tract does (training only)."""
    mel = lambda f: 2595 * math.log10(1 + f / 700)
    edges = [700 * (10 ** (m / 2595) - 1) for m in np.linspace(mel(60), mel(7600), MELS + 2)]
    hz = np.arange(FFT // 2 + 1) * 16000 / FFT
    hz = np.where(hz < 4800, hz * warp, 4800 * warp + (hz - 4800) * (8000 - 4800 * warp) / 3200)
    out = np.zeros((len(hz), MELS), np.float32)
    for m in range(MELS):
        lo, mid, hi = edges[m:m + 3]
        out[:, m] = np.maximum(0, np.minimum((hz - lo) / (mid - lo), (hi - hz) / (hi - mid)))
    return torch.tensor(out)


class LogMel(nn.Module):
    """[batch, samples] in -1..1 -> [batch, 40, frames]; frame k covers samples 160k .. 160k+399."""

    def __init__(self, level=False, warp=1.):
        super().__init__()
        self.level = level
        self.register_buffer("window", .5 - .5 * torch.cos(2 * math.pi * torch.arange(WIN) / WIN))
        self.register_buffer("mel", mel_matrix(warp))
        self.register_buffer("warped", torch.stack([mel_matrix(w) for w in np.linspace(.84, 1.19, 15)]))

    def forward(self, x, warp=False):
        y = self.bands(x, warp)
        return self.levelled(y) if self.level else y

    def levelled(self, y):
        """Each band less its running mean of 4 s, which begins with the first frame; in
        training with something quiet or like the crop, as in the middle of a stream."""
        n, a = y.shape[-1], 1 / 400
        t = torch.arange(n, device=y.device)
        w = torch.where(t[:, None] >= t[None], a * (1 - a) ** (t[:, None] - t[None]).clamp(min=0), 0.)
        first = y[:, :, 0]
        if self.training:
            low = y.mean(1).topk(max(1, n // 4), 1, largest=False).indices
            quiet = y.gather(2, low.unsqueeze(1).expand(-1, MELS, -1)).mean(2)
            first = torch.where(torch.rand(len(y), 1, device=y.device) < .5, y.mean(2), quiet)
        return y - (torch.einsum("bcs,ts->bct", y, w) + first.unsqueeze(2) * (1 - a) ** (t + 1.))

    def bands(self, x, warp=False):
        f = x.unfold(-1, WIN, HOP) * self.window
        p = torch.fft.rfft(f, FFT).abs() ** 2
        if warp:
            m = self.warped[torch.randint(0, len(self.warped), (len(x),), device=x.device)]
            return ((torch.bmm(p, m) + FLOOR).log() * .25 + 1).transpose(1, 2)
        return ((p @ self.mel + FLOOR).log() * .25 + 1).transpose(1, 2)


class Tcn(nn.Module):
    """Separable causal convolutions; output t (20 ms) tells of input 2*(t-DELAY).
    Two outputs: the phone, and past two more layers the callout that has just ended."""

    def __init__(self, c=256, calls=1, dilations=(1, 2, 4, 8) * 3 + (4, 16), k=5, out=40):
        super().__init__()
        self.c, self.dilations, self.k, self.trunk = c, dilations, k, len(dilations) - 2
        self.front = nn.Conv1d(MELS, c, 5, stride=2)
        self.fbn = nn.BatchNorm1d(c)
        self.dw = nn.ModuleList(nn.Conv1d(c, c, k, dilation=d, groups=c) for d in dilations)
        self.pw = nn.ModuleList(nn.Conv1d(c, c, 1, bias=False) for _ in dilations)
        self.bn = nn.ModuleList(nn.BatchNorm1d(c) for _ in dilations)
        self.out = nn.Conv1d(c, out, 1)
        self.call = nn.Conv1d(c, calls, 1)

    def forward(self, x):
        x = F.relu(self.fbn(self.front(x)))
        for n, (d, dw, pw, bn) in enumerate(zip(self.dilations, self.dw, self.pw, self.bn)):
            if n == self.trunk:
                phones = self.out(x)
            x = x + F.dropout(F.relu(bn(pw(dw(F.pad(x, ((self.k - 1) * d, 0)))))), .1, self.training)
        return phones, self.call(x)

    def export(self):
        def fold(w, b, bn):  # batch norm into the layer before it
            s = bn.weight / (bn.running_var + bn.eps).sqrt()
            return w * s.view(-1, *[1] * (w.dim() - 1)), (b - bn.running_mean) * s + bn.bias
        yield "front", *fold(self.front.weight, self.front.bias, self.fbn)
        for d, dw, pw, bn in zip(self.dilations, self.dw, self.pw, self.bn):
            w, b = fold(pw.weight, torch.zeros_like(bn.running_mean), bn)
            yield f"dw{d}", dw.weight[:, 0], dw.bias
            yield "pw", w[:, :, 0], b
        yield "out", self.out.weight[:, :, 0], self.out.bias
        yield "call", self.call.weight[:, :, 0], self.call.bias


class Gru(nn.Module):
    """The second architecture of the table: a strided convolution and two GRU layers."""

    def __init__(self, c=192, calls=1, out=40):
        super().__init__()
        self.front, self.fbn = nn.Conv1d(MELS, c, 5, stride=2), nn.BatchNorm1d(c)
        self.gru = nn.GRU(c, c, 2, batch_first=True, dropout=.1)
        self.out, self.call = nn.Conv1d(c, out, 1), nn.Conv1d(c, calls, 1)

    def forward(self, x):
        x = F.relu(self.fbn(self.front(x)))
        y = self.gru(x.transpose(1, 2))[0].transpose(1, 2)
        return self.out(y), self.call(y)


def save(path, model, priors, level, warp):
    """Little endian: "CXAM", u32 version 3, then per tensor u32 name length, name, u32
    rank, u32 sizes, values: 16-bit floats; a tensor of two sizes or more has a 16-bit
    float scale per first index, then its values over the scale as signed bytes. The Go
    side reads this."""
    model = model.eval().cpu()
    rows = [("level", torch.tensor([float(level)])), ("warp", torch.tensor([warp])), ("priors", torch.tensor(priors, dtype=torch.float32))]
    for name, w, b in model.export():
        rows += [(name + ".w", w), (name + ".b", b)]
    with open(path, "wb") as f:
        f.write(b"CXAM" + struct.pack("<I", 3))
        for name, t in rows:
            t = t.detach().float().contiguous().numpy()
            f.write(struct.pack("<I", len(name)) + name.encode() + struct.pack("<I", t.ndim) + struct.pack(f"<{t.ndim}I", *t.shape))
            if t.ndim == 1:
                f.write(t.astype("<f2").tobytes())
                continue
            flat = t.reshape(len(t), -1)
            scale = np.maximum(np.abs(flat).max(1), 1e-4) / 127
            scale = np.maximum(scale.astype("<f2"), np.float16(6e-8))
            f.write(scale.tobytes() + np.clip(np.round(flat / scale.astype(np.float32)[:, None]), -127, 127).astype("i1").tobytes())


def read(path):
    """{name: tensor}, [(dilation, depthwise, its bias, pointwise, its bias)] of a file of save."""
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


def load(path, model):
    """The weights of a file of save into a Tcn; its batch norms do nothing."""
    named, layers = read(path)
    put = lambda to, w: to.data.copy_(w.view(to.shape))
    put(model.front.weight, named["front.w"]); put(model.fbn.bias, named["front.b"]); model.front.bias.data.zero_()
    for (_, dw, db, pw, pb), d, p, bn in zip(layers, model.dw, model.pw, model.bn):
        put(d.weight, dw); put(d.bias, db); put(p.weight, pw); put(bn.bias, pb)
    for bn in (model.fbn, *model.bn):
        bn.running_var.fill_(1 - bn.eps)
    for name, to in (("out", model.out), ("call", model.call)):
        put(to.weight, named[name + ".w"]); put(to.bias, named[name + ".b"])
    return model


def normed(model, m):
    """A model of load, its batch norms fitted to the batch m and undone by their own weights: training can go on."""
    def fit(bn, args):
        mean, var = args[0].mean((0, 2)), args[0].var((0, 2))
        bn.running_mean.copy_(mean); bn.running_var.copy_(var)
        bn.weight.data.copy_((var + bn.eps).sqrt()); bn.bias.data.add_(mean)
    hooks = [bn.register_forward_pre_hook(fit) for bn in (model.fbn, *model.bn)]
    model.eval()
    with torch.no_grad():
        model(m)
    for h in hooks:
        h.remove()
    return model
