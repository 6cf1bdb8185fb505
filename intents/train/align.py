"""Where the words and sounds of a recording are: Viterbi over a network of all
pronunciations, with those of running speech (as intents/acoustic/spoken.go has
them) and a pause that may stand between words."""
import re

import numpy as np

from synth import INDEX, PHONES

IGNORE = 255
WEAK = {"a": "AH", "and": "AH N|N|AE N", "are": "ER", "as": "AH Z", "at": "AH T", "can": "K AH N", "do": "D AH", "for": "F ER", "from": "F R AH M",
        "had": "HH AH D|AH D", "has": "HH AH Z|AH Z", "have": "HH AH V|AH V|AH", "he": "IY", "her": "HH ER|ER", "him": "HH IH M|IH M", "his": "IH Z",
        "is": "Z", "of": "AH V|AH", "or": "ER", "that": "DH AH T", "the": "DH AH|DH IY", "them": "DH AH M|AH M", "to": "T AH|T IH", "was": "W AH Z",
        "will": "W AH L|AH L", "you": "Y AH", "your": "Y ER"}
VOWELS = set("AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW".split())


def spoken(word, prons):
    out = list(prons)
    add = lambda p: p in out or out.append(p)
    for f in filter(None, WEAK.get(word, "").split("|")):
        add(f.split())
    for p in prons:
        n = len(p)
        if n > 3 and p[-1] in "TD" and p[-2] not in VOWELS:
            add(p[:-1])
        if n > 3 and p[-2:] == ["IH", "NG"]:
            add(p[:-1] + ["N"])
        for i in range(1, n - 1):
            if p[i] == "T" and p[i - 1] == "N" and p[i + 1] in VOWELS:
                add(p[:i] + p[i + 1:])
    return out


def load_dict(path, vocabulary=None):
    """word -> [[phone]], the vocabulary's own first."""
    d = {}
    for line in open(path, errors="replace"):
        w, *p = line.split()
        w = re.sub(r"\(\d+\)$", "", w)
        if p and all(x in INDEX for x in p):
            d.setdefault(w, []).append(p)
    if vocabulary:
        for m in re.finditer(r'^  "?([a-z\' ]+)"?: +\[([A-Z ,]+)\]', open(vocabulary).read().split("callouts:")[0], re.M):
            d[m[1]] = [p.split() for p in m[2].split(",")]
    return d


class Network:
    """States of a text: phone, word (-1: silence), and for each the states that may come before (itself first)."""

    def __init__(self, words, lex):
        phone, word, before, ends = [0], [-1], [[0]], [0]  # silence at the start
        start = [True]
        for k, w in enumerate(words):
            heads, tails = ends, []
            for p in spoken(w, lex[w]):
                for i, x in enumerate(p):
                    before.append([len(phone)] + (heads if i == 0 else [len(phone) - 1]))
                    start.append(k == 0 and i == 0)
                    phone.append(INDEX[x]); word.append(k)
                tails.append(len(phone) - 1)
            phone.append(0); word.append(-1); before.append([len(phone) - 1] + tails); start.append(False)
            ends = tails + [len(phone) - 1]
        wide = max(map(len, before))
        self.phone, self.word = np.array(phone), np.array(word)
        self.before = np.array([b + [len(phone)] * (wide - len(b)) for b in before])
        self.start, self.end = np.array(start), np.array(ends)


def align(lp, prior, words, lex):
    """lp: [T, 40] log posteriors. -> phone per frame (IGNORE: fits badly), [(word, first, past the last frame, fit)]; None if it is too short."""
    net = Network(words, lex)
    e = (lp - .6 * prior)[:, net.phone]
    T, S = e.shape
    if T < len(words) * 2:
        return None
    score = np.r_[np.where(net.start, e[0], -1e9), -1e9]
    back = np.zeros((T, S), np.int16)
    rows = np.arange(S)
    for t in range(1, T):
        a = score[net.before]
        k = a.argmax(1)
        back[t] = net.before[rows, k]
        score = np.r_[a[rows, k] + e[t], -1e9]
    at = net.end[score[net.end].argmax()]
    if score[at] < -1e8:
        return None
    path = np.zeros(T, int)
    for t in range(T - 1, -1, -1):
        path[t] = at
        at = back[t, at]
    out = net.phone[path].astype(np.uint8)
    edge = np.r_[0, np.nonzero(np.diff(path))[0] + 1, T]
    for a, b in zip(edge, edge[1:]):
        if lp[a:b, out[a]].mean() < (-2.6 if out[a] else -2.5):
            out[a:b] = IGNORE
    said = []
    for k, w in enumerate(words):
        on = np.nonzero(net.word[path] == k)[0]
        said.append((w, int(on[0]), int(on[-1]) + 1, float(lp[on, net.phone[path[on]]].mean())))
    return out, said
