"""Fit the confidence: a logistic regression on the decoder's evidence.

calibrate.py TRACE.jsonl REFERENCE.tsv [TRACE REFERENCE ...]: TRACE holds a line
{"file","r":{result},"f":[features]} for every candidate (go test -run Trace
./intents/acoustic). Prints calibration.go's coefficients and what thresholds give, there and
on further sets.
"""
import json
import sys

import numpy as np


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


def report(X, Y, group, total, c):
    p = 1 / (1 + np.exp(-X @ c))
    for th in (.3, .5, .7, .9):
        on = p >= th
        print(th, "right", f"{Y[on].sum() / sum(total.values()):.3f}", "wrong", int((1 - Y[on]).sum()), {g: f"{int(Y[on & (group == g)].sum())}/{total.get(g, 0)} wrong {int((1 - Y)[on & (group == g)].sum())}" for g in sorted(set(group))})


def main():
    X, Y, group, total = load(sys.argv[1], sys.argv[2])
    mu, sd = X.mean(0), X.std(0) + 1e-9
    mu[0], sd[0] = 0, 1
    Z = (X - mu) / sd
    w = np.zeros(X.shape[1])
    for _ in range(60):  # Newton, with a little ridge
        p = 1 / (1 + np.exp(-Z @ w))
        H = (Z * (p * (1 - p))[:, None]).T @ Z + np.eye(len(w))
        w += np.linalg.solve(H, Z.T @ (Y - p) - w)
    c = w / sd
    c[0] = w[0] - (w[1:] * mu[1:] / sd[1:]).sum()
    print("var calibration = [...]float64{" + ", ".join(f"{x:.4f}" for x in c) + "}")
    report(X, Y, group, total, c)
    for trace, reference in zip(sys.argv[3::2], sys.argv[4::2]):
        print("on", trace)
        report(*load(trace, reference), c)


if __name__ == "__main__":
    main()
