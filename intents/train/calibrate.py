"""Fit the confidence: a logistic regression on the decoder's evidence.

calibrate.py TRACE.jsonl REFERENCE.tsv: TRACE holds a line
{"file","r":{result},"f":[features]} for every candidate (go test -run Trace
./intents/acoustic). Prints calibration.go's coefficients and what thresholds give.
"""
import json
import sys

import numpy as np


def main():
    ref = {}
    for l in open(sys.argv[2]).read().splitlines()[1:]:
        f, cond, a, b, c, text, val = l.split("\t")
        ref.setdefault(f, []).append((float(a), float(b), c, {k: float(v) for k, v in (x.split("=") for x in val.split())}, cond))
    X, Y, group, found, total = [], [], [], set(), {}
    for f, rows in ref.items():
        for r in rows:
            if r[2]:
                total[r[4]] = total.get(r[4], 0) + 1
    for l in open(sys.argv[1]):
        d = json.loads(l)
        m = (d["r"]["start"] + d["r"]["end"]) / 2 / 16000
        y = 0
        for a, b, c, v, cond in ref.get(d["file"], []):
            if a - .25 < m < b + .25 and c == d["r"]["callout"] and v == (d["r"]["values"] or {}):
                y = 1
                found.add((d["file"], a))
        X.append(d["f"]); Y.append(y); group.append(d["file"].split("-")[0])
    X, Y, group = np.array(X), np.array(Y, float), np.array(group)
    print("candidates", len(Y), "right", int(Y.sum()), "utterances found", len(found), "of", sum(total.values()))
    mu, sd = X.mean(0), X.std(0) + 1e-9
    mu[0], sd[0] = 0, 1
    Z = (X - mu) / sd
    w = np.zeros(X.shape[1])
    for _ in range(60):  # Newton, with a little ridge
        p = 1 / (1 + np.exp(-Z @ w))
        H = (Z * (p * (1 - p))[:, None]).T @ Z + np.eye(len(w)) * 1.0
        w += np.linalg.solve(H, Z.T @ (Y - p) - w)
    c = w / sd
    c[0] = w[0] - (w[1:] * mu[1:] / sd[1:]).sum()
    print("var calibration = [...]float64{" + ", ".join(f"{x:.4f}" for x in c) + "}")
    p = 1 / (1 + np.exp(-X @ c))
    for th in (.3, .4, .5, .6, .7, .8, .9):
        on = p >= th
        print(th, "accepted right", f"{(Y[on].sum() / sum(total.values())):.3f}", "accepted wrong", int((1 - Y[on]).sum()), {g: (int(Y[on & (group == g)].sum()), total.get(g, 0), int((1 - Y)[on & (group == g)].sum())) for g in sorted(set(group))} if th in (.5, .7) else "")


if __name__ == "__main__":
    main()
