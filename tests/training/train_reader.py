"""Train the reader: a small convolutional network that proposes centres and stages.

Run on a machine with PyTorch (a GPU makes it minutes instead of hours), from the root of the checkout::

    python tests/training/train_reader.py --photos tests/photos tests/photos_second_make INFLATED --out OUT --minutes 9
    ... --fold 0   # leave out half of the photos of each kind of the first two sets
    # two cards for one reader: the same command twice, once with RANK=0 LOCAL_RANK=0 and once with RANK=1 LOCAL_RANK=1
    WORLD_SIZE=2 MASTER_ADDR=127.0.0.1 MASTER_PORT=29511 RANK=0 LOCAL_RANK=0 python ...

Its parts: the network (``network.py``), crops of labelled photos (``labelled.py``,
``labelled_photos.py``, with ``--skins`` ``skins.py``), drawn scenes (``worlds.py`` and
``marched.py``, of the bodies of ``volumes.py``) and pictures of other things (``other_scenes.py``). INFLATED comes
from ``tests/photos_inflated_make/draw.py --masks``.

It reads the labelled photos, writes ``reader.onnx`` (weights of the moving average, batch normalisation folded in),
the same weights to go on from with ``--start`` (``weights.npz``) and, with ``--fold``, the proposals on the photos left
out (``proposals-FOLD.csv``). ``shrink_reader.py`` then makes the file that the kit carries and runs with onnxruntime;
PyTorch is needed only here.

What the network sees: 12 µm per pixel, sRGB from 0 to 1. What it says, at 24 µm per pixel, in nine planes: centre,
five stages (the four and debris), foreground, and the way to the object's centre (down, right; in pixels of 24 µm). The
planes come folded: four values of each per 48 µm pixel.

Colour is not to be trusted (lamps, dishes and cameras differ), so training recolours nearly everything: in bright
field the light that passed an object is multiplied onto other lamps and ruled lines; in incident light objects are
laid on other dishes, meshes and stages. Nor, in incident light, is brightness: in dark field shells are half
as bright as cysts on one photo and brighter on the next, so all objects of a stage become lighter or darker together,
and each one a little by itself. (In bright field, where shells let more light through, this did harm.)
"""

import argparse
import csv
import math
import os
import time
from pathlib import Path

import numpy as np
import taken_back
import torch
import torch.distributed as dist
import torch.nn.functional as F
from labelled import Scenes, targets
from labelled_photos import CLASSES, IN_UM, STRIDE, folds, load_photos
from network import Reader
from other_scenes import Others, camera, ended, joined, own_batches
from torch import nn

N_FOLDS = 2
SETTLING = 40  # batches from which the normalisation of a reader taken back is set
LABELLED = ("photos", "photos_second_make")  # sets that are dealt into folds


def loss_of(out, targets):
    heat, stage, fore, way, weight = targets
    p = out[:, 0].float().sigmoid().clamp(1e-5, 1 - 1e-5)
    positive = heat > 0.999
    n_positive = positive.sum().clamp(min=1)
    hit = -((1 - p) ** 2 * p.log())[positive].sum()
    miss = -((1 - heat) ** 4 * p**2 * (1 - p).log() * weight * (~positive)).sum()
    centre = (hit + miss) / n_positive
    logits = out[:, 1:6].float()
    balance = torch.tensor([1.0, 1.8, 1.0, 1.2, 1.0], device=out.device)
    ce = F.cross_entropy(logits, stage.clamp(min=0), weight=balance, reduction="none", label_smoothing=0.02)
    inside = (stage >= 0).float()
    near = inside * (0.15 + heat)
    stages = (ce * near).sum() / near.sum().clamp(min=1)
    foreground = F.binary_cross_entropy_with_logits(out[:, 6].float(), fore)
    ways = ((out[:, 7:9].float() - way).abs().sum(1) * inside).sum() / inside.sum().clamp(min=1)
    return centre + 1.2 * stages + foreground + 0.1 * ways, torch.stack((centre, stages, foreground, ways)).detach()


def end_of(until, start, minutes):
    """When training ends: what the file says [s since 1970], while there is one, or so many minutes after the start."""
    try:
        return float(until.read_text())
    except (OSError, ValueError, AttributeError):
        return start + 60 * minutes


def share_gradients(net):
    """Mean of the gradients of all processes that train together (torch.distributed)."""
    if dist.is_initialized():
        each = [p.grad for p in net.parameters()]
        flat = torch.cat([g.reshape(-1) for g in each])
        dist.all_reduce(flat)
        flat /= dist.get_world_size()
        for g, part in zip(each, flat.split([g.numel() for g in each]), strict=True):
            g.copy_(part.view_as(g))


def agreed(number, device):
    """The first process's number."""
    if not dist.is_initialized():
        return number
    held = torch.tensor(number, dtype=torch.double, device=device)
    dist.broadcast(held, 0)
    return held.item()


@torch.no_grad()
def batch(sources, device):
    """Pictures of one step, and what is wanted of them."""
    light, ids, *rest = joined([s() for s in sources])
    x, ids, beyond = ended(camera(light, device), ids)
    return x, targets(ids, *rest, beyond)


def train(sources, minutes, device, width, seed, start_from=None, lr=3e-3, until=None, keep=None):
    """Train on crops of ``sources``: functions without arguments that each give a part of the batch.

    ``keep`` is called with the moving average every four minutes.
    """
    torch.manual_seed(seed)
    np.random.seed(seed)
    net = Reader(width).to(device).to(memory_format=torch.channels_last)
    if start_from and start_from.suffix == ".onnx":
        taken_back.start_from(net, start_from)
        taken_back.normalise(net, (batch(sources, device)[0] for _ in range(SETTLING)))
    elif start_from:
        net.load_state_dict({k: torch.from_numpy(v) for k, v in np.load(start_from).items()})
    if dist.is_initialized():
        for t in net.state_dict().values():
            dist.broadcast(t, 0)
    average = Reader(width).to(device)
    average.load_state_dict(net.state_dict())
    slow, fast = ([t for t in m.state_dict().values() if t.is_floating_point()] for m in (average, net))
    optimiser = torch.optim.AdamW(net.parameters(), lr=lr, weight_decay=0.4, fused=device.type == "cuda")
    start, step, spent = time.time(), 0, 0.0
    kept = start
    while spent < 1:
        if step % 20 == 0:
            spent = agreed((time.time() - start) / (end_of(until, start, minutes) - start), device)
        if keep and time.time() - kept > 240:
            keep(average)
            kept = time.time()
        rate = min(1, (step + 1) / 200) * (0.5 * (1 + math.cos(math.pi * min(spent, 1))) + 1e-3)
        for group in optimiser.param_groups:
            group["lr"] = lr * rate
        x, wanted = batch(sources, device)
        with torch.autocast(device.type, dtype=torch.bfloat16):
            out = F.pixel_shuffle(net(x.contiguous(memory_format=torch.channels_last)), 2)
        loss, parts = loss_of(out, wanted)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        share_gradients(net)
        nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        with torch.no_grad():
            torch._foreach_lerp_(slow, fast, 1 - min(0.998, step / (step + 20)))
        step += 1
        if step % 200 == 0 or step in (1, 5, 20):
            now = [round(p, 3) for p in parts.tolist()]
            print(f"step {step} {time.time() - start:.0f} s loss {loss.item():.3f} parts {now}", flush=True)
    print(f"{step} steps", flush=True)
    return average.eval()


@torch.no_grad()
def propose(net, image_full, um, threshold=0.15):
    """Centres and stages of one photo, in photo pixels."""
    f = um / IN_UM
    f = 1.0 if 1 < f < 1.25 else f  # no finer than the photo is
    size = (round(image_full.shape[2] * f), round(image_full.shape[3] * f))
    x = F.interpolate(image_full, size=size, mode="bilinear", antialias=f < 1, align_corners=False)
    h, w = size
    x = F.pad(x, (0, -w % 32, 0, -h % 32), mode="replicate")
    out = F.pixel_shuffle(net(x), 2).float()
    heat = out[:, :1].sigmoid()
    peaks = (heat == F.max_pool2d(heat, 3, 1, 1)) & (heat > threshold)
    p = out[:, 1:6].softmax(1)
    _, _, rows, cols = peaks.nonzero(as_tuple=True)
    score = heat[0, 0, rows, cols]
    y, xx = (
        (rows + 0.5) * STRIDE / (size[0] / image_full.shape[2]),
        (cols + 0.5) * STRIDE / (size[1] / image_full.shape[3]),
    )
    return y.cpu().numpy(), xx.cpu().numpy(), p[0, :, rows, cols].T.cpu().numpy(), score.cpu().numpy()


def write_proposals(net, photos, path):
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(["photo", "stage", "x_px", "y_px", "score", *(f"p_{c}" for c in CLASSES)])
        for photo in photos:
            y, x, p, score = propose(net, photo.full, photo.um)
            for row in range(len(y)):
                numbers = [*(x[row], y[row]), score[row], *p[row]]
                out.writerow([photo.name, CLASSES[int(p[row].argmax())], *(round(float(v), 4) for v in numbers)])


def export(net, path):
    """Write ONNX with batch normalisation folded into the convolutions (done by the exporter in eval mode)."""
    net = net.cpu().eval()
    torch.onnx.export(
        net,
        torch.zeros(1, 3, 256, 320),
        str(path),
        input_names=["photo"],
        output_names=["planes"],
        dynamic_axes={"photo": {2: "rows", 3: "cols"}, "planes": {2: "rows", 3: "cols"}},
        opset_version=17,
        dynamo=False,
    )


def photo_batches(photos, n, device, weights, *, skins):
    """A source of n crops of labelled photos, each make as often but for the weights."""
    scenes = Scenes(photos, device, weights, skins=skins)
    return lambda: scenes.batch(n)


def weighed(text):
    """("FOLDER:KIND", factor) of FOLDER:KIND=FACTOR."""
    pattern, _, factor = text.rpartition("=")
    return pattern, float(factor)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--photos", type=Path, nargs="*", default=[Path("tests/photos")], help="labelled sets to learn from"
    )
    parser.add_argument("--without", nargs="*", default=[], help="kinds left out, as FOLDER:KIND")
    parser.add_argument("--also", type=Path, nargs="*", default=[], help="further labelled sets to read after training")
    parser.add_argument("--others", type=Path, nargs="*", default=[], help="pictures of other things")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=6)
    parser.add_argument("--fold", type=int)
    parser.add_argument("--folds", type=int, default=N_FOLDS)
    parser.add_argument("--width", type=int, default=32)
    parser.add_argument(
        "--crops",
        type=int,
        nargs=4,
        default=(30, 12, 12, 2),
        help="a step's crops: photos, own scenes of maps, own scenes marched whole, others",
    )
    parser.add_argument(
        "--weigh",
        type=weighed,
        nargs="*",
        default=[("*:sieve", 2.0)],
        help="crops of kinds more or less often, as FOLDER:KIND=FACTOR with * for any",
    )
    parser.add_argument("--bank", type=float, default=8, help="objects of our own scenes, in 600")
    parser.add_argument("--stock", type=int, default=3000, help="own scenes of each sort held ready")
    parser.add_argument("--every", type=int, default=60, help="steps between 96 (marched: 24) new own scenes")
    parser.add_argument("--skins", action="store_true", help="grain and lamps' points dealt out at random: by outline")
    parser.add_argument("--until", type=Path, help="a file that says when to end [s since 1970]; may change meanwhile")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tag", default="")
    parser.add_argument("--start", type=Path, help="weights-*.npz, or a shrunk reader, to go on from")
    parser.add_argument("--rate", type=float, default=3e-3, help="highest step size (1e-3 is right when going on)")
    args = parser.parse_args()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    rank = int(os.environ.get("RANK", 0))
    if "WORLD_SIZE" in os.environ:  # several processes: each draws scenes and crops of its own
        if device.type == "cuda":
            device = torch.device("cuda", int(os.environ["LOCAL_RANK"]))
            torch.cuda.set_device(device)
        dist.init_process_group("nccl" if device.type == "cuda" else "gloo")
    args.seed += 1000 * rank
    torch.backends.cudnn.benchmark = True
    args.out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(args.seed)
    own = {"seed": args.seed, "bank": args.bank, "stock": args.stock, "every": args.every, "skins": args.skins}
    sources = []
    if args.crops[1]:
        sources.append(own_batches(args.crops[1], device, marched=False, share=96, **own))
    if args.crops[2]:
        sources.append(own_batches(args.crops[2], device, marched=True, share=24, **own | {"bank": args.bank / 2}))
    kept, left = [], {}
    for root in args.photos:
        halved = args.fold is not None and root.name in LABELLED
        photos, dealt = load_photos(root, device, keep_full=halved or args.without), folds(root, args.folds)
        out = [p for p in photos if (halved and dealt[p.name] == args.fold) or p.kind in args.without]
        kept += [p for p in photos if p not in out]
        for photo in kept:
            photo.full = None  # several hundred photos fill a card
        left[root.name] = out
    print(f"training on {len(kept)} photos, {sum(len(p.stage) for p in kept)} objects", flush=True)
    if args.crops[0] and kept:
        sources.append(photo_batches(kept, args.crops[0], device, args.weigh, skins=args.skins))
    if args.crops[3] and args.others:
        others = Others(args.others, device)
        sources.append(lambda: others.batch(args.crops[3], 2))
    tag = args.tag or ("all" if args.fold is None else str(args.fold))

    def keep(net):
        if rank:
            return
        np.savez(args.out / f"weights-{tag}.npz", **{k: v.cpu().numpy() for k, v in net.state_dict().items()})

    if device.type == "cuda":
        torch.cuda.empty_cache()
    net = train(sources, args.minutes, device, args.width, args.seed, args.start, args.rate, args.until, keep)
    if rank:
        return
    keep(net)
    for name, photos in left.items():
        if photos:
            write_proposals(net, photos, args.out / f"proposals-{tag}-{name}.csv")
    for root in args.also:
        write_proposals(net, load_photos(root, device), args.out / f"proposals-{tag}-{root.name}.csv")
    export(net, args.out / f"reader-{tag}.onnx")


if __name__ == "__main__":
    main()
