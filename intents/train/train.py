"""Train the nets side by side on the same batches. See README.md beside this for the commands.

train.py --people DIR --pools DIR[:SHARE] ... --rooms NPY --vocabulary YAML --out DIR [--fold A|B] [--start NET ...] [--width C] [--seconds S]

--people: what people.py wrote. --pools: folders of synth.py, accents.py, voices.py and collage.py;
one that is not there yet is waited for while training goes on without it. Half of each batch is heard
from a throat that nobody has. A teacher, the mean of the nets' running average over the steps, hears
the clean copy of what the nets hear in noise, and says what each frame is: of people whose words are
not known, it alone does. --fold: leave people out (folds.py).
"""
import argparse
import json
import multiprocessing as mp
import os
import random
import sys
import time

import numpy as np
import torch
import torch.nn.functional as F

import chain
import corpus
import folds
import synth
from augment import Augment
from net import DELAY, LogMel, Tcn, load, normed, read, save
from throats import Throats

IGNORE = 255
CROP = 80400   # samples: 500 mel frames, 248 outputs
SEEN = 75      # outputs at the start of a crop that may have lost what explains them
AVERAGE = .998  # of the teacher, a step


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


def from_folder(d, dev):
    column = lambda f, t: np.fromfile(f"{d}/{f}", t)
    return Pool(column("wave.i16", np.int16), column("frames.u8", np.uint8), dev, column("calls.u8", np.uint8), column("since.u16", np.uint16))


def shift(y):
    """Targets for the delayed outputs; the first DELAY have none."""
    return F.pad(y, (DELAY, 0), value=IGNORE)[:, :y.shape[1]]


class Teachers:
    """Nets that are done, as many in each folder as are trained: what they make together of the clean copy, phones [40, b, t] and callouts [classes, b, t]."""

    def __init__(self, folders, ears, classes, dev, fast):
        self.all = []
        for d in folders:
            m = Tcn(read(d + "/net1.bin")[0]["front.w"].shape[0], 1 + len(classes), ears)
            m.call_w.data.zero_(); m.call_b.data.fill_(-20.)  # what it was not taught it does not hear
            for k in range(len(ears)):
                load(f"{d}/net{k + 1}.bin", m, k, corpus.renumber(d + "/callouts.tsv", classes))
            m = m.to(dev).eval()
            if fast:
                m.trunk_of = torch.compile(m.trunk_of, dynamic=False)
            self.all.append(m)

    def __call__(self, bands):
        outs = [m(bands) for m in self.all]
        return [torch.cat([o[k].float().log_softmax(1) for o in outs]).mean(0).softmax(0) for k in (0, 1)]


def taught(lp, call, weight, told, part):
    """Cross entropy of the callouts against their labels and, by part, the teachers' opinion."""
    known = call != IGNORE
    label = call.clamp(max=len(weight) - 1)
    aim = (1 - part) * F.one_hot(label, len(weight)).permute(2, 0, 1) + part * told[:, :, :call.shape[1]]
    w = weight[label] * known
    return -((aim * lp).sum(1) * w).sum() / (w.sum() * len(lp)).clamp(min=1e-6)


def losses(out, y, call, weight, teach, told, part):
    """Cross entropy of both outputs of each net, and of the phones against the teacher's; [b, 40, t] mean log posteriors and their labels."""
    lp = out[0].float().log_softmax(1)
    n, t = lp.shape[0], lp.shape[3]
    y, call = shift(y)[:, :t], shift(call)[:, :t]
    many = lambda z: z.expand(n, -1, -1)
    hard = F.cross_entropy(lp, many(y), ignore_index=IGNORE, label_smoothing=.03)
    if told is None:
        calls = F.cross_entropy(out[1].float(), many(call), ignore_index=IGNORE, weight=weight)
    else:
        calls = taught(out[1].float().log_softmax(1), call, weight, told, part)
    soft = -(teach * lp).sum(1)[:, :, DELAY:].mean()
    return hard, soft, calls, lp.mean(0).log_softmax(1), y


def spec_mask(m):
    b, c, n = m.shape
    for _ in range(3):
        f0 = torch.randint(0, c, (b, 1, 1), device=m.device); fw = torch.randint(0, 6, (b, 1, 1), device=m.device)
        k = torch.arange(c, device=m.device).view(1, -1, 1)
        m = torch.where((k >= f0) & (k < f0 + fw), m.mean((1, 2), keepdim=True), m)
    t0 = torch.randint(0, n, (b, 1, 1), device=m.device); tw = torch.randint(0, 12, (b, 1, 1), device=m.device)
    k = torch.arange(n, device=m.device).view(1, 1, -1)
    return torch.where((k >= t0) & (k < t0 + tw), m.mean((1, 2), keepdim=True), m)


class Hearing:
    """The front ends of the nets: from samples to the bands of each."""

    def __init__(self, warps, dev):
        self.mels = [LogMel(w).to(dev) for w in warps]

    def train(self, x):
        p = self.mels[0].power(x)
        out = [self.mels[0].bands(p, True) for _ in self.mels]
        return [torch.where(torch.rand(len(x), 1, 1, device=x.device) < .6, spec_mask(m), m) for m in out]

    def __call__(self, x):
        p = self.mels[0].power(x)
        return [m.bands(p) for m in self.mels]


def evaluate(model, hear, pool, aug, b):
    """Shares of phones right by the mean of the nets and by each, of ended callouts right."""
    was = model.training
    model.eval()
    state = torch.cuda.get_rng_state() if torch.cuda.is_available() else None
    torch.manual_seed(7)
    right, total = np.zeros(model.nets + 2), np.zeros(model.nets + 2)
    with torch.no_grad(), torch.autocast("cuda" if torch.cuda.is_available() else "cpu", dtype=torch.bfloat16, enabled=torch.cuda.is_available()):
        for _ in range(3):
            x, y, call, _ = pool.batch(b)
            o = model(hear(aug(x, torch.tensor(1., device=x.device)) if aug else x))
            o = [z.float().log_softmax(1) for z in o]
            tests = [(o[0].mean(0), y), *((z, y) for z in o[0]), (o[1].mean(0), call)]
            for k, (z, t) in enumerate(tests):
                t = shift(t)[:, :z.shape[2]]
                ok = (t != IGNORE) & (t != 0)
                right[k] += (z.argmax(0) == t)[ok].sum().item(); total[k] += ok.sum().item()
    model.train(was)
    if state is not None:
        torch.cuda.set_rng_state(state)
    return " ".join(f"{r / max(1, t):.3f}" for r, t in zip(right, total))


def altered(job):
    """A recording said by another: quicker or slower, higher or lower, with another throat."""
    x, y, seed = job
    rng = random.Random(seed)
    x, tempo = x.astype(float), rng.uniform(.87, 1.16)
    if rng.random() < .6:
        pitch = 2 ** rng.uniform(-.3, .4)
        x, tempo = synth.reshape(x, pitch, pitch ** .3 * rng.uniform(.92, 1.09)), tempo * pitch
    x = synth.resample(x, 1 / tempo)
    y = y[np.minimum((np.arange(len(x) // 160) * tempo).astype(int), len(y) - 1)]
    return np.clip(x[:len(y) * 160], -32767, 32767).astype(np.int16), y


class People:
    def __init__(self, folder, fold):
        z = np.load(folder + "/people.npz")
        self.wave, self.phone, self.rows = z["wave"], z["phone"], json.loads(str(z["rows"]))
        self.keep = [r for r in self.rows if not folds.held(r["speaker"], fold)]
        self.left = [r for r in self.rows if fold and folds.held(r["speaker"], fold) and r["words"]]

    def cut(self, r):
        return self.wave[r["at"] * 160:(r["at"] + r["n"]) * 160], self.phone[r["at"]:r["at"] + r["n"]]

    def joined(self, rows, dev, gap=30):
        """A pool of recordings with pauses between."""
        pairs = [self.cut(r) if isinstance(r, dict) else r for r in rows]
        quiet, none = np.zeros(gap * 160, np.int16), np.zeros(gap, np.uint8)
        return Pool(np.concatenate([w for p, _ in pairs for w in (p, quiet)]), np.concatenate([w for _, p in pairs for w in (p, none)]), dev)


def arguments():
    ap = argparse.ArgumentParser()
    for a in ("people", "rooms", "vocabulary", "out"):
        ap.add_argument("--" + a, required=True)
    ap.add_argument("--pools", nargs="+", default=[], help="folder:share of a batch beside the people's share of 1")
    ap.add_argument("--fold", default="", help="leave these people out")
    ap.add_argument("--seed", type=int, default=1); ap.add_argument("--batch", type=int, default=128)
    ap.add_argument("--ears", nargs="+", default=["plain", "level", "level"], help="of each net: see net.Ear"); ap.add_argument("--warps", nargs="+", type=float, default=[1., .9, .94])
    ap.add_argument("--width", type=int, default=256)
    ap.add_argument("--seconds", type=float, default=300); ap.add_argument("--until", type=float, default=0, help="stop at this time of the clock instead")
    ap.add_argument("--start", nargs="*", default=[], help="a net.bin for each ear to go on from")
    ap.add_argument("--start-callouts", help="callouts.tsv of these")
    ap.add_argument("--lr", type=float, default=6e-4); ap.add_argument("--hard", type=float, default=1., help="how loud the trouble gets, 0 to 1")
    ap.add_argument("--teachers", nargs="*", default=[], help="folders of nets that teach instead of the mean of the steps")
    ap.add_argument("--few", type=float, default=.3, help="how often the talk over a voice is of one to three people")
    ap.add_argument("--colour", choices=["all", "none", "apart"], default="all", help="voices coloured alone: see augment.py")
    ap.add_argument("--teacher", type=float, default=0., help="weight of the teacher against the labels")
    ap.add_argument("--sequence", type=float, default=0., help="weight of whole sequences (chain.py) against single labels")
    ap.add_argument("--copies", type=int, default=1, help="other throats that say what the people said")
    return ap.parse_args()


def fit(a, model, hear, people_pools, aug, throats, dev_pools, classes, say, keep, dev):
    model.train()
    scratch = not a.start
    lr = a.lr
    opt = torch.optim.AdamW(model.parameters(), lr=lr, weight_decay=.01)
    ema = Tcn(model.c, model.calls, a.ears).to(dev).eval()
    ema.load_state_dict(model.state_dict())
    weight = torch.ones(model.calls, device=dev); weight[0] = .3
    fast = dev == "cuda" and not os.environ.get("PLAIN")
    loud = torch.compile(aug, dynamic=False) if fast else aug
    if fast:
        model.trunk_of = torch.compile(model.trunk_of, dynamic=False)
        ema.trunk_of = torch.compile(ema.trunk_of, dynamic=False)
    wait = [(p.rsplit(":", 1)[0], float(p.rsplit(":", 1)[1])) for p in a.pools]
    pools, begin, step, last = list(people_pools), time.time(), 0, time.time()
    masters = Teachers(a.teachers, a.ears, classes, dev, fast) if a.teachers else None
    paths = chain.Chain(pools, a.batch, ((CROP - 400) // 160 - 4) // 2 + 1, dev) if a.sequence else None
    end = a.until or begin + a.seconds
    while True:
        now = time.time()
        u = (now - begin) / max(1, end - begin)
        if u >= 1:
            break
        if step % 50 == 0:
            for d in [d for d in wait if os.path.exists(d[0] + "/done")]:
                pools.append((from_folder(d[0], dev), d[1])); wait.remove(d)
                say(f"pool {d[0]} {len(pools[-1][0].frames) / 360000:.2f} h at {now - begin:.0f} s")
            total = sum(s for _, s in pools)
            share = [int(a.batch * s / total) for _, s in pools]
            share[0] += a.batch - sum(share)
        rate = min(1, step / 200 + .01) * (1e-3 + .5 * (1 + np.cos(np.pi * u)))
        for g in opt.param_groups:
            g["lr"] = lr * rate
        x, y, call, every = (torch.cat(c) for c in zip(*[p.batch(k) for (p, _), k in zip(pools, share) if k]))
        with torch.no_grad():
            some = torch.randperm(len(x), device=dev)[:len(x) // 2]
            x[some] = throats(x[some], every[some])
            x = x * 10 ** (torch.rand(len(x), 1, device=dev) - .5)
            mute = torch.rand(len(x), 1, device=dev) < .06
            x, y, call = torch.where(mute, x * 0, x), torch.where(mute, y * 0, y), torch.where(mute, call * 0, call)
            noisy = hear.train(loud(x, torch.tensor(a.hard * min(1., (.3 if scratch else .7) + 2 * u), device=dev)))
            clean = hear(x) if a.teacher else None
        with torch.autocast(dev, dtype=torch.bfloat16, enabled=dev == "cuda"):
            part = a.teacher * min(1, max(0, (u - .25) / .2)) if scratch else a.teacher * min(1, u / .1)
            with torch.no_grad():
                teach, told = torch.zeros(40, *y.shape, device=dev), None
                if masters:
                    teach, told = masters(clean)
                elif a.teacher:
                    teach = ema(clean)[0].float().log_softmax(1).mean(0).softmax(0)
            out = model(noisy)
            hard, soft, calls, mean, y = losses(out, y, call, weight, teach, told, part)
            loss = (1 - part) * hard + part * soft + calls
        whole = torch.zeros(())
        if paths:
            pull, whole = paths(mean.transpose(0, 1), y)
            loss = (1 - a.sequence) * loss + a.sequence * (pull + calls)
        opt.zero_grad(); loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 1.)
        opt.step(); step += 1
        with torch.no_grad():
            k = min(AVERAGE, step / (step + 10))
            torch._foreach_lerp_(list(ema.parameters()), list(model.parameters()), 1 - k)
            for p, q in zip(ema.buffers(), model.buffers()):
                p.lerp_(q, 1 - k) if p.is_floating_point() else p.copy_(q)
        if now - last > 60 or step == 300:
            last = now
            say(f"{u:.2f} step {step} {1000 * (now - begin) / step:.0f} ms hard {hard.item():.3f} soft {soft.item():.3f} whole {whole.item():.3f} calls {calls.item():.3f} dev " +
                " | ".join(f"{n} {evaluate(ema, hear, p, g, a.batch)}" for n, p in dev_pools for g in (None, loud)))
            if u > .3:
                keep(ema)
    return ema, pools


def main():
    a = arguments()
    os.makedirs(a.out, exist_ok=True)
    log = open(f"{a.out}/log.txt", "a")
    say = lambda s: (print(s, file=log, flush=True), print(a.out, s, flush=True))
    torch.manual_seed(a.seed)
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    people = People(a.people, a.fold)
    said = [r for r in people.keep if r["words"]]
    rng = random.Random(a.seed)
    with mp.get_context("fork").Pool(max(2, (os.cpu_count() or 4) // 2)) as pool:
        others = pool.map(altered, [(*people.cut(r), rng.random()) for r in said * a.copies], 16)
    pools = [(people.joined(said + others, dev), 1.)]
    unknown = [r for r in people.keep if r["kind"] == "speech" and not r["words"]]
    if unknown:
        pools.append((people.joined(unknown, dev), .25 if a.teacher else .06))
    noise = np.concatenate([people.cut(r)[0] for r in people.keep if r["kind"] == "noise" and not folds.held_noise(r["file"], a.fold)]).astype(np.float32) / 32768
    level = lambda w: w / max(.01, np.sqrt((w ** 2).mean())) * .05
    talk = np.concatenate([level(people.cut(r)[0].astype(np.float32) / 32768) for r in people.keep if r["kind"] == "speech" and not folds.talker(r["speaker"], a.fold)])
    boxes = torch.from_numpy(np.load(a.rooms))
    aug = Augment(torch.from_numpy(noise), torch.from_numpy(talk), torch.from_numpy(np.load(a.people + "/rirs.npy")), boxes, dev, a.few, a.colour)
    classes = corpus.callouts(a.vocabulary)
    model = Tcn(a.width, 1 + len(classes), a.ears).to(dev)
    hear = Hearing(a.warps, dev)
    throats = Throats([(r["speaker"], *people.cut(r)) for r in said], hear.mels[0], dev)
    say(f"people {sum(r['n'] for r in said) / 360000:.2f} h of {len({r['speaker'] for r in said})}, without words {sum(r['n'] for r in unknown) / 360000:.2f} h, throats {throats.speakers}, left out {sum(r['n'] for r in people.left) / 360000:.2f} h")
    if a.start:
        into = corpus.renumber(a.start_callouts, classes)
        for k, f in enumerate(a.start):
            load(f, model, k, into)
        x = torch.cat([p.batch(32)[0] for p, _ in pools])
        with torch.no_grad():
            normed(model, hear(aug(x)))
    dev_pools = [("people", people.joined([r for r in people.left if r["kind"] == "speech"], dev))] if people.left else []

    def keep(ema):
        prior = log_priors(pools)
        for k, w in enumerate(a.warps):
            save(f"{a.out}/net{k + 1}.bin", ema, k, prior, w)
        with open(f"{a.out}/callouts.tsv", "w") as f:
            f.writelines(f"{c}\t{p}\n" for c, phrases in classes for p in phrases)

    ema, pools = fit(a, model, hear, pools, aug, throats, dev_pools, classes, say, keep, dev)
    keep(ema)
    say("done")


def log_priors(pools):
    """Log of how often each phone is met in training."""
    p = sum(s * torch.bincount(pool.frames[pool.frames < 40].long(), minlength=40).double() / len(pool.frames) for pool, s in pools)
    return (p / p.sum() + 1e-6).log().cpu().numpy()


if __name__ == "__main__":
    main()
