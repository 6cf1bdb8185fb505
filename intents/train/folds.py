"""Who is left out of a training, so that choices and the confidence are made on people
whom the nets have never heard: every fifth speaker by the name's checksum, people and
single words; and the voices of `VOICES`. flite's slt, festival's ked and slt_hts are
never trained on at all. No fold: everybody is trained on."""
import zlib

VOICES = ["nitech_us_clb", "pico"]


def crc(s):
    return zlib.crc32(s.encode())


def held(speaker, fold):
    return bool(fold and speaker) and crc(speaker) % (10 if fold == "H" else 5) == 0


def held_noise(file, fold):
    return bool(fold) and crc(file) % 4 == 0


def talker(speaker, fold):
    """Who is heard in the background when the nets are measured."""
    return bool(fold) and crc(speaker) % 5 == 1
