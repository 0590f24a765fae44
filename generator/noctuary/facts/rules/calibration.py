"""Rules about calibration frames and the temperature of the sensor."""

from __future__ import annotations

import math
from collections.abc import Iterator

from noctuary.facts.rules.rule import Case, Sighting, at, rule

DARKS_EXPOSURE = 0.01
DARKS_TEMPERATURE_C = 2.0
SENSOR_WARM_C = 2.0


@rule(
    "darks-differ", "doubt",
    "Darks only match lights of the same exposure, gain or ISO and temperature.",
    "dark_exposure: 30 s with lights of 60 s",
    "common practice: 60 s darks for 60 s lights; sensors double their dark current every 6 °C or so",
)  # fmt: skip
def darks_differ(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        darks = session.calibration
        if darks is None or darks.darks == 0:
            continue
        groups = session.frames
        for key, dark, lights, unit, share, apart in (
            ("dark_exposure", darks.dark_exposure_s, [g.exposure_s for g in groups], " s", DARKS_EXPOSURE, 0.0),
            ("dark_gain", darks.dark_gain, [g.gain for g in groups], "", 1e-6, 0.0),
            ("dark_iso", darks.dark_iso, [g.iso for g in groups], "", 1e-6, 0.0),
            ("dark_temperature", darks.dark_temperature_c, [g.sensor_temperature_c for g in groups], " °C",
             0.0, DARKS_TEMPERATURE_C),
        ):  # fmt: skip
            known = [v for v in lights if v is not None]
            if dark is None or not known:
                continue
            if not any(math.isclose(dark, v, rel_tol=share, abs_tol=apart) for v in known):
                values = " and ".join(f"{v:g}{unit}" for v in dict.fromkeys(known))
                yield Sighting(
                    at(picture, session, "calibration", key),
                    f"{key} is {dark:g}{unit}, the lights have {values}",
                    "correct it, or take darks that match; darks that differ add what they should remove",
                    (picture,),
                )


@rule(
    "no-flats", "doubt",
    "Without flats, dust and vignetting stay in the picture.",
    "calibration: {darks: 30, flats: 0}",
    "common practice",
)  # fmt: skip
def no_flats(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        calibration = session.calibration
        if calibration is not None and not calibration.flats and case.deep_sky(session):
            yield Sighting(
                at(picture, session, "calibration"),
                f"the session of {session.night} has no flats",
                "write flats: with their number, or answer the doubt",
                (picture,),
            )


@rule(
    "sensor-warm", "doubt",
    "A cooled sensor stood more than 2 °C above its set point, the coldest of its session.",
    "one filter at -10 °C, the next at -4 °C",
)  # fmt: skip
def sensor_warm(case: Case) -> Iterator[Sighting]:
    for picture, session in case.sessions:
        cooled = {
            row: g.sensor_temperature_c
            for row, g in enumerate(session.frames)
            if g.sensor_temperature_c is not None and g.iso is None
        }
        set_point = min(cooled.values(), default=0.0)
        for row, warm in cooled.items():
            if warm - set_point > SENSOR_WARM_C:
                yield Sighting(
                    at(picture, session, "frames", row, "sensor_temperature"),
                    f"the sensor stood at {warm:g} °C, in the same session at {set_point:g} °C",
                    "correct the temperature; darks of one temperature do not fit both",
                    (picture,),
                )
