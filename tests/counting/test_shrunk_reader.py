"""The reader's file is made leaner without a change of any answer (``tests/training/shrink_reader.py``)."""

from pathlib import Path

import numpy as np
import pytest

TRAINING = Path(__file__).resolve().parents[1] / "training"
FOLD = TRAINING / "folds" / "reader-0.onnx"


@pytest.fixture
def shrinking(monkeypatch):
    """The scripts that shrink a reader."""
    pytest.importorskip("onnx")
    monkeypatch.syspath_prepend(str(TRAINING))
    import idle_channels
    import spelled_out

    return idle_channels, spelled_out


def answers(model, pictures):
    """What a reader notices in each picture."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.log_severity_level = 3
    data = model if isinstance(model, bytes) else model.SerializeToString()
    session = onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])
    return [session.run(None, {"photo": picture})[0] for picture in pictures]


def pictures():
    """Noise, and floors of the least and most light, whose sides are no multiples of each other."""
    rng = np.random.default_rng(3)
    noise = [rng.integers(low, high, (1, 33, 49, 48), dtype=np.uint8) for low, high in ((0, 256), (120, 140))]
    return [*noise, *(np.full((1, 33, 49, 48), code, np.uint8) for code in (0, 255))]


def n_weights(model) -> int:
    """Numbers kept in a model."""
    return sum(int(np.prod(i.dims)) for i in model.graph.initializer)


def test_leaner_reader_says_the_same(shrinking):
    import onnx

    idle_channels, spelled_out = shrinking
    before = answers(FOLD.read_bytes(), pictures())
    lean = idle_channels.without_idle(onnx.load(FOLD))
    assert n_weights(lean) < n_weights(onnx.load(FOLD))  # weight decay left idle channels
    whole = spelled_out.spelled_out(lean)
    assert {p.key for p in whole.metadata_props} == {"last_layer"}
    assert not {"DequantizeLinear", "Resize"} & {n.op_type for n in whole.graph.node}
    for model in (lean, whole):
        for one, other in zip(before, answers(model, pictures()), strict=True):
            assert one.shape == other.shape and (one == other).all()


def test_channels_that_can_speak_stay(shrinking):
    import onnx
    from onnx import numpy_helper

    idle_channels, _ = shrinking
    model = onnx.load(FOLD)
    first = next(n for n in model.graph.node if n.op_type == "Conv")
    offset, step = idle_channels.Channels(model).made_by[first.input[2]].input[:2]
    stored, scale = (next(i for i in model.graph.initializer if i.name == name) for name in (offset, step))
    loud = numpy_helper.to_array(scale) * 2.0**30 > 1000  # weights decayed to nothing leave steps too small for that
    stored.CopyFrom(numpy_helper.from_array(np.full(stored.dims[0], 2**30, np.int32), offset))
    channels = idle_channels.Channels(model)
    before = answers(model, pictures())
    made = channels.group(first.output[0])
    assert loud.sum() > 8
    assert not channels.idle()[made][loud].any()
    for one, other in zip(before, answers(idle_channels.without_idle(model), pictures()), strict=True):
        assert (one == other).all()
