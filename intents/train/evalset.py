"""Make the evaluation recordings: continuous talk of one voice at a time with
callouts and near misses, under each condition, and reference.tsv.

evalset.py OUT VOCABULARY SHARED_SPEECH [held-out|dev] [SEED] [PHRASES]

held-out: voices that were never trained on. dev: trained voices, most of them
made strange, for fitting the confidence. SHARED_SPEECH is the speech folder with
MANIFEST.tsv; every second of its human recordings goes to each part. PHRASES: a
file of callout, phrase with {n} for a number, slot; without it, one phrase of
each callout of the vocabulary.
reference.tsv: file, condition, start_s, end_s, callout ("" for a near miss), text, values
"""
import os
import random
import re
import subprocess
import sys
import wave
from concurrent.futures import ThreadPoolExecutor

import numpy as np

import corpus
import synth

VOICES = {"held-out": ["flite:slt", "festival:ked_diphone", "festival:cmu_us_slt_arctic_hts"],
          # flite: pitch and vocal tract, some beyond what synth.py does
          "dev": ["flite:rms", "flite:awb:1.9:1.22", "flite:kal16:1.7:1.15", "flite:rms:1.6:0.9", "espeak:gmw/en+m3"]}
NEAR = """get the epi ready|start the clock|he had v fib last year|draw up one milligram of epinephrine|do you want epi given now
give amiodarone three hundred|prepare to shock|should we shock him|is there a pulse|do we have a pulse|charge it to two hundred next time
who is on compressions|the compressor is broken|check the airway|is the tube in|epi is not in yet|has the epi been given
did we deliver a shock|amiodarone is in the drawer|we may lose the pulse|no pulse ox reading|clear the table|everybody out
what is the next patient|end of the corridor|stop the bleeding|hold the door|change the bed|what time did he come in|make a phone call
lidocaine patch|note the rash|organise the room|sinus infection|fluid on the floor|the bolus is ready|scratch that itch
time to go|next in line|turn the light on|turn the monitor off|pulse oximeter|present your case|return the trolley|ready to charge""".replace("\n", "|").split("|")
# A resuscitation bay is no church: rooms and noises of the set that one could be.
ROOMS = ["audiom_impulse_response_0", "audiom_rir48000", "dfn_rir_sim_rt60_0.79", "seminar_room_clap"]
WARD = re.compile("DEMAND|air cond|interface beeps|restaurant|dishes|running tap|handling|clock tick|exercise bike")
NUMBERS = {"energy_j": [120, 150, 200, 300, 360, 175, 200, 360], "dose_mg": [1, 300, 150, 100, 50, 1, 300, 150], "dose_g": [1, 2], "weight_kg": [4, 12, 18, 20, 35, 70, 80, 110],
           "age_y": [2, 4, 8, 35, 62, 71, 84], "age_months": [3, 6, 9, 18], "minutes": [1, 2, 3, 5]}
CONDITIONS = ["clean", "echo", "babble20", "babble10", "babble5", "ward15", "ward10", "ward5", "metronome"]


def speak(voice, text, rng, tmp):
    engine, name = voice.split(":", 1)
    name, _, shape = name.partition(":")
    pitch, tract = map(float, shape.split(":")) if shape else (1., 1.)
    if engine == "flite":
        subprocess.run(["flite", "-voice", name, "--setf", f"duration_stretch={rng.uniform(.85, 1.15) * pitch:.2f}", "-t", text, "-o", tmp], check=True)
    elif engine == "espeak":
        subprocess.run(["espeak-ng", "-v", name, "-s", str(rng.randrange(140, 190)), "-w", tmp, text], check=True)
    else:
        subprocess.run(["text2wave", "-eval", f"(voice_{name})", "-o", tmp], input=text.encode(), check=True)
    w = wave.open(tmp)
    os.remove(tmp)
    x, rate = np.frombuffer(w.readframes(w.getnframes()), np.int16).astype(float) / 32768, w.getframerate()
    if shape:
        x, rate = synth.reshape(x * 32768, pitch, tract) / 32768, rate * pitch
    n = int(len(x) * 16000 / rate)
    f = np.fft.rfft(x)[:n // 2 + 1]
    x = np.fft.irfft(np.pad(f, (0, n // 2 + 1 - len(f))), n) * n / len(x)
    on = np.nonzero(np.abs(x) > .004 * np.abs(x).max())[0]
    x = x[on[0]:on[-1] + 1]  # first to last sound
    return x * (.1 / np.sqrt((x ** 2).mean()))


def texts(vocabulary, rng, phrases):
    """(callout, text, values) for each phrase, numbers filled in."""
    if phrases:
        rows = [l.rstrip("\n").split("\t") for l in open(phrases) if l.strip() and l[0] != "#"]
        rows = [(c, p.replace("{n}", "{" + (slot or [""])[0] + "}")) for c, p, *slot in rows]
    else:
        rows = [(c, rng.choice(ps)) for c, ps in corpus.callouts(vocabulary)]
    out = []
    for cid, p in rows:
        values = {}
        for slot in re.findall(r"\{(\w+)\}", p):
            n = 1 if "epi" in p else rng.choice(NUMBERS[slot])
            values[slot] = n
            if n == 1:
                p = p.replace("milligrams", "milligram")
            p = p.replace("{" + slot + "}", say(n))
        out.append((cid, p, values))
    return out


def say(n):
    if n < 20:
        return corpus.ONES[n]
    if n < 100:
        return corpus.TENS[n // 10] + (" " + corpus.ONES[n % 10] if n % 10 else "")
    return corpus.ONES[n // 100] + " hundred" + (" " + say(n % 100) if n % 100 else "")


def load(path):
    if path.endswith(".opus"):
        raw = subprocess.run(["opusdec", "--quiet", "--rate", "16000", path, "-"], check=True, capture_output=True).stdout
        return np.frombuffer(raw[len(raw) % 2:], np.int16).astype(float) / 32768
    return np.frombuffer(subprocess.run(["sox", path, "-r", "16000", "-c", "1", "-t", "s16", "-"], check=True, capture_output=True).stdout, np.int16).astype(float) / 32768


def fit(pool, n, rng):
    at = rng.randrange(0, max(1, len(pool) - n))
    return np.resize(pool[at:], n)


def alarms(n):
    t = np.arange(n) / 16000
    return sum(np.sin(2 * np.pi * 880 * k * t) / k for k in (1, 2, 3)) * ((t % 1.2 < .15) | ((t % 1.2 > .3) & (t % 1.2 < .45)))


def mix(x, cond, rng, noise, talkers, rirs):
    def at(n, snr):
        return n / np.sqrt((n ** 2).mean()) * .1 * 10 ** (-snr / 20)
    if cond == "echo" or cond.startswith(("ward", "bay")):
        h = rirs[rng.randrange(len(rirs))]
        n = 1 << (len(x) + len(h)).bit_length()
        x = np.fft.irfft(np.fft.rfft(x, n) * np.fft.rfft(h / np.sqrt((h ** 2).sum()), n), n)[:len(x)]
    if cond.startswith("babble"):
        x = x + at(sum(fit(talkers, len(x), rng) for _ in range(4)), int(cond[6:]))
    if cond.startswith("bay"):  # what a bay sounds like: people talk, something whirrs, alarms go, all in one room
        x = x + .6 * at(at(sum(fit(talkers, len(x), rng) for _ in range(6)), 0), int(cond[3:]))
        x = x + .8 * at(at(fit(noise, len(x), rng), 0) + .4 * at(alarms(len(x)), 0), int(cond[3:]))
    if cond.startswith("ward"):
        x = x + at(at(fit(noise, len(x), rng), 0) + .4 * at(alarms(len(x)), 0), int(cond[4:]))
    if cond == "metronome":
        t = np.arange(len(x)) / 16000
        ph = t % (60 / 110)
        x = x + at(np.exp(-ph * 60) * np.sin(2 * np.pi * 1000 * ph), 5)
    return x


def human(shared):
    """Rows of the speech in the shared folder's manifest."""
    return [r for r in manifest(shared) if r[1] == "speech"]


def manifest(shared):
    return [l.rstrip("\n").split("\t") for l in open(shared + "/MANIFEST.tsv")][1:]


def surroundings(shared, rng):
    """What mix takes: ward noise, talkers in a row, rooms."""
    rows = manifest(shared)
    noise = np.concatenate([load(f"{shared}/{r[0]}") for r in rows if r[1] == "noise" and WARD.search(r[2])])
    talkers = np.concatenate([(lambda x: x / np.sqrt((x ** 2).mean()) * .1)(load(f"{shared}/{r[0]}")) for r in rng.sample(human(shared), 90)])
    rirs = []
    for r in rows:
        if r[1] == "rir" and any(room in r[0] for room in ROOMS):
            h = load(f"{shared}/{r[0]}"); h = h[np.abs(h).argmax():][:16000]
            rirs.append(h)
    return noise, talkers, rirs


def main():
    out, vocabulary, shared = sys.argv[1:4]
    part, seed, phrases = (sys.argv[4:] + ["held-out"])[0], int((sys.argv[5:] + ["1"])[0]), (sys.argv[6:] + [""])[0]
    os.makedirs(out, exist_ok=True)
    rng = random.Random(seed)
    noise, talkers, rirs = surroundings(shared, rng)
    speech = human(shared)
    ref = open(out + "/reference.tsv", "w")
    ref.write("file\tcondition\tstart_s\tend_s\tcallout\ttext\tvalues\n")
    for v in VOICES[part]:
        items = texts(vocabulary, rng, phrases) + [("", t, {}) for t in rng.sample(NEAR, len(NEAR))]
        rng.shuffle(items)
        with ThreadPoolExecutor(2) as ex:
            seeds = [random.Random(rng.random()) for _ in items]
            waves = list(ex.map(lambda a: speak(v, a[1][1], a[2], f"{out}/tmp-{a[0]}.wav"), [(i, it, s) for i, (it, s) in enumerate(zip(items, seeds))]))
        parts, at, marks = [], 0, []
        for it, w in zip(items, waves):
            gap = np.zeros(int(16000 * rng.uniform(1.2, 2.5)))
            parts += [gap, w]
            marks.append(((at + len(gap)) / 16000, (at + len(gap) + len(w)) / 16000, it))
            at += len(gap) + len(w)
        x = np.concatenate(parts + [np.zeros(16000)])
        for cond in CONDITIONS if part == "held-out" else ["clean", "echo", "babble20", "babble10", "babble5", "ward15", "ward10", "ward5"]:
            y = mix(x, cond, rng, noise, talkers, rirs)
            y = y * (10 ** (rng.uniform(-30, -22) / 20) / np.sqrt((y ** 2).mean())) + np.random.RandomState(seed).randn(len(y)) * 1e-4
            name = f"{cond}-{v.replace(':', '-').replace('/', '-')}.wav"
            with wave.open(f"{out}/{name}", "wb") as w:
                w.setparams((1, 2, 16000, 0, "NONE", ""))
                w.writeframes((np.clip(y, -1, 1) * 32767).astype(np.int16).tobytes())
            for a, b, (cid, text, values) in marks:
                ref.write(f"{name}\t{cond}\t{a:.3f}\t{b:.3f}\t{cid}\t{text}\t{' '.join(f'{k}={x}' for k, x in values.items())}\n")
        print("evalset:", v, len(items), "utterances", flush=True)
    # Human speech without any callout.
    x = np.concatenate([load(f"{shared}/{r[0]}") for r in speech[part == "dev"::2]])
    with wave.open(out + "/human.wav", "wb") as w:
        w.setparams((1, 2, 16000, 0, "NONE", ""))
        w.writeframes((np.clip(x * 1.0, -1, 1) * 32767).astype(np.int16).tobytes())
    ref.write("human.wav\thuman\t0\t0\t\t\t\n")


if __name__ == "__main__":
    main()
