"""Speak the corpus with festival's voices of other languages: more throats,
and the accents they give English. Phone times are exact, as festival is given them.

accents.py OUT N SEED VOCABULARY ARPA: writes the files of synth.py (which see).
A sound that a language lacks is said with its nearest; those frames keep no
phone label (255), but the utterance teaches which callout was said.
"""
import multiprocessing as mp
import os
import random
import re
import subprocess
import sys
import tempfile
import wave

import numpy as np

import corpus
import synth

# English phone -> sounds; "!" before them: too far from English to teach the phone.
ITALIAN = "AA a1|AE !E1|AH !a|AO O1|AW a1 u|AY a1 i|B b|CH tS|D d|DH !d|EH E1|ER !E1 r|EY e1 i|F f|G g|HH !#|IH !i|IY i1|JH dZ|K k|L l|M m|N n|NG ng|OW o1 u|OY O1 i|P p|R !r|S s|SH S|T t|TH !f|UH !u|UW u1|V v|W w|Y j|Z z|ZH !S"
CZECH = "AA a:|AE !e|AH !a|AO o:|AW a u|AY a j|B b|CH c~|D d|DH !d|EH e|ER !e r|EY e j|F f|G g|HH h|IH i|IY i:|JH dz~|K k|L l|M m|N n|NG n*|OW o u|OY o j|P p|R !r|S s|SH s~|T t|TH !t|UH u|UW u:|V v|W !v|Y j|Z z|ZH z~"
FINNISH = "AA a:|AE @:|AH !a|AO o:|AW a u|AY a i|B b|CH t s|D d|DH !d|EH e|ER !7: r|EY e i|F f|G g|HH h|IH i|IY i:|JH !d s|K k|L l|M m|N n|NG N|OW o u|OY o i|P p|R !r|S s|SH !s|T t|TH !t|UH u|UW u:|V v|W !v|Y j|Z !s|ZH !s"
HINDI = "AA aa|AE !eh|AH a|AO oo|AW aa uh|AY aa ih|B b|CH ch|D D|DH dh|EH eh|ER !a r|EY ee|F f|G g|HH h|IH ih|IY iy|JH j|K k|L l|M m|N n|NG !n|OW oh|OY oo ih|P p|R !r|S s|SH sh|T T|TH th|UH uh|UW uw|V v|W !v|Y y|Z !j|ZH !sh"
# voice, its sounds, silence, mean pitch in Hz, where its units lie
VOICES = [("lp_diphone", ITALIAN, "#", 185, "italian/lp_diphone/group/lp_diphone.group"), ("pc_diphone", ITALIAN, "#", 110, "italian/pc_diphone/group/pc_diphone.group"),
          ("czech_dita", CZECH, "#", 200, "czech/czech_dita/group/dita.group"), ("czech_machac", CZECH, "#", 110, "czech/czech_machac/group/machac.group"),
          ("czech_ph", CZECH, "#", 115, "czech/czech_ph/group/ph.group"), ("czech_krb", CZECH, "#", 250, "czech/czech_krb/group/krb.group"),
          ("suo_fi_lj_diphone", FINNISH, "#", 190, "finnish/suo_fi_lj_diphone/group/ljlpc.group"), ("hy_fi_mv_diphone", FINNISH, "#", 105, "finnish/hy_fi_mv_diphone/group/mvlpc.group"),
          ("hindi_NSK_diphone", HINDI, "pau", 120, "hindi/hindi_NSK_diphone/group/NSKlpc.group")]
HOME = "/usr/share/festival/voices/"
VOICES = [v for v in VOICES if os.path.exists(HOME + v[4])]  # those that are installed
BREAK = .012  # seconds of silence where two sounds have no join in the voice


def joins(path):
    """Pairs of sounds that the voice can join."""
    head = open(HOME + path, "rb").read(200000).decode("latin1")
    return set(re.findall(r"^(\S+-\S+) ", head, re.M))


def sounds(text, table, quiet, known, rng):
    """[(sound, seconds, phone index)] of a text, from flite's phones and times."""
    with tempfile.NamedTemporaryFile(suffix=".wav") as t:
        out = subprocess.run(["flite", "-voice", rng.choice(synth.FLITE), "--setf", f"duration_stretch={rng.uniform(.85, 1.25):.2f}", "-t", text, "-psdur", "-o", t.name], capture_output=True, text=True).stdout
    row, last = [], 0.
    for tok in out.split():
        p, end = tok.rsplit(":", 1)
        p, d, last = synth.FROM_FLITE.get(p, p.upper()), float(end) - last, float(end)
        if p == "SIL":
            row.append((quiet, d, 0))
            continue
        to = table[p]
        label = 255 if to[0] == "!" else synth.INDEX[p]
        to = to.lstrip("!").split()
        row += [(quiet if s == "#" else s, max(.03, d / len(to)), label) for s in to]
    whole = [row[0]] if row else []
    for b in row[1:]:
        if f"{whole[-1][0]}-{b[0]}" not in known and quiet not in (whole[-1][0], b[0]):
            whole.append((quiet, BREAK, 255))
        whole.append(b)
    return whole


def say(row, pitch, rng, quiet):
    """A festival utterance of timed sounds with a falling, wavering pitch."""
    total, at, out = sum(d for _, d, _ in row), 0., []
    for s, d, _ in row:
        f0 = pitch * (1.12 - .25 * at / total) * rng.uniform(.94, 1.06)
        out.append(f'("{s}" {d:.3f}' + ("" if s == quiet else f" ({d / 2:.3f} {f0:.0f})") + ")")
        at += d
    return "(" + " ".join(out) + ")"


def work(job):
    part, texts, seed = job
    rng = random.Random(seed)
    voice, table, quiet, pitch, units = VOICES[part % len(VOICES)]
    table, known = dict(x.split(" ", 1) for x in table.split("|")), joins(units)
    out = []
    with tempfile.TemporaryDirectory() as d:
        rows = [sounds(text, table, quiet, known, rng) for text, _ in texts]
        with open(d + "/say.scm", "w") as f:
            f.write(f"(voice_{voice})\n")
            for i, row in enumerate(rows):
                f.write(f"(set! u (eval (list 'Utterance 'Segments '{say(row, pitch * rng.uniform(.85, 1.2), rng, quiet)})))\n(utt.synth u) (utt.save.wave u \"{d}/{i}.wav\")\n")
        subprocess.run(["festival", "-b", d + "/say.scm"], capture_output=True)
        for i, ((_, calls), row) in enumerate(zip(texts, rows)):
            if not os.path.exists(f"{d}/{i}.wav"):
                continue
            with wave.open(f"{d}/{i}.wav") as w:
                x, rate = np.frombuffer(w.readframes(w.getnframes()), np.int16).astype(np.float32), w.getframerate()
            warp = rng.uniform(.9, 1.12)
            x = synth.resample(x, 16000 / rate / warp)
            k, at = len(x) / 16000 / sum(d for _, d, _ in row), 0.
            y = np.zeros(int(len(x) / 160), np.uint8)
            for _, dur, label in row:
                y[int(round(at * k * 100)):int(round((at + dur) * k * 100))] = label
                at += dur
            if len(y) >= 30:
                out.append(synth.finish(x, y, calls, rng))
    return [np.concatenate(c) for c in zip(*out)]


def main():
    out, n, seed, vocabulary, arpa = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), sys.argv[4], sys.argv[5]
    texts = list(corpus.sentences(n, seed, vocabulary, arpa))
    jobs = [(i, texts[i * 100:i * 100 + 100], seed * 100003 + i) for i in range(n // 100)]
    with mp.Pool() as pool:
        synth.write(out, pool.imap(work, jobs), len(jobs))


if __name__ == "__main__":
    main()
