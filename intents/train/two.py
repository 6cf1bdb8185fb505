"""Two judges as one of twice the width, whose log odds are their mean: one may have been fitted on other
nets and voices than the other.

two.py OUT.json FIRST.json SECOND.json [PHONES BOTH]: what is added to the log odds of the second (.3 and .5).
"""
import json
import sys

import numpy as np


def scaled(n, o):
    """The weights of judge n for features that are scaled as those of o."""
    m1, s1, m2, s2 = (np.array(x) for x in (o["mean"], o["scale"], n["mean"], n["scale"]))
    a1, b1, a2, b2 = (np.array(x) for x in (o["sound_mean"], o["sound_scale"], n["sound_mean"], n["sound_scale"]))
    k, hidden, sound = len(m1), np.array(n["hidden"]), np.array(n["sound"])
    bias = np.array(n["bias"]) + hidden[:, :k] @ ((m1 - m2) / s2)
    hidden[:, :k] *= s1 / s2
    return hidden, bias, sound * (b1 / b2), np.array(n["phone"]) + sound @ ((a1 - a2) / b2)


def two(o, n, more):
    hidden, bias, sound, phone = scaled(n, o)
    k, first, second, own = len(o["mean"]), len(o["sound"]), len(sound), np.array(o["hidden"])
    none = lambda rows, width: np.zeros((rows, width))
    top = np.c_[own[:, :k + first], none(len(own), second), own[:, k + first:], none(len(own), second)]
    below = np.c_[hidden[:, :k], none(len(hidden), first), hidden[:, k:k + second], none(len(hidden), first), hidden[:, k + second:]]
    rounded = lambda x: np.round(np.asarray(x, float), 4).tolist()
    return {**{x: o[x] for x in ("mean", "scale", "sound_mean", "sound_scale")}, "phone": rounded(np.c_[o["phone"], phone]), "sound": rounded(np.r_[o["sound"], sound]),
            "hidden": rounded(np.r_[top, below]), "bias": rounded(np.r_[o["bias"], bias]), "out": rounded(np.r_[o["out"], n["out"]] / 2),
            "out_bias": round((o["out_bias"] + n["out_bias"] + more) / 2, 4)}


if __name__ == "__main__":
    out, a, b, *more = sys.argv[1:]
    first, second = (json.load(open(p)) for p in (a, b))
    more = [float(x) for x in more] or [.3, .5]
    json.dump({k: two(first[k], second[k], x) for k, x in zip(("phones", "both"), more)}, open(out, "w"))
