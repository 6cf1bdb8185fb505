"""Two nets as one of twice the width, that says what the mean of both says; training goes on from
it, and joins what each has learned (the weights between the two begin at nothing).

merge.py OUT.bin FIRST.bin SECOND.bin: both with the same ear, the same layers and the same callouts.
"""
import sys

import torch

from net import read, write


def merge(first, second):
    (named, layers), (other, below) = read(first), read(second)
    if [d for d, *_ in layers] != [d for d, *_ in below] or not torch.equal(named["level"], other["level"]):
        raise SystemExit(f"merge: {first} and {second} have another ear or other layers")
    rows = [(n, named[n]) for n in ("level", "warp")] + [("priors", torch.logaddexp(named["priors"], other["priors"]) - torch.tensor(2.).log())]
    rows += [(n, torch.cat([named[n], other[n]])) for n in ("front.w", "front.b")]
    for (d, *one), (_, *two) in zip(layers, below):
        dw, db, pw, pb = (torch.cat([a, b]) if i != 2 else torch.block_diag(a, b) for i, (a, b) in enumerate(zip(one, two)))
        rows += [(f"dw{d}.w", dw), (f"dw{d}.b", db), ("pw.w", pw), ("pw.b", pb)]
    for n in ("out", "call"):
        rows += [(n + ".w", torch.cat([named[n + ".w"], other[n + ".w"]], 1) / 2), (n + ".b", (named[n + ".b"] + other[n + ".b"]) / 2)]
    return rows


if __name__ == "__main__":
    out, first, second = sys.argv[1:]
    write(out, merge(first, second))
