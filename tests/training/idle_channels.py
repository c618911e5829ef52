"""Take channels that never say anything out of a reader in whole numbers; every answer stays the same.

Weight decay leaves some channels with next to no weights and an offset below 0: behind the rectifier they are 0
whatever the photo shows. That is proved here by interval arithmetic from the photo's bytes onwards (the largest and
least value that each channel can take, layer by layer), not looked up on photos.
"""

import numpy as np
import onnx
from onnx import numpy_helper

WIDTH = 16  # widths stay multiples of this: onnxruntime's kernels take so many channels at a time
NEAR = 0.49  # of a step: a bound this near to a whole number is rounded to it, whatever the last digit


class Channels:
    """What each channel of a reader's tensors can be, and which tensors have their channels in common."""

    def __init__(self, model: onnx.ModelProto):
        self.graph = model.graph
        self.stored = {i.name: i for i in self.graph.initializer}
        self.constant = {name: numpy_helper.to_array(i) for name, i in self.stored.items()}
        self.made_by = {out: node for node in self.graph.node for out in node.output}
        photo = self.graph.input[0]
        n = photo.type.tensor_type.shape.dim[-1].dim_value
        self.bounds = {photo.name: (np.zeros(n), np.full(n, 255.0))}  # least and largest, of bytes and of numbers
        self.common: dict[str, str] = {}
        for node in self.graph.node:
            self._pass(node)

    def _pass(self, node: onnx.NodeProto) -> None:
        """Bounds behind a step, and whose channels it hands on."""
        kind, source = node.op_type, node.input[0] if node.input else ""
        if kind == "Conv":
            self.bounds[node.output[0]] = self._behind(node)
            return
        if source not in self.bounds:
            return  # stored weights
        sources = node.input[:2] if kind == "Add" else node.input[:1]
        low, high = (sum(self.bounds[s][k] for s in sources) for k in (0, 1))
        if kind in ("QuantizeLinear", "DequantizeLinear"):
            step, zero = (float(self.constant[k]) for k in node.input[1:3])
            if kind == "DequantizeLinear":
                low, high = (low - zero) * step, (high - zero) * step
            else:
                low, high = np.ceil(low / step - 1 + NEAR) + zero, np.floor(high / step + 1 - NEAR) + zero
                low, high = np.clip(low, 0, 255), np.clip(high, 0, 255)
        elif kind not in ("Add", "Resize", "Transpose"):
            raise SystemExit(f"{node.name}: what {kind} does to channels is not known")
        self.bounds[node.output[0]] = low, high
        for s in sources:
            self.common[self.group(s)] = self.group(node.output[0])

    def group(self, name: str) -> str:
        """The name under which tensors with common channels are kept."""
        while name in self.common and self.common[name] != name:
            name = self.common[name]
        return name

    def weights(self, conv: onnx.NodeProto) -> tuple[np.ndarray, np.ndarray]:
        """Weights and offsets of a convolution as numbers."""
        out = []
        for name in conv.input[1:3]:
            whole, step = (self.constant[k] for k in self.made_by[name].input[:2])
            out.append(whole * step.reshape(-1, *[1] * (whole.ndim - 1)).astype(float))
        return out[0], out[1]

    def _behind(self, conv: onnx.NodeProto) -> tuple[np.ndarray, np.ndarray]:
        weights, offset = self.weights(conv)
        low, high = (
            np.clip(b, *lim) for b, lim in zip(self.bounds[conv.input[0]], ((None, 0), (0, None)), strict=True)
        )
        up, down = np.maximum(weights, 0).sum(axis=(2, 3)), np.minimum(weights, 0).sum(axis=(2, 3))
        return up @ low + down @ high + offset, up @ high + down @ low + offset

    def idle(self) -> dict[str, np.ndarray]:
        """Channels that may go, by group: 0 wherever a convolution or the answer reads them."""
        idle: dict[str, np.ndarray] = {}
        for conv in (n for n in self.graph.node if n.op_type == "Conv"):
            low, high = self.bounds[conv.input[0]]
            name, still = self.group(conv.input[0]), (low == 0) & (high == 0)
            idle[name] = idle.get(name, still) & still
        for fixed in (self.graph.input[0].name, self.graph.output[0].name):
            idle.pop(self.group(fixed), None)
        return {name: _whole_widths(still) for name, still in idle.items()}


def _whole_widths(still: np.ndarray) -> np.ndarray:
    """As many idle channels as leave a width that is a multiple of ``WIDTH``."""
    n = len(still) - max(WIDTH, -(-int((~still).sum()) // WIDTH) * WIDTH)
    out = np.zeros(len(still), bool)
    out[np.flatnonzero(still)[: max(n, 0)]] = True
    return out


def without_idle(model: onnx.ModelProto) -> onnx.ModelProto:
    """Take idle channels out of every convolution that makes or reads them."""
    channels = Channels(model)
    idle = channels.idle()
    for conv in (n for n in model.graph.node if n.op_type == "Conv"):
        read, made = (idle.get(channels.group(name)) for name in (conv.input[0], conv.output[0]))
        for name in conv.input[1:3]:
            for stored in channels.made_by[name].input:
                values = channels.constant[stored]
                values = values if made is None else values[~made]
                values = values if read is None or values.ndim < 4 else values[:, ~read]
                channels.stored[stored].CopyFrom(numpy_helper.from_array(np.ascontiguousarray(values), stored))
    del model.graph.value_info[:]  # shapes as they were
    return model
