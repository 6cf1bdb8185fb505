"""Gather the human recordings to train on, with their words.

human.py SHARED_SPEECH CLIPS HUMAN.tsv CMUDICT: copies the recordings of the speech
folder (with MANIFEST.tsv) to CLIPS, and telephone prompts, 18 min of one woman
with transcripts (Debian's asterisk-core-sounds-en and -g722; CC BY-SA 3.0).
HUMAN.tsv: file, class, words, speaker. Speech without a transcript gets
PocketSphinx's hypothesis. Needs opusdec, opusenc, ffmpeg, pocketsphinx_continuous.
"""
import gzip
import os
import re
import shutil
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

import corpus

PROMPTS, TEXTS = "/usr/share/asterisk/sounds/en_US_f_Allison", "/usr/share/doc/asterisk-core-sounds-en/core-sounds-en.txt.gz"


def hypothesis(path):
    """PocketSphinx's words for a recording."""
    with tempfile.NamedTemporaryFile(suffix=".wav") as t:
        subprocess.run(["opusdec", "--quiet", "--rate", "16000", path, t.name], check=True, stderr=subprocess.DEVNULL)
        return subprocess.run(["pocketsphinx_continuous", "-infile", t.name], check=True, capture_output=True, text=True).stdout


def letters(text):
    return " ".join(re.findall(r"[a-z']+", re.sub(r"\(\d+\)", "", text.lower())))


def shared(folder, clips):
    """Rows of the shared recordings."""
    rows = [l.split("\t")[:4] for l in open(folder + "/MANIFEST.tsv").read().splitlines()[1:]]
    rows = [r for r in rows if r[1] in ("speech", "word", "noise")]
    for f, *_ in rows:
        os.makedirs(os.path.dirname(f"{clips}/{f}"), exist_ok=True)
        shutil.copy(f"{folder}/{f}", f"{clips}/{f}")
    def words(row):
        f, kind, text, _ = row
        if kind == "speech":
            return letters(text.strip() or hypothesis(f"{clips}/{f}"))
        return text.lower() if kind == "word" and re.fullmatch(r"[a-z' ]+", text.lower()) else ""
    with ThreadPoolExecutor() as ex:
        return [(f, kind, w, who) for (f, kind, _, who), w in zip(rows, ex.map(words, rows))]


def prompts(clips, known):
    """Rows of the prompts whose words are all in the dictionary; digits are said one by one."""
    os.makedirs(clips + "/prompts", exist_ok=True)
    for line in gzip.open(TEXTS, "rt", errors="replace"):
        m = re.match(r"([\w/.-]+):\s+(.*)", line)
        if not m or re.search(r"[\[<]", m[2]) or not os.path.exists(f"{PROMPTS}/{m[1]}.g722"):
            continue
        text = re.sub(r"\d", lambda d: f" {corpus.ONES[int(d[0])]} ", m[2].lower().replace("-", " ").replace("#", " pound "))
        text = " ".join(w.strip("'") for w in letters(text).split())
        if not all(w in known for w in text.split()):
            continue
        to = f"prompts/{m[1].replace('/', '_')}.opus"
        raw = subprocess.run(["ffmpeg", "-loglevel", "error", "-f", "g722", "-i", f"{PROMPTS}/{m[1]}.g722", "-ar", "16000", "-ac", "1", "-f", "wav", "-"], check=True, capture_output=True).stdout
        subprocess.run(["opusenc", "--quiet", "--bitrate", "32", "-", f"{clips}/{to}"], input=raw, check=True, stderr=subprocess.DEVNULL)
        yield to, "speech", text, "prompts-en-F"


def main():
    folder, clips, out, dictionary = sys.argv[1:5]
    known = {l.split()[0] for l in open(dictionary, errors="replace") if l.strip()}
    with open(out, "w") as f:
        for row in [*shared(folder, clips), *prompts(clips, known)]:
            f.write("\t".join(row) + "\n")


if __name__ == "__main__":
    main()
