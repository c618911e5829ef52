"""Spell a reader out in onnxruntime's own operations on whole numbers, channels last; every answer stays the same.

onnxruntime makes these of the graph of ``quantize_static`` by itself, all but one: the coarse levels are enlarged two
times pixel by pixel. Here the convolution before gives each answer twice, so that two pixels lie side by side, and the
addition behind takes every row twice.
"""

import numpy as np
import onnx
from onnx import helper, numpy_helper

OWN = "com.microsoft"


class _Spelling:
    """The new graph while it is written; ``whole`` says which whole numbers a tensor of numbers was made of."""

    def __init__(self, model: onnx.ModelProto):
        self.graph = model.graph
        self.constant = {i.name: numpy_helper.to_array(i) for i in self.graph.initializer}
        self.made_by = {out: node for node in self.graph.node for out in node.output}
        self.rounded_by = {n.input[0]: n for n in self.graph.node if n.op_type == "QuantizeLinear"}
        self.whole: dict[str, tuple[str, str, str]] = {}
        self.nodes: list[onnx.NodeProto] = []
        self.stored: dict[str, onnx.TensorProto] = {}

    def keep(self, name: str, values) -> str:
        """Store an array under a name."""
        self.stored[name] = numpy_helper.from_array(np.array(values, order="C"), name)
        return name

    def add(self, kind: str, inputs, output: str, own: bool = False, **more) -> str:
        """Write a step down."""
        self.nodes.append(helper.make_node(kind, list(inputs), [output], domain=OWN if own else "", **more))
        return output

    def known(self, name: str) -> tuple[str, str, str]:
        """Whole numbers, step and zero point behind a tensor."""
        node = self.made_by[name]
        return node.input[0], *(self.keep(k, self.constant[k]) for k in node.input[1:3])

    def answer(self, node: onnx.NodeProto) -> tuple[str, str, str]:
        """The same of what a step gives."""
        rounded = self.rounded_by[node.output[0]]
        return rounded.output[0], *(self.keep(k, self.constant[k]) for k in rounded.input[1:3])

    def conv(self, node: onnx.NodeProto, times: int) -> None:
        """A convolution that gives each answer so many times."""
        (weights, w_step, w_zero), (offset, *_) = (tuple(self.made_by[name].input) for name in node.input[1:3])
        arrays = (np.concatenate([self.constant[k]] * times) for k in (weights, w_step, w_zero, offset))
        weights, w_step, w_zero, offset = (
            self.keep(k, a) for k, a in zip((weights, w_step, w_zero, offset), arrays, strict=True)
        )
        name, *number = self.answer(node)
        more = {a.name: helper.get_attribute_value(a) for a in node.attribute} | {"channels_last": 1}
        inputs = (*self.known(node.input[0]), weights, w_step, w_zero, *number, offset)
        self.add("QLinearConv", inputs, name, own=True, **more)

    def sum(self, node: onnx.NodeProto) -> None:
        """An addition."""
        name, *number = self.answer(node)
        fine, coarse = (self.made_by[i] for i in node.input)
        resized = self.made_by.get(coarse.input[0])
        resized = self.made_by[resized.input[0]] if resized is not None else None
        if resized is None or resized.op_type != "Resize":
            self.add("QLinearAdd", (*self.known(node.input[0]), *self.known(node.input[1]), *number), name, own=True)
            return
        small, *its = self.known(resized.input[0])
        rows, one_row, like = self._rows(small, fine.input[0], name)
        first, second = (
            self.add("Reshape", (fine.input[0], rows), f"{name}_fine"),
            self.add("Reshape", (small, one_row), f"{name}_coarse"),
        )
        inputs = (first, *self.known(node.input[0])[1:], second, *its, *number)
        both = self.add("QLinearAdd", inputs, f"{name}_pairs", own=True)
        self.add("Reshape", (both, like), name)

    def _rows(self, small: str, fine: str, name: str) -> tuple[str, str, str]:
        """Shapes: the fine level with its rows in pairs, the coarse one beside it, and the fine one as it was."""
        size = self.add("Shape", (small,), f"{name}_size")
        axes = self.keep("axis", np.array([0]))
        parts = []
        for k, axis in enumerate(("rows", "cols", "channels"), start=1):
            ends = [self.keep(f"at_{i}", np.array([i])) for i in (k, k + 1)]
            parts.append(self.add("Slice", (size, *ends, axes), f"{name}_{axis}"))
        shapes = []
        for n in (2, 1):
            inside = (parts[0], self.keep(f"at_{n}", np.array([n])), *parts[1:])
            shapes.append(self.add("Concat", inside, f"{name}_by_{n}", axis=0))
        return *shapes, self.add("Shape", (fine,), f"{name}_like")


def spelled_out(model: onnx.ModelProto) -> onnx.ModelProto:
    """Write the graph anew; its input stays as it is, and its output, channels first."""
    new = _Spelling(model)
    photo, answer = model.graph.input[0], model.graph.output[0]
    resized = {new.made_by[n.input[0]].input[0] for n in model.graph.node if n.op_type == "Resize"}
    for node in model.graph.node:
        if node.op_type == "Conv":
            new.conv(node, times=2 if new.rounded_by[node.output[0]].output[0] in resized else 1)
        elif node.op_type == "Add":
            new.sum(node)
    lay_out = next(n for n in model.graph.node if n.op_type == "Transpose")
    for node in new.nodes:
        node.input[:] = [photo.name if i == lay_out.output[0] else i for i in node.input]
        node.output[:] = [f"{answer.name}_last" if o == answer.name else o for o in node.output]
    new.add("Transpose", [f"{answer.name}_last"], answer.name, perm=[0, 3, 1, 2])
    graph = helper.make_graph(new.nodes, "reader", [photo], [answer], list(new.stored.values()))
    opsets = [helper.make_opsetid("", model.opset_import[0].version), helper.make_opsetid(OWN, 1)]
    out = helper.make_model(graph, opset_imports=opsets, ir_version=model.ir_version)
    helper.set_model_props(out, {p.key: p.value for p in model.metadata_props})
    return out
