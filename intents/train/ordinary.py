"""Speak ordinary sentences with and without callouts in them (corpus.ordinary), for the fit of the judge, in voices of folds.VOICES.

ordinary.py OUT N SEED VOCABULARY VOICES: VOICES is the shared folder of voices. Writes OUT/ordinary/*.opus and
OUT/ordinary.tsv (file, callouts, words) for tracks.py --clips. Needs festival, hts_engine, sptk, node, sox, opusenc.
"""
import os
import random
import subprocess
import sys
import tempfile

import corpus


def speak(voice, text, rng, out, folder):
    rate = rng.uniform(.85, 1.2)
    if voice == "pico":
        said = f'<volume level="60"><speed level="{int(100 * rate)}"><pitch level="{int(100 * rng.uniform(.75, 1.2))}">{text}</pitch></speed></volume>'
        pico = folder + "/pico_en-GB_kh0/en-GB_"
        subprocess.run(["node", folder + "/tools/pico.mjs", pico + "ta.bin", pico + "kh0_sg.bin", out, said], check=True, stdout=subprocess.DEVNULL)
    else:
        subprocess.run([sys.executable, folder + "/tools/rhsay.py", f"{folder}/{voice}", out, text, "--rate", f"{rate:.3f}", "--semi", f"{rng.uniform(-3, 3):.2f}",
                        "--warp", f"{rng.uniform(-.03, .03):.3f}", "--seed", str(rng.randrange(1 << 30))], check=True)


def main():
    out, n, seed, vocabulary, folder = sys.argv[1:]
    rng = random.Random(int(seed))
    os.makedirs(out + "/ordinary", exist_ok=True)
    with open(out + "/ordinary.tsv", "w") as f, tempfile.TemporaryDirectory() as d:
        for k, (text, calls) in enumerate(corpus.ordinary(int(n), int(seed), vocabulary)):
            voice = ("pico", "nitech_us_clb")[k % 2]
            name = f"ordinary/{voice.replace('_', '.')}_{k}.opus"
            try:
                speak(voice, text, rng, d + "/x.wav", folder)
                subprocess.run(f"sox {d}/x.wav -r 16000 -c 1 {d}/y.wav && opusenc --quiet --bitrate 28 {d}/y.wav {out}/{name}", shell=True, check=True)
            except subprocess.CalledProcessError as e:
                print("ordinary:", voice, repr(text), e, file=sys.stderr)
                continue
            print(name, " ".join(map(str, calls)), text, sep="\t", file=f)


if __name__ == "__main__":
    main()
