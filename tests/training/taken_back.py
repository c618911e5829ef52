"""Take the weights of a reader in whole numbers back, to train on from it.

``train_reader.py --start qckit/counting/reader/reader.onnx`` does that: the numbers of the training before need not be
kept. Each weight is right to its step (seven bits a channel). Channels that the shrunk reader went without begin at
random and say nothing at first; the normalisation, which had gone into the weights, is set anew from batches, so that
the network answers as before in training, too.
"""

import json

import numpy as np
import onnx
import torch
from network import Residual
from onnx import numpy_helper
from torch import nn

FOLD = 4  # the first layer reads so many pixels a side at once; as in shrink_reader.py
ENLARGED = ("to_three", "to_two", "back")  # spelled_out.py writes their answers twice


def layers(net):
    """Convolutions in the order in which they run, each with its normalisation or None; the last one is left out."""
    parts = [*net.stem, net.one, *net.two, *net.three, *net.four]
    parts += [net.to_three, net.to_two, net.mix_two, net.back, net.mix, net.head[0]]
    for part in parts:
        if isinstance(part, Residual):
            yield from ((part.a[0], part.a[1]), (part.b[0], part.b[1]))
        else:
            yield (part, None) if isinstance(part, nn.Conv2d) else (part[0], part[1])


def whole_numbers(path):
    """Weights and offsets of each convolution of a shrunk reader, and those of the last layer, as numbers."""
    model = onnx.load(path)
    constant = {i.name: numpy_helper.to_array(i) for i in model.graph.initializer}
    made_by = {out: node for node in model.graph.node for out in node.output}
    out = []
    for node in model.graph.node:
        if node.op_type == "QLinearConv":
            stored, w_step = constant[node.input[3]], constant[node.input[4]].astype(float)
            offset = constant[node.input[8]] * float(constant[node.input[1]]) * w_step
            behind = float(constant[node.input[6]])
            if node.output[0].strip("/").split("/")[0] in ENLARGED:
                half = len(stored) // 2
                stored, w_step, offset = stored[:half], w_step[:half], offset[:half]
        elif node.op_type == "Conv":
            (weights, w_scale, _), (offsets, o_scale, _) = (made_by[i].input for i in node.input[1:3])
            stored, w_step = constant[weights], constant[w_scale].astype(float)
            offset = constant[offsets] * constant[o_scale].astype(float)
            rounded = next(
                n for n in model.graph.node if n.op_type == "QuantizeLinear" and n.input[0] == node.output[0]
            )
            behind = float(constant[rounded.input[1]])
        else:
            continue
        weights = stored * w_step[:, None, None, None]
        if not out:
            weights = unfolded(weights)
        out.append((weights, offset))
    notes = json.loads({p.key: p.value for p in model.metadata_props}["last_layer"])
    last = np.array(notes["weights"], float) * np.array(notes["step"])[:, None] / behind
    return out, (last, np.array(notes["offset"]))


def unfolded(weights):
    """The first layer's weights as of single pixels: the way back from ``shrink_reader.folded``."""
    n, folded, side = weights.shape[:3]
    weights = weights.reshape(n, FOLD, FOLD, folded // FOLD**2, side, side).transpose(0, 3, 4, 1, 5, 2)
    return weights.reshape(n, folded // FOLD**2, side * FOLD, side * FOLD)


@torch.no_grad()
def start_from(net, path):
    """Put a shrunk reader's weights into a network; its normalisations only add offsets until :func:`normalise`."""
    stored, (weights, offset) = whole_numbers(path)
    for (w, b), (conv, norm) in zip(stored, layers(net), strict=True):
        n_out, n_in = w.shape[:2]
        conv.weight[:n_out, :n_in] = torch.tensor(w)
        if norm is None:
            conv.bias.zero_()
            conv.weight[n_out:] = 0
            conv.bias[:n_out] = torch.tensor(b)
        else:
            norm.running_mean.zero_()
            norm.running_var.fill_(1 - norm.eps)
            norm.weight.zero_()
            norm.bias.zero_()
            norm.weight[:n_out] = 1
            norm.bias[:n_out] = torch.tensor(b)
    last = net.head[-1]
    last.weight[:, : weights.shape[1], 0, 0] = torch.tensor(weights, dtype=last.weight.dtype)
    last.bias.copy_(torch.tensor(offset))


@torch.no_grad()
def normalise(net, batches):
    """Set the normalisations to the means and spreads of batches, with answers as before."""
    sums, hooks = {}, []

    def gather(norm, inputs):
        n, mean, variance = sums.get(norm, (0, 0, 0))
        sums[norm] = (n + 1, mean + inputs[0].mean((0, 2, 3)), variance + inputs[0].var((0, 2, 3)))

    for _, norm in layers(net):
        if norm is not None:
            hooks.append(norm.register_forward_pre_hook(gather))
    net.eval()
    for batch in batches:
        net(batch)
    for hook in hooks:
        hook.remove()
    for norm, (n, mean, variance) in sums.items():
        taken = norm.weight > 0
        norm.running_mean.copy_(mean / n)
        norm.running_var.copy_(variance / n)
        norm.bias.copy_(torch.where(taken, norm.bias + mean / n, torch.zeros_like(mean)))
        norm.weight.copy_(torch.where(taken, torch.sqrt(variance / n + norm.eps), torch.zeros_like(mean)))
    net.train()
