"""What doubts about the view do to an outline, on shapes that anyone can reckon."""

from dataclasses import replace

import numpy as np
import pytest

from blanktrace.effects import WALL_SHARE, Doubts, effects_of
from blanktrace.lens import Lens
from blanktrace.parts import Division, Part
from blanktrace.rectify import View
from blanktrace.seen import Seen

HEIGHT_MM, FOCAL_PX, SIZE_PX = 400.0, 2000.0, (2000, 1500)
NONE = Doubts(lean_deg=0.0, mirrored_share=0.0, height_mm=0.0, focal_share=0.0)
STRAIGHT = Lens.unbent(FOCAL_PX, SIZE_PX)
RADIUS_MM = 30.0


def view(normal=(0.0, 0.0, 1.0)):
    return View(focal_px=FOCAL_PX, centre_px=STRAIGHT.centre_px, normal=normal, height_mm=HEIGHT_MM)


def circle(radius_mm=RADIUS_MM, centre=(0.0, 0.0)):
    turn = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    return np.array(centre) + radius_mm * np.column_stack([np.cos(turn), np.sin(turn)])


def seen(ring, *, owners=None, parts=(), normal=(0.0, 0.0, 1.0), disc=None, top_mm=0.0):
    owners = np.full(len(ring), -1) if owners is None else owners
    return Seen(
        view=view(normal),
        rings_mm=(ring,),
        division=Division(tuple(parts), (owners,), np.nan),
        origin_mm=np.zeros(2),
        disc=disc,
        top_mm=top_mm,
        fit_mm=0.0,
        corrected_by="",
        doubt_deg=0.0,
    )


def disc_with_tab(centre=(0.0, 0.0)):
    rim = circle(centre=centre)
    tab = np.array(centre) + np.column_stack([np.linspace(-8, 8, 60), np.full(60, 50.0)])
    owners = np.r_[np.zeros(len(rim), int), np.ones(len(tab), int)]
    parts = (Part("disc", centre, diameter_mm=60.0), Part("tab", (0.0, 40.0), width_mm=16.0))
    return seen(np.vstack([rim, tab]), owners=owners, parts=parts, disc=object())


def effects(one, *, reference=None, lens=STRAIGHT, heights_mm=None, **doubts):
    return effects_of(
        Doubts(**(vars(NONE) | doubts)),
        one,
        reference=reference or one,
        lens=lens,
        heights_mm=heights_mm or {},
    )


def test_a_height_that_is_the_same_all_over_is_settled_by_the_calipers():
    flat = seen(circle(centre=(0.0, 0.0)))
    # The walls of a blank right below the camera are not in view either.
    assert effects(flat, height_mm=3.0).height_mm == pytest.approx(0, abs=1e-9)


def test_a_wall_in_view_may_be_taken_for_face():
    """A bar from 100 to 120 mm off the axis: its near side shows its wall, 4 mm high.

    One of its long sides is half its boundary. It moves by 100/400 of 0.29 of 4 mm,
    the other does not: half of that either way.
    """
    x = np.linspace(-40, 40, 400)
    bar = np.vstack(
        [np.column_stack([x, np.full(400, 100.0)]), np.column_stack([x[::-1], np.full(400, 120.0)])]
    )
    found = effects(seen(bar, top_mm=4.0), heights_mm={"body": 4.0})
    assert found.height_mm == pytest.approx(100 / 400 * WALL_SHARE * 4 / 2, rel=0.1)


def test_a_lean_makes_one_end_larger():
    """A strip of length 2 L along the lean by t radians at distance H.

    A place y from its middle moves by t (y² - L²/3) / H once it lies best: root mean
    square t L² / H times the root of 4/45. Across the strip a lean
    does nothing.
    """
    half = 60.0
    y = np.linspace(-half, half, 2001)
    strip = np.column_stack([np.zeros_like(y), y])
    expected = np.radians(1.0) * half**2 / HEIGHT_MM * np.sqrt(4 / 45)
    assert effects(seen(strip), lean_deg=1.0).tilt_mm == pytest.approx(expected, rel=0.02)


def test_a_rim_on_its_circle_fears_no_lean():
    ring = circle(centre=(40.0, 20.0))
    alone = seen(
        ring,
        owners=np.zeros(len(ring), int),
        parts=(Part("disc", (40.0, 20.0), diameter_mm=60.0),),
        disc=object(),
    )
    found = effects(alone, lean_deg=5.0, height_mm=0.4, focal_share=0.3)
    assert (found.tilt_mm, found.height_mm, found.focal_mm) == pytest.approx((0, 0, 0), abs=1e-6)


def test_a_disc_looks_the_same_leant_the_other_way():
    """Its rim stays round; what hangs on it moves as by twice the lean from the line of sight."""
    tag = disc_with_tab()
    leant = seen(
        tag.rings_mm[0], owners=tag.division.owners[0], parts=tag.division.parts,
        normal=(0.05, 0.0, 1.0), disc=object(),
    )  # fmt: skip
    mirrored = effects(leant, mirrored_share=1.0).tilt_mm
    by_lean = effects(leant, lean_deg=np.degrees(np.arctan(0.1))).tilt_mm
    assert 0 < mirrored < 1.5 * by_lean


def test_what_hangs_on_a_disc_does():
    found = effects(disc_with_tab((40.0, 20.0)), lean_deg=2.0, height_mm=0.4)
    assert found.tilt_mm > 0.02
    assert found.height_mm > 0.005


def test_the_focal_length_counts_where_heights_differ():
    tag = disc_with_tab((60.0, 0.0))
    level = effects(tag, focal_share=0.3, heights_mm={"disc": 4.0, "tab": 4.0})
    apart = effects(tag, focal_share=0.3, heights_mm={"disc": 4.0, "tab": 1.0})
    assert apart.focal_mm > level.focal_mm + 0.01


def test_a_bend_counts_by_the_third_power():
    """k1 uncertain by 0.01 moves a place r focal lengths out by 0.01 r³ of them."""
    small, large = (effects(seen(circle(r))).bend_mm for r in (RADIUS_MM, 2 * RADIUS_MM))
    # On a circle about the axis that is growth alone, which the calipers settle.
    assert (small, large) == pytest.approx((0, 0), abs=1e-9)
    y = np.linspace(-40, 40, 801)
    strips = [np.column_stack([np.zeros_like(y), f * y]) for f in (1.0, 2.0)]
    short, long = (effects(seen(strip)).bend_mm for strip in strips)
    assert long == pytest.approx(8 * short, rel=5e-3)


def test_beside_the_measured_blank_its_scale_is_in_doubt():
    near, far = disc_with_tab((0.0, 0.0)), disc_with_tab((120.0, 0.0))
    here = effects(near, lean_deg=1.0, reference=near).tilt_mm
    there = effects(far, lean_deg=1.0, reference=near).tilt_mm
    assert there > 3 * here


def test_a_lean_makes_a_disc_beside_the_measured_one_larger():
    """By 2 d t / H along the lean and d t / H across it: a circle grows by the mean of both."""
    radius, apart, step = 20.0, 100.0, np.radians(1.0)

    def disc(centre):
        points = circle(radius, centre)
        return replace(
            seen(
                points,
                owners=np.zeros(len(points), int),
                parts=(Part("disc", centre, diameter_mm=2 * radius),),
                disc=object(),
            ),
            origin_mm=np.array(centre),
        )

    found = effects(disc((apart, 0.0)), reference=disc((0.0, 0.0)), lean_deg=1.0)
    expected = 1.5 * apart * np.tan(step) / HEIGHT_MM * radius
    assert found.tilt_mm == pytest.approx(expected, rel=0.05)


def test_how_far_off_a_blank_lies_is_not_what_it_grows_by():
    """A disc that nothing doubts but the one measured: as much larger, wherever it lies."""
    near, far = (
        replace(
            seen(
                circle(20.0, (x, 0.0)),
                owners=np.zeros(360, int),
                parts=(Part("disc", (x, 0.0), diameter_mm=40.0),),
                disc=object(),
            ),
            origin_mm=np.array([x, 0.0]),
        )
        for x in (30.0, 150.0)
    )
    reference = disc_with_tab()
    grown = [
        effects(one, reference=reference, focal_share=0.1, heights_mm={"disc": 2.0}).focal_mm
        for one in (near, far)
    ]
    assert grown[1] == pytest.approx(grown[0], abs=1e-6)


def test_a_wall_taken_for_face_makes_a_disc_beside_larger():
    """The half of its rim that faces the camera's foot, d away, moves by a share of top d / H.

    A circle grows by the mean of what its rim moves outward: a half that is moved along
    x by m moves outward by m |cos|, whose mean over the whole rim is m / π.
    """
    radius, apart, top = 10.0, 200.0, 4.0
    points = circle(radius, (apart, 0.0))
    beside = replace(
        seen(
            points,
            owners=np.zeros(len(points), int),
            parts=(Part("disc", (apart, 0.0), diameter_mm=2 * radius),),
            disc=object(),
        ),
        origin_mm=np.array([apart, 0.0]),
    )
    foot = replace(beside, rings_mm=(circle(radius),), origin_mm=np.zeros(2))
    found = effects(beside, reference=foot, heights_mm={"disc": top})
    expected = WALL_SHARE * top * apart / HEIGHT_MM / np.pi
    assert found.height_mm == pytest.approx(expected, rel=0.15)
