"""The ids of quantities and methods: what can be read, in plain words, with units.

An id is never renamed once a reading has been stored under it; new ids are added in the same
manner. The words here are the only ones: terminal, page and paper take them from this table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Wanted = Literal["near zero", "low", "high", "as stated"]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of reading.

    Parameters
    ----------
    id : str
    name : str
        In plain words, for a row of a table.
    unit : str
        The one unit in which it is stored.
    plus_minus : bool
        Whether the trade prints it with a ± sign (a peak figure).
    wanted : {'near zero', 'low', 'high', 'as stated'}
        Which way is good; 'as stated' where only the sheet knows.
    means : str
        One sentence for somebody who meets it for the first time.
    """

    id: str
    name: str
    unit: str
    plus_minus: bool
    wanted: Wanted
    means: str


@dataclass(frozen=True, slots=True)
class Method:
    """How a reading is made.

    Parameters
    ----------
    key : str
        Name and version, 'two-sigma/1'; the version rises when figures would change.
    words : str
        Short, for a table.
    source : str
        Standard and clause, 'common practice, no source', or how sure memory is.
    """

    key: str
    words: str
    source: str


# One row a kind or method: a table is easier to read than one argument a line.
# fmt: off
KINDS: dict[str, Kind] = {
    kind.id: kind
    for kind in (
        Kind("speed.deviation", "speed", "%", False, "near zero",
             "How much faster (+) or slower (−) the tape runs than it should, on average."),
        Kind("speed.drift", "drift", "%/min", False, "near zero",
             "How the average speed changes while the tape plays."),
        Kind("flutter.weighted_peak", "wow and flutter, weighted peak", "%", True, "low",
             "Speed variation as the ear minds it; it stays within ± this for 95 % of the time."),
        Kind("flutter.indicated_peak", "wow and flutter, as a needle shows it", "%", True, "low",
             "What the needle of an old flutter meter would have shown; it never stands still."),
        Kind("flutter.weighted_rms", "wow and flutter, weighted r.m.s.", "%", False, "low",
             "Weighted speed variation as a root mean square (WRMS on many sheets)."),
        Kind("flutter.unweighted_peak", "wow and flutter, unweighted peak", "%", True, "low",
             "All speed variation alike, whether or not the ear minds it; peak."),
        Kind("flutter.unweighted_rms", "wow and flutter, unweighted r.m.s.", "%", False, "low",
             "All speed variation alike, as a root mean square."),
        Kind("flutter.unweighted_average", "wow and flutter, unweighted average", "%", False,
             "low", "All speed variation on an average-responding meter that is scaled on a sine."),
        Kind("flutter.wow_rms", "wow, 0.1 to 10 Hz", "%", False, "low",
             "The slow part of the speed variation, as a root mean square."),
        Kind("flutter.flutter_rms", "flutter, 10 to 200 Hz", "%", False, "low",
             "The fast part of the speed variation, as a root mean square."),
        Kind("flutter.part_weighted", "wow and flutter of a part, weighted", "%", True, "low",
             "The flutter that one part makes, or what no part makes, as the peak of a sine of the "
             "same power."),
        Kind("flutter.part_runout", "runout that would do it", "µm", False, "low",
             "The runout of a wheel, or half the swing of a belt's thickness, that would make the "
             "flutter that a part makes."),
        Kind("flutter.part_without", "wow and flutter with a part put right", "%", True, "low",
             "What weighted peak, two-sigma, would remain if a part made no flutter."),
        Kind("level.output", "output level", "dBV", False, "as stated", "Line output."),
        Kind("level.balance", "channel balance", "dB", False, "near zero",
             "Left against right from the same tape."),
        Kind("level.flux", "flux of the deck's 0 dB", "dB", False, "as stated",
             "How far the deck's 0 dB stands above a calibration tape's flux."),
        Kind("response.band", "frequency response", "Hz", False, "as stated",
             "The band that stays within the stated decibels."),
        Kind("response.gain", "frequency response, whole swing", "dB", False, "low",
             "How far the gain over frequency swings from its lowest to its highest point."),
        Kind("response.shape", "treble at 10 kHz, by the fitted shape", "dB", False, "near zero",
             "What the shape of the treble response points to, and the change that it means."),
        Kind("azimuth.delay", "delay between channels", "µs", False, "near zero",
             "How much one channel trails the other."),
        Kind("azimuth.angle", "azimuth", "′", False, "near zero", "Tilt of the head."),
        Kind("azimuth.sway", "azimuth sway", "′", False, "low", "How the tilt moves."),
        Kind("phase.polarity", "polarity of the channels", "°", False, "near zero",
             "0 where both channels move alike, 180 where one of them is turned."),
        Kind("noise.unweighted", "signal to noise, unweighted", "dB", False, "high",
             "Reference level over all noise from 20 Hz to 20 kHz."),
        Kind("noise.a", "signal to noise, A-weighted", "dB", False, "high",
             "Reference level over A-weighted noise."),
        Kind("noise.quasi_peak_468", "signal to noise, 468 quasi-peak", "dB", False, "high",
             "Reference level over noise by the ITU-R 468 curve and its quasi-peak meter."),
        Kind("noise.average_468_2k", "signal to noise, 468 average, 2 kHz", "dB", False, "high",
             "The 468 curve with an average-responding meter and 0 dB at 2 kHz."),
        Kind("noise.modulation", "modulation noise", "dB", False, "high",
             "How far the noise that a tone brings with it lies below the tone."),
        Kind("print.through", "print-through", "dB", False, "high",
             "How far the echo on the next layer of tape lies below a loud passage."),
        Kind("hum.line", "hum", "dB", False, "low", "One mains line."),
        Kind("hum.total", "hum, all lines", "dB", False, "low",
             "All lines of the mains together, against the reference level."),
        Kind("hum.odd", "hum, odd lines", "dB", False, "low",
             "The mains frequency and its odd multiples: fields and half-wave supplies."),
        Kind("hum.even", "hum, even lines", "dB", False, "low",
             "The even multiples of the mains: ripple of a full-wave supply."),
        Kind("distortion.third", "third harmonic", "%", False, "low", "Third harmonic distortion."),
        Kind("distortion.total", "total harmonic distortion", "%", False, "low",
             "All harmonics together."),
        Kind("level.mol", "maximum output level", "dB", False, "high",
             "Level with 3 % third harmonic."),
        Kind("level.sol", "saturated output level at 10 kHz", "dB", False, "high",
             "The highest treble level the tape gives back."),
        Kind("separation.channels", "channel separation", "dB", False, "high",
             "How much of one channel stays out of the other."),
        Kind("separation.sides", "separation of the sides", "dB", False, "high",
             "How much of the other side stays out."),
        Kind("erasure.depth", "erasure", "dB", False, "high", "How far an old recording is wiped."),
        Kind("companding.tracking", "tracking of the noise reduction", "dB", False, "near zero",
             "How far soft treble comes back wrong, with the companding noise reduction on."),
        Kind("companding.lift", "lift of the noise reduction", "dB", False, "as stated",
             "How much the record half lifts soft treble: about 10 dB for the B-type."),
        Kind("companding.level", "record level against the noise reduction's", "dB", False,
             "near zero", "How far an own recording comes back from the level that both halves "
             "of the noise reduction are set to."),
        Kind("meter.offset", "meter, offset", "%", False, "near zero",
             "How far the needle stands off with no signal, of its way to 0 dB."),
        Kind("meter.gain", "meter, gain", "dB", False, "near zero",
             "How much too far or too little the needle moves, at all levels alike."),
        Kind("meter.bend", "meter, bend", "%", False, "near zero",
             "How far loud and soft do not go together on the needle."),
        Kind("meter.tracking", "meters, left against right", "dB", False, "near zero",
             "How far the two needles differ at the same level."),
        Kind("meter.ballistics", "meter, short bursts", "dB", False, "near zero",
             "How far a burst of 300 ms reads from what a VU meter would show."),
        Kind("control.crackle", "crackle of a control", "per minute", False, "low",
             "Clicks while a slider, pot or switch is worked."),
        Kind("control.dropouts", "losses of a control", "per minute", False, "low",
             "Moments without sound while a control is worked."),
        Kind("control.tracking", "tracking of a control", "dB", False, "near zero",
             "How far left and right part over the travel of a control."),
        Kind("input.overload", "input overload", "mV", False, "high",
             "Input at which distortion reaches 1 %."),
        Kind("dropout.count", "dropouts", "per minute", False, "low", "Short losses of level."),
        Kind("input.sensitivity", "input sensitivity", "mV", False, "as stated",
             "Input that gives the reference level."),
        Kind("output.voltage", "output voltage", "mV", False, "as stated",
             "Line or headphone output at the reference level."),
        Kind("torque.take_up", "take-up torque in play", "mN·m", False, "as stated",
             "How hard the take-up hub pulls in play."),
        Kind("torque.back_tension", "back tension torque in play", "mN·m", False, "as stated",
             "How hard the supply hub holds back in play."),
        Kind("torque.forward_wind", "fast-forward torque", "mN·m", False, "as stated",
             "How hard the take-up hub pulls in fast forward."),
        Kind("torque.rewind", "rewind torque", "mN·m", False, "as stated",
             "How hard the supply hub pulls in rewind."),
        Kind("force.pinch", "pinch force", "N", False, "as stated",
             "How hard the roller presses on the capstan."),
        Kind("force.capstan_pull", "pull of the tape at the capstan", "N", False, "high",
             "The pull at which the tape begins to slip."),
        Kind("play.capstan_end", "capstan end play", "mm", False, "as stated",
             "How far the capstan moves along its axis."),
        Kind("voltage.point", "voltage at a point", "V", False, "as stated",
             "A supply or test point, named in the conditions."),
        Kind("time.wind", "winding time", "s", False, "low", "Time to wind a whole tape."),
    )
}

METHODS: dict[str, Method] = {
    method.key: method
    for method in (
        Method("bell-mean/1", "mean over the record, bell-shaped window",
               "bell window against leakage of wow: Harris 1978 (window), from memory, sure"),
        Method("bell-mean-30s/1", "mean over the steadiest 30 s",
               "DIN 45 500 sheet 4: mean speed averaged over 30 s"),
        Method("bell-slope/1", "straight line through the record, bell-shaped weights",
               "drift as defined in IEC 60386 (JIS C 5569-1991 2.3); fit: own method"),
        Method("two-sigma/1", "weighted peak, two-sigma, IEC 60386",
               "IEC 60386 A1:1988 method 1, AES6-2008; 95 % taken for 'two sigma', from memory"),
        Method("needle/1", "weighted peak, quasi-peak needle",
               "AES6-1982: 60 ms pulses read 90 %, fall to 40 %; other pulse figures from memory"),
        Method("weighted-rms/1", "weighted r.m.s.",
               "older Japanese practice with the IEC 60386 curve, from memory, sure"),
        Method("flat-two-sigma/1", "unweighted peak, two-sigma, 0.5 to 200 Hz",
               "detector as IEC 60386 A1; band: NAB 1965, from memory"),
        Method("flat-rms/1", "unweighted r.m.s., 0.5 to 200 Hz", "NAB 1965, from memory"),
        Method("flat-average/1", "unweighted average, scaled on a sine, 0.5 to 200 Hz",
               "NAB 1965, from memory"),
        Method("wow-rms/1", "r.m.s., 0.1 to 10 Hz", "JIS C 5569-1991 2.2 for the band"),
        Method("flutter-rms/1", "r.m.s., 10 to 200 Hz", "JIS C 5569-1991 2.1 for the band"),
        Method("part-lines/1", "lines of the record matched to the rates of the parts",
               "own method"),
        Method("response-tones/1", "band power of tones", "own method; bands by Carson's rule"),
        Method("response-multitone/1", "band power of tones sounded together",
               "own method; bands by Carson's rule"),
        Method("response-sweep/1", "power of a sweep as it passes", "own method"),
        Method("response-noise/1", "third octaves of a known noise", "own method"),
        Method("response-shape/1", "best of spacing, gap or azimuth, and shelf, from 1 kHz up",
               "losses: Wallace 1951 and textbooks, from memory; shelf: IEC 60094-1 clause 15"),
        Method("azimuth-phase/1", "phase between the channels, unwrapped from the lowest tone up",
               "geometry: McKnight, 'Azimuth in a Magnetic Tape Recorder'"),
        Method("azimuth-sway/1", "twice the standard deviation over at least 10 s", "own method"),
        Method("polarity-phase/1", "phase of the lowest tone", "own method"),
        Method("harmonics-band/1", "band power of each harmonic, noise taken off", "own method"),
        Method("mol-ramp/1", "level with 3 % third harmonic, from a ramp",
               "DIN 45 500 for 3 % (second-hand); reading: own method"),
        Method("sol-ramp/1", "highest level given back, from a ramp",
               "practice of tape data sheets, second-hand; reading: own method"),
        Method("leak-coherent/1", "part of the quiet channel that goes with the loud one",
               "own method"),
        Method("leak-band/1", "band power of what is left, noise taken off",
               "selective reading as in service practice; method: own"),
        Method("dropouts-6db-10ms/1", "losses of 6 dB for 10 ms and more",
               "no standard; sorted by depth and length as in AES papers"),
        Method("dropouts-12db-20ms/1", "losses of 12 dB for 20 ms and more",
               "no standard; what the reading of speed and flutter leaves out"),
        Method("tone-cells/1", "medians over half a second of a tone's level", "own method"),
        Method("modulation-noise/1", "noise beside a tone, less the noise of silence",
               "practice of tape data sheets, second-hand"),
        Method("print-through-band/1", "highest echo in the tone's band",
               "DIN 45519 for the storing, from memory; reading: own method"),
        Method("band-power/1", "band power of a tone, noise taken off",
               "level of a sine against full scale as in AES17; bands by Carson's rule"),
        Method("companding-5k/1", "5 kHz over 400 Hz at several levels",
               "principle of companding noise reduction, from memory"),
        Method("companding-level/1", "400 Hz against 200 nWb/m",
               "level of companding noise reduction, B-type, second-hand"),
        Method("meter-fit/1", "offset, gain and bend of what the needle showed", "own method"),
        Method("meter-burst/1", "burst against a second-order meter", "IEC 60268-17"),
        Method("input-ramp/1", "ramp through an input, line out recorded",
               "1 % for overload: common practice, no source"),
        Method("control-tone/1", "steady tone while a control is worked", "own method"),
        Method("noise-flat/1", "noise, 20 Hz to 20 kHz, r.m.s.", "common practice, no source"),
        Method("noise-a/1", "noise, A-weighted r.m.s.",
               "IEC 61672-1:2013 annex E for the curve, applied in the frequency domain"),
        Method("noise-468-quasi-peak/1", "noise, 468 quasi-peak, mean of the needle",
               "ITU-R BS.468-4: Fig. 1a, Tables 2 and 3; time constants: a fit of our own"),
        Method("noise-468-average/1", "noise, 468 curve, average, 0 dB at 2 kHz",
               "J. Audio Eng. Soc. 27(3) 1979, second-hand"),
        Method("hum-comb/1", "lines of the mains up to the 20th", "own method"),
        Method("typed/1", "read off an instrument and typed in", "the user"),
    )
}

# fmt: on
