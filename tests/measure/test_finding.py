"""Sections found again: against what the virtual deck knows, and against recordings that are wrong.

The virtual deck shares no code with the finder and knows where each section lies. The spoiled
recordings are those of `benchmarks.finding`, which plays two hundred; here a few are played.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy import signal

from runstrue.capture.file import FileSource
from runstrue.errors import InputError, SignalError
from runstrue.measure.finding import find_sections
from runstrue.measure.finding_features import features_of
from runstrue.measure.sections import Finding, HeldSource, read_stretch
from runstrue.stimulus.programme import Programme, Section
from runstrue.stimulus.programmes import programme
from runstrue.virtualdeck.deck import Hiss, VirtualDeck
from runstrue.virtualdeck.play import play

Single = NDArray[np.float32]
RATE_HZ = 36_000  # enough for tones up to 16 kHz, and quicker than 48 000
HISS_DBFS = -67.0  # 55 dB below the reference level


def recorded(key: str) -> Single:
    """Return a programme with hiss, from its first sample to its last."""
    plan = programme(key)
    made = np.concatenate(list(plan.samples(48_000)), axis=1)
    samples = signal.resample_poly(made, 3, 4, axis=1)
    return with_hiss(samples)


def with_hiss(samples: NDArray[np.floating], dbfs: float = HISS_DBFS) -> Single:
    draw = np.random.default_rng(4)
    hiss = 10 ** (dbfs / 20) / np.sqrt(2) * draw.standard_normal(samples.shape)
    return np.asarray(samples + hiss, dtype=np.float32)


def found_in(samples: Single, key: str = "quick-look") -> Finding:
    return find_sections(HeldSource(samples, RATE_HZ), programme(key))


@pytest.fixture(scope="module")
def quick_look() -> Single:
    return recorded("quick-look")


@pytest.fixture(scope="module")
def other() -> Single:
    return recorded("noise-reduction")


@pytest.mark.parametrize(
    ("seed", "key"),
    [(0, "quick-look"), (3, "sallowby-20"), (10, "quick-look"), (16, "record-and-play"),
     (21, "tape-types"), (25, "tarn-reel-19"), (42, "quick-look"), (227, "quick-look"),
     (267, "quick-look"), (348, "loop-back"), (548, "loop-back"), (1001, "meters"),
     (1153, "sallowby-20"), (1182, "full-sheet")],
)  # fmt: skip
def test_every_audible_section_of_a_spoiled_recording_is_found(seed: int, key: str) -> None:
    """Most of these recordings were once the undoing of the finder."""
    from benchmarks.finding import case

    outcome = case(seed, key)
    assert outcome.audible > 4
    assert outcome.lost == ()
    assert outcome.wrong == ()
    assert outcome.unheard == ()
    # a section's own speed: the deck's mean, the wow and flutter of 0.4 % peak and the drift
    assert outcome.speed_off < 4e-3


def test_edges_are_found_to_a_few_milliseconds() -> None:
    plan = programme("quick-look")
    deck = VirtualDeck("2 % slow", speed_error_percent=-2.0, hiss=Hiss(55.0))
    recording = play(deck, plan, duration_s=plan.lasts_s / 0.98 + 4, lead_in_s=2.0, seed=1)
    finding = find_sections(HeldSource(recording.signal.samples, 48_000), plan)
    assert len(finding.found) == len(plan.sections)
    for one in finding.found:
        begin_s = 2.0 + one.section.starts_s / 0.98
        end_s = 2.0 + one.section.ends_s / 0.98
        # edges are cut off by the fade (10 ms), a margin and what they are known to: 5 to 60 ms,
        # and 0.19 s where a slow tone leaves them open
        most_s = 0.06 if not one.section.frequencies_hz or one.section.frequencies_hz[0] > 250 \
            else 0.19  # fmt: skip
        assert 0.004 < one.starts_s - begin_s < most_s, one.section.id
        assert 0.004 < end_s - one.starts_s - one.lasts_s < most_s, one.section.id
        # 0.1 Hz of a 40 Hz tone is the worst
        assert one.speed_ratio == pytest.approx(0.98, rel=3e-3)
        if one.section.kind == "tone" and one.section.channels == "both":
            wanted = plan.reference_dbfs + one.section.level_db
            # hiss 35 dB below a tone adds 0.001 dB; 5 ms cells end within a tone's period
            assert one.level_dbfs == pytest.approx((wanted, wanted), abs=0.05)


def test_block_sizes_change_nothing(quick_look: Single) -> None:
    short = quick_look[:, : 40 * RATE_HZ]
    whole = features_of([short], RATE_HZ, 2)
    parts = features_of(np.array_split(short, 977, axis=1), RATE_HZ, 2)
    # single precision, summed in another order
    np.testing.assert_allclose(whole.peak_hz, parts.peak_hz, rtol=1e-4)
    np.testing.assert_allclose(whole.cell_power, parts.cell_power, rtol=1e-4, atol=1e-12)
    assert whole.frames == parts.frames


def test_a_stretch_is_read_from_a_file_by_seeking(tmp_path: Path, quick_look: Single) -> None:
    path = tmp_path / "swapped.flac"
    soundfile.write(path, quick_look[::-1].T, RATE_HZ, "PCM_24")
    source = FileSource(path)
    finding = find_sections(source, programme("quick-look"))
    assert finding.channels == ("right", "left")
    assert any("swapped" in remark for remark in finding.remarks)
    found = finding.by_id("separation-1000-left")
    assert found is not None
    stretch = read_stretch(source, found)
    first = round(found.starts_s * RATE_HZ)
    last = first + stretch.samples.shape[1]
    assert stretch.duration_s == pytest.approx(found.lasts_s, abs=1 / RATE_HZ)
    # the programme's left, which the file holds on its right; 24 bits round to 6e-8
    np.testing.assert_allclose(stretch.samples, quick_look[:, first:last], rtol=0, atol=1.3e-7)
    rms = np.sqrt(np.mean(stretch.samples**2, axis=1))
    assert 20 * np.log10(rms[0] / rms[1]) > 50


def test_a_stretch_beyond_the_end_is_refused(quick_look: Single) -> None:
    finding = found_in(quick_look)
    with pytest.raises(InputError, match="ends inside the section 'level-at-the-end'"):
        read_stretch(HeldSource(quick_look[:, : 100 * RATE_HZ], RATE_HZ), finding.found[-1])


def backwards(samples: Single) -> Single:
    return samples[:, ::-1]


def doubled(samples: Single) -> Single:
    return signal.resample_poly(samples, 1, 2, axis=1).astype(np.float32)


def fast(samples: Single) -> Single:
    return signal.resample_poly(samples, 9, 10, axis=1).astype(np.float32)


def levelled(samples: Single) -> Single:
    """Bring every 10 ms near one level, fast when it gets louder and slowly when softer."""
    size = RATE_HZ // 100
    peaks = np.abs(samples).max(axis=0)[: samples.shape[1] // size * size]
    peaks = peaks.reshape(-1, size).max(axis=1)
    gains, held = np.empty(peaks.size), 0.0
    for index, peak in enumerate(peaks):
        held = max(float(peak), 0.997 * held)
        gains[index] = 0.25 / max(held, 0.003)
    places = np.arange(samples.shape[1])
    return (samples * np.interp(places, size * np.arange(gains.size), gains)).astype(np.float32)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (backwards, "played backwards"),
        (lambda samples: with_hiss(0.0015 * backwards(samples), -100.0), "wrong side of the tape"),
        (doubled, "at double speed"),
        (fast, "11 % too fast"),
        (levelled, "automatic level control is on"),
        (lambda samples: with_hiss(0 * samples), "Nothing that looks like"),
        (lambda samples: 0 * samples, "is silent"),
    ],
    ids=["backwards", "wrong side", "double", "fast", "levelled", "hiss", "silence"],
)
def test_a_recording_that_cannot_be_trusted_is_named(
    spoil: object, words: str, quick_look: Single
) -> None:
    finding = found_in(spoil(quick_look))  # type: ignore[operator]
    assert not finding.trusted
    assert finding.found == ()
    assert len(finding.missing) == len(programme("quick-look").sections)
    assert words in finding.remarks[0]


def test_another_programme_is_named(quick_look: Single, other: Single) -> None:
    finding = found_in(other)
    assert not finding.trusted
    assert "the programme 'noise reduction'" in finding.remarks[0]
    assert "the programme 'quick look'" in found_in(quick_look, "full-sheet").remarks[0]


def test_speech_and_music_are_no_programme() -> None:
    from benchmarks.finding import voice_like

    draw = np.random.default_rng(8)
    voice = np.concatenate(
        [voice_like(draw, 10.0, 0.1).samples[0] for _ in range(12)]
    ).astype(np.float32)  # fmt: skip
    music = np.zeros(120 * RATE_HZ)
    t = np.arange(RATE_HZ) / RATE_HZ
    for beat in range(238):
        for tone_hz in draw.choice(110 * 2 ** (np.arange(48) / 12), 3, replace=False):
            music[beat * RATE_HZ // 2 :][:RATE_HZ] += (
                0.05
                * np.exp(-t)
                * sum(
                    np.sin(2 * np.pi * tone_hz * multiple * t) / multiple**2
                    for multiple in range(1, 6)
                )
            )
    for sound, rate_hz in ((voice, 16_000), (music, RATE_HZ)):
        for key in ("quick-look", "full-sheet", "erasure"):
            source = HeldSource(with_hiss(np.stack([sound, 0.8 * sound])), rate_hz)
            finding = find_sections(source, programme(key))
            assert not finding.trusted, key
            assert "Nothing that looks like" in finding.remarks[0]


def test_what_is_clipped_at_the_sound_card_is_left_out(quick_look: Single) -> None:
    finding = found_in(np.clip(8 * quick_look, -1, 1))
    assert finding.trusted
    assert any("clipped at the sound card for" in remark for remark in finding.remarks)
    why = {one.section.id: one.why for one in finding.missing}
    assert "clipped" in why["level-315"]
    assert "clipped" in why["output-limit-315"]
    # 18 dB up, tones at −20 and −10 dB lie 14 and 4 dB below full scale
    assert finding.by_id("response-20-1000") is not None
    assert finding.by_id("speed-3150") is not None


def test_a_mono_recording_says_nothing_about_one_channel(quick_look: Single) -> None:
    mono = quick_look.mean(axis=0, keepdims=True)
    for samples, channels in ((mono, ("mono",)), (np.concatenate([mono, mono]), ("left", "right"))):
        finding = found_in(samples)
        assert finding.channels == channels
        assert "mono" in finding.remarks[0]
        missing = {one.section.id for one in finding.missing}
        assert missing == {"separation-1000-left", "separation-1000-right"}


def test_a_dead_channel_is_named(quick_look: Single) -> None:
    samples = quick_look.copy()
    samples[1] = with_hiss(np.zeros((1, samples.shape[1])), -75.0)[0]
    finding = found_in(samples)
    assert "The right channel holds nothing" in finding.remarks[0]
    assert {one.section.id for one in finding.missing} == {"separation-1000-right"}


def test_two_playings_and_a_second_programme_are_told(quick_look: Single, other: Single) -> None:
    pause = with_hiss(np.zeros((2, 8 * RATE_HZ)))
    half = quick_look[:, : quick_look.shape[1] // 2]
    finding = found_in(np.concatenate([half, pause, quick_look], axis=1))
    assert "twice, from 0:00 and from 1:33: the one from 1:33" in finding.remarks[0]
    assert len(finding.found) == len(programme("quick-look").sections)
    assert finding.found[0].starts_s > 90
    finding = found_in(np.concatenate([quick_look, pause, other], axis=1))
    assert "Another programme, 'noise reduction'" in finding.remarks[0]
    assert len(finding.found) == len(programme("quick-look").sections)


def test_half_a_programme_is_told_and_its_sections_named(quick_look: Single) -> None:
    half_s = 86
    finding = found_in(quick_look[:, half_s * RATE_HZ :])
    assert finding.trusted
    assert "1.4 min from its beginning is not on the recording" in finding.remarks[0]
    why = {one.section.id: one.why for one in finding.missing}
    assert why["level-315"] == "it lies before the beginning of the recording"
    assert "azimuth-10000" not in why  # begins before, but 9 s of it are there
    finding = found_in(quick_look[:, : 134 * RATE_HZ])
    why = {one.section.id: one.why for one in finding.missing}
    assert "the recording ends within it: 1.8 s of 20.0 s" in why["output-limit-315"]
    assert why["noise"] == "it lies behind the end of the recording"


def test_a_tone_below_the_hiss_is_missing_and_said_so(quick_look: Single) -> None:
    """Hiss of −16 dB: 4 dB below the level tones, 16 dB above those of the response.

    In a half octave about 10 kHz (0.35 of it wide, of 18 kHz in all) it lies 7 dB lower: 9 dB above
    the tone, which nobody hears; about 315 Hz 22 dB lower, 6 dB below the tone.
    """
    finding = found_in(with_hiss(quick_look, -16.0))
    found = {one.section.id for one in finding.found}
    assert {"level-315", "level-1000", "response-20-315", "speed-3150", "azimuth-10000"} <= found
    missing = {one.section.id: one.why for one in finding.missing}
    for tone_hz in (10_000, 12_500, 14_000, 16_000):
        assert "no such tone is heard around" in missing[f"response-20-{tone_hz}"]
    for one in finding.found:
        assert one.starts_s > one.section.starts_s
        assert one.starts_s + one.lasts_s < one.section.ends_s


def test_a_bad_sample_is_named(quick_look: Single) -> None:
    samples = quick_look[:, : 10 * RATE_HZ].copy()
    samples[1, 5 * RATE_HZ] = np.nan
    with pytest.raises(SignalError, match=r"5\.000 s on the right channel is not a number"):
        found_in(samples)
    with pytest.raises(SignalError, match="a second at least"):
        found_in(quick_look[:, :2000])


def test_a_programme_without_a_steady_tone_is_not_guessed(quick_look: Single) -> None:
    sweep = Section("sweep", "sweep", 0.0, 10.02, "both", -20.0, (20.0, 20_000.0))
    plan = Programme("sweep", "only a sweep", (sweep,))
    finding = find_sections(HeldSource(quick_look, RATE_HZ), plan)
    assert not finding.trusted
