"""Rooms, noise, talkers, alarms, metronome, distance and bad microphones: all
on the GPU, on batches of foreground speech [batch, samples] in -1..1."""
import math

import torch


def _rand(n, lo, hi, dev):
    return torch.rand(n, 1, device=dev) * (hi - lo) + lo


def _rms(x):
    return (x ** 2).mean(-1, keepdim=True).sqrt() + 1e-6


def _speech(x):
    """Level of the parts of x that are not pauses: what a signal-to-noise ratio means."""
    e = (x[:, :x.shape[1] // 320 * 320].reshape(len(x), -1, 320) ** 2).mean(-1)
    on = e > .01 * e.amax(1, keepdim=True)
    return ((e * on).sum(1, keepdim=True) / on.sum(1, keepdim=True).clamp(min=1)).sqrt() + 1e-6


class Augment:
    def __init__(self, noise, talk, rirs, boxes, dev, few=.3, colour="all"):
        """noise, talk: long 1-D waves; rirs: measured responses, [n, 16000], whose direct sound
        is 1 at sample 0; boxes: those of rooms.py, the same; few: how often the talk is of one to three people;
        colour: whether voices are coloured alone (all, none, or apart: not where nothing but talk is over them)."""
        self.few, self.colours = few, colour
        self.noise, self.talk, self.dev = noise.to(dev), talk.to(dev), dev
        self.rirs, self.boxes = rirs.to(dev), boxes.to(dev)

    def crops(self, pool, b, n):
        at = torch.randint(0, len(pool) - n, (b, 1), device=self.dev)
        return pool[at + torch.arange(n, device=self.dev)]

    def response(self, b):
        t = torch.arange(16000, device=self.dev) / 16000
        rt = _rand(b, .12, 1.4, self.dev)
        tail = torch.randn(b, 16000, device=self.dev) * torch.exp(-6.9 * t / rt) * (t > _rand(b, .001, .02, self.dev))
        tail = tail / (tail ** 2).sum(-1, keepdim=True).sqrt() * 10 ** (-_rand(b, -9, 14, self.dev) / 20)
        tail[:, 0] = 1
        pick = lambda pool: pool[torch.randint(0, len(pool), (b,), device=self.dev)].float()
        u = _rand(b, 0, 1, self.dev)
        return torch.where(u < .72, pick(self.boxes), torch.where(u < .86, tail, pick(self.rirs if len(self.rirs) else self.boxes)))

    def room(self, x, share):
        b, n = x.shape
        size = 98304  # 2^15 * 3: more than a crop and a response
        y = torch.fft.irfft(torch.fft.rfft(x, size) * torch.fft.rfft(self.response(b), size), size)[:, :n]
        return torch.where(_rand(b, 0, 1, self.dev) < share, y, x)

    def tones(self, b, n):
        """Alarm bursts and metronome ticks, in the frequency range such sounds have."""
        t = torch.arange(n, device=self.dev) / 16000
        f = _rand(b, 300, 2000, self.dev)
        period, duty = _rand(b, .2, 1.5, self.dev), _rand(b, .1, .6, self.dev)
        on = ((t / period + _rand(b, 0, 1, self.dev)) % 1 < duty).float()
        s = sum(torch.sin(2 * math.pi * f * k * t) * _rand(b, 0, 1, self.dev) for k in (1, 2, 3))
        beat, dur = 60 / _rand(b, 100, 120, self.dev), _rand(b, .01, .06, self.dev)
        ph = (t / beat + _rand(b, 0, 1, self.dev)) % 1 * beat
        tick = torch.exp(-ph / dur * 3) * torch.sin(2 * math.pi * _rand(b, 700, 2500, self.dev) * ph) * 4
        pick = _rand(b, 0, 1, self.dev)
        return torch.where(pick < .4, s * on, torch.where(pick < .8, tick, s * on + tick))

    def colour(self, x, rough=5, lowest=350):
        """Random smooth band shape, rough in dB: distance, masks, cheap microphones. Below a frequency of
        at most lowest Hz there is less, and above one of at least 3300 Hz."""
        b, n = x.shape
        f = torch.fft.rfft(x, 81920)
        pts = torch.randn(b, 1, 9, device=self.dev) * _rand(b, 0, rough, self.dev).unsqueeze(-1)
        g = torch.nn.functional.interpolate(pts, f.shape[-1], mode="linear")[:, 0]
        hz = torch.linspace(0, 8000, f.shape[-1], device=self.dev)
        top, low = _rand(b, 3300, 14000, self.dev), _rand(b, -200, lowest, self.dev)
        fall = torch.minimum((low - hz).clamp(min=0) / 100 * 8, _rand(b, 8, 40, self.dev))
        g = g - ((hz - top).clamp(min=0) / 1000 * 18).clamp(max=60) - fall
        return torch.fft.irfft(f * 10 ** (g / 20), 81920)[:, :n]

    def __call__(self, x, hard=1.):
        """hard 0..1: how loud the trouble gets."""
        b, n = x.shape
        ref = _speech(x)
        quiet = ref < 1e-4
        ref = torch.where(quiet, torch.full_like(ref, .05), ref)
        x = self.room(x, .75)
        # A talker turned away, a mask, a room that swallows the low sounds: of the voice, not of the noise over it.
        u = _rand(b, 0, 1, self.dev)
        some = _rand(b, 0, 1, self.dev) < (0. if self.colours == "none" else .5)
        if self.colours == "apart":
            some = some & ((u < .38) | (u > .68))
        x = torch.where(some, self.colour(x, 7, 900), x)
        x = torch.where(quiet, x, x / _speech(x) * ref)
        many = sum(self.crops(self.talk, b, n) * (_rand(b, 0, 1, self.dev) < .7) for _ in range(5)) + self.crops(self.talk, b, n)
        few = self.crops(self.talk, b, n) + sum((_rand(b, 0, 1, self.dev) < .4) * self.crops(self.talk, b, n) for _ in range(2))
        talk = self.room(torch.where((_rand(b, 0, 1, self.dev) < self.few) & ~quiet, few, many), .5)
        talk, noise, tones = talk / _rms(talk), self.crops(self.noise, b, n), self.tones(b, n)
        noise, tones = noise / _rms(noise), tones / _rms(tones)
        share = lambda: _rand(b, 0, 1, self.dev)
        bay = share() * talk + share() * noise + .7 * share() * tones  # all of them together
        bay = bay / _rms(bay)
        # Loud more often than not: the room of an arrest is at 5 to 15 dB.
        low = 24 - 23 * hard
        gain = lambda lo, hi: ref * 10 ** (-(lo + (hi - lo) * torch.rand(b, 1, device=self.dev) ** 1.3) / 20)
        y = torch.where(u < .38, x + bay * gain(low, 26),
                        x + (u < .68) * talk * gain(low, 26) + ((u > .55) & (u < .88)) * noise * gain(low, 26) + (share() < .2) * tones * gain(low - 4, 30))
        y = y + (share() < .25) * torch.randn(b, n, device=self.dev) * gain(8, 40)
        y = torch.where(share() < .5, self.colour(y), y)
        y = y / _rms(y) * 10 ** (_rand(b, -46, -14, self.dev) / 20)
        clip = 10 ** (_rand(b, -16, 0, self.dev) / 20)
        y = torch.where(share() < .1, torch.maximum(torch.minimum(y, clip), -clip), y).clamp(-1, 1)
        return y + torch.randn(b, n, device=self.dev) * 10 ** (_rand(b, -96, -75, self.dev) / 20)
