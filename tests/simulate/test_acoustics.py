"""Sound is where and what the truth says, also through real codecs."""

from pathlib import Path

import numpy as np
import pytest
from scipy.signal import correlate

from counterproof.errors import UserError
from counterproof.signals.audio import open_audio
from counterproof.simulate import acoustics, clicks, noises, phone, room

RATE = 24000


def quiet_scene(**changes: object) -> acoustics.Scene:
    click = clicks.draw_click("loudspeaker", np.random.default_rng(3))
    return acoustics.Scene(click, noise_db={"white": -60.0}, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["loudspeaker", "piezo"])
def test_clicks_start_at_their_onset_to_a_fraction_of_a_sample(kind: str) -> None:
    click = clicks.draw_click(kind, np.random.default_rng(1))
    onsets = np.array([0.01, 0.05 + 0.37 / RATE, 0.1])
    sound = clicks.render_clicks(click, onsets, np.array([1.0, 1.0, 0.5]), RATE, RATE // 4)
    t = np.arange(RATE // 4) / RATE
    expected = sum(g * click.wave(t - o) for g, o in zip((1, 1, 0.5), onsets, strict=True))
    assert sound == pytest.approx(expected / click.peak, abs=0.02)
    assert not sound[: int(0.01 * RATE)].any()


def test_click_length_is_where_the_energy_ends() -> None:
    click = clicks.Click(
        "one", np.array([2000.0]), np.array([0.001]), np.ones(1), np.zeros(1), np.ones(1)
    )
    # energy of e^(−2t/d): 99 % after d·ln(100)/2 = 2.303 d
    assert click.length_s == pytest.approx(0.0023026, rel=0.02)
    with pytest.raises(ValueError, match="no such click"):
        clicks.draw_click("bell", np.random.default_rng(1))


@pytest.mark.parametrize(
    "suffix, bits, rate",
    [
        (".m4a", 32000, 16000), (".m4a", 64000, 44100), (".mp3", 48000, 24000),
        (".opus", 24000, 24000), (".ogg", 64000, 44100),
    ],
)  # fmt: skip
def test_codecs_lose_detail_but_keep_the_time(suffix: str, bits: int, rate: int) -> None:
    scene = quiet_scene(phone=acoustics.Phone(sample_rate_hz=rate))
    times = np.array([0.5, 1.1, 1.7, 2.2])
    plain = acoustics.record(times, 3.0, scene, 5)
    coded, rate_out = phone.through_codec(plain.samples, rate, suffix, bits)
    assert coded.size / rate_out == pytest.approx(3.0, abs=1e-4)
    before = phone.resample(plain.samples, rate, rate_out)
    lag = int(np.argmax(correlate(coded, before, method="fft"))) - (before.size - 1)
    assert abs(lag) <= 1
    assert not np.array_equal(coded, before)
    assert np.corrcoef(coded, before)[0, 1] > 0.9


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg", ".mp3", ".m4a", ".mp4", ".mkv"])
def test_files_come_back_through_the_project_s_reader(tmp_path: Path, suffix: str) -> None:
    times = np.array([0.4, 0.9, 1.6])
    made = acoustics.record(times, 2.0, quiet_scene(), 6)
    path = phone.write_recording(tmp_path / f"clicks{suffix}", made.samples, 44100)
    with open_audio(path) as file:
        back = file.read()
        rate = file.sample_rate_hz
    before = phone.resample(made.samples, 44100, rate)
    lag = int(np.argmax(correlate(back, before, method="fft"))) - (before.size - 1)
    assert abs(lag) / rate < 0.010
    assert back.size / rate == pytest.approx(2.0, abs=0.06)


def test_unknown_kinds_are_refused_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="choose one of"):
        phone.write_recording(tmp_path / "clicks.xyz", np.zeros(10, np.float32), 8000)


def test_boxes_that_click_once_per_several_pulses_or_hold() -> None:
    times = np.array([0.1, 0.2, 0.201, 0.3, 0.4, 0.5])
    rng = np.random.default_rng(1)
    assert acoustics.clicked(times, quiet_scene(per_pulses=3), rng).tolist() == [0.201, 0.5]
    assert acoustics.clicked(times, quiet_scene(hold_s=0.005), rng).size == 5
    late = acoustics.clicked(times, quiet_scene(jitter_s=0.01), rng)
    assert late.size == 6
    assert ((late - times) < 0.02).all()


def test_echo_starts_with_the_direct_sound_and_dies_in_the_stated_time() -> None:
    rng = np.random.default_rng(2)
    drawn = room.draw_room(rng)
    response = room.impulse_response(drawn, 16000, rng)
    assert response[0] == pytest.approx(1.0, abs=0.1)
    # Schroeder's backward integral (J. Acoust. Soc. Am. 37 (1965) 409) over the tail's middle
    plain = room.Room(drawn.size_m, drawn.counter_m, drawn.microphone_m, 0.0, 0.4, 0.05)
    tail = room.impulse_response(plain, 16000, rng)[int(0.03 * 16000) :]
    energy = 10 * np.log10(np.cumsum(tail[::-1].astype(float) ** 2)[::-1])
    t = np.arange(tail.size) / 16000
    part = (t > 0.02) & (t < 0.2)
    slope = np.polyfit(t[part], energy[part], 1)[0]
    assert -60 / slope == pytest.approx(0.4, rel=0.1)


def test_first_reflection_comes_from_the_nearest_wall() -> None:
    plain = room.Room((4.0, 3.0, 2.5), (1.0, 1.5, 1.0), (1.5, 1.5, 1.0), 0.5, 0.2, 0.0)
    response = room.impulse_response(plain, 48000, np.random.default_rng(1))
    # floor: path 2·√(0.25² + 1²) − 0.5 m; wall behind: 2 m more than the direct way
    way = 2 * np.hypot(0.25, 1.0) - 0.5
    first = np.flatnonzero(response[1:])[0] + 1
    assert first == pytest.approx(way / room.SOUND_M_S * 48000, abs=1)


@pytest.mark.parametrize("name", ["white", "pink", "hum", "music"])
def test_steady_noises_have_unit_rms(name: str) -> None:
    sound = acoustics.NOISES[name](8 * RATE, RATE, np.random.default_rng(4))
    assert float(np.sqrt(np.mean(sound.astype(float) ** 2))) == pytest.approx(1.0, rel=0.02)


def test_pink_noise_falls_ten_decibels_a_decade_in_density() -> None:
    sound = noises.pink(40 * RATE, RATE, np.random.default_rng(4)).astype(float)
    power = np.abs(np.fft.rfft(sound)) ** 2
    f = np.fft.rfftfreq(sound.size, 1 / RATE)
    levels = [10 * np.log10(power[(f > a) & (f < 1.2 * a)].mean()) for a in (100, 1000, 5000)]
    assert levels[0] - levels[1] == pytest.approx(10.0, abs=1.5)
    assert levels[0] - levels[2] == pytest.approx(17.0, abs=2.0)


@pytest.mark.parametrize("name", ["speech", "knocks", "beeps", "alarm"])
def test_events_come_and_go(name: str) -> None:
    sound = acoustics.NOISES[name](60 * RATE, RATE, np.random.default_rng(4))
    blocks = np.abs(sound).reshape(600, -1).max(axis=1)
    assert (blocks < 0.01).any()
    assert (blocks > 0.2).any()


def test_suppression_lowers_the_hiss_more_than_the_clicks() -> None:
    scene = quiet_scene(phone=acoustics.Phone(sample_rate_hz=RATE))
    scene = acoustics.replace(scene, noise_db={"white": -30.0})
    made = acoustics.record(np.arange(1.0, 9.0), 10.0, scene, 3)
    cleaned = phone.suppress_noise(made.samples, RATE)
    quiet = slice(int(0.3 * RATE), int(0.9 * RATE))
    gain = np.std(cleaned[quiet]) / np.std(made.samples[quiet])
    assert 10 ** (-16 / 20) < gain < 0.5
    # the smoothed gain reaches a lone frame late, so clicks suffer too, as on a phone
    assert np.abs(cleaned).max() > 2 * gain * np.abs(made.samples).max()
    assert cleaned.shape == made.samples.shape


def test_gain_control_brings_loud_and_soft_closer() -> None:
    rng = np.random.default_rng(1)
    sound = rng.standard_normal(10 * RATE).astype(np.float32)
    sound[: 5 * RATE] *= 0.02
    sound[5 * RATE :] *= 0.5
    out = phone.gain_control(sound, RATE)
    soft, loud = np.std(out[3 * RATE : 5 * RATE]), np.std(out[8 * RATE :])
    assert loud / soft < 2.0


def test_scenes_are_seeded_and_noises_do_not_disturb_each_other() -> None:
    scene = acoustics.draw_scene(12)
    times = np.array([0.2, 0.7])
    one, two = (acoustics.record(times, 1.0, scene, 9) for _ in range(2))
    assert np.array_equal(one.samples, two.samples)
    silent = acoustics.record(times, 1.0, acoustics.without_counter(scene), 9)
    assert silent.onsets_s.size == 0
    assert silent.click_length_s == 0.0
