"""The live state in one sentence, for somebody who stands at the bench."""

from __future__ import annotations

from runstrue.errors import RunstrueError, SignalError

PLAIN = {
    "The recording is silent": "The input is silent",
    "The recording holds": "The input holds",
    "The recording is": "The sound so far is",
}


def no_tone_words(error: SignalError | None) -> str:
    """Say what is heard where no single steady tone is."""
    if error is None:
        return "No steady tone is heard yet: play a test tape."
    seen = error.seen
    for of_a_file, live in PLAIN.items():
        seen = seen.replace(of_a_file, live)
    if "steady tone of about" in seen:
        return f"{seen}; name it as the tape's tone if that is what the tape holds."
    if "silent" in seen or "constant offset" in seen:
        return f"{seen}: check the cable, the input and its level."
    return f"{seen}: play a test tape."


def settling_words(heard_hz: float | None, seconds: int) -> str:
    """Say when the first figure comes."""
    tone = f"A tone of {heard_hz:,.0f} Hz" if heard_hz else "A tone"
    unit = "second" if seconds == 1 else "seconds"
    return f"{tone} is heard; the first figures come in {seconds} {unit}."


def reading_words(nominal_hz: float, over_s: float) -> str:
    """Say what is being read."""
    return f"Reading a tone of {nominal_hz:,.0f} Hz; figures over up to {over_s:.0f} s."


def stopped_words(error: BaseException | None) -> str:
    """Say why it ended."""
    if error is None:
        return "Stopped."
    if isinstance(error, RunstrueError):
        return str(error)
    return (
        f"The live reading fell over ({type(error).__name__}: {error}); the sound up to here is "
        "safe and can be kept."
    )
