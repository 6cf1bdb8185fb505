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
    def __init__(self, noise, talk, rirs, dev):
        """noise, talk: long 1-D waves; rirs: list of 1-D responses whose direct path is at sample 0."""
        self.noise, self.talk, self.dev = noise.to(dev), talk.to(dev), dev
        self.rirs = torch.zeros(len(rirs), 16000, device=dev)
        for i, r in enumerate(rirs):
            self.rirs[i, :min(16000, len(r))] = r[:16000].to(dev)

    def crops(self, pool, b, n):
        at = torch.randint(0, len(pool) - n, (b, 1), device=self.dev)
        return pool[at + torch.arange(n, device=self.dev)]

    def room(self, x):
        b, n = x.shape
        t = torch.arange(16000, device=self.dev) / 16000
        rt = _rand(b, .12, .9, self.dev)
        tail = torch.randn(b, 16000, device=self.dev) * torch.exp(-6.9 * t / rt) * (t > _rand(b, .001, .02, self.dev))
        tail = tail / (tail ** 2).sum(-1, keepdim=True).sqrt() * 10 ** (-_rand(b, -3, 14, self.dev) / 20)
        tail[:, 0] = 1
        real = self.rirs[torch.randint(0, len(self.rirs), (b,), device=self.dev)]
        h = torch.where(_rand(b, 0, 1, self.dev) < .35, real, tail)
        size = 1 << (n + 16000 - 1).bit_length()
        y = torch.fft.irfft(torch.fft.rfft(x, size) * torch.fft.rfft(h, size), size)[:, :n]
        return torch.where(_rand(b, 0, 1, self.dev) < .6, y, x)

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

    def colour(self, x):
        """Random smooth band shape: distance, masks, cheap microphones."""
        b, n = x.shape
        f = torch.fft.rfft(x)
        pts = torch.randn(b, 1, 9, device=self.dev) * _rand(b, 0, 5, self.dev).unsqueeze(-1)
        g = torch.nn.functional.interpolate(pts, f.shape[-1], mode="linear")[:, 0]
        hz = torch.linspace(0, 8000, f.shape[-1], device=self.dev)
        top, low = _rand(b, 3300, 14000, self.dev), _rand(b, -200, 350, self.dev)
        g = g - ((hz - top).clamp(min=0) / 1000 * 18) - ((low - hz).clamp(min=0) / 100 * 8)
        return torch.fft.irfft(f * 10 ** (g / 20), n)

    def __call__(self, x, hard=1.):
        """hard 0..1: how loud the trouble gets."""
        b, n = x.shape
        ref = _speech(x)
        quiet = ref < 1e-4
        ref = torch.where(quiet, torch.full_like(ref, .05), ref)
        x = self.room(x)
        u = _rand(b, 0, 1, self.dev)
        many = sum(self.crops(self.talk, b, n) * (_rand(b, 0, 1, self.dev) < .7) for _ in range(6))
        few = self.crops(self.talk, b, n) + (_rand(b, 0, 1, self.dev) < .5) * self.crops(self.talk, b, n)
        one = _rand(b, 0, 1, self.dev) < .3
        talk = torch.where(one & ~quiet, few, many + self.crops(self.talk, b, n) * .7)
        noise = self.crops(self.noise, b, n)
        white = torch.randn(b, n, device=self.dev)
        # Loud more often than not: the room of an arrest is at 5 to 15 dB.
        level = lambda v, lo, hi: v / _rms(v) * ref * 10 ** (-(lo + (hi - lo) * torch.rand(b, 1, device=self.dev) ** 1.4) / 20)
        low = 24 - 22 * hard
        y = x
        y = y + (u < .5) * self.room(level(talk, low, 26))
        y = y + ((u > .35) & (u < .88)) * level(noise, low, 26)
        y = y + (_rand(b, 0, 1, self.dev) < .3) * level(self.tones(b, n), low - 4, 30)
        y = y + (_rand(b, 0, 1, self.dev) < .3) * level(white, 8, 40)
        y = torch.where(_rand(b, 0, 1, self.dev) < .4, self.colour(y), y)
        y = y / _rms(y) * 10 ** (_rand(b, -46, -14, self.dev) / 20)
        clip = 10 ** (_rand(b, -16, 0, self.dev) / 20)
        y = torch.where(_rand(b, 0, 1, self.dev) < .1, torch.maximum(torch.minimum(y, clip), -clip), y).clamp(-1, 1)
        return y + torch.randn(b, n, device=self.dev) * 10 ** (_rand(b, -96, -75, self.dev) / 20)
