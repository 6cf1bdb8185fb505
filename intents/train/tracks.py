"""Recordings to fit and to measure the confidence on: people and voices that a
training left out, in rooms and noise that it did not hear.

tracks.py OUT FOLD PEOPLE ROOMS.npy [--voices DIR ...] [--clips TSV ...]
PEOPLE: folder of people.py; ROOMS: of rooms.py with another seed; --voices: folders of
voices.py; --clips: file, callouts, words a line (opus beside the list; voices of folds.VOICES
or held out for good). Writes OUT/*.wav, a vocabulary (OUT/*.yaml) for those that need
their own, and OUT/*.json: condition, kind, vocabulary, marks [start, end, callouts, words].
Kinds: alone (whole phrases said alone, as an overlay), inside (phrases within running sentences),
words (single words), talk (no callout), callouts (the built-in vocabulary).
"""
import argparse
import json
import multiprocessing as mp
import os
import random
import wave

import numpy as np

import corpus
import evalset
import folds
from people import decode
from train import People

RATE = 16000
CONDITIONS = {"alone": "clean echo ward20 ward15 ward10 babble10", "inside": "clean ward15 babble10", "words": "clean babble10", "ordinary": "clean echo ward15 babble10", "talk": "clean ward15 babble10",
              "callouts": "clean echo ward15 ward10 ward5 babble20 babble10 babble5 metronome"}


def active(x):
    on = np.abs(x) > .02 * max(1e-4, np.abs(x).max() / .5)
    return np.sqrt((x[on] ** 2).mean()) + 1e-6


def convolve(x, h):
    n = 1 << (len(x) + len(h)).bit_length()
    return np.fft.irfft(np.fft.rfft(x, n) * np.fft.rfft(h, n), n)


def coloured(x, rng):
    """A voice through a mask, turned away, in a room that swallows some of it: as in Augment.colour."""
    f = np.fft.rfft(x)
    hz = np.linspace(0, 8000, len(f))
    rough = rng.uniform(0, 6)
    g = np.interp(hz, np.linspace(0, 8000, 9), [rng.gauss(0, rough) for _ in range(9)])
    g -= np.minimum(np.clip(rng.uniform(-200, 800) - hz, 0, None) / 100 * 8, rng.uniform(8, 30))
    g -= np.minimum(np.clip(hz - rng.uniform(3500, 12000), 0, None) / 1000 * 18, 50)
    return np.fft.irfft(f * 10 ** (g / 20), len(x))


def fill(pool, n, rng):
    at = rng.randrange(0, max(1, len(pool) - n))
    return np.resize(pool[at:at + n], n)


def beeps(n, rng):
    y, t = np.zeros(n), np.arange(n) / RATE
    for _ in range(rng.randrange(1, 3)):
        f, period, long = rng.uniform(440, 1100), rng.uniform(.6, 2), rng.uniform(.08, .3)
        y += np.sin(2 * np.pi * f * t) * ((t + rng.random()) % period < long)
    return y / y.std()


def render(job):
    name, cond, gap, items, seed = job
    rng = random.Random(seed)
    where, num = cond.rstrip("0123456789"), cond.lstrip("abcdefghijklmnopqrstuvwxyz")
    x, at, marks = np.zeros(int(sum(len(w) for w, _ in items) + (gap[1] + .2) * RATE * len(items) + 3 * RATE)), RATE, []
    for w, said in items:
        w = w.astype(float) / 32768
        y = w
        if where in ("ward", "echo"):
            h = ROOMS[rng.randrange(len(ROOMS))].astype(float)
            y = convolve(np.r_[w, np.zeros(RATE * 6 // 10)], h)[:len(w) + RATE * 6 // 10]
            if rng.random() < .5:
                y = coloured(y, rng)
        y = y / active(y) * .1
        x[at:at + len(y)] += y[:len(x) - at]
        for a, b, ids, text in said:
            marks.append((at / RATE + a, at / RATE + b, ids, text))
        at += len(w) + int(rng.uniform(*gap) * RATE)
    x = x[:at + RATE]
    n = len(x)
    g = .1 * 10 ** (-float(num or 99) / 20)
    if where in ("ward", "babble"):
        talk = sum(fill(TALK, n, rng) for _ in range(rng.randrange(3, 7)))
        talk = talk / talk.std()
        if where == "ward":
            talk = rng.uniform(.3, .8) * talk + rng.uniform(.3, .8) * fill(NOISE, n, rng) + rng.uniform(.2, .5) * beeps(n, rng)
            talk = talk / max(.8, talk.std())
        x = x + talk * g
    if where == "metronome":
        t = np.arange(n) / RATE % (60 / 110)
        x = x + np.sin(2 * np.pi * 1000 * t) * np.sin(np.pi * t / .03) ** 2 * (t < .03) * .3
    x = x * min(10 ** rng.uniform(-.6, .1), .9 / np.abs(x).max()) + np.random.RandomState(seed).randn(n) * 1e-4
    with wave.open(f"{OUT}/{name}-{cond}.wav", "wb") as f:
        f.setparams((1, 2, RATE, 0, "NONE", ""))
        f.writeframes((np.clip(x, -1, 1) * 32767).astype(np.int16).tobytes())
    kind = name.split("_")[0]
    json.dump({"cond": cond, "kind": kind, "name": name, "marks": marks}, open(f"{OUT}/{name}-{cond}.json", "w"))
    return n / RATE


def text(r):
    return " ".join(w for w, *_ in r["words"])


def vocabulary(name, phrases):
    with open(f"{OUT}/{name}.yaml", "w") as f:
        f.write("callouts:\n" + "".join(f'  - id: x.p{k}\n    phrases: ["{p}"]\n' for k, p in enumerate(phrases)))
    return {p: f"x.p{k}" for k, p in enumerate(phrases)}


def sets(people, rng, fold):
    """(name, gap, items) of the people's kinds."""
    sound = lambda r: people.cut(r)[0]
    speech = [r for r in people.left if r["kind"] == "speech" and np.mean([f for *_, f in r["words"]]) > -2.2]
    rng.shuffle(speech)
    short = [r for r in speech if 2 <= len(r["words"]) <= 7 and len(text(r)) >= 8 and 50 < r["n"] < 500]
    long = [r for r in speech if 5 <= len(r["words"]) <= 18 and r["n"] < 1100]
    span = lambda r: (r["words"][0][1] / 100, r["words"][-1][2] / 100)
    for k in range(3):
        part = short[k::3][:110]
        phrases = list(dict.fromkeys(map(text, part)))[:90]
        near = [spoilt(p, rng) for p in phrases[::2]]  # heard nowhere, like what is heard
        ids = vocabulary(f"alone_{k}", list(dict.fromkeys(phrases + near)))
        items = [(sound(r), [(*span(r), [ids[text(r)]], text(r))] if text(r) in ids else []) for r in part]
        items += [(sound(r), []) for r in rng.sample(long, min(len(long), 40)) if not any(f" {p} " in f" {text(r)} " for p in ids)]
        rng.shuffle(items)
        yield f"alone_{k}", (1, 2.5), items
    for k in range(3):
        part = long[k::3][:110]
        picked = []
        for r in part[:60]:
            n = rng.choice([2, 3, 3, 4, 4, 5])
            i = rng.randrange(0, max(1, len(r["words"]) - n + 1))
            p = " ".join(w for w, *_ in r["words"][i:i + n])
            if len(p) >= 10:
                picked.append(p)
        near = [spoilt(p, rng) for p in picked[::2]]
        ids = vocabulary(f"inside_{k}", list(dict.fromkeys(picked + near)))
        items = []
        for r in part:
            said, w = [], r["words"]
            for p, c in ids.items():
                m = p.split()
                for i in range(len(w) - len(m) + 1):
                    if [x for x, *_ in w[i:i + len(m)]] == m:
                        said.append((w[i][1] / 100, w[i + len(m) - 1][2] / 100, [c], p))
            items.append((sound(r), said))
        rng.shuffle(items)
        yield f"inside_{k}", (.6, 1.5), items
    single = [r for r in people.left if r["kind"] == "word" and len(r["words"]) == 1]
    rng.shuffle(single)
    for k in range(2):
        part = single[k::2][:220]
        ids = vocabulary(f"words_{k}", sorted({text(r) for r in part})[:24])
        items = [(sound(r), [(*span(r), [ids[text(r)]], text(r))] if text(r) in ids else []) for r in part]
        yield f"words_{k}", (.8, 1.5), items
    talk = speech + [r for r in people.rows if r["kind"] == "speech" and not r["words"] and folds.held(r["speaker"], fold)]
    rng.shuffle(talk)
    for k in range(4):
        yield f"talk_{k}", (.1, .6), [(sound(r), []) for r in talk[k::4][:130]]


def spoilt(p, rng):
    """The phrase with one word another."""
    w = p.split()
    i, u = rng.randrange(len(w)), rng.random()
    if u < .3:  # a word more at an end, as a lead word is
        more = rng.choice(["timekeeper", "computer", "never", "yesterday", "do not", "should we", "is the", "tomorrow", "again please", "ready to"])
        return f"{more} {p}" if u < .2 else f"{p} {more}"
    if u < .4 and len(w) > 3:
        return " ".join(w[:i] + w[i + 1:])
    near = {"the": "a", "to": "two", "is": "was", "for": "from"}.get(w[i]) or rng.choice(["please", "never", "another", "seven", "doctor", "money", "over", "before", "little", "open", "ready", "after"])
    return " ".join(w[:i] + [near] + w[i + 1:])


def spoken(folders, lists, classes, fold):
    """(name, gap, items) of the voices' callouts; nets of both folds hear the same voices if they are held out for good."""
    by = {}
    for d in folders:
        wave_, y = np.fromfile(d + "/wave.i16", np.int16), np.fromfile(d + "/frames.u8", np.uint8)
        for l in open(d + "/rows.tsv"):
            voice, at, n, calls, words = l.rstrip("\n").split("\t")
            if voice not in folds.VOICES or calls == "-1":
                continue
            at, n = int(at), int(n)
            on = np.nonzero(y[at:at + n])[0]
            a, b = on[0], on[-1] + 1
            by.setdefault(voice, []).append((wave_[(at + a) * 160:(at + b) * 160], [(0, (b - a) / 100, [classes[int(c) - 1] for c in calls.split()], words)] if calls else []))
    for path in lists:
        for l in open(path):
            file, calls, *_, words = l.rstrip("\n").split("\t")
            kind, name = file.split("/")
            voice = f"{kind}-{name.split('_')[0]}" if kind in ("held", "ordinary") else kind
            try:
                w = decode(os.path.join(os.path.dirname(path), file))
            except Exception as e:
                print("tracks:", file, e, flush=True)
                continue
            if len(w) < RATE // 4 or not np.abs(w).max():
                continue
            on = np.nonzero(np.abs(w) > .01 * np.abs(w).max())[0]
            w = (w[on[0]:on[-1]] * 32767).astype(np.int16)
            ids = [classes[int(c) - 1] for c in calls.split()] if calls.replace(" ", "").isdigit() else [calls] if calls else []
            by.setdefault(voice, []).append((w, [(0, len(w) / RATE, ids, words)] if ids else []))
    for voice, items in by.items():
        kind, _, name = voice.rpartition("-")
        yield f"{kind or 'callouts'}_{name.replace('_', '.')}", (1, 2.2), items[:260 if kind == "ordinary" else 190]


def main():
    global OUT, ROOMS, NOISE, TALK
    ap = argparse.ArgumentParser()
    for a in ("out", "fold", "people", "rooms", "vocabulary"):
        ap.add_argument(a)
    ap.add_argument("--voices", nargs="*", default=[]); ap.add_argument("--clips", nargs="*", default=[])
    a = ap.parse_args()
    OUT, rng = a.out, random.Random(a.fold + "tracks")
    os.makedirs(OUT, exist_ok=True)
    people = People(a.people, a.fold)
    ROOMS = np.load(a.rooms)
    noise = [people.cut(r)[0].astype(float) for r in people.rows if r["kind"] == "noise" and folds.held_noise(r["file"], a.fold)]
    NOISE = np.concatenate([x / (x.std() + 1) for x in noise])
    TALK = np.concatenate([x / (x.std() + 1) for x in (people.cut(r)[0].astype(float) for r in people.rows if r["kind"] == "speech" and folds.talker(r["speaker"], a.fold) and r["speaker"].split("-")[0] in ("libri", "vctk", "cv", "wuw"))])
    classes = [c for c, _ in corpus.callouts(a.vocabulary)]
    jobs = []
    for name, gap, items in [*sets(people, rng, a.fold), *spoken(a.voices, a.clips, classes, a.fold)]:
        kind = name.split("_")[0]
        for cond in CONDITIONS["callouts" if kind == "held" else kind].split():
            jobs.append((name, cond, gap, items, rng.randrange(1 << 30)))
    rng.shuffle(jobs)
    with mp.get_context("fork").Pool() as pool:
        seconds = sum(pool.imap_unordered(render, jobs, 1))
    print(f"tracks {a.fold}: {len(jobs)} recordings, {seconds / 3600:.1f} h", flush=True)


if __name__ == "__main__":
    main()
