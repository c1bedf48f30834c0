"""Frames against a plain computation, and what they must not depend on."""

import hashlib

import numpy as np
import pytest

from rigdata.errors import LogError
from rigdata.logs.flags import Flag
from rigdata.logs.frames import ColumnRequest

N = 24_000
RATE = 2000.0
COLUMNS = {"torque": "Torque", "speed": "Speed", "oil": "Oil"}


def signals(seed=7, n=N):
    rng = np.random.default_rng(seed)
    time = np.arange(n) / RATE
    return {
        "Time": time,
        "Torque": 80.0 * np.sin(time) + rng.normal(0.0, 0.5, n),
        "Speed": 30.0 + 20.0 * np.cos(2.0 * time) + rng.normal(0.0, 0.05, n),
        "Oil": 60.0 + time + rng.normal(0.0, 0.02, n),
    }


def csv(columns, decimals=4):
    rows = zip(*columns.values(), strict=True)
    body = "".join(",".join(f"{value:.{decimals}f}" for value in row) + "\n" for row in rows)
    return ",".join(columns) + "\n" + body


def nasty(seed=9):
    """A log with every kind of fault in it."""
    data = signals(seed, 12_000)
    torque, speed = data["Torque"], data["Speed"]
    torque[400] += 30.0
    torque[[5000, 5001]] -= 25.0
    speed[6000:8400] = speed[6000]
    torque[9000:9040] = np.nan
    np.clip(torque, -60.0, 70.0, out=torque)
    time = data["Time"].copy()
    time[7000:] += 0.25
    time[4000] = time[3999]
    time[10_000] = 1e6
    lines = csv(data | {"Time": time}).splitlines()
    lines[2001] = "cut,"
    cells = lines[9501].split(",")
    lines[9501] = ",".join((cells[0], "Overrange", *cells[2:]))
    lines.insert(8000, lines[0])
    lines.insert(11_000, "")
    return "\n".join(lines) + "\n1.0,2"


def plain_means(time, values, frame_s):
    frame = np.floor(time / frame_s + 1e-3)
    numbers = np.unique(frame)
    return np.array([values[frame == number].mean() for number in numbers])


@pytest.mark.parametrize("frame_s", [0.005, 0.02, 0.0123])
def test_frames_are_the_means_of_their_samples(read, frame_s):
    data = signals(n=6000)
    frames = read(csv(data, 9), COLUMNS, frame_s=frame_s)
    rounded = {name: np.round(values, 9) for name, values in data.items()}
    for key, name in COLUMNS.items():
        expected = plain_means(rounded["Time"], rounded[name], frame_s)
        np.testing.assert_allclose(frames.values[key], expected, rtol=1e-13)
    np.testing.assert_allclose(
        frames.time_s, plain_means(rounded["Time"], rounded["Time"], frame_s), rtol=1e-12
    )
    assert frames.n_samples.sum() == 6000
    assert frames.frame_s == frame_s
    assert frames.sample_s == pytest.approx(1 / RATE)


ASKED = COLUMNS | {"torque": ColumnRequest("Torque", spread=True)}


def test_the_spread_is_that_of_the_samples_within_each_frame(read):
    data = signals(n=6000)
    frames = read(csv(data, 9), ASKED, frame_s=0.02)
    assert set(frames.spread) == {"torque"}
    inside = np.round(data["Torque"], 9).reshape(-1, 40)
    np.testing.assert_allclose(frames.spread["torque"], inside.std(axis=1), rtol=1e-9)
    # Between and within frames: nothing of the variance is lost.
    whole = frames.values["torque"].var() + np.mean(frames.spread["torque"] ** 2)
    assert whole == pytest.approx(np.round(data["Torque"], 9).var(), rel=1e-12)


def test_the_spread_leaves_out_what_the_mean_leaves_out(read):
    data = signals(n=6000)
    torque = data["Torque"]
    clean = read(csv(data, 6), ASKED, frame_s=0.05).spread["torque"]
    torque[[1010, 2500]] += [40.0, -40.0]
    torque[3000:3020] = np.nan
    torque[4000:4010] = 1e38
    torque[5050:5060] = torque.max()
    spoilt = read(csv(data, 6), ASKED, frame_s=0.05)
    assert spoilt.counts["torque"]
    np.testing.assert_allclose(spoilt.spread["torque"], clean, rtol=0.35)
    kept = [i for i in range(60) if i not in (10, 25, 30, 40, 50)]
    np.testing.assert_array_equal(spoilt.spread["torque"][kept], clean[kept])


def test_single_samples_have_no_spread_and_sparse_columns_none_at_all(read):
    rows = "".join(f"{i / 100:.2f},{i % 5},{i % 7 if i % 10 == 0 else ''}\n" for i in range(3000))
    asked = {name: ColumnRequest(name, spread=True) for name in ("Torque", "Oil")}
    frames = read("Time,Torque,Oil\n" + rows, asked)
    np.testing.assert_array_equal(frames.spread["Torque"], 0.0)
    assert "Oil" not in frames.spread


def test_the_default_frame_is_5_ms(read):
    frames = read(csv(signals(n=4000)), COLUMNS)
    assert frames.frame_s == 0.005
    np.testing.assert_array_equal(frames.n_samples, 10)
    np.testing.assert_allclose(np.diff(frames.time_s), 0.005, rtol=1e-9)


def test_frames_grow_so_that_a_long_log_has_no_more_than_100_000(read):
    rows = "".join(f"{i * 2.5:.1f},{i % 7}\n" for i in range(1000))
    frames = read("Time,Torque\n" + rows + "5000000.0,1\n")
    assert frames.frame_s == pytest.approx(50.0)
    assert frames.time_s.size == 51


def test_decimal_times_on_the_edge_of_a_frame_belong_to_the_next(read):
    rows = "".join(f"{i / 100:.2f},{i}\n" for i in range(1000))
    frames = read("Time,Torque\n" + rows, frame_s=0.05)
    np.testing.assert_array_equal(frames.n_samples, 5)


def test_a_slow_log_is_its_own_frames(read):
    time = np.cumsum(np.random.default_rng(2).uniform(0.6, 1.4, 500))
    data = {"Time": time, "Torque": np.sin(time)}
    frames = read(csv(data, 6))
    np.testing.assert_array_equal(frames.time_s, np.round(time, 6))
    np.testing.assert_array_equal(frames.values["torque"], np.round(np.sin(time), 6))
    np.testing.assert_array_equal(frames.n_samples, 1)
    assert frames.frame_s == frames.sample_s == pytest.approx(1.0, rel=0.1)


@pytest.mark.parametrize("block_bytes", [3000, 20_011, 131_072])
def test_the_size_of_the_blocks_changes_nothing(read, write, block_bytes):
    path = write(nasty())
    whole = read(path, ASKED)
    parts = read(path, ASKED, block_bytes=block_bytes)
    np.testing.assert_array_equal(parts.spread["torque"], whole.spread["torque"])
    np.testing.assert_array_equal(parts.time_s, whole.time_s)
    np.testing.assert_array_equal(parts.n_samples, whole.n_samples)
    for key in COLUMNS:
        np.testing.assert_array_equal(parts.values[key], whole.values[key])
        np.testing.assert_array_equal(parts.flags[key], whole.flags[key])
        assert dict(parts.counts[key]) == dict(whole.counts[key])
    assert parts.n_rows == whole.n_rows
    assert [str(notice) for notice in parts.notices] == [str(notice) for notice in whole.notices]


def test_every_fault_of_the_nasty_log_is_counted(read):
    frames = read(nasty(), COLUMNS)
    torque = frames.counts["torque"]
    assert torque[Flag.SPIKE] >= 3  # a lone dip below the rail is one too
    spiked = frames.time_s[(frames.flags["torque"] & Flag.SPIKE) > 0]
    assert {0.2, 2.5} <= set(np.round(spiked - 0.00225, 4))
    assert torque[Flag.MISSING] == 40
    assert torque[Flag.GAP] == 1
    assert torque[Flag.SATURATED] > 1000
    assert frames.counts["speed"][Flag.STUCK] == 2400
    assert frames.counts["oil"] == {Flag.GAP: 1}
    said = " ".join(str(notice) for notice in frames.notices)
    assert "1 lines with too few or too many fields" in said
    assert "1 repeated header lines" in said
    assert "2 rows left out because their time does not rise" in said
    assert "1 last line without a line end" in said


def test_a_log_split_in_two_gives_the_same_frames(read):
    data = signals()
    whole = read(csv(data), COLUMNS, frame_s=0.01)
    half = {name: values[: N // 2] for name, values in data.items()}
    rest = {name: values[N // 2 :] for name, values in data.items()}
    first = read(csv(half), COLUMNS, frame_s=0.01)
    second = read(csv(rest), COLUMNS, frame_s=0.01)
    np.testing.assert_array_equal(np.concatenate((first.time_s, second.time_s)), whole.time_s)
    for key in COLUMNS:
        both = np.concatenate((first.values[key], second.values[key]))
        np.testing.assert_array_equal(both, whole.values[key])


def test_a_constant_added_to_the_time_moves_the_frames_only(read):
    data = signals(n=6000)
    base = read(csv(data), COLUMNS)
    moved = read(csv(data | {"Time": data["Time"] + 5000.0}), COLUMNS)
    np.testing.assert_allclose(moved.time_s - 5000.0, base.time_s, atol=1e-9)
    np.testing.assert_array_equal(moved.values["torque"], base.values["torque"])


# --- flags in frames


def test_flagged_samples_are_left_out_of_the_mean(read):
    data = signals(n=6000)
    clean = read(csv(data), COLUMNS)
    data["Torque"][3003] += 40.0
    spiked = read(csv(data), COLUMNS)
    assert spiked.counts["torque"] == {Flag.SPIKE: 1}
    assert np.flatnonzero(spiked.flags["torque"]).tolist() == [300]
    kept = np.delete(np.round(data["Torque"], 4)[3000:3010], 3)
    assert spiked.values["torque"][300] == pytest.approx(kept.mean(), rel=1e-14)
    others = np.arange(600) != 300
    np.testing.assert_array_equal(spiked.values["torque"][others], clean.values["torque"][others])


def test_a_frame_without_a_good_sample_is_nan_and_flagged(read):
    data = signals(n=6000)
    data["Torque"][3000:3010] = np.nan
    frames = read(csv(data), COLUMNS)
    assert np.isnan(frames.values["torque"][300])
    assert frames.flags["torque"][300] == Flag.MISSING
    assert np.isfinite(np.delete(frames.values["torque"], 300)).all()


def test_stuck_samples_are_marked_and_kept(read):
    data = signals(n=8000)
    data["Oil"][2000:6000] = 61.0
    frames = read(csv(data), COLUMNS)
    assert frames.counts["oil"] == {Flag.STUCK: 4000}
    assert (frames.flags["oil"][200:600] == Flag.STUCK).all()
    np.testing.assert_allclose(frames.values["oil"][200:600], 61.0)
    loose = read(csv(data), {"oil": ColumnRequest("Oil", may_stick=True)})
    assert loose.counts["oil"] == {}


def test_a_gap_marks_the_first_sample_after_it_in_every_column(read):
    data = signals(n=8000)
    keep = np.ones(8000, bool)
    keep[4000:4500] = False
    frames = read(csv({name: values[keep] for name, values in data.items()}), COLUMNS)
    assert all(frames.counts[key] == {Flag.GAP: 1} for key in COLUMNS)
    assert frames.time_s.size == 750
    assert np.flatnonzero(frames.flags["speed"]).tolist() == [400]
    assert frames.time_s[400] - frames.time_s[399] == pytest.approx(0.255)


def encoder(n=60_000, pulse=2.4):
    """A speed that creeps: mostly 0, and one pulse now and then, far from the next."""
    speed = np.zeros(n)
    speed[30_000::137] = pulse
    return {"Time": np.arange(n) / RATE, "Torque": speed}


def test_lone_pulses_of_a_slow_encoder_are_no_spikes(read):
    data = encoder()
    frames = read(csv(data), {"speed": ColumnRequest("Torque", may_stick=True)})
    assert frames.counts["speed"] == {}
    assert not frames.flags["speed"].any()
    np.testing.assert_allclose(
        frames.values["speed"], plain_means(data["Time"], data["Torque"], 0.005), rtol=1e-14
    )


def test_a_spike_among_the_pulses_of_an_encoder_is_one(read):
    data = encoder()
    data["Torque"][40_050] = 24.0
    frames = read(csv(data), {"speed": ColumnRequest("Torque", may_stick=True)})
    assert frames.counts["speed"] == {Flag.SPIKE: 1}
    assert np.flatnonzero(frames.flags["speed"]).tolist() == [4005]


def test_a_flicker_of_the_last_digit_is_no_spike(read):
    oil = np.full(8000, 60.0)
    oil[4000:8000:900] += 0.1
    frames = read(
        csv({"Time": np.arange(8000) / RATE, "Oil": oil}),
        {"oil": ColumnRequest("Oil", may_stick=True)},
    )
    assert frames.counts["oil"] == {}


# --- saturation without a range


def clipped(level=70.0, n=12_000):
    data = signals(n=n)
    clean = data["Torque"].copy()
    data["Torque"] = np.minimum(clean, level)
    return data, clean


def test_a_torque_clipped_at_its_rail_is_saturated(read):
    data, clean = clipped()
    frames = read(csv(data), COLUMNS)
    flagged = frames.flags["torque"] & Flag.SATURATED
    held = clean.reshape(-1, 10) >= 70.0
    # Frames that lie wholly on the rail are found, those that never touch it are not.
    deep = np.convolve(held.all(axis=1), np.ones(3), "same") == 3
    assert deep.sum() > 100
    assert (flagged[deep] == Flag.SATURATED).all()
    assert not flagged[~held.any(axis=1)].any()
    assert np.isnan(frames.values["torque"][deep]).all()


def test_the_mean_of_a_partly_clipped_frame_is_of_its_good_samples(read):
    data = signals(n=4000)
    data["Torque"] = np.round(data["Torque"], 1) + 100.0
    data["Torque"][2003:2009] = 500.0
    frames = read(csv(data), COLUMNS)
    assert frames.counts["torque"] == {Flag.SATURATED: 6}
    kept = np.concatenate((data["Torque"][2000:2003], data["Torque"][2009:2010]))
    assert frames.values["torque"][200] == pytest.approx(kept.mean(), rel=1e-12)


def test_a_smooth_top_of_a_coarse_channel_is_not_saturated(read):
    time = np.arange(20_000) / RATE
    data = {"Time": time, "Torque": np.round(80.0 * np.sin(time), 1)}
    assert read(csv(data)).counts["torque"] == {}


def test_the_top_of_a_coarse_channel_that_starts_constant_is_not_saturated(read):
    time = np.arange(60_000) / RATE
    oil = np.round(60.0 + 5.0 * np.maximum(0.0, np.sin(1.5 * (time - 15.0))) * (time > 15.0), 1)
    frames = read(csv({"Time": time, "Oil": oil}), {"oil": ColumnRequest("Oil", may_stick=True)})
    assert frames.counts["oil"] == {}


@pytest.mark.parametrize("idle", [0.0, -3.7])
def test_a_channel_parked_at_its_idle_value_is_not_saturated(read, idle):
    rng = np.random.default_rng(4)
    speed = np.concatenate(
        [np.r_[np.full(900, idle), 50.0 + rng.normal(0.0, 1.0, 3000)] for _ in range(3)]
        + [np.full(900, idle)]
    )
    data = {"Time": np.arange(speed.size) / RATE, "Torque": speed}
    request = {"torque": ColumnRequest("Torque", may_stick=True)}
    assert read(csv(data), request).counts["torque"] == {}


def test_a_long_hold_is_stuck_and_not_saturated(read):
    data = signals(n=12_000)
    data["Torque"][4000:8000] = 90.0
    frames = read(csv(data), COLUMNS)
    assert frames.counts["torque"] == {Flag.STUCK: 4000}


# --- part of a log


def test_only_the_part_asked_for_is_used(read):
    data = signals(n=8000)
    whole = read(csv(data), COLUMNS)
    part = read(csv(data), COLUMNS, start_s=1.0, end_s=2.9999)
    inside = (whole.time_s > 1.0) & (whole.time_s < 3.0)
    np.testing.assert_array_equal(part.time_s, whole.time_s[inside])
    np.testing.assert_array_equal(part.values["torque"], whole.values["torque"][inside])
    assert part.n_rows == 8000
    assert part.n_samples.sum() == 4000
    assert "4000 rows outside start_s to end_s not used" in str(part.notices[-1])


def test_a_part_without_rows_is_an_error(read):
    with pytest.raises(LogError, match=r"no row lies between start_s and end_s.*0 s to 1.9995 s"):
        read(csv(signals(n=4000)), COLUMNS, start_s=100.0)


# --- the result


def test_frames_are_read_only_and_carry_the_hash(read, write):
    path = write(csv(signals(n=4000)))
    frames = read(path, COLUMNS)
    assert frames.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    for array in (frames.time_s, frames.n_samples, *frames.values.values(), *frames.flags.values()):
        assert not array.flags.writeable
    with pytest.raises(TypeError):
        frames.values["torque"] = frames.time_s
    assert frames.flags["torque"].dtype == np.uint8
    assert list(frames.values) == list(COLUMNS)


def test_a_log_without_columns_still_has_a_time(read):
    frames = read(csv(signals(n=4000)), {})
    assert frames.time_s.size == 400
    assert not frames.values
