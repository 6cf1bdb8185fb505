"""Human voices that say callouts: sentences of the corpus pieced together from
the sounds of one speaker's aligned recordings. Rough, but the only human
callouts to be had; without them a net would learn that humans make none.
"""
import json
import multiprocessing as mp
import random
import re
import sys

import numpy as np

import align
import corpus
import folds
import synth

ENOUGH = 40  # seconds that a speaker must have
FADE = 48    # samples of cross-fade at a join


class Speaker:
    """Sounds of one voice: phone, first and past-the-last label of 10 ms, in the order they were said."""

    def __init__(self, recordings):
        self.wave = np.concatenate([w[:len(y) * 160] for w, y in recordings])
        y = np.concatenate([y for _, y in recordings])
        edge = np.r_[0, np.nonzero(np.diff(y.astype(int)))[0] + 1, len(y)]
        self.units = [(int(y[a]), int(a), int(b)) for a, b in zip(edge, edge[1:])]
        self.at = {}
        for i, (p, a, b) in enumerate(self.units):
            if p != 255 and 2 <= b - a <= 40:
                self.at.setdefault(p, []).append(i)

    def run(self, phones, k, rng):
        """The longest stretch of this voice that says phones[k:], its first unit and length."""
        best = []
        for i in self.at.get(phones[k], ()):
            n = 1
            while k + n < len(phones) and i + n < len(self.units) and self.units[i + n][0] == phones[k + n]:
                n += 1
            best.append((n + rng.random() * .9, i))
        return max(best, default=None)

    def say(self, phones, rng):
        """Wave (float) and phone per 10 ms; None if the voice lacks a sound."""
        x, y, k = np.zeros(0), [], 0
        while k < len(phones):
            if phones[k] == 0:
                n = rng.randrange(6, 25)
                x, y, k = np.r_[x, np.zeros(n * 160)], y + [0] * n, k + 1
                continue
            got = self.run(phones, k, rng)
            if got is None:
                return None
            n, i = int(got[0]), got[1]
            a, b = self.units[i][1] * 160, self.units[i + n - 1][2] * 160
            piece = self.wave[max(0, a - FADE):b].astype(float)
            extra = len(piece) - (b - a)
            ramp = np.linspace(0, 1, extra)
            if extra and len(x) >= extra:
                x[-extra:] = x[-extra:] * (1 - ramp) + piece[:extra] * ramp
            x = np.r_[x, piece[extra:]]
            for p, s, e in self.units[i:i + n]:
                y += [p] * (e - s)
            k += n
        return x, np.array(y, np.uint8)


def phones(text, prons, rng):
    """Phone indices of a sentence; None if a word is unknown."""
    text = re.sub(r"\bp e a\b", "p e ay_", re.sub(r"\ba fib\b", "ay_ fib", text))
    out = []
    for w in text.replace(",", " ,").split():
        if w == ",":
            out.append(0)
        elif w == "ay_":
            out.append(synth.INDEX["EY"])
        elif w in prons:
            out += [synth.INDEX[p] for p in rng.choice(prons[w])]
        else:
            return None
    return out


def work(job):
    texts, seed = job
    rng = random.Random(seed)
    out = []
    for text, calls in texts:
        p = phones(text, PRONS, rng)
        said = p and rng.choices(SPEAKERS, [len(s.wave) ** .5 for s in SPEAKERS])[0].say(p, rng)
        if said and len(said[1]) >= 30:
            x, y = said
            tempo = rng.uniform(.9, 1.12)
            if rng.random() < .5:  # another throat
                pitch = 2 ** rng.uniform(-.3, .4)
                x, tempo = synth.reshape(x, pitch, pitch ** .3 * rng.uniform(.93, 1.08)), tempo * pitch
            x = synth.resample(x, 1 / tempo)
            y = y[np.minimum((np.arange(len(x) // 160) * tempo).astype(int), len(y) - 1)]
            out.append(synth.finish(x, y, calls, rng))
    return [np.concatenate(c) for c in zip(*out)]


def main():
    """collage.py OUT N SEED PEOPLE CMUDICT VOCABULARY ARPA [FOLD]: PEOPLE is what people.py wrote."""
    global SPEAKERS, PRONS
    out, n, seed, folder, dictionary, vocabulary, arpa = sys.argv[1:8]
    n, seed, fold = int(n), int(seed), (sys.argv[8:] + [""])[0]
    z = np.load(folder + "/people.npz")
    wave, phone, by = z["wave"], z["phone"], {}
    for r in json.loads(str(z["rows"])):
        # Meetings have several voices under one name.
        if r["words"] and r["kind"] == "speech" and not folds.held(r["speaker"], fold) and not r["speaker"].startswith("ami"):
            by.setdefault(r["speaker"], []).append((wave[r["at"] * 160:(r["at"] + r["n"]) * 160], phone[r["at"]:r["at"] + r["n"]]))
    SPEAKERS = [Speaker(r) for s, r in sorted(by.items()) if sum(len(y) for _, y in r) > 100 * ENOUGH]
    PRONS = align.load_dict(dictionary, vocabulary)
    texts = list(corpus.sentences(n, seed, vocabulary, arpa))
    with mp.get_context("fork").Pool() as pool:
        parts = pool.map(work, [(texts[i:i + 40], seed * 7919 + i) for i in range(0, n, 40)], 1)
    synth.write(out, parts, len(parts))
    print(f"collage {len(SPEAKERS)} voices", flush=True)


if __name__ == "__main__":
    main()
