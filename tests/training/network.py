"""The reader's network, in PyTorch; only training uses it."""

import torch.nn.functional as F
from torch import nn


def block(n_in, n_out, stride=1, size=3, pad=None):
    """Convolution, normalisation, rectifier."""
    pad = size // 2 if pad is None else pad
    return nn.Sequential(
        nn.Conv2d(n_in, n_out, size, stride, pad, bias=False), nn.BatchNorm2d(n_out), nn.ReLU(inplace=True)
    )


class Residual(nn.Module):
    """Two convolutions around which the input passes."""

    def __init__(self, n):
        super().__init__()
        self.a = block(n, n)
        self.b = nn.Sequential(nn.Conv2d(n, n, 3, 1, 1, bias=False), nn.BatchNorm2d(n))

    def forward(self, x):
        return F.relu(x + self.b(self.a(x)))


class Reader(nn.Module):
    """Levels at 4, 8, 16 and 32 pixels of the picture; answers at two by unfolding channels.

    The coarse levels let each object be judged against its neighbours and its floor: 3 mm around it are in view.
    """

    def __init__(self, width=32):
        super().__init__()
        b, c, d, e = width, 2 * width, 3 * width, 4 * width
        self.stem = nn.Sequential(block(3, c, 4, 8, 2), block(c, b, 1, 1))
        self.one = Residual(b)
        self.two = nn.Sequential(block(b, c, 2), Residual(c), Residual(c))
        self.three = nn.Sequential(block(c, d, 2), Residual(d), Residual(d))
        self.four = nn.Sequential(block(d, e, 2), Residual(e), Residual(e))
        self.to_three, self.to_two, self.back = nn.Conv2d(e, d, 1), nn.Conv2d(d, c, 1), nn.Conv2d(c, b, 1)
        self.mix_two, self.mix = Residual(c), Residual(b)
        self.head = nn.Sequential(block(b, b, 1, 1), nn.Conv2d(b, 9 * 4, 1))
        self.head[-1].bias.data[:4] = -4.0

    def forward(self, x):
        up = lambda y: F.interpolate(y, scale_factor=2.0, mode="nearest")  # noqa: E731
        one = self.one(self.stem(x - 0.5))
        two = self.two(one)
        three = self.three(two)
        three = F.relu(three + up(self.to_three(self.four(three))))
        two = self.mix_two(F.relu(two + up(self.to_two(three))))
        return self.head(self.mix(F.relu(one + up(self.back(two)))))
