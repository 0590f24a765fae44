"""A target over the years: what each picture added, and why it is deeper."""

from __future__ import annotations

import dataclasses
import math
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.archive.records import Picture, Session
from noctuary.facts.depth import depth_of_fields, light_of_fields
from noctuary.facts.exposure import integration
from noctuary.facts.optics import main_rig, mean_sky_brightness, optics
from noctuary.facts.picture import PictureFacts
from noctuary.facts.rig_shares import rig_shares
from noctuary.facts.target import growth, steps
from noctuary.pages.depth_note import apportioned, deeper_note, depth_note

from tests.builders.records import archive, frames, picture, place, rig, session

LENS = rig("lens", focal=135, aperture=48)
REFRACTOR = rig("refractor", focal=480, aperture=80)


def facts_of(written: Picture, *others: Picture) -> PictureFacts:
    """The parts of a picture's facts that its growth depends on, without any engine of the sky."""
    sessions = archive(written, *others).sessions_of(written)
    main, fields = main_rig(written.rig, sessions), (sessions,)
    return PictureFacts(
        picture=written, pixels=(2400, 1600), integration=integration(sessions),
        optics=optics(main, sessions, (2400, 1600), written.resampling) if main else None,
        rigs=rig_shares(main, sessions),
        objects=(), object_names=(), placement=None, in_field=None, touching=(), sessions=(), film=(),
        panels=(), fields=fields,
        light_m2_h=light_of_fields(fields), sky_brightness=mean_sky_brightness(sessions),
        depth=depth_of_fields(fields, REFRACTOR), frame_fill=None,
    )  # fmt: skip


def of(name: str, finished: date, *sessions: Session, **more: Any) -> Picture:
    return picture(name, tuple(sessions), finished=finished, **more)


def test_how_much_deeper_and_why_by_hand():
    # First: 1 h with 48 mm under 20.0. Second: 4 h with 80 mm under 20.4.
    #   hours:    1.25 * log10(4)             = 0.7526
    #   aperture: 1.25 * log10((80/48)^2)     = 2.5 * log10(1.66667) = 0.5546
    #   sky:      0.5 * (20.4 - 20.0)         = 0.2
    # together 1.5072 mag/arcsec2, the difference of the two depths.
    first = of("one", date(2023, 2, 1), session(0, written_in="one", rig=LENS, sky_brightness=20.0,
                                                groups=(frames(60, 60),)))  # fmt: skip
    second = of("two", date(2024, 2, 1), session(0, written_in="two", rig=REFRACTOR, sky_brightness=20.4,
                                                 groups=(frames(240, 60),), night=date(2024, 1, 1)))  # fmt: skip
    older, newer = growth((facts_of(second), facts_of(first)))
    assert older.deeper is None
    assert older.added_s is None
    assert newer.before_id == "one"
    assert newer.deeper is not None
    assert newer.deeper.hours_mag == pytest.approx(0.7526, abs=1e-4)
    assert newer.deeper.aperture_mag == pytest.approx(0.5546, abs=1e-4)
    assert newer.deeper.sky_mag == pytest.approx(0.2)
    assert newer.depth.mag is not None
    assert older.depth.mag is not None
    assert newer.deeper.total_mag == pytest.approx(newer.depth.mag - older.depth.mag)
    assert newer.added_s == 3 * 3600
    # pi/4 * 0.08^2 * 4 h - pi/4 * 0.048^2 * 1 h = 0.0201062 - 0.0018096 m2 h
    assert newer.added_light_m2_h == pytest.approx(0.0182966, abs=1e-6)


def test_scale_and_sampling_of_both_pictures():
    # 206.265 * 3.76 / 135 = 5.745"/px and 206.265 * 3.76 / 480 = 1.6157"/px; stars of 3.2" on the second: 1.98 px.
    first = of("one", date(2023, 2, 1), session(0, written_in="one", rig=LENS))
    second = of("two", date(2024, 2, 1), session(0, written_in="two", rig=REFRACTOR, star_width_arcsec=3.2))
    newer = growth((facts_of(first), facts_of(second)))[1]
    assert newer.scale_before_arcsec_px == pytest.approx(5.745, abs=1e-3)
    assert newer.image_scale_arcsec_px == pytest.approx(1.6157, abs=1e-4)
    assert newer.sampling_before_px is None
    assert newer.sampling_px == pytest.approx(1.98, abs=5e-3)


def test_a_lower_bound_says_nothing_of_a_difference():
    anywhere = place(sky_brightness=None)
    first = of("one", date(2023, 2, 1), session(0, written_in="one", sky_brightness=21.0, groups=(frames(60, 60),)))
    second = of("two", date(2024, 2, 1), session(0, written_in="two", place=anywhere), builds_on=("one",))
    newer = growth((facts_of(first), facts_of(second, first)))[1]
    assert (newer.depth.at_least, newer.depth.sessions_without_sky) == (True, 1)
    assert newer.depth.mag == newer.depth_before.mag
    assert newer.deeper is None


def test_what_moves_is_never_deeper_than_it_was():
    first = of("one", date(2023, 2, 1), session(0, written_in="one"))
    second = of("two", date(2024, 2, 1), session(0, written_in="two"))
    assert growth((facts_of(first), facts_of(second)), fixed=False)[1].deeper is None


a_rig = st.builds(lambda mm: rig(f"{mm} mm", aperture=float(mm)), st.integers(20, 400))
a_night = st.tuples(st.integers(1, 200), st.integers(1, 1200), st.floats(16, 22.5), a_rig)
a_stack = st.lists(a_night, min_size=1, max_size=4)


@settings(max_examples=80, deadline=None)
@given(a_stack, a_stack)
def test_the_parts_of_a_difference_add_up_to_it_also_as_printed(older, newer):
    written = [
        of(name, date(2023 + i, 2, 1), *(
            session(j, written_in=name, rig=own, sky_brightness=sky, groups=(frames(exposure, kept),))
            for j, (kept, exposure, sky, own) in enumerate(stack)
        ))
        for i, (name, stack) in enumerate((("one", older), ("two", newer)))
    ]  # fmt: skip
    first, second = growth(tuple(map(facts_of, written)))
    deeper = second.deeper
    assert deeper is not None
    assert deeper.total_mag == pytest.approx(second.depth.mag - first.depth.mag, abs=1e-9)
    printed = deeper_note(second)
    assert printed is not None
    total, *parts = (
        round(100 * m) for m in (printed.total_mag, printed.hours_mag, printed.aperture_mag, printed.sky_mag)
    )
    assert sum(parts) == total
    assert total == round(100 * depth_note(second.depth).mag) - round(100 * depth_note(first.depth).mag)
    for part, exact in zip(parts, (deeper.hours_mag, deeper.aperture_mag, deeper.sky_mag), strict=True):
        assert part == pytest.approx(100 * exact, abs=1.51)


def test_parts_that_would_not_add_up_give_way():
    # Thirds of 0.37 are 0.12 each, and make 0.36: the one nearest to 0.13 takes the hundredth.
    assert apportioned([12.4, 12.3, 12.3], 37) == (13, 12, 12)
    assert apportioned([-12.4, -12.3, -12.3], -37) == (-13, -12, -12)
    assert apportioned([], 1) == ()


def test_a_picture_without_light_has_no_deepening():
    first = of("one", date(2023, 2, 1), session(0, written_in="one", groups=(frames(60, 0, 10),)))
    second = of("two", date(2024, 2, 1), session(0, written_in="two"))
    assert growth((facts_of(first), facts_of(second)))[1].deeper is None


nights = st.integers(0, 40)
amounts = st.tuples(st.integers(1, 600), st.integers(0, 80), st.sampled_from([None, "H-alpha", "OIII"]))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.lists(st.tuples(nights, amounts), min_size=1, max_size=3), min_size=1, max_size=6),
    st.data(),
)
def test_a_shared_session_is_counted_once(written, data):
    """Chains, diamonds and repeats of ``builds_on``: totals are those of the distinct sessions."""
    names = [f"p{i}" for i in range(len(written))]
    pictures = []
    for i, parts in enumerate(written):
        own = tuple(
            session(j, written_in=names[i], night=date(2024, 1, 1 + night % 28), rig=REFRACTOR,
                    groups=(frames(exposure, kept, filter=name),))
            for j, (night, (exposure, kept, name)) in enumerate(parts)
        )  # fmt: skip
        below = data.draw(st.lists(st.sampled_from(names[:i]), max_size=4)) if i else []
        pictures.append(picture(names[i], own, builds_on=tuple(below), finished=date(2024, 3, 1 + i)))
    below_of = {p.id: set(p.builds_on) for p in pictures}

    def all_below(name: str) -> set[str]:
        return {name}.union(*(all_below(n) for n in below_of[name]))

    for p in pictures:
        expected = sum(
            e * k for name in all_below(p.id) for _, (e, k, _) in written[int(name[1:])]
        )
        facts = facts_of(p, *(other for other in pictures if other is not p))
        assert facts.integration.total_s == pytest.approx(expected)
        assert facts.light_m2_h == pytest.approx(expected / 3600 * math.pi / 4 * 0.08**2)
    everything = archive(*pictures)
    sessions = tuple(s for p in pictures for s in everything.sessions_of(p))
    total = sum(e * k for parts in written for _, (e, k, _) in parts)
    line = steps(sessions)
    assert sum(s.added_s for s in line) == pytest.approx(total)
    assert line[-1].total_s == pytest.approx(total)
    assert [s.night for s in line] == sorted(s.night for s in line)
    assert dataclasses.asdict(line[0])["filter"]
