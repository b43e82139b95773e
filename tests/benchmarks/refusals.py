"""Scenes whose right answer is to refuse, each with its reason."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.benchmarks.camera import Camera
from tests.benchmarks.records import Pose, Scene
from tests.benchmarks.scenes import make_blank, make_scene


def refused_scenes() -> tuple[Scene, ...]:
    """Make every scene to be refused."""
    plain = make_scene("tabbed 62 cherry", "window", "white", "", seed=200)
    on_bench = make_scene("tag walnut", "lamp", "white", "a4 wood", seed=201)
    disc = make_scene("disc 62 walnut", "window", "white", "", seed=202)
    tabbed = make_scene("tabbed 64 birch", "sun", "cream", "", seed=203)
    pale = make_scene("disc 62 card", "overhead", "white", "", seed=204)
    pair = make_scene("disc 40 cherry", "window", "white", "", seed=205)
    tags = make_scene("tag birch", "lamp", "white", "", seed=206)
    return (
        _refused(replace(plain, blanks=()), "no blank", "empty sheet"),
        _refused(replace(on_bench, blanks=()), "no blank", "empty sheet on a bench"),
        _refused(_shifted(disc, 0.52), "cut off", "disc cut by the frame"),
        _refused(_shifted(tabbed, 0.50), "cut off", "tabbed disc cut by the frame"),
        _refused(_soft(plain), "blur", "tabbed disc out of focus"),
        _refused(_soft(disc), "blur", "disc out of focus"),
        _refused(
            replace(pale, development=replace(pale.development, exposure=0.85, noise=0.013)),
            "contrast",
            "white card on white paper",
        ),
        _refused(_beside(pair, "disc 45 walnut", 55.0), "several blanks", "two discs"),
        _refused(_beside(tags, "tag birch", 70.0), "several blanks", "two tags"),
    )


def _refused(scene: Scene, reason: str, name: str) -> Scene:
    conditions = {**scene.conditions, "refuse": reason}
    return replace(
        scene, name=f"refuse {name}", expect="refuse", reason=reason, conditions=conditions
    )


def _soft(scene: Scene) -> Scene:
    return replace(scene, development=replace(scene.development, blur_px=8.0, sharpen=0.0))


def _shifted(scene: Scene, share: float) -> Scene:
    """Move the camera until the blank's origin lies ``share`` of the width off the middle."""
    old = scene.camera
    x, y = old.onto([old.centre_px + (share * old.size_px[0], 0)])[0]
    camera = Camera(
        old.focal_px,
        old.centre_px,
        old.rotation,
        old.position_mm - (x, y, 0.0),
        old.size_px,
        old.k1,
    )
    return replace(scene, camera=camera)


def _beside(scene: Scene, blank: str, apart_mm: float) -> Scene:
    """Lay a second blank next to the first, towards the middle of the frame."""
    first, pose = scene.blanks[0]
    middle = scene.camera.onto([scene.camera.centre_px])[0] - (pose.x_mm, pose.y_mm)
    x, y = (pose.x_mm, pose.y_mm) + apart_mm * middle / np.hypot(*middle)
    other = Pose(float(x), float(y), pose.angle_rad + 0.2)
    return replace(scene, blanks=((first, pose), (make_blank(blank), other)))
