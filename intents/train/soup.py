"""Mix the weights of nets that began from the same one (Wortsman et al. 2022, CVPR, "Robust fine-tuning of
zero-shot models").

soup.py OUT.bin NET.bin:SHARE NET.bin:SHARE ... [--hear WAV ...] [--callouts OURS.tsv THEIRS.tsv ...]

Shares are brought to a sum of 1; one net with a share of 1 is that net. --hear: 16 kHz recordings; each channel's
mean and deviation before its rectifier become the same mix of what they are in the nets, layer by layer,
as the mean of two nets speaks lower than either (Jordan et al. 2022, "REPAIR"). --callouts: the callouts.tsv of
each net, where they differ: the mix knows those of the first.
"""
import argparse
import wave

import numpy as np
import torch

from net import EARS, LogMel, Tcn, load, read, save


def order(path):
    """The callouts in the order of a net's numbers from 1."""
    return list(dict.fromkeys(l.split("\t")[0] for l in open(path) if l.strip()))


def open_net(path, ours=None, theirs=None):
    """(net, priors, warp) of a file of net.save, its callouts numbered as ours."""
    t, _ = read(path)
    into = None
    if ours:
        into = [0] + [ours.index(c) + 1 if c in ours else -1 for c in theirs]
    net = Tcn(len(t["front.b"]), 1 + len(ours) if ours else len(t["call.b"]), (EARS[int(t["level"].item())],))
    if ours:  # what a net was not taught has not ended
        net.call_w.data.zero_(); net.call_b.data.fill_(-12)
    return load(path, net, 0, into).eval(), t["priors"].numpy(), t["warp"].item()


def norms(net):
    return [net.fbn, *net.bn]


def heard(net, bands):
    """Mean and deviation of each channel past each norm."""
    out = []
    def take(bn, args, y):
        out.append((y.mean((0, 2)), y.std((0, 2))))
    hooks = [bn.register_forward_hook(take) for bn in norms(net)]
    with torch.no_grad():
        net([bands])
    for h in hooks:
        h.remove()
    return out


def repair(net, bands, wanted):
    """Give each norm of the net the wanted means and deviations, from the front on."""
    def fit(bn, args):
        mean, deviation = wanted.pop(0)
        bn.running_mean.copy_(args[0].mean((0, 2))); bn.running_var.copy_(args[0].var((0, 2)).clamp(min=1e-8))
        bn.weight.data.copy_(deviation); bn.bias.data.copy_(mean)
    hooks = [bn.register_forward_pre_hook(fit) for bn in norms(net)]
    with torch.no_grad():
        net([bands])
    for h in hooks:
        h.remove()


def pieces(paths, seconds=8):
    """[n, samples] of recordings."""
    out = []
    for p in paths:
        with wave.open(p) as w:
            x = np.frombuffer(w.readframes(w.getnframes()), np.int16).astype(np.float32) / 32768
        out += list(x[:len(x) // (16000 * seconds) * 16000 * seconds].reshape(-1, 16000 * seconds))
    return torch.from_numpy(np.stack(out))


def mix(nets, shares, sound=None, warp=1.):
    """One net whose weights are the mix."""
    shares = np.array(shares) / sum(shares)
    first = nets[0]
    soup = Tcn(first.c, first.calls, (first.ears[0].kind,)).eval()
    states = [n.state_dict() for n in nets]
    mean = lambda xs: sum(float(s) * x for s, x in zip(shares, xs))
    soup.load_state_dict({k: mean([x[k] for x in states]) if v.is_floating_point() else v for k, v in states[0].items()})
    if sound is not None:
        bands = LogMel(warp).eval()(sound)
        parts = [heard(n, bands) for n in nets]
        repair(soup, bands, [tuple(map(mean, zip(*layer))) for layer in zip(*parts)])
    return soup


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("out"); ap.add_argument("nets", nargs="+")
    ap.add_argument("--hear", nargs="*"); ap.add_argument("--callouts", nargs="*")
    a = ap.parse_args()
    paths, shares = zip(*(n.rsplit(":", 1) for n in a.nets))
    names = [order(c) for c in a.callouts] if a.callouts else [None] * len(paths)
    nets, priors, warps = zip(*(open_net(p, names[0], theirs) for p, theirs in zip(paths, names)))
    shares = [float(s) for s in shares]
    soup = mix(nets, shares, pieces(a.hear) if a.hear else None, warps[0])
    save(a.out, soup, 0, np.average(priors, axis=0, weights=shares), warps[0])


if __name__ == "__main__":
    main()
