"""Speak the ordinary sentences of intents/evaluate/testdata/sentences.tsv, one recording for each kind, voice and condition.

sentences.py OUT [SENTENCES] [--voices flite:slt,...] [--speech SHARED_SPEECH] [--conditions clean,ward15,...]

Voices: flite:NAME, festival:NAME, hts:DIR (rhsay.py beside it, see the shared voices). Without them the three that are never
trained on. Conditions beside clean need the shared speech folder: see evalset.mix (bay15: talk, alarms,
noise and echo together). testdata/codes.tsv beside it are whole codes, with the pauses of one.
reference.tsv: file, condition, start_s, end_s, callout, text, values; a sentence with two callouts has two rows of the same time.
    coxswain listen OUT --reference OUT/reference.tsv
"""
import argparse
import os
import random
import subprocess
import wave

import numpy as np

import evalset

HERE = os.path.dirname(os.path.abspath(__file__))
HELD_OUT = "flite:slt,festival:ked_diphone,festival:cmu_us_slt_arctic_hts"


def speak(voice, text, rng, tmp):
    engine, name = voice.split(":", 1)
    if engine != "hts":
        return evalset.speak(voice, text, rng, tmp)
    voices, name = os.path.split(name)
    subprocess.run(["/usr/bin/python3", f"{voices}/tools/rhsay.py", name, os.path.abspath(tmp), text], cwd=voices, check=True)
    x = evalset.load(tmp)
    os.remove(tmp)
    return x * (.1 / np.sqrt((x ** 2).mean()))


def read(path):
    """[(kind, text, [(callout, "slot=n")], pause before it in seconds or None)]"""
    out = []
    for line in open(path):
        if line.strip() and line[0] != "#":
            kind, text, calls, pause = (line.rstrip("\n").split("\t") + ["", ""])[:4]
            out.append((kind, text, [tuple((c.strip() + " ").split(" ", 1)) for c in calls.split(";") if c.strip()], float(pause) if pause else None))
    return out


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("out")
    ap.add_argument("sentences", nargs="?", default=f"{HERE}/../evaluate/testdata/sentences.tsv")
    ap.add_argument("--voices", default=HELD_OUT)
    ap.add_argument("--speech")
    ap.add_argument("--conditions", default="clean")
    a = ap.parse_args()
    os.makedirs(a.out, exist_ok=True)
    rng, items = random.Random(5), read(a.sentences)
    sounds = evalset.surroundings(a.speech, rng) if a.speech else ()
    ref = open(f"{a.out}/reference.tsv", "w")
    ref.write("file\tcondition\tstart_s\tend_s\tcallout\ttext\tvalues\n")
    for voice in a.voices.split(","):
        for kind in dict.fromkeys(k for k, *_ in items):
            parts, at, marks = [np.zeros(16000)], 16000, []
            for _, text, calls, pause in (i for i in items if i[0] == kind):
                x = speak(voice, text, rng, f"{a.out}/tmp.wav")
                gap = np.zeros(int(16000 * (pause or rng.uniform(1.2, 2.))))
                at += len(gap)
                marks.append((at / 16000, (at + len(x)) / 16000, text, calls))
                parts += [gap, x]
                at += len(x)
            parts.append(np.zeros(16000))
            for cond in a.conditions.split(","):
                y = evalset.mix(np.concatenate(parts), cond, rng, *sounds) if sounds else np.concatenate(parts)
                y = y * (.05 / np.sqrt((y ** 2).mean())) + np.random.RandomState(1).randn(len(y)) * 1e-4
                name = f"{kind.replace(' ', '-')}-{cond}-{voice.replace(':', '-').replace('/', '-')}.wav"
                with wave.open(f"{a.out}/{name}", "wb") as w:
                    w.setparams((1, 2, 16000, 0, "NONE", ""))
                    w.writeframes((np.clip(y, -1, 1) * 32767).astype(np.int16).tobytes())
                for s, e, text, calls in marks:
                    for cid, values in calls or [("", "")]:
                        ref.write(f"{name}\t{kind} {cond}\t{s:.3f}\t{e:.3f}\t{cid}\t{text}\t{values.strip()}\n")
        print("sentences:", voice, flush=True)


if __name__ == "__main__":
    main()
