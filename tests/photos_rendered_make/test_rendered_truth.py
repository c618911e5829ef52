"""The truth of the rendered photos against balls whose outlines are known, without the renderer."""

import numpy as np
import pytest
from rendered_bodies import Body, Lot, cyst, nauplius, umbrella
from rendered_meshes import ball, unit_ball
from rendered_sample import laid_down, rest_height, setups
from rendered_truth import View, truth_rows

VIEW = View(400, 300, 0.005, 100.0, np.eye(3))


def a_ball(x, y, z, radius, stage="cyst"):
    body = Body([ball((0, 0, 0), (radius,) * 3, "chorion", level=4)], stage, "round", np.array([[0, 0, 0, radius]]))
    body.place = np.array([x, y, z])
    return body


def test_a_ball_has_its_place_and_area():
    (row,), ids = truth_rows("p", [a_ball(0.2, 0.1, 0.1, 0.1)], VIEW)
    scale = 100 / 99.9  # it lies 0.1 mm nearer
    assert (row["x_px"], row["y_px"]) == pytest.approx((200 + 40 * scale, 150 - 20 * scale), abs=0.1)
    assert row["visible_area_px"] == pytest.approx(np.pi * (20 * scale) ** 2, rel=0.02)
    assert row["visible_area_px"] == row["whole_area_px"] == (ids == 1).sum()
    assert (row["visible_fraction"], row["touches_edge"], row["touches_other"], row["in_frame"]) == (1, 0, 0, 1)


def test_the_nearer_hides_and_what_is_wholly_hidden_has_no_row():
    low, high = a_ball(0, 0, 0.1, 0.1), a_ball(0.1, 0, 0.35, 0.1, "shell")
    rows, _ = truth_rows("p", [low, high, a_ball(0.1, 0, 0.05, 0.04)], VIEW)
    assert [r["stage"] for r in rows] == ["cyst", "shell"]
    lens = 2 * np.arccos(0.5) - np.sin(2 * np.arccos(0.5))  # shared area of two circles a radius apart, over r^2
    assert rows[0]["visible_fraction"] == pytest.approx(1 - lens / np.pi, abs=0.02)
    assert rows[1]["visible_fraction"] == 1
    assert [r["touches_other"] for r in rows] == [1, 1]


@pytest.mark.parametrize(("x", "framed", "share"), [(-0.99, 1, 0.56), (-1.01, 0, 0.44)])
def test_the_frame_cuts(x, framed, share):
    (row,), _ = truth_rows("p", [a_ball(x, 0, 0.0, 0.1)], VIEW)
    assert (row["in_frame"], row["touches_edge"], row["x0"]) == (framed, 1, 0)
    assert row["visible_area_px"] / row["whole_area_px"] == pytest.approx(share, abs=0.03)
    assert row["visible_fraction"] == 1


def test_an_eyepiece_cuts_too():
    y, x = np.mgrid[:300, :400]
    lit = np.hypot(x - 200, y - 150) < 100
    rows, _ = truth_rows("p", [a_ball(0, 0, 0, 0.1), a_ball(0.5, 0, 0, 0.1), a_ball(0.9, 0, 0, 0.1)], VIEW, lit)
    assert [(r["touches_edge"], r["in_frame"]) for r in rows] in ([(0, 1), (1, 0)], [(0, 1), (1, 1)])


@pytest.mark.parametrize("make", [cyst, nauplius, umbrella])
def test_closed_pieces_face_outwards(make):
    body = make(np.random.default_rng(3), Lot(0.24, 0.45, 0.5))
    for part in body.parts:
        if part.material != "shell":
            a, b, c = (part.vertices[part.triangles[:, k]] for k in range(3))
            assert (a * np.cross(b, c)).sum() > 0


def test_sizes_are_those_of_the_lot():
    rng, lot = np.random.default_rng(1), Lot(0.24, 0.45, 0.0)
    wide = [np.ptp(cyst(rng, lot).parts[0].vertices, axis=0).mean() for _ in range(40)]
    assert np.mean(wide) == pytest.approx(0.24, rel=0.03)
    ends = [nauplius(rng, lot).parts[0].vertices for _ in range(40)]
    assert np.mean([np.linalg.norm(v[-1] - v[-2]) for v in ends]) == pytest.approx(0.45, rel=0.03)


def test_bodies_come_to_rest_on_what_lies_below():
    placed = np.array([[0, 0, 0.1, 0.1]])
    assert rest_height(np.array([[0.3, 0, 0, 0.1]]), placed) == pytest.approx(0.1)
    assert rest_height(np.array([[0, 0, 0, 0.1]]), placed) == pytest.approx(0.3)
    one = setups(4)[0]
    for body in laid_down(one, np.random.default_rng(2)):
        assert (body.balls[:, 2] + body.place[2] - body.balls[:, 3]).min() > -1e-9


def test_a_seed_sets_up_thirty_photos_from_few_to_nearly_all_hatched():
    all_of_them = setups(7)
    assert len({s.name for s in all_of_them}) == 30
    shares = np.sort([s.hatched for s in all_of_them])
    assert shares[0] < 0.09 < 0.91 < shares[-1]
    assert setups(7) == all_of_them


def test_a_ball_is_closed():
    vertices, triangles = unit_ball(3)
    assert len(vertices) == 642
    edges = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), 1)
    assert (np.unique(edges, axis=0, return_counts=True)[1] == 2).all()
