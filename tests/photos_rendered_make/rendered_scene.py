"""One photo in Cycles: bodies, floor, lamps and camera into a scene, rendered to linear light."""

import tempfile
from pathlib import Path

import bpy
import numpy as np
from mathutils import Matrix
from rendered_materials import body_materials
from rendered_meshes import turn
from rendered_stage import build, put
from rendered_truth import View

# samples a pixel: what is clear is cheap, light below skins and through threads is dear
SAMPLES = {"bright": 24, "chamber": 20, "wide": 20, "black": 12, "dark field": 14}
OTHER_SAMPLES = 8


def camera_view(setup, rng):
    """Return the camera over the middle of the ground, held a little askew over dishes and sieves."""
    askew = 0.1 if setup.kind in ("dish", "sieve") else 0.0
    matrix = turn("z", rng.uniform(-0.1, 0.1)) @ turn("x", rng.normal(0, askew)) @ turn("y", rng.normal(0, askew / 2))
    return View(setup.width_px, setup.height_px, setup.um_per_px / 1000, rng.uniform(70, 120), matrix)


def _set_camera(view, rng, setup):
    data = bpy.data.cameras.new("camera")
    eye = bpy.data.objects.new("camera", data)
    matrix = np.eye(4)
    matrix[:3, :3] = view.turn
    matrix[:3, 3] = view.turn @ [0, 0, view.distance_mm]
    eye.matrix_world = Matrix(matrix)
    data.sensor_fit, data.sensor_width = "HORIZONTAL", 36.0
    data.lens = 36.0 * view.distance_mm / (view.width_px * view.mm_per_px)
    data.clip_start, data.clip_end = 0.5, 1000
    opening = rng.uniform(0.03, 0.09)  # diameter of the lens over its distance
    data.dof.use_dof = True
    data.dof.focus_distance = view.distance_mm - rng.uniform(0.04, 0.2)
    data.dof.aperture_fstop = data.lens / 1000 / (opening * view.distance_mm)
    bpy.context.scene.collection.objects.link(eye)
    bpy.context.scene.camera = eye


def _set_cycles(setup, threads, scale):
    scene = bpy.context.scene
    scene.render.engine = "CYCLES"
    scene.render.resolution_x, scene.render.resolution_y = setup.width_px, setup.height_px
    scene.render.resolution_percentage = scale
    scene.render.threads_mode, scene.render.threads = "FIXED", threads
    c = scene.cycles
    c.device, c.use_adaptive_sampling = "CPU", True
    c.adaptive_threshold, c.adaptive_min_samples = 0.01 if setup.from_below else 0.02, 6
    c.use_denoising, c.denoiser, c.denoising_prefilter = True, "OPENIMAGEDENOISE", "FAST"
    c.max_bounces, c.diffuse_bounces, c.glossy_bounces = 10, 2, 2
    c.transmission_bounces, c.volume_bounces, c.transparent_max_bounces = 8, 0, 16
    c.caustics_reflective = c.caustics_refractive = False
    c.sample_clamp_indirect, c.sample_clamp_direct = 4.0, 20.0
    scene.render.image_settings.file_format = "OPEN_EXR"
    scene.render.image_settings.color_depth = "32"
    scene.render.use_persistent_data = False


def _exposed(scene, swimmers, samples):
    """Light (rows, cols, 3), taken at several moments of the exposure where something swims.

    Cycles' own blur of moving objects is not used: with it, Blender 4.5 now and then broke off in the middle.
    """
    moments = (-1 / 3, 0.0, 1 / 3) if swimmers else (0.0,)
    scene.cycles.samples = samples if not swimmers else max(samples // 3, 6)
    total = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for k, moment in enumerate(moments):
            for made, body in swimmers:
                made.location = body.place + moment * np.array([*body.drift, 0.0])
            scene.cycles.seed = k
            scene.render.filepath = str(Path(folder) / f"light{k}.exr")
            bpy.ops.render.render(write_still=True)
            total = total + _read(scene.render.filepath) / len(moments)
    return total


def _read(path):
    """Linear light (rows, cols, 3) of a written picture."""
    image = bpy.data.images.load(path)
    cols, rows = image.size
    pixels = np.empty(rows * cols * 4, np.float32)
    image.pixels.foreach_get(pixels)
    return np.nan_to_num(pixels.reshape(rows, cols, 4)[::-1, :, :3].astype(float))


def rendered(setup, bodies, view, rng, *, effort=1.0, threads=2, scale=100):
    """Return linear light (rows, cols, 3) of a photo."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    faint = setup.kind == "dark field"
    materials = body_materials(rng, from_below=setup.from_below and not faint, dry=setup.dry, faint=faint)
    swimmers = []
    for k, body in enumerate(bodies):
        made = put(f"body {k}", body.parts, materials, place=body.place, shade=float(np.clip(body.shade, 0.7, 1.3)))
        if any(body.drift):
            swimmers.append((made, body))
    build(setup, rng)
    _set_camera(view, rng, setup)
    _set_cycles(setup, threads, scale)
    samples = max(round(SAMPLES.get(setup.kind, OTHER_SAMPLES) * effort), 1)
    return _exposed(bpy.context.scene, swimmers, samples)
