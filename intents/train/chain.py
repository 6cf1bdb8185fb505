"""Sequence training: the path of phones that was said against all paths that may have been
(maximum mutual information over a phone bigram, without lattices: Povey et al. 2016, Interspeech,
from memory). The search compares a phrase with free phones in the same way.
"""
import torch

IGNORE = 255
SLACK = 1  # outputs by which a label's edge may be off


class Chain:
    def __init__(self, pools, rows, steps, dev):
        """pools: [(pool, share)] whose labels give the bigram of 20 ms steps; rows, steps: of every batch."""
        n = torch.full((40, 40), .01, dtype=torch.float64, device=dev)
        for p, share in pools:
            y = p.frames[:len(p.frames) // 2 * 2:2].long()
            ok = (y[:-1] < 40) & (y[1:] < 40)
            pair = torch.bincount((y[:-1] * 40 + y[1:])[ok], minlength=1600).double().view(40, 40)
            n += pair * share / pair.sum().clamp(min=1) * 1e6
        self.ways = (n / n.sum(1, keepdim=True)).float()
        self.prior = (n.sum(1) / n.sum()).float()
        self.emit = torch.zeros(2 * rows, steps, 40, device=dev)
        self.said = torch.zeros_like(self.emit)
        self.dev, self.graph, self.rows = dev, None, rows

    def recursions(self):
        """Forward and backward over self.emit; self.share is each phone's part of all paths, self.level the log of their sum."""
        e, back = self.emit, self.ways.T.contiguous()
        a, x, cs = [], self.prior * e[:, 0], []
        for t in range(e.shape[1]):
            if t:
                x = (x @ self.ways) * e[:, t]
            c = x.sum(1, keepdim=True)
            x = x / c
            a.append(x); cs.append(c)
        b, y = [torch.ones_like(x)], torch.ones_like(x)
        for t in range(e.shape[1] - 1, 0, -1):
            y = ((y * e[:, t]) @ back) / cs[t]
            b.append(y)
        self.share = torch.stack(a, 1) * torch.stack(b[::-1], 1)
        self.level = torch.cat(cs, 1).log().sum(1)

    def run(self):
        if self.dev != "cuda":
            return self.recursions()
        if self.graph is None:  # thousands of small steps: launched as one
            s = torch.cuda.Stream()
            s.wait_stream(torch.cuda.current_stream())
            with torch.cuda.stream(s):
                for _ in range(2):
                    self.recursions()
            torch.cuda.current_stream().wait_stream(s)
            self.graph = torch.cuda.CUDAGraph()
            with torch.cuda.graph(self.graph):
                self.recursions()
        self.graph.replay()

    def __call__(self, lp, y):
        """[rows, 40, steps] log posteriors, [rows, steps] labels (IGNORE: any) -> loss whose gradient is that
        of minus the log share of what was said, a labelled step; and that share's value, for the log."""
        s = (lp.float() - self.prior.log().view(1, 40, 1)).transpose(1, 2)  # [rows, steps, 40]
        with torch.no_grad():
            top = s.amax(2, keepdim=True)
            e = (s - top).exp().clamp(min=1e-12)
            may = torch.zeros(len(y), y.shape[1] + 2 * SLACK, 41, device=self.dev)
            may[:, SLACK:-SLACK].scatter_(2, y.clamp(max=40).unsqueeze(2), 1.)
            n = y.shape[1]
            may = sum(may[:, k:k + n] for k in range(2 * SLACK + 1)).clamp(max=1)
            # An unknown label lets all pass, its neighbours' slack too.
            may = torch.maximum(may[:, :, :40], (y == IGNORE).float().unsqueeze(2))
            self.emit.copy_(torch.cat([e, e * may.clamp(min=1e-10)]))
            self.run()
            free, said = self.share.split(self.rows)
            known = (y != IGNORE).sum().clamp(min=1)
            value = (self.level[:self.rows] - self.level[self.rows:]).sum() / known
            weight = (free - said) / known
        return (weight * s).sum(), value
