"""Train the phone net. See README.md beside this for the commands.

train.py --synth DIR --human TSV --clips DIR --rirs DIR --dict CMUDICT --out DIR
         [--arch tcn|gru] [--boot-seconds S] [--seconds S] [--align FILE]

Stage 1 trains on synthetic speech, whose phone times are exact. Its net then
aligns the human recordings (transcript, or PocketSphinx's hypothesis where
there is none); phones it cannot find there are masked. Stage 2 trains on both.
"""
import argparse
import os
import subprocess
import tempfile
import time
import zlib
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import torch
import torch.nn.functional as F

from augment import Augment
from net import DELAY, Gru, LogMel, Tcn, save
from synth import INDEX, PHONES

IGNORE = 255
CROP = 64400  # samples: 400 mel frames, 198 outputs


def decode(path):
    """Opus, FLAC or WAV file -> float32 16 kHz mono."""
    if path.endswith(".opus"):
        with tempfile.NamedTemporaryFile(suffix=".wav") as t:
            subprocess.run(["opusdec", "--quiet", "--rate", "16000", path, t.name], check=True, stderr=subprocess.DEVNULL)
            raw = open(t.name, "rb").read()
        at = raw.index(b"data") + 8
        return np.frombuffer(raw[at:at + (len(raw) - at) // 2 * 2], np.int16).astype(np.float32) / 32768
    raw = open(path, "rb").read()
    at = raw.index(b"data") + 8
    return np.frombuffer(raw[at:at + (len(raw) - at) // 2 * 2], np.int16).astype(np.float32) / 32768


def load_dict(path, vocabulary):
    d = {}
    for line in open(path, errors="replace"):
        w, *p = line.split()
        if w not in d and all(x in INDEX for x in p):
            d[w] = p
    return d


class Pool:
    """Utterances end to end on the GPU: wave int16, label per 10 ms (255: unknown)."""

    def __init__(self, wave, frames, dev):
        n = min(len(wave) // 160, len(frames))
        self.wave = torch.from_numpy(np.array(wave[:n * 160])).to(dev)
        self.frames = torch.from_numpy(np.array(frames[:n])).to(dev)
        self.dev = dev

    def batch(self, b):
        at = torch.randint(0, len(self.frames) - CROP // 160 - 8, (b, 1), device=self.dev)
        x = self.wave[at * 160 + torch.arange(CROP, device=self.dev)].float() / 32768
        # Output t with the delay tells of label 2(t-DELAY)+3: see net.Tcn.
        t = torch.arange((CROP - 400) // 160 + 1, device=self.dev)
        n = ((len(t) - 5) // 2) + 1
        y = self.frames[at + (2 * torch.arange(n, device=self.dev) + 3)]
        return x, y.long()


def shift(y):
    """Targets for the delayed outputs; the first DELAY have none."""
    return F.pad(y, (DELAY, 0), value=IGNORE)[:, :y.shape[1]]


def loss_of(model, mel, x, y):
    o = model(mel(x))
    return o, F.cross_entropy(o.float(), shift(y), ignore_index=IGNORE, label_smoothing=.03)


def spec_mask(m):
    b, c, n = m.shape
    for _ in range(3):
        f0 = torch.randint(0, c, (b, 1, 1), device=m.device); fw = torch.randint(0, 6, (b, 1, 1), device=m.device)
        k = torch.arange(c, device=m.device).view(1, -1, 1)
        m = torch.where((k >= f0) & (k < f0 + fw), m.mean((1, 2), keepdim=True), m)
    return m


def evaluate(model, mel, pool, aug, hard):
    model.eval()
    torch.manual_seed(7)
    right = total = 0
    with torch.no_grad():
        for _ in range(8):
            x, y = pool.batch(64)
            o = model(mel(aug(x, hard) if aug else x)).argmax(1)
            y = shift(y)
            ok = (y != IGNORE) & (y != 0)
            right += (o == y)[ok].sum().item(); total += ok.sum().item()
    model.train()
    return right / max(1, total)


def fit(model, pools, shares, mel, aug, seconds, lr, log, dev_pools, keep=lambda: None):
    model.train()
    opt = torch.optim.AdamW(model.parameters(), lr=lr, weight_decay=.01)
    start, step, last = time.time(), 0, 0
    avg = None
    while True:
        u = (time.time() - start) / seconds
        if u >= 1:
            break
        for g in opt.param_groups:
            g["lr"] = lr * min(1, step / 200 + .01) * (1e-3 + .5 * (1 + np.cos(np.pi * u)))
        xs, ys = zip(*[p.batch(k) for p, k in zip(pools, shares)])
        x, y = torch.cat(xs), torch.cat(ys)
        with torch.no_grad():
            x = x * 10 ** (torch.rand(len(x), 1, device=x.device) - .5)
            mute = torch.rand(len(x), 1, device=x.device) < .08
            x, y = torch.where(mute, x * 0, x), torch.where(mute, y * 0, y)
            m = mel(aug(x, min(1., .3 + 2 * u)), warp=True)
            m = torch.where(torch.rand(len(x), 1, 1, device=x.device) < .5, spec_mask(m), m)
        with torch.autocast(x.device.type, dtype=torch.bfloat16, enabled=x.is_cuda):
            o = model(m)
            loss = F.cross_entropy(o.float(), shift(y)[:, :o.shape[2]], ignore_index=IGNORE, label_smoothing=.03)
        opt.zero_grad(); loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 1.)
        opt.step(); step += 1
        if time.time() - last > 30:
            last = time.time()
            keep()
            acc = [evaluate(model, mel, p, a, h) for p in dev_pools for a, h in ((None, 0), (aug, 1.))]
            print(f"{log} {u:.2f} step {step} loss {loss.item():.3f} dev " + " ".join(f"{a:.3f}" for a in acc), file=OUT, flush=True)
    return model


def posteriors(model, mel, x, dev):
    """[outputs, 40] log posteriors of one utterance, delay removed."""
    model.eval()
    with torch.no_grad():
        x = F.pad(torch.from_numpy(x).to(dev).unsqueeze(0), (0, DELAY * 320 + 720))
        lp = model(mel(x)).float().log_softmax(1)[0].T.cpu().numpy()
    return lp[DELAY:]


def align(lp, prior, phones):
    """Viterbi of a left-to-right phone list (SIL may be skipped). lp: [T, 40].
    Returns phone index per output frame, IGNORE where the phone fits badly."""
    s = np.array(phones)
    e = (lp - .6 * prior)[:, s]
    T, S = e.shape
    if T < S:
        return None
    score = np.full(S, -1e9); score[0] = e[0, 0]
    if s[0] == 0: score[1] = e[0, 1]
    back = np.zeros((T, S), np.int8)
    skip = np.r_[False, False, (s[1:-1] == 0)]
    for t in range(1, T):
        a = np.stack([score, np.r_[-1e9, score[:-1]], np.where(skip, np.r_[-1e9, -1e9, score[:-2]], -1e9)])
        k = a.argmax(0); back[t] = k
        score = a[k, np.arange(S)] + e[t]
    at = S - 1 if score[S - 1] >= score[S - 2] or s[-1] != 0 else S - 2
    path = np.zeros(T, int)
    for t in range(T - 1, -1, -1):
        path[t] = at
        at -= int(back[t, at])
    out = s[path].astype(np.uint8)
    for k in np.unique(path):
        m = path == k
        if lp[m, s[k]].mean() < (-2.6 if s[k] else -2.5):
            out[m] = IGNORE
    return out


def align_all(model, mel, items, prior, dev, log):
    waves, frames, used = [], [], 0
    for x, phones in items:
        a = align(posteriors(model, mel, x, dev), prior, phones)
        if a is None:
            continue
        y = np.full(len(x) // 160, IGNORE, np.uint8)
        rep = np.repeat(a, 2)[:max(0, len(y) - 2)]
        y[2:2 + len(rep)] = rep  # output t sits at label 2t+3: two labels, 2t+2 and 2t+3
        waves.append((np.clip(x * (9000 / 32768 / max(1e-3, np.abs(x).max())), -1, 1) * 32767).astype(np.int16)[:len(y) * 160])
        frames.append(y); used += (y != IGNORE).mean()
    print(f"{log} aligned {len(frames)} of {len(items)}, {100 * used / max(1, len(frames)):.0f} % of frames kept", file=OUT, flush=True)
    return np.concatenate(waves), np.concatenate(frames)


def main():
    global OUT
    ap = argparse.ArgumentParser()
    for a in ("synth", "human", "clips", "rirs", "dict", "out"):
        ap.add_argument("--" + a, required=True)
    ap.add_argument("--level", action="store_true", help="take the running mean from each band")
    ap.add_argument("--arch", default="tcn"); ap.add_argument("--width", type=int, default=256)
    ap.add_argument("--boot-seconds", type=float, default=90); ap.add_argument("--seconds", type=float, default=300)
    ap.add_argument("--boot", help="weights of an earlier stage 1")
    ap.add_argument("--tune", help="weights of an earlier stage 2: go on from them, in one stage")
    a = ap.parse_args()
    os.makedirs(a.out, exist_ok=True)
    OUT = open(f"{a.out}/log-{a.arch}.txt", "a")
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    lex = load_dict(a.dict, None)
    rows = [l.rstrip("\n").split("\t") for l in open(a.human)]  # file, class, words, speaker
    with ThreadPoolExecutor(16) as ex:
        waves = list(ex.map(lambda r: decode(os.path.join(a.clips, r[0])), rows))
    held = lambda speaker: zlib.crc32(speaker.encode()) % 10 == 0
    noise = np.concatenate([w for r, w in zip(rows, waves) if r[1] == "noise"])
    talk = np.concatenate([w / max(.01, np.sqrt((w ** 2).mean())) * .05 for r, w in zip(rows, waves) if r[1] == "speech" and not held(r[3])])
    items, dev_items = [], []
    for r, w in zip(rows, waves):
        words = r[2].split()
        if r[1] in ("speech", "word") and words and all(x in lex for x in words):
            phones = [0]
            for x in words:
                phones += [INDEX[p] for p in lex[x]] + [0]
            (dev_items if held(r[3]) else items).append((w, phones))
    rirs = []
    for f in sorted(os.listdir(a.rirs)):
        h = decode(f"{a.rirs}/{f}"); h = h[np.abs(h).argmax():]
        rirs.append(torch.from_numpy(np.array(h / np.abs(h[0]))))
    aug = Augment(torch.from_numpy(noise), torch.from_numpy(talk), rirs, dev)
    mel = LogMel(a.level).to(dev)
    wave = np.fromfile(a.synth + "/wave.i16", np.int16); frames = np.fromfile(a.synth + "/frames.u8", np.uint8)
    cut = len(frames) * 97 // 100
    synth, synth_dev = Pool(wave, frames[:cut], dev), Pool(wave[cut * 160:], frames[cut:], dev)
    prior = np.log(np.bincount(frames, minlength=40) / len(frames) + 1e-6)
    print(f"synthetic {len(frames) / 360000:.2f} h, human {sum(len(w) for w, _ in items) / 57.6e6:.2f} h, noise {len(noise) / 57.6e6:.2f} h, {dev}", file=OUT, flush=True)
    b = 128 if dev == "cuda" else 8
    new = lambda: (Tcn(c=a.width) if a.arch == "tcn" else Gru(c=a.width, h=a.width)).to(dev)
    boot = new()
    if a.boot or a.tune:
        boot.load_state_dict(torch.load(a.boot or a.tune, map_location=dev))
    else:
        fit(boot, [synth], [b], mel, aug, a.boot_seconds, 2e-3, "boot", [synth_dev])
        torch.save(boot.state_dict(), f"{a.out}/boot-{a.arch}.pt")
    human = Pool(*align_all(boot, mel, items, prior, dev, "boot"), dev)
    human_dev = Pool(*align_all(boot, mel, dev_items, prior, dev, "boot dev"), dev)
    model = new(); model.load_state_dict(boot.state_dict())
    share = [b // 2, b - b // 2]
    if not a.tune:
        fit(model, [synth, human], share, mel, aug, a.seconds * .25, 2e-3, "warm", [synth_dev, human_dev])
        human = Pool(*align_all(model, mel, items, prior, dev, "warm"), dev)
        human_dev = Pool(*align_all(model, mel, dev_items, prior, dev, "warm dev"), dev)
    def keep():
        torch.save(model.state_dict(), f"{a.out}/{a.arch}.pt")
    fit(model, [synth, human], share, mel, aug, a.seconds * (1 if a.tune else .75), 1.5e-3 if a.tune else 3e-3, "main", [synth_dev, human_dev], keep)
    for n, p in (("synth", synth_dev), ("human", human_dev)):
        print(f"final {a.arch} {n} clean {evaluate(model, mel, p, None, 0):.4f} loud {evaluate(model, mel, p, aug, 1.):.4f}", file=OUT, flush=True)
    torch.save(model.state_dict(), f"{a.out}/{a.arch}.pt")
    if hasattr(model, "export"):
        save(f"{a.out}/phones-{a.arch}.bin", model, prior)
    print("done", file=OUT, flush=True)


if __name__ == "__main__":
    main()
