"""Speak the corpus with flite and espeak-ng and keep the exact phone times.

synth.py OUT N SEED VOCABULARY ARPA: writes OUT/wave.i16 (16 kHz mono, all
utterances end to end, pauses between them), OUT/frames.u8 (phone index per
10 ms), OUT/calls.u8 (per 10 ms: 0 no callout, k if callout k has just ended,
255 unknown), OUT/since.u16 (where a callout has just ended: 10 ms since it
began). Voices named in HELD_OUT are for measuring only and are refused here.
"""
import multiprocessing as mp
import os
import random
import subprocess
import sys
import tempfile

import numpy as np

import corpus

PHONES = "SIL AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH".split()
HELD_OUT = {"slt", "ked_diphone", "cmu_us_slt_arctic_hts"}
FLITE = ["rms", "awb", "kal16"]
ESPEAK = [f"{b}{v}" for b in ("en-us", "gmw/en", "en-gb-scotland", "en-gb-x-rp", "en-029", "en-gb-x-gbclan", "en-us-nyc")
          for v in ("", "+f1", "+f2", "+f3", "+f4", "+f5", "+m1", "+m2", "+m3", "+m4", "+m6", "+m7", "+m8", "+klatt", "+klatt2", "+klatt4",
                    "+Andy", "+Annie", "+linda", "+steph2", "+Alicia", "+belinda", "+Mike", "+rob", "+ed", "+boris", "+quincy", "+travis")]
FROM_FLITE = {"pau": "SIL", "h#": "SIL", "brth": "SIL", "ssil": "SIL", "ax": "AH", "axr": "ER", "ix": "IH", "dx": "T", "el": "L", "em": "M", "en": "N", "nx": "N", "hv": "HH", "ux": "UW"}
# espeak-ng's phoneme mnemonics for English, to one or two CMUdict phones.
FROM_ESPEAK = {k: v.split() for k, v in {
    "i:": "IY", "i": "IY", "I": "IH", "I2": "IH", "I#": "IH", "E": "EH", "E2": "EH", "e": "EH", "a": "AE", "a2": "AE", "a#": "AH", "aa": "AE",
    "A:": "AA", "A": "AA", "A@": "AA R", "0": "AA", "02": "AA", "O": "AO", "O2": "AO", "O:": "AO", "O@": "AO R", "o@": "AO R", "U": "UH", "u:": "UW", "u": "UW",
    "U@": "UH R", "V": "AH", "@": "AH", "@2": "AH", "@5": "AH", "3": "ER", "3:": "ER", "@L": "AH L", "VR": "AH R", "IR": "IH R", "i@3": "IH R", "i@": "IH AH", "e@": "EH R",
    "aI": "AY", "aI2": "AY", "aI3": "AY ER", "aI@": "AY ER", "aU": "AW", "aU@": "AW ER", "OI": "OY", "oU": "OW", "o": "OW", "eI": "EY", "n-": "N", "r-": "R", "w#": "W",
    "t#": "T", "t[": "T", "t2": "T", "t": "T", "?": "T", "h": "HH", "j": "Y", "dZ": "JH", "tS": "CH", "T": "TH", "D": "DH", "N": "NG", "S": "SH", "Z": "ZH", "x": "K", "R": "R", "R2": "R",
    "_:": "SIL", "_": "SIL", "__": "SIL", "_!": "SIL", "A@2": "AA R", "O@2": "AO R", "l#": "L", "z#": "Z", "d#": "D", "s#": "S", "v#": "V", "z/2": "Z", "w2": "W", "L": "L", "u:2": "UW", "@-": "AH", "I3": "IH", "A~": "AA", "O~": "AO", "3:r": "ER", "A#": "AH",
}.items()}
for c in "b d f g k l m n p r s v w z".split():
    FROM_ESPEAK.setdefault(c, [c.upper()])
INDEX = {p: i for i, p in enumerate(PHONES)}


def fill(spans, samples, rate):
    """spans: (start second, end second, [phones]) -> phone index per 10 ms."""
    n = int(samples / rate * 100)
    out = np.zeros(n, np.uint8)
    for a, b, phones in spans:
        for k, p in enumerate(phones):
            s, e = a + (b - a) * k / len(phones), a + (b - a) * (k + 1) / len(phones)
            out[int(round(s * 100)):int(round(e * 100))] = INDEX[p]
    return out


def resample(x, ratio):
    """Linear-phase-free quick resampling by FFT: ratio = output rate / input rate."""
    n = int(len(x) * ratio)
    f = np.fft.rfft(x)
    m = n // 2 + 1
    f = f[:m] if m <= len(f) else np.pad(f, (0, m - len(f)))
    return np.fft.irfft(f, n) * ratio


def reshape(x, pitch, tract):
    """Another larynx and another mouth for the same speech: played pitch times
    faster by the caller, the result has its pitch times higher but its
    formants only tract times. Cepstral envelope, frame by frame."""
    n, hop, order = 512, 128, 30
    win = np.hanning(n)
    f = np.arange(n // 2 + 1)
    to = np.minimum(f * pitch / tract, n // 2)
    y, norm = np.zeros(len(x) + 2 * n), np.full(len(x) + 2 * n, 1e-3)
    x = np.pad(x, (0, n))
    for a in range(0, len(x) - n, hop):
        s = np.fft.rfft(x[a:a + n] * win)
        c = np.fft.irfft(np.log(np.abs(s) + 1))
        c[order:-order + 1] = 0
        e = np.fft.rfft(c).real
        y[a:a + n] += np.fft.irfft(s * np.exp(np.interp(to, f, e) - e)) * win
        norm[a:a + n] += win ** 2
    return (y / norm)[:len(x) - n]


def flite(text, rng, tmp):
    v = rng.choice(FLITE)
    stretch = rng.uniform(.75, 1.25)
    pitch = tract = 1.
    if rng.random() < .6:  # the three voices are men's; half of the room is not
        pitch = 2 ** rng.uniform(-.15, 1.25)
        tract = min(1.3, max(.85, pitch ** .22 * rng.uniform(.92, 1.13)))
        stretch *= pitch
    out = subprocess.run(["flite", "-voice", v, "--setf", f"duration_stretch={stretch:.2f}", "-t", text, "-psdur", "-o", tmp + ".wav"], capture_output=True, text=True).stdout
    x = np.frombuffer(open(tmp + ".wav", "rb").read()[44:], np.int16).astype(np.float32)
    spans, last = [], 0.
    for tok in out.split():
        p, end = tok.rsplit(":", 1)
        spans.append((last, float(end), [FROM_FLITE.get(p, p.upper())]))
        last = float(end)
    # The diphone voice speaks 4 % faster than it says: its times are scaled to its sound.
    k = len(x) / 16000 / last
    spans = [(a * k, b * k, p) for a, b, p in spans]
    if pitch != 1:
        return reshape(x, pitch, tract), 16000 * pitch, [(a / pitch, b / pitch, p) for a, b, p in spans], FLITE.index(v)
    return x, 16000, spans, FLITE.index(v)


def espeak(text, rng, tmp, server):
    k = rng.randrange(len(ESPEAK))
    server.stdin.write(f"{ESPEAK[k]}\t{rng.randrange(130, 230)}\t{rng.randrange(20, 80)}\t{tmp}\t{text}\n")
    server.stdin.write(f"en-us\t400\t50\t{tmp}.done\ta\n")  # its first write tells that the one before is whole
    server.stdin.flush()
    while not os.path.exists(tmp + ".done.pho"):
        if server.poll() is not None:
            raise RuntimeError("espeak_phones died")
    x = np.frombuffer(open(tmp + ".raw", "rb").read(), np.int16).astype(np.float32)
    rows = [l.split(None, 1) for l in open(tmp + ".pho")]
    spans = []
    for (a, p), (b, _) in zip(rows, rows[1:] + [[str(len(x) / 22050), "_"]]):
        p = p.strip()
        if p == ";" and spans:  # palatal off-glide: part of the phone before
            spans[-1] = (spans[-1][0], float(b), spans[-1][2])
            continue
        if p not in FROM_ESPEAK:
            return None
        spans.append((float(a), float(b), FROM_ESPEAK[p]))
    for f in (".done.pho", ".done.raw"):
        os.path.exists(tmp + f) and os.remove(tmp + f)
    return x, 22050, spans, 10 + k


def opinion(y, calls):
    """Phones per 10 ms and the callouts said -> calls and since: see above. A
    callout counts as just ended from 20 to 180 ms after its last phone."""
    z, since = np.zeros(len(y), np.uint8), np.zeros(len(y), np.uint16)
    on = np.nonzero(y)[0]
    if not calls or len(on) == 0:
        return z, since
    if calls == corpus.UNSURE:
        z[:] = 255
        return z, since
    spans = [(on[0], on[-1])]
    if len(calls) == 2:
        k = np.argmax(np.diff(on))
        if on[k + 1] - on[k] < 6:  # no pause tells them apart
            z[on[0]:on[-1] + 50] = 255
            return z, since
        spans = [(on[0], on[k]), (on[k + 1], on[-1])]
    for a, b in spans:
        z[a:b + 50] = 255
    for (a, b), c in zip(spans, calls):
        z[b + 2:b + 18] = c
        since[b + 2:b + 18] = np.arange(b + 2, b + 18)[:len(z[b + 2:b + 18])] - a
    return z, since


def finish(x, y, calls, rng):
    """Sound of any level and its phones -> int16 samples, phones, calls, since, with a pause behind."""
    gap = int(rng.uniform(20, 140))
    x = np.r_[np.clip(x[:len(y) * 160] * (9000 / max(1, np.abs(x).max())), -32767, 32767), np.zeros(gap * 160)].astype(np.int16)
    y = np.r_[y, np.zeros(gap, np.uint8)]
    return (x, y) + opinion(y, calls)


def work(job):
    part, texts, seed = job
    rng = random.Random(seed)
    out = []
    with tempfile.TemporaryDirectory() as d:
        server = subprocess.Popen([os.environ.get("ESPEAK_PHONES", "espeak_phones")], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True)
        for i, (text, calls) in enumerate(texts):
            got = flite(text, rng, f"{d}/{i}") if rng.random() < .65 else espeak(text, rng, f"{d}/{i}", server)
            if got is None:
                continue
            x, rate, spans, voice = got
            # Speed and pitch together: another vocal tract from the same voice.
            warp = 1. if rate > 16000 and voice < 10 else rng.uniform(.84, 1.22) if rng.random() < .8 else 1.
            x = resample(x, 16000 / rate / warp)
            spans = [(a / warp, b / warp, p) for a, b, p in spans]
            y = fill(spans, len(x), 16000)
            if len(y) >= 30 and len(x) >= len(y) * 160:
                out.append(finish(x, y, calls, rng))
        server.stdin.close()
    return [np.concatenate(c) for c in zip(*out)]


def write(out, parts, n):
    os.makedirs(out, exist_ok=True)
    files, at = [open(f"{out}/{f}", "wb") for f in ("wave.i16", "frames.u8", "calls.u8", "since.u16")], 0
    for k, columns in enumerate(parts):
        for f, c in zip(files, columns):
            f.write(c.tobytes())
        at += len(columns[0])
        if k % 20 == 0:
            print(f"synth: {k + 1}/{n} parts, {at / 16000 / 3600:.2f} h", flush=True)


def main():
    out, n, seed, vocabulary, arpa = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), sys.argv[4], sys.argv[5]
    assert not HELD_OUT & set(FLITE)
    texts = list(corpus.sentences(n, seed, vocabulary, arpa))
    jobs = [(i, texts[i:i + 100], seed * 100003 + i) for i in range(0, n, 100)]
    with mp.Pool() as pool:
        write(out, pool.imap(work, jobs), len(jobs))


if __name__ == "__main__":
    main()
