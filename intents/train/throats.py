"""Other throats for the same speech. How speakers differ, sound by sound, is
learned from the aligned recordings as a few directions in which the spectra of
all their phones move together (eigenvoices: Kuhn et al. 2000, IEEE Trans. Speech
and Audio Processing 8:695); a random step along them makes a voice that nobody
has, from any that was recorded or synthesised. On the GPU, on batches.
"""
import numpy as np
import torch
import torch.nn.functional as F

from net import FFT, HOP, MELS

ENOUGH = 500   # labelled frames of 10 ms that a speaker must have
TRUST = 15     # frames at which a speaker's mean of a phone counts half
DIRECTIONS = 12
MOST = 3.5     # of natural log power: 15 dB


class Throats:
    def __init__(self, recordings, mel, dev):
        """recordings: [(speaker, int16 wave, phone per 10 ms, 255 unknown)]; mel: a LogMel."""
        self.dev, total, count = dev, {}, {}
        for who, wave, y in recordings:
            with torch.no_grad():
                m = mel(torch.from_numpy(wave.astype(np.float32) / 32768).to(dev).unsqueeze(0))[0].T * 4
            y = torch.from_numpy(y.astype(np.int64)).to(dev)[1:]  # frame k is centred in label k+1
            n = min(len(m), len(y))
            on = (y[:n] > 0) & (y[:n] < 40)
            s, c = total.setdefault(who, torch.zeros(40, MELS, device=dev)), count.setdefault(who, torch.zeros(40, device=dev))
            s.index_add_(0, y[:n][on], m[:n][on])
            c.index_add_(0, y[:n][on], torch.ones(int(on.sum()), device=dev))
        who = [w for w in total if count[w].sum() >= ENOUGH and not w.startswith("ami")]
        s, c = torch.stack([total[w] for w in who]), torch.stack([count[w] for w in who])
        mean = s / c.clamp(min=1).unsqueeze(2)
        grand = s.sum(0) / c.sum(0).clamp(min=1).unsqueeze(1)
        d = (mean - grand) * (c > 0).unsqueeze(2)
        # What all sounds of a speaker share is the microphone: augment.colour does that.
        d = d - (d * c.unsqueeze(2)).sum(1, keepdim=True) / c.sum(1).view(-1, 1, 1)
        d = d * (c / (c + TRUST)).unsqueeze(2)
        _, size, v = torch.linalg.svd(d.view(len(who), -1), full_matrices=False)
        k = min(DIRECTIONS, len(who))
        self.directions = (v[:k] * size[:k].unsqueeze(1) / len(who) ** .5).view(k, 40, MELS)
        self.speakers, self.size = len(who), size[:k] / len(who) ** .5
        centre = mel.mel.argmax(0).float() * 16000 / FFT
        hz = torch.arange(FFT // 2 + 1) * 16000 / FFT
        near = np.stack([np.interp(hz, centre.cpu().numpy(), row) for row in np.eye(MELS)])
        self.spread = torch.tensor(near, dtype=torch.float32, device=dev)  # [bands, bins]
        self.window = torch.hann_window(FFT, device=dev)
        w = torch.hann_window(9, periodic=False, device=dev)
        self.smooth = (w / w.sum()).view(1, 1, -1)

    def __call__(self, x, y):
        """[b, samples], [b, frames] phones at 160 samples each -> the same said by others."""
        z = torch.randn(len(x), len(self.directions), device=self.dev)
        step = torch.einsum("bk,kpm->bpm", z, self.directions)
        step[:, 0] = 0
        step = F.pad(step, (0, 0, 0, 1))  # index 40: unknown
        g = step.gather(1, y.clamp(max=40).unsqueeze(2).expand(-1, -1, MELS))  # [b, frames, bands]
        b, n, _ = g.shape
        g = F.conv1d(g.transpose(1, 2).reshape(b * MELS, 1, n), self.smooth, padding=4).view(b, MELS, n)
        g = (g.clamp(-MOST, MOST) / 2).transpose(1, 2) @ self.spread
        s = torch.stft(x, FFT, HOP, window=self.window, return_complex=True)
        return torch.istft(s * g.transpose(1, 2)[:, :, :s.shape[2]].exp(), FFT, HOP, window=self.window, length=x.shape[1])
