"""Decode the shared recordings and find their words and sounds.

people.py SPEECH CMUDICT VOCABULARY OUT NET.bin... [TEXTS.tsv]: SPEECH holds MANIFEST.tsv; the nets
align what has a text. TEXTS: what transcribe.mjs understood of those without one. Writes OUT/people.npz: `wave` (16 kHz, 16 bits, all end to end),
`phone` (per 10 ms, 255: unknown), `rows` (JSON: file, kind speech, word or noise, speaker,
first label and count of labels, text, words with their first and last label and fit)
and OUT/rirs.npy (measured rooms, as rooms.py writes them). Needs opusdec, sox and flite.
"""
import csv
import json
import multiprocessing as mp
import re
import subprocess
import sys

import numpy as np
import torch

import align
import synth
from net import DELAY, LogMel, Tcn, load, read, EARS

RATE, LEVEL = 16000, 9000
SURE, FIT = -.6, -1.6  # least mean log probability of a text's tokens, and of the sounds that it is aligned with


def decode(path):
    if not path.endswith(".opus"):
        raw = subprocess.run(["sox", path, "-r", "16000", "-c", "1", "-t", "s16", "-"], check=True, capture_output=True).stdout
    else:
        raw = subprocess.run(["opusdec", "--quiet", "--rate", "16000", path, "-"], check=True, capture_output=True).stdout
    return np.frombuffer(raw[:len(raw) // 2 * 2], np.int16).astype(np.float32) / 32768


def words(text):
    return re.findall(r"[a-z']+", re.sub(r"\(\d+\)", "", text.lower()))


def guessed(word):
    """How a word that no dictionary has is said, by flite's rules."""
    out = subprocess.run(["flite", "-t", word, "-ps", "-o", "none"], check=True, capture_output=True, text=True).stdout
    phones = [synth.FROM_FLITE.get(p, p.upper()) for p in out.split()]
    return [[p for p in phones if p in synth.INDEX and p != "SIL"]]


def understood(path):
    """{file: text} of a file of transcribe.mjs, of those that it was sure enough of; no digits: they are said in many ways."""
    rows = (l.rstrip("\n").split("\t") for l in open(path))
    return {f: text for f, _, sure, _, text in rows if float(sure) > SURE and re.search("[a-z]", text) and not re.search(r"\d", text)}


def posteriors(paths, waves, dev):
    """[outputs, 40] mean log posteriors of each wave, delay removed."""
    nets = []
    for p in paths:
        t, _ = read(p)
        ear = EARS[int(t["level"].item())]
        nets.append((LogMel(t["warp"].item()).to(dev).eval(), load(p, Tcn(len(t["front.b"]), len(t["call.b"]), (ear,)), 0).to(dev).eval()))
    order = sorted(range(len(waves)), key=lambda i: len(waves[i]))
    out = [None] * len(waves)
    at = 0
    with torch.no_grad():
        while at < len(order):
            k = order[at:at + max(1, 400 * RATE // (len(waves[order[min(at + 15, len(order) - 1)]]) + RATE))][:256]
            at += len(k)
            n = max(len(waves[i]) for i in k) + DELAY * 320 + 720
            x = torch.zeros(len(k), n)
            for r, i in enumerate(k):
                x[r, :len(waves[i])] = torch.from_numpy(waves[i])
            x = x.to(dev)
            lp = sum(net([mel(x)])[0][0].float().log_softmax(0) for mel, net in nets) / len(nets)
            lp = lp.log_softmax(0).permute(1, 2, 0)[:, DELAY:].cpu().numpy()
            for r, i in enumerate(k):
                out[i] = lp[r, :max(1, (len(waves[i]) // 160 - 1) // 2)]
    return out


def aligned(job):
    lp, text = job
    return align.align(lp, PRIOR, text, LEX)


def main():
    global PRIOR, LEX
    folder, dictionary, vocabulary, out, *nets = sys.argv[1:]
    told = understood(nets.pop()) if nets[-1].endswith(".tsv") else {}
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    LEX = align.load_dict(dictionary, vocabulary)
    rows = [r for r in csv.DictReader(open(folder + "/MANIFEST.tsv"), delimiter="\t")]
    with mp.get_context("fork").Pool() as pool:
        waves = pool.map(decode, [f"{folder}/{r['file']}" for r in rows], 8)
    rirs = []
    for r, w in zip(rows, waves):
        if r["class"] == "rir":
            h = w[np.abs(w).argmax():][:16000]
            rirs.append(np.pad(h / np.abs(h[0]), (0, 16000 - len(h))))
    np.save(out + "/rirs.npy", np.array(rirs, np.float16))
    keep = [(r, w * (LEVEL / 32768 / max(1e-3, np.abs(w).max()))) for r, w in zip(rows, waves) if r["class"] in ("speech", "word", "noise") and len(w) > RATE // 4]
    texts = [words(r["transcript_or_label"] or told.get(r["file"], "")) if r["class"] != "noise" else [] for r, _ in keep]
    new = sorted({x for t in texts for x in t if x not in LEX})
    with mp.get_context("fork").Pool() as pool:
        LEX.update((x, p) for x, p in zip(new, pool.map(guessed, new)) if p[0])
    texts = [t if all(x in LEX for x in t) else [] for t in texts]
    some = [i for i, t in enumerate(texts) if t]
    PRIOR = read(nets[0])[0]["priors"].numpy()
    lps = posteriors(nets, [keep[i][1] for i in some], dev)
    with mp.get_context("fork").Pool() as pool:
        found = dict(zip(some, pool.map(aligned, [(lp, texts[i]) for lp, i in zip(lps, some)], 16)))
    wave, phone, meta, at = [], [], [], 0
    for i, (r, w) in enumerate(keep):
        n = len(w) // 160
        y = np.full(n, align.IGNORE, np.uint8)
        said = []
        guess = found.get(i) and not r["transcript_or_label"] and np.mean([f for *_, f in found[i][1]]) < FIT
        if found.get(i) and not guess:
            a, said = found[i]
            rep = np.repeat(a, 2)[:max(0, n - 2)]
            y[2:2 + len(rep)] = rep  # output t sits at label 2t+3: two labels, 2t+2 and 2t+3
            said = [(x, 2 * s + 2, 2 * e + 2, round(f, 2)) for x, s, e, f in said]
        wave.append((np.clip(w[:n * 160], -1, 1) * 32767).astype(np.int16)); phone.append(y)
        meta.append({"file": r["file"], "kind": r["class"], "speaker": r["speaker"], "label": r["transcript_or_label"], "at": at, "n": n, "words": said})
        at += n
    np.savez(out + "/people.npz", wave=np.concatenate(wave), phone=np.concatenate(phone), rows=json.dumps(meta))
    ok = [m for m in meta if m["words"]]
    print(f"people: {len(ok)} of {len(some)} aligned, {sum(m['n'] for m in ok) / 360000:.2f} h, {np.mean([f for m in ok for *_, f in m['words']]):.2f} mean fit", flush=True)


if __name__ == "__main__":
    main()
