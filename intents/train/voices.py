"""Speak the corpus with parametric voices (nitech_us_clb, bdl, jmk and mixes of two), exact phone times.

voices.py OUT N SEED VOCABULARY ARPA VOICES [VOICE...]: VOICES is the shared folder of
voices with tools/rhsay.py, VOICE some of its names or mixes (a+b:0.4). Writes the files
of synth.py (which see) and OUT/rows.tsv: voice, first label, labels, callouts, text.
"""
import multiprocessing as mp
import os
import random
import sys
import tempfile
import wave

import numpy as np

import corpus
import synth

FROM = {"pau": "SIL", "sil": "SIL", "x": "SIL", "ssil": "SIL", "ax": "AH", "axr": "ER", "ix": "IH", "dx": "T", "el": "L", "em": "M", "en": "N", "nx": "N", "hv": "HH", "ux": "UW", "wh": "W"}


def phones(path, n):
    """Phone index per 10 ms of an HTS label file with times in 100 ns."""
    y = np.zeros(n, np.uint8)
    for line in open(path):
        a, b, name = line.split()[:3]
        p = name.split("-", 1)[1].split("+", 1)[0] if "-" in name and "+" in name else name
        y[int(round(int(a) / 1e5)):int(round(int(b) / 1e5))] = synth.INDEX[FROM.get(p, p.upper())]
    return y


def work(job):
    voice, texts, seed, folder = job
    sys.path.insert(0, folder + "/tools")
    import rhsay
    rng, out, rows = random.Random(seed), [], []
    v = rhsay.Voice("+".join(folder + "/" + x for x in voice.split("+")))
    with tempfile.TemporaryDirectory() as d:
        for (text, calls), u in zip(texts, rhsay.front([t for t, _ in texts])):
            try:
                v.say(rhsay.labels(u, int(v.three)), d + "/x.wav", rng.uniform(.82, 1.22), rng.uniform(-3, 3), rng.randrange(1 << 30), None, rng.uniform(0, .1), d + "/x.lab", rng.uniform(-.03, .03))
                w = wave.open(d + "/x.wav")
                x = np.frombuffer(w.readframes(w.getnframes()), np.int16).astype(np.float32)
                if w.getframerate() != 16000:
                    x = synth.resample(x, 16000 / w.getframerate())
                y = phones(d + "/x.lab", len(x) // 160)
            except Exception as e:
                print("voices:", voice, repr(text), e, file=sys.stderr)
                continue
            if len(y) >= 30:
                out.append(synth.finish(x, y, calls, rng))
                rows.append((voice, len(out[-1][1]), " ".join(map(str, calls)), text))
    return [np.concatenate(c) for c in zip(*out)], rows


def main():
    out, n, seed, vocabulary, arpa, folder, *voices = sys.argv[1:]
    n, seed = int(n), int(seed)
    texts = list(corpus.sentences(n, seed, vocabulary, arpa))
    jobs = [(voices[k % len(voices)], texts[i:i + 40], seed * 100003 + i, folder) for k, i in enumerate(range(0, n, 40))]
    with mp.Pool() as pool:
        parts = pool.map(work, jobs, 1)
    synth.write(out, [p for p, _ in parts], len(parts))
    at = 0
    with open(out + "/rows.tsv", "w") as f:
        for _, rows in parts:
            for voice, k, calls, text in rows:
                f.write(f"{voice}\t{at}\t{k}\t{calls}\t{text}\n")
                at += k


if __name__ == "__main__":
    main()
