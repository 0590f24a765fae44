"""What a person writes wrong, and where it is told; and what holds of every reading."""

# The table is read across, so its lines are as long as they are.
# ruff: noqa: E501

from __future__ import annotations

from noctuary.archive.read import Reading
from noctuary.archive.rules import RULES

from tests.builders.sound import SIDECAR, S

# file, what is replaced, by what, rule, line, column
REPLACED: list[tuple[str, str, str, str, int, int]] = [
    # the text itself
    (S, "title: The", "title: [The", "yaml", 1, 8),
    (S, "objects:", "\tobjects:", "tab", 2, 1),
    (S, "    star_width", "\tstar_width", "tab", 15, 1),
    (S, "The Rosette, second winter", "a: b", "yaml", 1, 9),
    (S, 'end: "23:55"', 'end: "23:55', "yaml", 9, 10),
    (S, "The Rosette", "@Rosette", "yaml", 1, 8),
    (S, "finished:", "title: again\nfinished:", "duplicate-key", 3, 1),
    (S, "kept: 55,", "kept: 55, kept: 56,", "duplicate-key", 11, 65),
    (S, "finished:", "---\nfinished:", "several-documents", 3, 1),
    (S, "The Rosette,", "!!python/object:os.system", "tag", 1, 8),
    (S, "tags: [winter]", "tags: !!set {a, b}", "tag", 21, 7),
    (S, "tags: [winter]", f"tags: {'[' * 60}{']' * 60}", "too-deep", 21, 46),
    (S, "tags: [winter]", "tags: &loop [*loop]", "alias", 21, 14),
    (S, "tags: [winter]", "tags: *nothing", "yaml", 21, 7),
    (S, "tags: [winter]", "<<: text\ntags: []", "yaml", 21, 5),
    (S, "tags: [winter]", '"tags": ["a\\0b"]', "control-character", 21, 10),
    (S, "The Rosette", "The \x07 Rosette", "control-character", 1, 12),
    (S, "title: The Rosette, second winter", "? [a, b]\n: c\ntitle: x", "yaml", 1, 3),
    # keys
    (S, "title:", "titel:", "unknown-key", 1, 1),
    (S, "  image_scale", "  imagescale", "unknown-key", 18, 3),
    (S, "gain: 100}", "gian: 100}", "unknown-key", 11, 65),
    (S, "darks: 30,", "darks: 30, <script>: 1,", "unknown-key", 14, 30),
    (S, "title: The Rosette, second winter\n", "", "missing-key", 1, 1),
    (S, "title: The Rosette, second winter", "title:", "missing-key", 1, 7),
    (S, "finished: 2025-02-09\n", "# none\n\n", "missing-key", 1, 1),
    (S, "  - night: 2025-01-18\n    start", "  - start", "missing-key", 7, 5),
    (S, "        kept: 20\n", "", "missing-key", 12, 9),
    (S, "exposure: 180 s, ", "", "missing-key", 11, 9),
    (S, "  image_scale: 2.1 arcsec\n", "", "missing-key", 17, 3),
    (S, "  - night: 2025-01-18\n", "  - night: 2025-01-18\n    integration: 3 h\n", "both-frames-and-integration", 8, 5),
    (S, "title: The", "panels: rosette-2024\nbuilds_on: rosette-2024\ntitle: The", "both-panels-and-builds-on", 1, 1),
    (S, "title: The", "panels: [rosette-2204]\ntitle: The", "unknown-picture", 1, 10),
    (S, "title: The", "panels: rosette-2204\ntitle: The", "unknown-picture", 1, 9),
    (S, "title: The", "former_ids: Rosette Old\ntitle: The", "not-an-id", 1, 13),
    (S, "finished: 2025-02-09", "finished: 2025-13", "not-a-date", 3, 11),
    (S, "finished: 2025-02-09", "finished: 205", "not-a-date", 3, 11),
    (S, "exposure: 180 s", "exposure: 0 s", "out-of-range", 11, 37),
    (S, SIDECAR, "", "empty", 1, 1),
    (S, SIDECAR, "# nothing but a note\n", "empty", 1, 1),
    # shapes
    (S, SIDECAR, "- title: x\n", "wrong-shape", 1, 1),
    (S, SIDECAR, "\nonly words\n", "wrong-shape", 2, 1),
    (S, "objects: [NGC 2238, NGC 2244]", "objects: [{a: b}]", "wrong-shape", 2, 11),
    (S, "The Rosette, second winter", "{a: b}", "wrong-shape", 1, 8),
    (S, "exposure: 180 s", "exposure: [180 s]", "wrong-shape", 11, 37),
    (S, "{darks: 30, dark_gain: 100}", "[30]", "wrong-shape", 14, 18),
    # quantities
    (S, "180 s", "180 mm", "wrong-unit", 11, 37),
    (S, "2.6 arcsec", "2.6 s", "wrong-unit", 15, 17),
    (S, "180 s", "0", "out-of-range", 11, 37),
    (S, "180 s", "-5 s", "out-of-range", 11, 37),
    (S, "180 s", ".nan", "not-a-quantity", 11, 37),
    (S, "180 s", ".inf", "not-a-quantity", 11, 37),
    (S, "180 s", "1e999", "not-a-quantity", 11, 37),
    (S, "180 s", "three minutes", "not-a-quantity", 11, 37),
    (S, "1.5 min", "1,5 min", "not-a-quantity", 12, 19),
    (S, "kept: 55", "kept: -1", "not-a-quantity", 11, 61),
    (S, "kept: 55", "kept: 5.5", "not-a-quantity", 11, 61),
    (S, "gain: 100}", "gain: 100, binning: 5}", "out-of-range", 11, 85),
    (S, "gain: 100}", "gain: 100, iso: 800}", "both-gain-and-iso", 11, 76),
    (S, "dark_gain: 100}", "dark_gain: 100, dark_iso: 800}", "both-gain-and-iso", 14, 46),
    (S, "06h32m00s", "26h32m00s", "not-a-quantity", 17, 11),
    (S, "mirrored: no", "mirrored: perhaps", "not-yes-or-no", 20, 13),
    # dates and clocks
    (S, "finished: 2025-02-09", "finished: 2025-02-29", "not-a-date", 3, 11),
    (S, "finished: 2025-02-09", "finished: 09.02.2025", "not-a-date", 3, 11),
    (S, "19:40", "24:00", "not-a-clock-time", 8, 12),
    (S, "19:40", "7 pm", "not-a-clock-time", 8, 12),
    (S, "19:40", "1180", "not-a-clock-time", 8, 12),
    (S, '"23:55"', "19:40", "end-before-start", 9, 10),
    (S, "19:40", '"2025-01-17 19:40"', "session-length", 9, 10),
    # The clocks of the United Kingdom go forward at 01:00 on the last Sunday of March, back at 02:00 on
    # the last of October (Summer Time Order 2002).
    (S, 'night: 2025-01-18\n    start: 19:40\n    end: "23:55"', "night: 2025-03-29\n    end: 01:30", "clock-skipped", 8, 10),
    (S, 'night: 2025-01-18\n    start: 19:40\n    end: "23:55"', "night: 2025-10-25\n    end: 01:30", "clock-repeated", 8, 10),
    (S, '"23:55"', '"23:55+02:00"', "clock-offset", 9, 10),
    # names
    (S, "rig: short refractor", "rig: short refracter", "unknown-rig", 4, 6),
    (S, "place: home", "place: hom", "unknown-place", 5, 8),
    (S, "listed: yes", "builds_on: [rosette-2023]", "unknown-picture", 22, 13),
    (S, "listed: yes", "replaces: rosete-2024", "unknown-picture", 22, 11),
    (S, "listed: yes", "builds_on: [Rosette 2024]", "not-an-id", 22, 13),
    (S, "listed: yes", "builds_on: [rosette-2025]", "builds-on-cycle", 22, 13),
    (S, "listed: yes", "replaces: rosette-2025", "replaces-cycle", 22, 11),
    (S, "listed: yes", "former_ids: [rosette-2024]", "former-id-taken", 22, 14),
    ("equipment.yaml", "optic: small", "optic: smal", "unknown-optic", 7, 12),
    ("equipment.yaml", "camera: mono", "camera: colour", "unknown-camera", 8, 13),
    ("equipment.yaml", "aperture: 80 mm", "aperture: 80 mm, f_ratio: 7", "aperture-disagrees", 4, 60),
    ("equipment.yaml", "colour: mono", "colour: grey", "wrong-word", 2, 67),
    ("equipment.yaml", "[4656, 3520]", "[4656]", "empty", 2, 25),
    ("equipment.yaml", "[4656, 3520]", "[4656, 0]", "out-of-range", 2, 32),
    ("equipment.yaml", "3.8 um", "3.8 min", "wrong-unit", 2, 51),
    ("places.yaml", "51.2 deg", "95", "out-of-range", 2, 13),
    ("places.yaml", "-3.1 deg", "-181", "out-of-range", 3, 14),
    ("places.yaml", "Europe/London", "Europe/Lundon", "unknown-time-zone", 4, 14),
    ("places.yaml", "Europe/London", "../../etc/passwd", "unknown-time-zone", 4, 14),
    ("places.yaml", "latitude: 51.2 deg", "latitude: 51d12m W", "not-a-quantity", 2, 13),
    ("places.yaml", "home:", "home: {latitude: 5, longitude: 5}\nfield:", "missing-key", 1, 7),
    ("objects.yaml", "05h41m00s", "05h71m00s", "not-a-quantity", 4, 16),
    ("objects.yaml", "kind: comet", "size: [1, 2, 3]", "wrong-shape", 2, 9),
    ("archive.yaml", "https://example.org/", "javascript:alert(1)", "not-an-address", 3, 10),
    ("archive.yaml", "25 deg", "90 deg", "out-of-range", 4, 10),
    ("archive.yaml", "horizon: 25 deg", "theme: ../elsewhere", "outside-archive", 4, 8),
    ("archive.yaml", "horizon: 25 deg", "language: en_GB!", "not-a-language", 4, 11),
    ("archive.yaml", "horizon: 25 deg", "reference_rig: long refractor", "unknown-rig", 4, 16),
    ("archive.yaml", "author: A. Person\n", "", "missing-key", 1, 1),
    ("nights/2025-01-18.md", "home", "garden", "unknown-place", 2, 8),
    ("nights/2025-01-18.md", "-2 °C", "-2 m/s", "wrong-unit", 3, 14),
    ("nights/2025-01-18.md", "temperature", "temprature", "unknown-key", 3, 1),
    ("nights/2025-01-18.md", "---\nCold", "Cold", "front-matter", 1, 1),
    ("exhibits/winter.yaml", "rosette-2024", "rosette-2042", "unknown-picture", 4, 5),
    ("exhibits/winter.yaml", "the better one", "the better one\n    other: x", "wrong-shape", 3, 5),
    ("exhibits/winter.yaml", "title: Winter\n", "", "missing-key", 1, 1),
    # headers of a placement
    (S, SIDECAR[SIDECAR.index("placement") :], "placement: ../../sky.hdr\n", "outside-archive", 16, 12),
    (S, SIDECAR[SIDECAR.index("placement") :], "placement: /etc/hostname\n", "outside-archive", 16, 12),
    (S, SIDECAR[SIDECAR.index("placement") :], "placement: {header: sky.hdr}\n", "unknown-file", 16, 21),
    (S, SIDECAR[SIDECAR.index("placement") :], "placement: {header: a.hdr, rows: up}\n", "wrong-word", 16, 34),
]  # fmt: skip


def is_whole(reading: Reading) -> None:
    """What holds of every reading, however damaged the archive is."""
    for found in reading.findings:
        assert found.rule in RULES
        assert found.mark.line >= 1
        assert found.mark.column >= 1
        assert "\n" not in str(found)
    assert list(reading.files) == sorted(set(reading.files))
