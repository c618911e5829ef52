"""Shrink a trained reader to whole numbers of eight bits, which an ordinary processor multiplies faster.

    python tests/training/shrink_reader.py reader-all.onnx qckit/counting/reader/reader.onnx --photos tests/photos

The ranges of the numbers between the layers are taken from the labelled photos (``--fold K`` leaves out the photos
that ``train_reader.py --fold K`` left out, with lamps and cameras altered as in training of the stage model). Weights
keep seven bits, so that sums never overflow and every processor gives the same digits. The last layer, of which the kit
wants few planes, is cut off and goes along in the model's notes, its weights as whole numbers small enough that their
sums stay exact in 32-bit floating point in whatever order they are added. Channels that never say anything go
(``idle_channels.py``), and the graph is spelled out as onnxruntime runs it soonest (``spelled_out.py``). Needs the
package ``onnx``, which the kit itself does not.
"""

import argparse
import csv
import json
import tempfile
from pathlib import Path

import numpy as np
import onnx
from idle_channels import without_idle
from onnx import TensorProto, numpy_helper
from onnxruntime.quantization import CalibrationDataReader, QuantFormat, QuantType, quantize_static
from PIL import Image
from spelled_out import spelled_out

IN_UM, BLOCK, N_FOLDS, ZERO = 12.0, 32, 2, 128
FOLD = 4  # the first layer steps four pixels at a time
EXACT = 2**24  # whole numbers up to here are exact in 32 bits of floating point


def pictures(root: Path, fold: int | None, rng: np.random.Generator):
    """Yield photos at the reader's scale as it sees them, each as it is and under two other lamps."""
    with (root / "photos.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    seen: dict[str, int] = {}
    for row in rows:
        k = seen[row["kind"]] = seen.get(row["kind"], -1) + 1
        if fold is not None and k % N_FOLDS == fold:
            continue
        image = Image.open(root / "photos" / f"{row['photo']}.jpg").convert("RGB")
        factor = min(1.0, float(row["um_per_px"]) / IN_UM)
        size = [int(n * factor) // BLOCK * BLOCK for n in image.size]
        pixels = np.asarray(image.resize(size, Image.Resampling.BILINEAR), np.float32)
        for lamp in (np.ones(3), np.exp(rng.normal(0, 0.35, 3)), np.exp(rng.normal(-0.2, 0.35, 3))):
            yield np.clip(np.rint(pixels * lamp), 0, 255)


class Photos(CalibrationDataReader):
    """Hands the pictures to the calibration."""

    def __init__(self, source, name):
        self.source, self.name = iter(source), name

    def get_next(self):
        """Return the next input, or None."""
        pixels = next(self.source, None)
        if pixels is None:
            return None
        return {self.name: ((pixels - ZERO) / 255).astype(np.float32).transpose(2, 0, 1)[None]}


def without_offset(model: onnx.ModelProto) -> onnx.ModelProto:
    """Drop the subtraction of 0.5 at the input: the zero point of the whole numbers does it."""
    graph = model.graph
    first = graph.node[[n.op_type for n in graph.node].index("Sub")]
    for node in graph.node:
        node.input[:] = [graph.input[0].name if i == first.output[0] else i for i in node.input]
    graph.node.remove(first)
    for i, node in enumerate(graph.node):
        node.name = node.name or f"{node.op_type}_{i}"
    return model


def takes_bytes(model: onnx.ModelProto) -> onnx.ModelProto:
    """Let the graph take the photo's own bytes instead of turning numbers into them."""
    graph = model.graph
    name = graph.input[0].name
    first = next(n for n in graph.node if n.op_type == "QuantizeLinear" and n.input[0] == name)
    scale, zero = first.input[1:3]
    for node in graph.node:
        node.input[:] = [name if i == first.output[0] else i for i in node.input]
    graph.node.remove(first)
    for item in list(graph.initializer):
        if item.name in (scale, zero):
            graph.initializer.remove(item)
    graph.initializer.append(numpy_helper.from_array(np.array(1 / 255, np.float32), scale))
    graph.initializer.append(numpy_helper.from_array(np.array(ZERO, np.uint8), zero))
    graph.input[0].type.tensor_type.elem_type = TensorProto.UINT8
    return model


def folded(model: onnx.ModelProto) -> onnx.ModelProto:
    """Let the first layer read four by four pixels side by side, 48 numbers at a time: the same sums, sooner.

    Its input becomes (1, rows / 4 + 1, columns / 4 + 1, 48), a rim of two pixels of ``ZERO`` included.
    """
    graph = model.graph
    constant = {i.name: i for i in graph.initializer}
    made_by = {out: node for node in graph.node for out in node.output}
    name = graph.input[0].name
    numbers = next(n for n in graph.node if name in n.input)
    first = next(n for n in graph.node if n.op_type == "Conv" and numbers.output[0] in n.input)
    stored = made_by[first.input[1]].input[0]
    weights = numpy_helper.to_array(constant[stored])
    n, channels, side = weights.shape[:3]
    side //= FOLD
    weights = weights.reshape(n, channels, side, FOLD, side, FOLD).transpose(0, 3, 5, 1, 2, 4)
    weights = weights.reshape(n, FOLD**2 * channels, side, side)
    constant[stored].CopyFrom(numpy_helper.from_array(np.ascontiguousarray(weights), stored))
    del first.attribute[:]
    first.attribute.append(onnx.helper.make_attribute("kernel_shape", [side, side]))
    numbers.input[0] = f"{name}_first"
    graph.node.insert(
        0, onnx.helper.make_node("Transpose", [name], [numbers.input[0]], name="lay_out", perm=[0, 3, 1, 2])
    )
    del graph.input[:]
    shape = [1, "rows", "cols", FOLD**2 * channels]
    graph.input.append(onnx.helper.make_tensor_value_info(name, TensorProto.UINT8, shape))
    return model


def without_end(model: onnx.ModelProto) -> onnx.ModelProto:
    """Cut off the last layer; leave its weights and offsets in the model's notes."""
    graph = model.graph
    constant = {i.name: numpy_helper.to_array(i) for i in graph.initializer}
    made_by = {out: node for node in graph.node for out in node.output}
    last = made_by[graph.output[0].name]
    plain = made_by[last.input[0]]
    if plain.op_type != "DequantizeLinear" or constant[plain.input[2]] != 0:
        raise SystemExit("the last layer does not read whole numbers that start at 0")
    weights = constant[last.input[1]][:, :, 0, 0].astype(float) * float(constant[plain.input[1]])
    most = EXACT // (255 * weights.shape[1]) - 1
    step = np.abs(weights).max(axis=1) / most
    notes = {
        "weights": np.rint(weights / step[:, None]).astype(int).tolist(),
        "step": step.tolist(),
        "offset": constant[last.input[2]].astype(float).tolist(),
    }
    onnx.helper.set_model_props(model, {"last_layer": json.dumps(notes)})
    for node in (last, plain):
        graph.node.remove(node)
    used = {i for node in graph.node for i in node.input}
    for item in [i for i in graph.initializer if i.name not in used]:
        graph.initializer.remove(item)
    rows, cols = (d.dim_param for d in graph.output[0].type.tensor_type.shape.dim[2:])
    del graph.output[:]
    shape = [1, weights.shape[1], rows, cols]
    graph.output.append(onnx.helper.make_tensor_value_info(plain.input[0], TensorProto.UINT8, shape))
    return model


def finished(model: onnx.ModelProto, *, lean: bool) -> onnx.ModelProto:
    """Make what the kit runs of a graph in whole numbers; lean or not, its answers are the same to the digit."""
    model = without_end(folded(takes_bytes(model)))
    return spelled_out(without_idle(model)) if lean else model


def main():
    """Read, calibrate, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("trained", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument(
        "--photos", type=Path, nargs="*", default=[Path("tests/photos"), Path("tests/photos_second_make")]
    )
    parser.add_argument("--fold", type=int)
    parser.add_argument(
        "--whole", action="store_true", help="keep idle channels and the graph as it is, as in tests/training/folds"
    )
    args = parser.parse_args()
    model = without_offset(onnx.load(args.trained))
    last = [n for n in model.graph.node if n.op_type == "Conv"][-1]
    name = model.graph.input[0].name
    with tempfile.TemporaryDirectory() as folder:
        plain = Path(folder) / "plain.onnx"
        onnx.save(model, plain)
        rng = np.random.default_rng(1)
        source = Photos((p for root in args.photos for p in pictures(root, args.fold, rng)), name)
        quantize_static(
            plain,
            args.out,
            source,
            quant_format=QuantFormat.QDQ,
            activation_type=QuantType.QUInt8,
            weight_type=QuantType.QInt8,
            per_channel=True,
            reduce_range=True,
            nodes_to_exclude=[last.name],
        )
    onnx.save(finished(onnx.load(args.out), lean=not args.whole), args.out)


if __name__ == "__main__":
    main()
