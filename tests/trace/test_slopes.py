import numpy as np
import pytest

from blanktrace.slopes import slopes_of


@pytest.mark.parametrize("degrees", [0, 20, 45, 110])
def test_grain_is_noisy_across_and_quiet_along(degrees):
    y, x = np.indices((300, 300))
    angle = np.radians(degrees)
    across = np.array([np.cos(angle), np.sin(angle)])
    picture = np.zeros((300, 300, 3), dtype=np.float32)
    rng = np.random.default_rng(0)
    for wave in rng.uniform(0.1, 0.35, 40):
        phase = wave * (x * across[0] + y * across[1]) + rng.uniform(0, 2 * np.pi)
        picture += np.sin(phase)[..., None].astype(np.float32)
    rate = np.gradient(picture[..., 0])[0] * across[1] + np.gradient(picture[..., 0])[1] * across[0]
    slopes = slopes_of(picture, np.ones((300, 300), dtype=bool), least=0.0)
    noise = slopes.noise(np.array([across, [-across[1], across[0]]]))
    assert noise[0] == pytest.approx(1.4826 * np.median(np.abs(rate)), rel=0.1)
    assert (noise[1] < 0.25 * noise[0]).all()
