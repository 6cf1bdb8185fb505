"""The log-mel front end, the nets and their export. The Go side
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


EARS = ["plain", "level", "gain"]  # as the Go side numbers them
MEAN_OVER, GAIN_OVER = 400, 40     # frames of 10 ms


class LogMel(nn.Module):
    """[batch, samples] in -1..1 -> [batch, 40, frames]; frame k covers samples 160k .. 160k+399."""

    def __init__(self, warp=1.):
        super().__init__()
        self.register_buffer("window", .5 - .5 * torch.cos(2 * math.pi * torch.arange(WIN) / WIN))
        self.register_buffer("mel", mel_matrix(warp))
        self.register_buffer("warped", torch.stack([mel_matrix(w) for w in np.linspace(.84, 1.19, 15)]))

    def power(self, x):
        return torch.fft.rfft(x.unfold(-1, WIN, HOP) * self.window, FFT).abs() ** 2

    def bands(self, p, warp=False):
        m = self.warped[torch.randint(0, len(self.warped), (len(p),), device=p.device)] if warp else self.mel
        return (((p @ m) + FLOOR).log() * .25 + 1).transpose(1, 2)

    def forward(self, x, warp=False):
        return self.bands(self.power(x), warp)


def recursive(y, over, first):
    """y less than no frame back: mean over time of [b, bands, frames] as a first-order filter, that began with first."""
    n, a = y.shape[-1], 1 / over
    t = torch.arange(n, device=y.device)
    w = torch.where(t[:, None] >= t[None], a * (1 - a) ** (t[:, None] - t[None]).clamp(min=0), 0.)
    return torch.einsum("bcs,ts->bct", y, w) + first.unsqueeze(2) * (1 - a) ** (t + 1.)


class Ear(nn.Module):
    """What a net makes of the log mel bands: nothing; each band less its running
    mean; or per-channel energy normalisation (Wang et al. 2017, ICASSP), (E/M^a + d)^r - d^r
    with M the smoothed energy, whose a, d and r are trained with the net."""

    def __init__(self, kind):
        super().__init__()
        self.kind = kind
        if kind == "gain":
            self.power, self.offset, self.root = (nn.Parameter(torch.full((MELS, 1), v)) for v in (1.5, .5, -.7))

    def values(self):
        """a in 0..1, d above 0, r in 0..1, each [bands, 1]."""
        return torch.sigmoid(self.power), F.softplus(self.offset) + .01, torch.sigmoid(self.root)

    def forward(self, y):
        if self.kind == "plain":
            return y
        if self.kind == "level":
            # In training the mean begins with something quiet or like the crop, as in the middle of a stream.
            first = y[:, :, 0]
            if self.training:
                low = y.mean(1).topk(max(1, y.shape[-1] // 4), 1, largest=False).indices
                quiet = y.gather(2, low.unsqueeze(1).expand(-1, MELS, -1)).mean(2)
                first = torch.where(torch.rand(len(y), 1, device=y.device) < .5, y.mean(2), quiet)
            return y - recursive(y, MEAN_OVER, first)
        energy = ((y.float() - 1) * 4).exp()
        m = recursive(energy, GAIN_OVER, energy[:, :, 0])
        a, d, r = self.values()
        return (energy * m ** -a + d) ** r - d ** r


class Tcn(nn.Module):
    """Some nets side by side, each with an ear of its own: separable causal convolutions;
    output t (20 ms) tells of input 2*(t-DELAY). Two outputs: the phone, and past two more
    layers the callout that has just ended. Inside, tensors are [channels of all nets, batch, time]."""

    def __init__(self, c=256, calls=1, ears=("plain",), dilations=(1, 2, 4, 8) * 3 + (4, 16), k=5, out=40):
        super().__init__()
        n = len(ears)
        self.c, self.nets, self.dilations, self.k, self.trunk, self.calls = c, n, dilations, k, len(dilations) - 2, calls
        self.ears = nn.ModuleList(Ear(e) for e in ears)
        init = lambda *shape, fan: nn.Parameter((torch.rand(*shape) * 2 - 1) / fan ** .5)
        self.front_w, self.front_b = init(n, c, MELS * 5, fan=MELS * 5), nn.Parameter(torch.zeros(n, c, 1))
        self.fbn = nn.BatchNorm1d(n * c)
        L = len(dilations)
        self.dw_w, self.dw_b = init(L, k, n * c, fan=k), nn.Parameter(torch.zeros(L, n * c))
        self.pw = nn.ParameterList(init(n, c, c, fan=c) for _ in dilations)
        self.bn = nn.ModuleList(nn.BatchNorm1d(n * c) for _ in dilations)
        self.out_w, self.out_b = init(n, out, c, fan=c), nn.Parameter(torch.zeros(n, out, 1))
        self.call_w, self.call_b = init(n, calls, c, fan=c), nn.Parameter(torch.zeros(n, calls, 1))

    def heard(self, bands):
        """[one tensor [batch, 40, frames] for each net] -> the front's input, [nets, 40*5, batch*time]."""
        x = torch.stack([ear(y) for ear, y in zip(self.ears, bands)])
        x = x.unfold(3, 5, 2)  # nets, batch, 40, time, 5
        return x.permute(0, 2, 4, 1, 3).reshape(self.nets, MELS * 5, -1), x.shape[1], x.shape[3]

    def forward(self, bands):
        x, b, t = self.heard(bands)
        return self.trunk_of(x, b, t)

    def trunk_of(self, x, b, t):
        n, c = self.nets, self.c
        bn = lambda f, x: f(x.reshape(1, n * c, b * t)).view(n, c, b * t)
        x = F.relu(bn(self.fbn, torch.baddbmm(self.front_b, self.front_w, x)))
        for i, d in enumerate(self.dilations):
            if i == self.trunk:
                phones = torch.baddbmm(self.out_b, self.out_w, x)
            h = F.pad(x.view(n * c, b, t), ((self.k - 1) * d, 0))
            h = sum(h[:, :, j * d:j * d + t] * self.dw_w[i, j].view(-1, 1, 1) for j in range(self.k)) + self.dw_b[i].view(-1, 1, 1)
            h = F.relu(bn(self.bn[i], torch.bmm(self.pw[i], h.reshape(n, c, b * t))))
            x = x + F.dropout(h, .1, self.training)
        calls = torch.baddbmm(self.call_b, self.call_w, x)
        return phones.view(n, -1, b, t), calls.view(n, -1, b, t)

    def export(self, net):
        """(name, weights, bias) of one of the nets, batch norms folded in."""
        own = slice(net * self.c, (net + 1) * self.c)
        def fold(w, b, bn):
            s = (bn.weight / (bn.running_var + bn.eps).sqrt())[own]
            return w * s.view(-1, *[1] * (w.dim() - 1)), (b - bn.running_mean[own]) * s + bn.bias[own]
        yield "front", *fold(self.front_w[net].view(self.c, MELS, 5), self.front_b[net, :, 0], self.fbn)
        for i, d in enumerate(self.dilations):
            w, b = fold(self.pw[i][net], torch.zeros_like(self.bn[i].running_mean[own]), self.bn[i])
            yield f"dw{d}", self.dw_w[i, :, own].T, self.dw_b[i, own]
            yield "pw", w, b
        yield "out", self.out_w[net], self.out_b[net, :, 0]
        yield "call", self.call_w[net], self.call_b[net, :, 0]


def save(path, model, net, priors, warp):
    """One of the nets, for the Go side."""
    ear = model.ears[net]
    rows = [("level", torch.tensor([float(EARS.index(ear.kind))])), ("warp", torch.tensor([warp])), ("priors", torch.tensor(priors, dtype=torch.float32))]
    if ear.kind == "gain":
        rows.append(("gain", torch.cat([v.detach()[:, 0].cpu() for v in ear.values()])))
    for name, w, b in model.export(net):
        rows += [(name + ".w", w), (name + ".b", b)]
    write(path, rows)


def write(path, rows):
    """Little endian: "CXAM", u32 version 3, then per tensor u32 name length, name, u32
    rank, u32 sizes, values: 16-bit floats; a tensor of two sizes or more has a 16-bit
    float scale per first index, then its values over the scale as signed bytes. The Go
    side reads this."""
    with open(path, "wb") as f:
        f.write(b"CXAM" + struct.pack("<I", 3))
        for name, t in rows:
            t = t.detach().float().cpu().contiguous().numpy()
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


def load(path, model, net, into=None):
    """The weights of a file of save into one of the nets; its batch norms do nothing.
    into: the model's number of each callout of the file (corpus.renumber)."""
    named, layers = read(path)
    own = slice(net * model.c, (net + 1) * model.c)
    put = lambda to, w: to.data.copy_(w.view(to.shape))
    put(model.front_w[net], named["front.w"]); put(model.fbn.bias[own], named["front.b"])
    for i, (_, dw, db, pw, pb) in enumerate(layers):
        put(model.dw_w[i, :, own], dw.T); put(model.dw_b[i, own], db); put(model.pw[i][net], pw); put(model.bn[i].bias[own], pb)
    for bn in (model.fbn, *model.bn):
        bn.running_var[own] = 1 - bn.eps
    put(model.out_w[net], named["out.w"]); put(model.out_b[net], named["out.b"])
    for old, new in enumerate(into or range(len(named["call.b"]))):
        if new >= 0:
            model.call_w.data[net, new] = named["call.w"][old]; model.call_b.data[net, new, 0] = named["call.b"][old]
    ear = model.ears[net]
    if ear.kind == "gain" and "gain" in named:
        a, d, r = named["gain"].view(3, MELS, 1)
        put(ear.power, torch.logit(a)); put(ear.offset, torch.log(torch.expm1(d - .01))); put(ear.root, torch.logit(r))
    return model


def normed(model, bands):
    """A model of load, its batch norms fitted to a batch and undone by their own weights: training can go on."""
    def fit(bn, args):
        mean, var = args[0].mean((0, 2)), args[0].var((0, 2))
        bn.running_mean.copy_(mean); bn.running_var.copy_(var)
        bn.weight.data.copy_((var + bn.eps).sqrt()); bn.bias.data.add_(mean)
    hooks = [bn.register_forward_pre_hook(fit) for bn in (model.fbn, *model.bn)]
    model.eval()
    with torch.no_grad():
        model(bands)
    for h in hooks:
        h.remove()
    return model
