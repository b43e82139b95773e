import numpy as np
import pytest

from blanktrace.background import BLACK, linear_light, model_sheet
from blanktrace.errors import NoBlankError
from tests.trace.pictures import SHEET, WOOD, disc_level, encoded, grid

SIZE = (480, 360)


def light_field():
    """A lamp to one side and a lens that darkens the corners."""
    x, y = grid(*SIZE)
    u, v = x / SIZE[0] - 0.5, y / SIZE[1] - 0.5
    return (1 - 0.35 * u + 0.15 * v) * (1 - 0.25 * (u**2 + v**2))


def lit(level=0.0, shade=1.0, noise=0.004):
    linear = (SHEET + level * (WOOD - SHEET)) * (light_field() * shade)[..., None] * 0.9
    noisy = linear + noise * np.random.default_rng(3).standard_normal(linear.shape)
    return linear_light(encoded(noisy))


def model_error(sheet):
    return np.abs(np.exp(sheet.log_light) - BLACK - SHEET * light_field()[..., None] * 0.9) / SHEET


def test_bare_sheet():
    sheet = model_sheet(lit())
    assert model_error(sheet).max() < 0.01
    assert sheet.bare.mean() > 0.97
    assert sheet.extent.mean() > 0.98
    assert 0.001 < sheet.noise < 0.01


@pytest.mark.parametrize("radius", [60.0, 110.0])
def test_blank_and_shadow_do_not_bend_the_light(radius):
    x, y = grid(*SIZE)
    level = disc_level(x, y, (250.0, 170.0), radius, 1.0)
    shadow = 1 - 0.5 * disc_level(x - 20, y - 14, (250.0, 170.0), radius, 12.0)
    sheet = model_sheet(lit(level[..., None], np.where(level > 0.5, 1.0, shadow)))
    assert model_error(sheet).max() < 0.03
    assert not sheet.bare[170, 250]
    assert sheet.extent[170, 250]
    assert not sheet.bare[level > 0.5].any()


def test_the_sheet_ends_where_the_bench_begins():
    linear = lit()
    linear[:, :120] = linear_light(encoded(np.full((360, 120, 3), (0.12, 0.07, 0.04))))
    sheet = model_sheet(linear)
    assert not sheet.extent[:, :115].any()
    assert sheet.extent[10:-10, 130:-10].all()


@pytest.mark.parametrize(
    "picture",
    [
        pytest.param(np.random.default_rng(0).random((120, 160, 3)), id="gravel"),
        pytest.param(
            np.where((np.indices((120, 160)).sum(axis=0) // 9 % 2)[..., None] > 0, 0.7, 0.1)
            * np.ones(3),
            id="chequered cloth",
        ),
    ],
)
def test_no_sheet(picture):
    with pytest.raises(NoBlankError, match="white paper"):
        model_sheet(picture.astype(np.float32))


def test_linear_light_against_the_standard():
    # IEC 61966-2-1: 0.5 encodes 0.2140; 8-bit 188 is about half the light.
    assert linear_light(np.array([0, 255], np.uint8)).tolist() == [0.0, 1.0]
    assert linear_light(np.array([32768], np.uint16))[0] == pytest.approx(0.2140, abs=1e-4)
    assert linear_light(np.array([188], np.uint8))[0] == pytest.approx(0.5029, abs=1e-4)
