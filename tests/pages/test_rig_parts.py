"""The rigs of a picture as its sentence names them."""

from noctuary.facts.rig_shares import RigShare, RigShares
from noctuary.pages.rig_parts import rig_parts

from tests.pages.templates import set_macro


def shares(*named: RigShare, others_s: float = 0.0) -> RigShares:
    return RigShares(named, others_s, {})


REFLECTOR = RigShare("reflector", 1000.0, 4.0, 12000.0)
REFRACTOR = RigShare("refractor", 400.0, 5.0, 12600.0)


def told(*named: RigShare, others_s: float = 0.0) -> str:
    parts = rig_parts(shares(*named, others_s=others_s))
    return set_macro("fact_line.html", "taken_with", rigs=parts)


def test_two_focal_lengths_have_their_hours() -> None:
    assert told(REFLECTOR, REFRACTOR) == ": 3 h 20 min at 1000 mm and 3 h 30 min at 400 mm"


def test_equal_focal_lengths_are_told_apart_by_f_ratio_then_by_name() -> None:
    fast = RigShare("fast", 400.2, 2.8, 3600.0)
    twin = RigShare("old & twin", 400.0, 5.0, 3600.0)
    assert told(REFRACTOR, fast) == ": 3 h 30 min at 400 mm f/5 and 1 h at 400 mm f/2.8"
    assert told(REFRACTOR, twin) == ": 3 h 30 min at 400 mm (refractor) and 1 h at 400 mm (old &amp; twin)"
    assert told(REFRACTOR, twin, REFLECTOR).endswith(", 1 h at 400 mm (old &amp; twin) and 3 h 20 min at 1000 mm")


def test_a_rig_of_which_only_the_name_is_known() -> None:
    camera = RigShare("old camera", None, None, 600.0)
    assert told(camera) == " with old camera"
    assert told(REFRACTOR, camera) == ": 3 h 30 min at 400 mm and 10 min with old camera"
    assert told(REFRACTOR) == " at 400 mm (refractor)"
    assert told() == ""


def test_what_other_rigs_gave_is_not_lost() -> None:
    text = told(REFLECTOR, REFRACTOR, others_s=600)
    assert text == ": 3 h 20 min at 1000 mm, 3 h 30 min at 400 mm and 10 min with other rigs"
