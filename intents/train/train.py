"""Train the phone net. See README.md beside this for the commands.

train.py --synth DIR [DIR] --human TSV --clips DIR --rirs DIR --dict CMUDICT --vocabulary YAML
         --arpa LM --out DIR [--level] [--arch tcn|gru] [--boot-seconds S] [--seconds S] [--aligner PT]

Stage 1 trains on synthetic speech, whose phone times are exact. Its net then
aligns the human recordings (transcript, or PocketSphinx's hypothesis where
there is none); phones it cannot find there are masked. Stage 2 trains on both,
and on callouts pieced together from human sounds.
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

import collage
import corpus
from augment import Augment
from net import DELAY, Gru, LogMel, Tcn, load, normed, save
from synth import INDEX
from throats import Throats

IGNORE = 255
CROP = 80400  # samples: 500 mel frames, 248 outputs
SEEN = 75      # outputs at the start of a crop that may have lost what explains them


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


def load_dict(path):
    d = {}
    for line in open(path, errors="replace"):
        w, *p = line.split()
        if w not in d and all(x in INDEX for x in p):
            d[w] = p
    return d


class Pool:
    """Utterances end to end on the GPU: wave int16; per 10 ms the phone, the callout
    that has just ended and how long ago it began (255: unknown)."""

    def __init__(self, wave, frames, dev, calls=None, since=None):
        n = min(len(wave) // 160, len(frames))
        put = lambda x: torch.from_numpy(np.array(x[:n])).to(dev)
        none = np.zeros(n, np.uint8)
        self.wave = torch.from_numpy(np.array(wave[:n * 160])).to(dev)
        self.frames, self.calls = put(frames), put(none if calls is None else calls)
        self.since = put((none if since is None else since).astype(np.int16))
        self.dev = dev

    def batch(self, b):
        """[b, CROP] samples, [b, outputs] phones, [b, outputs] callouts, [b, frames] phones of every 10 ms."""
        at = torch.randint(0, len(self.frames) - CROP // 160 - 8, (b, 1), device=self.dev)
        x = self.wave[at * 160 + torch.arange(CROP, device=self.dev)].float() / 32768
        # Output t with the delay tells of label 2(t-DELAY)+3: see net.Tcn.
        t = torch.arange((CROP - 400) // 160 + 1, device=self.dev)
        k = 2 * torch.arange((len(t) - 5) // 2 + 1, device=self.dev) + 3
        call = self.calls[at + k].long()
        whole = torch.where(call > 0, self.since[at + k] < k, k >= 2 * SEEN)
        every = self.frames[at + torch.arange(CROP // 160 + 1, device=self.dev)].long()
        return x, self.frames[at + k].long(), torch.where(whole, call, IGNORE), every


def shift(y):
    """Targets for the delayed outputs; the first DELAY have none."""
    return F.pad(y, (DELAY, 0), value=IGNORE)[:, :y.shape[1]]


def loss_of(out, y, call, weight):
    """Cross entropy of both outputs. Most of the time no callout has just ended: that counts less."""
    n = out[0].shape[2]
    return (F.cross_entropy(out[0].float(), shift(y)[:, :n], ignore_index=IGNORE, label_smoothing=.03)
            + F.cross_entropy(out[1].float(), shift(call)[:, :n], ignore_index=IGNORE, weight=weight))


def spec_mask(m):
    b, c, n = m.shape
    for _ in range(3):
        f0 = torch.randint(0, c, (b, 1, 1), device=m.device); fw = torch.randint(0, 6, (b, 1, 1), device=m.device)
        k = torch.arange(c, device=m.device).view(1, -1, 1)
        m = torch.where((k >= f0) & (k < f0 + fw), m.mean((1, 2), keepdim=True), m)
    return m


def evaluate(model, mel, pool, aug, hard):
    """Share of phones right; share of ended callouts right."""
    model.eval()
    torch.manual_seed(7)
    right, total = np.zeros(2), np.zeros(2)
    with torch.no_grad():
        for _ in range(8):
            x, y, call, _ = pool.batch(64)
            for k, (o, t) in enumerate(zip(model(mel(aug(x, hard) if aug else x)), (y, call))):
                t = shift(t)[:, :o.shape[2]]
                ok = (t != IGNORE) & (t != 0)
                right[k] += (o.argmax(1) == t)[ok].sum().item(); total[k] += ok.sum().item()
    model.train()
    return right / np.maximum(1, total)


def fit(model, pools, shares, mel, aug, seconds, lr, log, dev_pools, keep=lambda: None, throats=None, ease=.3):
    """ease: how loud the trouble is at the start, 1 is all of it."""
    model.train()
    opt = torch.optim.AdamW(model.parameters(), lr=lr, weight_decay=.01)
    start, step, last = time.time(), 0, 0
    weight = torch.ones(model.call.out_channels, device=model.call.weight.device)
    weight[0] = .3
    # Compiled, the noise costs less than half; Debian's PyTorch cannot. The net gains nothing by it.
    loud = torch.compile(aug, dynamic=False) if pools[0].wave.is_cuda and hasattr(torch, "compile") else aug
    while True:
        u = (time.time() - start) / seconds
        if u >= 1:
            break
        for g in opt.param_groups:
            g["lr"] = lr * min(1, step / 200 + .01) * (1e-3 + .5 * (1 + np.cos(np.pi * u)))
        x, y, call, every = (torch.cat(c) for c in zip(*[p.batch(k) for p, k in zip(pools, shares)]))
        with torch.no_grad():
            if throats:
                some = torch.randperm(len(x), device=x.device)[:len(x) // 2]
                x[some] = throats(x[some], every[some])
            x = x * 10 ** (torch.rand(len(x), 1, device=x.device) - .5)
            mute = torch.rand(len(x), 1, device=x.device) < .08
            x, y, call = torch.where(mute, x * 0, x), torch.where(mute, y * 0, y), torch.where(mute, call * 0, call)
            m = mel(loud(x, torch.tensor(min(1., ease + 2 * u), device=x.device)), warp=True)
            m = torch.where(torch.rand(len(x), 1, 1, device=x.device) < .5, spec_mask(m), m)
        with torch.autocast(x.device.type, dtype=torch.bfloat16, enabled=x.is_cuda):
            loss = loss_of(model(m), y, call, weight)
        opt.zero_grad(); loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 1.)
        opt.step(); step += 1
        if time.time() - last > 30:
            last = time.time()
            keep()
            acc = [evaluate(model, mel, p, a, h) for p in dev_pools for a, h in ((None, 0), (aug, 1.))]
            print(f"{log} {u:.2f} step {step} loss {loss.item():.3f} dev " + " ".join(f"{a:.3f}/{c:.3f}" for a, c in acc), file=OUT, flush=True)
    return model


def posteriors(model, mel, x, dev):
    """[outputs, 40] log posteriors of one utterance, delay removed."""
    model.eval()
    with torch.no_grad():
        x = F.pad(torch.from_numpy(x).to(dev).unsqueeze(0), (0, DELAY * 320 + 720))
        lp = model(mel(x))[0].float().log_softmax(1)[0].T.cpu().numpy()
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
    """[(speaker, wave int16, phone per 10 ms)] of the recordings whose words could be found in them."""
    out, used = [], 0
    for speaker, x, phones in items:
        a = align(posteriors(model, mel, x, dev), prior, phones)
        if a is None:
            continue
        y = np.full(len(x) // 160, IGNORE, np.uint8)
        rep = np.repeat(a, 2)[:max(0, len(y) - 2)]
        y[2:2 + len(rep)] = rep  # output t sits at label 2t+3: two labels, 2t+2 and 2t+3
        out.append((speaker, (np.clip(x * (9000 / 32768 / max(1e-3, np.abs(x).max())), -1, 1) * 32767).astype(np.int16)[:len(y) * 160], y))
        used += (y != IGNORE).mean()
    print(f"{log} aligned {len(out)} of {len(items)}, {100 * used / max(1, len(out)):.0f} % of frames kept", file=OUT, flush=True)
    return out


def log_priors(pools, shares):
    """Log of how often each phone is met in training."""
    p = sum(k * torch.bincount(pool.frames[pool.frames < 40].long(), minlength=40).double() / len(pool.frames) for pool, k in zip(pools, shares))
    return (p / p.sum() + 1e-6).log().cpu().numpy()


def joined(recordings, dev):
    return Pool(np.concatenate([w for _, w, _ in recordings]), np.concatenate([y for _, _, y in recordings]), dev)


def recordings(a, lex):
    """Noise and talk, each one wave, and [(speaker, wave, phones)] to train on and to measure with."""
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
            (dev_items if held(r[3]) else items).append((r[3], w, phones))
    return noise, talk, items, dev_items


def rooms(folder):
    """Impulse responses from the direct path on, which is 1."""
    out = []
    for f in sorted(os.listdir(folder)):
        h = decode(f"{folder}/{f}"); h = h[np.abs(h).argmax():]
        out.append(torch.from_numpy(np.array(h / np.abs(h[0]))))
    return out


def arguments():
    ap = argparse.ArgumentParser()
    for a in ("human", "clips", "rirs", "dict", "vocabulary", "arpa", "out"):
        ap.add_argument("--" + a, required=True)
    ap.add_argument("--synth", required=True, nargs="+", help="folders of synth.py and accents.py")
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--level", action="store_true", help="take the running mean from each band")
    ap.add_argument("--warp", type=float, default=1., help="of the frequency axis, where the net is used; training draws from .84 to 1.19")
    ap.add_argument("--arch", default="tcn"); ap.add_argument("--width", type=int, default=256)
    ap.add_argument("--boot-seconds", type=float, default=90); ap.add_argument("--seconds", type=float, default=300)
    ap.add_argument("--aligner", help="net.bin of an earlier run without --level, to align the human recordings instead of stage 1")
    ap.add_argument("--start", help="net.bin to go on from")
    ap.add_argument("--collage", type=int, default=12000, help="sentences pieced together from human sounds")
    return ap.parse_args()


def main():
    global OUT
    a = arguments()
    os.makedirs(a.out, exist_ok=True)
    OUT = open(f"{a.out}/log-{a.arch}.txt", "a")
    torch.manual_seed(a.seed)
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    lex = load_dict(a.dict)
    noise, talk, items, dev_items = recordings(a, lex)
    aug = Augment(torch.from_numpy(noise), torch.from_numpy(talk), rooms(a.rirs), dev)
    mel = LogMel(a.level).to(dev)
    column = lambda f, t: np.concatenate([np.fromfile(f"{d}/{f}", t) for d in a.synth])
    wave, frames, calls, since = column("wave.i16", np.int16), column("frames.u8", np.uint8), column("calls.u8", np.uint8), column("since.u16", np.uint16)
    cut = len(frames) * 3 // 100
    synth = Pool(wave[cut * 160:], frames[cut:], dev, calls[cut:], since[cut:])
    synth_dev = Pool(wave[:cut * 160], frames[:cut], dev, calls[:cut], since[:cut])
    prior = log_priors([synth], [1])
    print(f"synthetic {len(frames) / 360000:.2f} h, human {sum(len(w) for _, w, _ in items) / 57.6e6:.2f} h, noise {len(noise) / 57.6e6:.2f} h, {dev}", file=OUT, flush=True)
    b = 128 if dev == "cuda" else 8
    classes = corpus.callouts(a.vocabulary)
    kinds = 1 + len(classes)
    new = lambda: (Tcn if a.arch == "tcn" else Gru)(c=a.width, calls=kinds).to(dev)
    boot, ear = new(), mel
    if a.aligner:
        ear = LogMel().to(dev)
        boot = Tcn(calls=kinds).to(dev)
        load(a.aligner, boot)
    else:
        fit(boot, [synth], [b], mel, aug, a.boot_seconds, 2e-3, "boot", [synth_dev])
    human = align_all(boot, ear, items, prior, dev, "human")
    human_dev = joined(align_all(boot, ear, dev_items, prior, dev, "human dev"), dev)
    voices, made = collage.make(human, lex, a.collage, a.seed, a.vocabulary, a.arpa)
    print(f"collage {voices} voices, {len(made[1]) / 360000:.2f} h", file=OUT, flush=True)
    pieced = Pool(made[0], made[1], dev, made[2], made[3])
    model = new()
    throats = Throats(human, ear, dev)
    print(f"throats of {throats.speakers} speakers: {[round(s, 1) for s in throats.size.tolist()]}", file=OUT, flush=True)
    pools, share = [synth, joined(human, dev), pieced], [b * 45 // 100, b * 33 // 100, b * 22 // 100]
    if a.start:
        x, *_ = zip(*[p.batch(k) for p, k in zip(pools, share)])
        normed(load(a.start, model), mel.train()(aug(torch.cat(x))))
    elif not a.aligner:
        model.load_state_dict(boot.state_dict())
    def keep():
        torch.save(model.state_dict(), f"{a.out}/{a.arch}.pt")
    fit(model, pools, share, mel, aug, a.seconds, 2e-3 if a.start else 3e-3, "main", [synth_dev, human_dev], keep, throats, .7 if a.start else .3)
    for n, p in (("synth", synth_dev), ("human", human_dev)):
        print(f"final {a.arch} {n} clean {evaluate(model, mel, p, None, 0)} loud {evaluate(model, mel, p, aug, 1.)}", file=OUT, flush=True)
    keep()
    if hasattr(model, "export"):
        save(f"{a.out}/net.bin", model, log_priors(pools, share), a.level, a.warp)
        with open(f"{a.out}/callouts.tsv", "w") as f:
            f.writelines(f"{c}\t{p}\n" for c, phrases in classes for p in phrases)
    print("done", file=OUT, flush=True)


if __name__ == "__main__":
    main()
