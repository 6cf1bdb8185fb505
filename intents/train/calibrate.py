"""Fit the confidence: small nets on the decoder's evidence, one with the second
opinion (the last features) and one without, for phrases of a site's own.

calibrate.py OUT.json TRACE.jsonl REFERENCE.tsv [TRACE REFERENCE ...]: TRACE holds
a line {"file","r":{result},"f":[features]} for every candidate (go test -run
Trace ./intents/acoustic). Fits on the first pair, writes OUT (calibration.json of
intents/acoustic) and prints what thresholds give, there and on further pairs.
"""
import json
import sys

import numpy as np
import torch

HIDDEN, EPOCHS, JITTER, OPINIONS = 24, 60, .15, 4
TALK = 4  # weight of a candidate in human talk: an arrest has hours of it


def load(trace, reference):
    ref, X, Y, group, found, total = {}, [], [], [], set(), {}
    for l in open(reference).read().splitlines()[1:]:
        f, cond, a, b, c, text, val = l.split("\t")
        ref.setdefault(f, []).append((float(a), float(b), c, {k: float(v) for k, v in (x.split("=") for x in val.split())}, cond))
        if c:
            total[cond] = total.get(cond, 0) + 1
    for l in open(trace):
        d = json.loads(l)
        m = (d["r"]["start"] + d["r"]["end"]) / 2 / 16000
        y, cond = 0, "human"
        for a, b, c, v, cond_ in ref.get(d["file"], []):
            cond = cond_
            if a - .25 < m < b + .25 and c == d["r"]["callout"] and v == (d["r"]["values"] or {}):
                y = 1
                found.add((d["file"], a))
        X.append(d["f"]); Y.append(y); group.append(cond)
    print("candidates", len(Y), "right", int(sum(Y)), "utterances found", len(found), "of", sum(total.values()))
    return np.array(X), np.array(Y, float), np.array(group), total


def fit(X, Y, W):
    torch.manual_seed(1)
    mean, scale = X.mean(0), np.maximum(X.std(0), 1e-3)
    A, y, w = torch.tensor((X - mean) / scale).float(), torch.tensor(Y).float(), torch.tensor(W).float()
    net = torch.nn.Sequential(torch.nn.Linear(A.shape[1], HIDDEN), torch.nn.Tanh(), torch.nn.Linear(HIDDEN, 1))
    opt = torch.optim.AdamW(net.parameters(), lr=5e-3, weight_decay=1e-2)
    for _ in range(EPOCHS):
        for i in torch.randperm(len(A)).split(512):
            # Jitter: voices that were not trained on give other evidence.
            loss = torch.nn.functional.binary_cross_entropy_with_logits(net(A[i] + JITTER * torch.randn_like(A[i]))[:, 0], y[i], w[i])
            opt.zero_grad(); loss.backward(); opt.step()
    rnd = lambda t: np.round(np.asarray(t.tolist() if hasattr(t, "tolist") else t), 5).tolist()
    return {"mean": rnd(mean), "scale": rnd(scale), "hidden": rnd(net[0].weight), "bias": rnd(net[0].bias), "out": rnd(net[2].weight[0]), "out_bias": rnd(net[2].bias)[0]}


def odds(c, X):
    h = np.tanh((X - c["mean"]) / c["scale"] @ np.array(c["hidden"]).T + c["bias"])
    return h @ c["out"] + c["out_bias"]


def report(X, Y, group, total, c):
    """What thresholds give, by the average of the two judges as the Go side takes it."""
    p = 1 / (1 + np.exp(-(odds(c["both"], X) + odds(c["phones"], X[:, :-OPINIONS])) / 2))
    for th in (.3, .4, .5, .6, .7, .9):
        on = p >= th
        print(th, "right", f"{Y[on].sum() / sum(total.values()):.3f}", "wrong", int((1 - Y[on]).sum()), {g: f"{int(Y[on & (group == g)].sum())}/{total.get(g, 0)} wrong {int((1 - Y)[on & (group == g)].sum())}" for g in sorted(set(group))})


def main():
    X, Y, group, total = load(sys.argv[2], sys.argv[3])
    W = np.where(group == "human", TALK, 1.)
    c = {"phones": fit(X[:, :-OPINIONS], Y, W), "both": fit(X, Y, W)}
    json.dump(c, open(sys.argv[1], "w"))
    report(X, Y, group, total, c)
    for trace, reference in zip(sys.argv[4::2], sys.argv[5::2]):
        print("on", trace)
        report(*load(trace, reference), c)


if __name__ == "__main__":
    main()
