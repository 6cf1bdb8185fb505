"""Fit the confidence on people and voices that the nets have never heard.

judge.py OUT.json TRACKS:CANDIDATES ... [--test TRACKS:CANDIDATES ...]: TRACKS is a folder of tracks.py,
CANDIDATES one with what `hear -candidates` wrote about each recording (NAME.jsonl). Two judges: by
the phones, and with the nets' opinion of the whole. Prints what a threshold of 0.6 gives on each.
"""
import argparse
import glob
import json
import multiprocessing as mp
import os

import numpy as np
import torch
import torch.nn as nn

PHONES, SOUND, OPINIONS, MOST = 40, 10, 4, 40
LAYER, HIDDEN = 16, 24
WEIGHT = {"alone": 1., "inside": 1., "words": .5, "talk": 1., "callouts": 1.5, "ordinary": 1., "held": 1.}


def read(job):
    ref_path, cand = job
    ref = json.load(open(ref_path))
    name = os.path.basename(ref_path)[:-5]
    out = []
    if not os.path.exists(f"{cand}/{name}.jsonl"):
        return ref, name, out
    for l in open(f"{cand}/{name}.jsonl"):
        d = json.loads(l)
        r = d["r"]
        a, b = r["start"] / 16000, r["end"] / 16000
        m, right, at = (a + b) / 2, 0, -1
        for k, (s, e, ids, text) in enumerate(ref["marks"]):
            if b > s - .2 and a < e + .4 and at < 0:
                at = k
            if s - .25 < m < e + .3 and r["callout"] in ids:
                at = k
                right = int(not r["values"] or f' {r["text"]} ' in f" {text.replace(',', ' ')} ".replace("  ", " "))
        s = np.zeros((MOST, 1 + SOUND), np.float32)
        rows = (d["s"] or [])[:MOST]
        s[:len(rows)] = rows
        out.append((d["f"], s, len(rows), right, at))
    return ref, name, out


def gather(pairs):
    """Features [n, f], sounds [n, MOST, 11], counts, right, kind, condition, recording, mark; and the recordings."""
    jobs = [(f, c) for t, c in (p.split(":") for p in pairs) for f in sorted(glob.glob(t + "/*.json"))]
    with mp.get_context("fork").Pool() as pool:
        parts = pool.map(read, jobs, 4)
    F, S, N, Y, K, R, M = [], [], [], [], [], [], []
    refs = []
    for ref, name, rows in parts:
        for f, s, n, y, at in rows:
            F.append(f); S.append(s); N.append(n); Y.append(y); K.append(ref["kind"]); R.append(len(refs)); M.append(at)
        refs.append(ref)
    return dict(f=np.array(F, np.float32), s=np.array(S), n=np.array(N), y=np.array(Y, np.float32), kind=np.array(K), r=np.array(R), m=np.array(M)), refs


class Judge(nn.Module):
    def __init__(self, n):
        super().__init__()
        self.phone, self.sound = nn.Embedding(PHONES, LAYER), nn.Linear(SOUND, LAYER, bias=False)
        nn.init.normal_(self.phone.weight, std=.1)
        self.hidden, self.out = nn.Linear(n + 2 * LAYER, HIDDEN), nn.Linear(HIDDEN, 1)

    def forward(self, f, s, n):
        h = torch.tanh(self.phone(s[:, :, 0].long()) + self.sound(s[:, :, 1:]))
        on = (torch.arange(h.shape[1], device=h.device) < n.unsqueeze(1)).unsqueeze(2)
        mean = (h * on).sum(1) / n.clamp(min=1).unsqueeze(1)
        most = torch.where(on, h, torch.full_like(h, -1)).amax(1)
        return self.out(torch.tanh(self.hidden(torch.cat([f, mean, most], 1))))[:, 0]


def fit(d, w, features, epochs=40, jitter=.15):
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(1)
    f = d["f"][:, :features]
    mean, scale = f.mean(0), np.maximum(f.std(0), 1e-3)
    on = np.arange(MOST) < d["n"][:, None]
    flat = d["s"][:, :, 1:][on]
    smean, sscale = flat.mean(0), np.maximum(flat.std(0), 1e-3)
    s = d["s"].copy(); s[:, :, 1:] = (s[:, :, 1:] - smean) / sscale
    t = lambda x: torch.tensor(x).float().to(dev)
    F_, S_, N_, Y_, W_ = t((f - mean) / scale), t(s), t(d["n"]), t(d["y"]), t(w)
    nets = []
    net = Judge(features).to(dev)
    opt = torch.optim.AdamW(net.parameters(), lr=4e-3, weight_decay=2e-2)
    b = 512
    total = epochs * (len(F_) // b + 1)
    sched = torch.optim.lr_scheduler.LambdaLR(opt, lambda k: .02 + .5 * (1 + np.cos(np.pi * min(1, k / total))))
    for _ in range(epochs):
        for i in torch.randperm(len(F_), device=dev).split(b):
            s = S_[i]
            # Jitter: voices that were not fitted on give other evidence.
            s = torch.cat([s[:, :, :1], s[:, :, 1:] + jitter * torch.randn_like(s[:, :, 1:])], 2)
            loss = nn.functional.binary_cross_entropy_with_logits(net(F_[i] + jitter * torch.randn_like(F_[i]), s, N_[i]), Y_[i], W_[i])
            opt.zero_grad(); loss.backward(); opt.step(); sched.step()
    rnd = lambda x: np.round(np.asarray(x.detach().cpu() if torch.is_tensor(x) else x, dtype=float), 4).tolist()
    return {"mean": rnd(mean), "scale": rnd(scale), "sound_mean": rnd(smean), "sound_scale": rnd(sscale), "phone": rnd(net.phone.weight), "sound": rnd(net.sound.weight),
            "hidden": rnd(net.hidden.weight), "bias": rnd(net.hidden.bias), "out": rnd(net.out.weight[0]), "out_bias": rnd(net.out.bias)[0]}


def odds(c, d, features):
    f = (d["f"][:, :features] - np.array(c["mean"])) / np.array(c["scale"])
    s = (d["s"][:, :, 1:] - np.array(c["sound_mean"])) / np.array(c["sound_scale"])
    out = np.zeros(len(f))
    for i in range(0, len(f), 20000):
        k = slice(i, i + 20000)
        h = np.tanh(s[k] @ np.array(c["sound"]).T + np.array(c["phone"])[d["s"][k, :, 0].astype(int)])
        on = (np.arange(MOST) < d["n"][k, None])[:, :, None]
        mean, most = (h * on).sum(1) / np.maximum(1, d["n"][k, None]), np.where(on, h, -1).max(1)
        out[k] = np.tanh(np.c_[f[k], mean, most] @ np.array(c["hidden"]).T + np.array(c["bias"])) @ np.array(c["out"]) + c["out_bias"]
    return out


def known(d):
    return ~(d["f"][:, -OPINIONS:-1] == -3).all(1)


def confidence(c, d):
    z = odds(c["phones"], d, d["f"].shape[1] - OPINIONS)
    z = np.where(known(d), (z + odds(c["both"], d, d["f"].shape[1])) / 2, z)
    return 1 / (1 + np.exp(-z))


def report(title, d, refs, c, need=.6):
    p = confidence(c, d)
    rows = {}
    for k, ref in enumerate(refs):
        # A phrase inside another's mark may be found too: of overlapping candidates the surest counts.
        i = np.nonzero((d["r"] == k) & (p >= need))[0]
        right = set(d["m"][i[d["y"][i] == 1]])
        wrong = set(d["m"][i[d["y"][i] == 0]]) - right - {-1}
        free = int((d["m"][i] == -1).sum())
        found = set(d["m"][(d["r"] == k) & (d["y"] == 1)])
        name = ref["kind"] if ref["kind"] not in ("held",) else ref["name"]
        r = rows.setdefault((name, ref["cond"]), np.zeros(6))
        r += [len(ref["marks"]), len(right), len(wrong), free, len(found), 1]
    for (kind, cond), (n, right, wrong, free, found, tracks) in sorted(rows.items()):
        print(f"{title} {kind:12s} {cond:10s} n={int(n):4d} right={right / max(1, n):.3f} wrong={wrong / max(1, n):.3f} found={found / max(1, n):.3f} invented={int(free)}")


def keep(d, refs, folder):
    """The evidence in parts small enough to be carried, as 16-bit floats."""
    os.makedirs(folder, exist_ok=True)
    on = np.arange(MOST) < d["n"][:, None]
    json.dump(refs, open(folder + "/refs.json", "w"))
    parts = max(1, len(d["y"]) // 30000 + 1)
    for k, i in enumerate(np.array_split(np.arange(len(d["y"])), parts)):
        np.savez_compressed(f"{folder}/part{k}.npz", f=d["f"][i].astype(np.float16), s=d["s"][i][on[i]].astype(np.float16), n=d["n"][i].astype(np.uint8),
                            y=d["y"][i].astype(np.uint8), kind=d["kind"][i], r=d["r"][i].astype(np.int16), m=d["m"][i].astype(np.int16))


def kept(folder):
    """What keep wrote, as gather returns it."""
    parts = [np.load(f) for f in sorted(glob.glob(folder + "/part*.npz"), key=lambda f: int(f.split("part")[-1][:-4]))]
    d = {k: np.concatenate([p[k] for p in parts]) for k in ("f", "n", "y", "kind", "r", "m")}
    s = np.zeros((len(d["y"]), MOST, 1 + SOUND), np.float32)
    s[np.arange(MOST) < d["n"][:, None]] = np.concatenate([p["s"] for p in parts])
    return dict(d, f=d["f"].astype(np.float32), s=s, y=d["y"].astype(np.float32)), json.load(open(folder + "/refs.json"))


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("out"); ap.add_argument("pairs", nargs="+"); ap.add_argument("--test", nargs="*", default=[])
    ap.add_argument("--negatives", type=float, default=1., help="weight of what was not said")
    ap.add_argument("--need", type=float, default=.6)
    ap.add_argument("--keep", help="write the evidence to this folder, in parts, instead of fitting")
    a = ap.parse_args()
    d, refs = gather(a.pairs)
    if a.keep:
        return keep(d, refs, a.keep)
    use = d["kind"] != "held"  # those voices only measure
    e = {k: v[use] for k, v in d.items()}
    w = np.zeros(len(e["y"]), np.float32)
    for k, x in WEIGHT.items():
        on = e["kind"] == k
        w[on] = x * len(w) / max(1, on.sum()) / 5 if on.any() else 0
    print("candidates", len(e["y"]), "right", int(e["y"].sum()), {k: (int((e["kind"] == k).sum()), int(e["y"][e["kind"] == k].sum())) for k in WEIGHT}, flush=True)
    w = np.minimum(w, 8) * np.where(e["y"] > 0, 1, a.negatives)
    kn = known(e)
    c = {"phones": fit(e, w, e["f"].shape[1] - OPINIONS), "both": fit({k: v[kn] for k, v in e.items()}, w[kn], e["f"].shape[1])}
    json.dump(c, open(a.out, "w"))
    report("fit ", d, refs, c, a.need)
    for t in a.test:
        report("test", *gather([t]), c, a.need)


if __name__ == "__main__":
    main()
