"""Impulse responses of rooms that nobody built, by the image-source method (Allen and
Berkley 1979, J. Acoust. Soc. Am. 65:943): boxes of 2.2 to 12 m with walls of their
own absorption, low and high sounds apart, a talker and a microphone at 0.3 to 6 m.
Images to 50 ms, then noise that falls as the room does.

rooms.py OUT.npy N SEED: [N, 16000] of 16-bit floats; the direct sound stands at 0 and is 1.
"""
import multiprocessing as mp
import sys

import numpy as np

RATE, C, LENGTH = 16000, 343., 16000
EARLY = .05  # seconds


def images(size, source, ear, beta, seconds):
    """Delays and gains of the images of a source: beta are the six walls' reflections."""
    n = [int(np.ceil(seconds * C / (2 * s))) + 1 for s in size]
    axis = []
    for k in range(3):
        m = np.arange(-n[k], n[k] + 1)
        pos = np.concatenate([2 * m * size[k] + source[k], 2 * m * size[k] - source[k]]) - ear[k]
        gain = np.concatenate([beta[2 * k] ** np.abs(m) * beta[2 * k + 1] ** np.abs(m), beta[2 * k] ** np.abs(m - 1) * beta[2 * k + 1] ** np.abs(m)])
        axis.append((pos, gain))
    d = np.sqrt(axis[0][0][:, None, None] ** 2 + axis[1][0][:, None] ** 2 + axis[2][0] ** 2)
    g = axis[0][1][:, None, None] * axis[1][1][:, None] * axis[2][1]
    on = d < seconds * C
    return d[on] / C, g[on] / d[on]


def response(rng):
    size = np.array([rng.uniform(2.2, 12), rng.uniform(2.2, 9), rng.uniform(2.2, 4.2)])
    rt = rng.uniform(.2, 1.5)
    ear = np.array([rng.uniform(.3, s - .3) for s in size])
    while True:
        far = .3 * (6 / .3) ** rng.random()
        way = rng.normal(size=3) * [1, 1, .4]
        source = ear + way / np.linalg.norm(way) * far
        if ((source > .15) & (source < size - .15)).all():
            break
    volume, area = size.prod(), 2 * (size[0] * size[1] + size[0] * size[2] + size[1] * size[2])
    absorb = min(.95, .161 * volume / area / rt)  # Sabine
    walls = np.clip(absorb * rng.uniform(.4, 1.6, 6), .02, .98)
    beta = np.sqrt(1 - walls)
    dull = rng.uniform(.55, 1.)  # high sounds are absorbed more
    t0 = far / C
    h = np.zeros((2, LENGTH))
    for band, b in enumerate((beta, beta * dull ** .5)):
        t, g = images(size, source, ear, b, t0 + EARLY)
        at = (t - t0) * RATE
        k = at.astype(int)
        ok = (k >= 0) & (k < LENGTH - 1)
        k, frac, g = k[ok], (at - k)[ok] if len(at) == len(k) else at[ok] - k[ok], g[ok]
        np.add.at(h[band], k, g * (1 - frac)); np.add.at(h[band], k + 1, g * frac)
        # The late part: as loud at the seam as the images there.
        n, seam = int(EARLY * RATE), int(.02 * RATE)
        level = np.sqrt((h[band, n - seam:n] ** 2).mean())
        fall = rt if band == 0 else rt * rng.uniform(.4, .9)
        late = np.arange(LENGTH - n) / RATE
        h[band, n:] = rng.normal(size=LENGTH - n) * level * np.exp(-6.91 * late / fall)
    f = np.fft.rfft(h, axis=1)
    hz = np.fft.rfftfreq(LENGTH, 1 / RATE)
    cross = 1 / (1 + (hz / rng.uniform(800, 2000)) ** 2)
    out = np.fft.irfft(f[0] * cross + f[1] * (1 - cross), LENGTH)
    out = out / np.abs(out[:8]).max()
    return out.astype(np.float16)


def work(job):
    seed, n = job
    rng = np.random.default_rng(seed)
    return [response(rng) for _ in range(n)]


def make(n, seed):
    with mp.get_context("fork").Pool() as pool:
        return np.array(sum(pool.map(work, [(seed * 100003 + i, min(20, n - i)) for i in range(0, n, 20)], 1), []))


if __name__ == "__main__":
    np.save(sys.argv[1], make(int(sys.argv[2]), int(sys.argv[3])))
