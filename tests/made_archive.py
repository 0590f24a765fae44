"""Archives of any size for tests of whole builds: real files in a real folder, the same every time."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from collections.abc import Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any

REPOSITORY = Path(__file__).resolve().parent.parent

_TEXTS = {
    "archive.yaml": "title: Many nights\nauthor: A. Person\naddress: https://example.org/\nhorizon: 15 deg\n",
    "equipment.yaml": """\
cameras:
  mono camera: {pixels: [60, 40], pixel_size: 60 um, colour: mono}
optics:
  small refractor: {focal_length: 480 mm, aperture: 80 mm}
  large reflector: {focal_length: 1200 mm, aperture: 250 mm}
rigs:
  short refractor: {optic: small refractor, camera: mono camera}
  long reflector: {optic: large reflector, camera: mono camera}
""",
    "places.yaml": "home:\n  latitude: 51.2 deg\n  longitude: -3.1 deg\n  time_zone: Europe/London\n",
}


#: Objects of the New General Catalogue that never set at 51 degrees north, so that every night suits them.
_CIRCUMPOLAR = """
40 103 110 129 133 136 146 189 225 366 381 433 436 457 559 581 609 637 654 657 659 663 743 884 886 896 957
1027 1184 1343 1469 1485 1501 1502 1530 1544 1560 1569 1573 1961 2128 2146 2253 2256 2258 2268 2273 2276 2300
2314 2336 2347 2363 2366 2441 2456 2457 2458 2460 2462 2463 2468 2469 2472 2473 2488 2497 2521 2523 2534 2544
2549 2550 2551 2591 2614 2629 2633 2634 2636 2641 2646 2650 2654 2655 2685 2710 2715 2726 2732 2742 2748 2760
2768 2787 2805 2810 2814 2820 2870 2880 2892 2895 2908 2938 2950 2957 2959 2961 2963 2976 2977 2985 3027 3034
3043 3057 3061 3065 3066 3073 3077 3079 3102 3144 3147 3155 3164 3168 3172 3182 3183 3188 3197 3206 3212 3214
3215 3220 3225 3236 3238 3252 3259 3264 3266 3284 3288 3329 3343 3348 3353 3359 3364 3392 3394 3398 3403 3407
3408 3435 3440 3445 3458 3465 3470 3471 3488 3499 3500 3516 3517 3523 3530 3543 3556 3562 3587 3589 3594 3610
3613 3619 3622 3625 3642 3654 3668 3669 3671 3674 3682 3683 3690 3725 3735 3736 3740 3747 3752 3757 3762 3770
3780 3794 3795 3796 3809 3835 3838 3846 3850 3879 3888 3889 3890 3894 3895 3898 3901 3913 3916 3921 3945 3958
3961 3963 3972 3975 3977 3978 3982 3990 3998 4034 4036 4041 4054 4081 4108 4120 4121 4125 4127 4128 4133 4141
4149 4159 4161 4172 4195 4198 4199 4205 4210 4221 4238 4250 4256 4271 4284 4290 4291 4319 4331 4332 4335 4358
4362 4363 4386 4391 4441 4481 4500 4510 4511 4512 4513 4545 4547 4549 4572 4589 4605 4644 4648 4652 4693 4749
4750 4814 4857 4954 4964 4977 5007 5034 5109 5144 5164 5204 5205 5216 5218 5255 5262 5278 5279 5283 5294 5295
5308 5314 5322 5323 5340 5342 5344 5370 5372 5376 5379 5389 5402 5412 5413 5415 5422 5430 5443 5452 5475 5479
5484 5486 5502 5526 5540 5547 5561 5585 5607 5631 5640 5667 5671 5678 5712 5777 5779 5807 5808 5826 5832 5836
5862 5866 5867 5879 5881 5894 5905 5907 5908 5909 5912 5939 5949 5963 5965 5969 5971 5976 5981 5982 5985 5987
5989 6011 6015 6019 6024 6048 6068 6071 6079 6088 6091 6094 6095 6111 6123 6125 6130 6135 6136 6140 6143 6157
6170 6182 6187 6189 6190 6191 6198 6202 6206 6211 6213 6214 6217 6223 6232 6236 6238 6244 6246 6247 6248 6251
6252 6258 6260 6262 6275 6285 6286 6288 6289 6290 6291 6292 6295 6297 6299 6303 6306 6307 6310 6317 6319 6324
6331 6338 6340 6345 6346 6359 6361 6365 6370 6373 6376 6377 6381 6382 6385 6387 6390 6391 6393 6394 6395 6399
6411 6412 6414 6418 6419 6420 6422 6423 6424 6434 6435 6436 6449 6454 6456 6457 6459 6461 6462 6463 6464 6470
6471 6472 6473 6474 6477 6488 6489 6491 6493 6497 6503 6505 6508 6510 6512 6516 6521 6532 6534 6536 6538 6542
6543 6552 6562 6592 6594 6597 6598 6601 6607 6608 6609 6617 6621 6622 6636 6643 6650 6651 6654 6667 6670 6676
6677 6679 6687 6689 6691 6696 6701 6747 6750 6757 6762 6786 6787 6789 6796 6817 6824 6825 6829 6831 6832 6856
6869 6911 6916 6946 6949 6951 7023 7055 7076 7129 7139 7142 7160 7226 7234 7261 7281 7354 7419 7423 7429 7510
7538 7654 7708 7762 7788 7790 7795
"""


def sidecar(number: int, pictures: int) -> str:
    """The record of a picture: two a winter's night, each target some seventeen times, once there are so many."""
    winter, day = divmod(number // 2, 140)
    night = date(1985 + winter, 10, 5) + timedelta(days=day)
    rig, start, end = (("short refractor", "20:05", "22:15"), ("long reflector", "22:30", "00:45"))[number % 2]
    circumpolar = _CIRCUMPOLAR.split()
    targets = min(len(circumpolar), 3 + pictures * 55 // 1000)
    return f"""\
title: Field number {number}
objects: [NGC {circumpolar[number * 7 % targets]}]
finished: {night + timedelta(days=3)}
rig: {rig}
place: home
sessions:
  - night: {night}
    start: "{start}"
    end: "{end}"
    frames:
      - {{filter: H-alpha, exposure: 180 s, taken: 40, kept: 36, gain: 100}}
description: |
  The field of number {number}, on a night like others. The wind fell after dark.
alt: Stars of field {number}
tags: [field]
"""


def jpeg(seed: int, size: tuple[int, int]) -> bytes:
    """A small field of a few stars; another one for every seed."""
    import numpy as np
    from PIL import Image

    chance = np.random.default_rng(seed)
    width, height = size
    pixels = chance.integers(8, 24, (height, width, 3)).astype(np.uint8)
    for _ in range(12):
        x, y = int(chance.integers(1, width - 1)), int(chance.integers(1, height - 1))
        pixels[y - 1 : y + 2, x - 1 : x + 2] = chance.integers(120, 255, 3)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=90)
    return out.getvalue()


def write_archive(folder: Path, pictures: int = 3, size: tuple[int, int] = (60, 40)) -> Path:
    """An archive of so many pictures, each with its own pixels, sidecar and night."""
    for name, text in _TEXTS.items():
        write(folder / name, text)
    for number in range(pictures):
        write(folder / f"pictures/field-{number:05d}.yaml", sidecar(number, pictures))
        write(folder / f"pictures/field-{number:05d}.jpg", jpeg(number, size))
    write(folder / "nights/1985-10-05.md", "---\nplace: home\ntemperature: -2 °C\n---\nCold and still.\n")
    write(folder / "pages/about.md", "# About\n\nWords.\n")
    return folder


def write(path: Path, content: str | bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.encode() if isinstance(content, str) else content)


def set_plainly(archive: Path) -> None:
    """A theme of the archive's own with pages of one line: setting them properly would be most of the time."""
    line = "{{ here }} {{ shown.title if shown is defined }} {{ description if description is defined }}\n"
    for template in (REPOSITORY / "themes/umbra/templates").glob("*.html"):
        if "{% extends" not in template.read_text():
            continue  # what other templates are written with
        write(archive / "theme/templates" / template.name, line)


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "noctuary", *map(str, arguments)]


def surroundings(**more: str) -> dict[str, str]:
    paths = [str(REPOSITORY), *filter(None, [os.environ.get("PYTHONPATH")])]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths), **more}


def run(*arguments: object, timeout: float = 300, **more: str) -> subprocess.CompletedProcess[str]:
    """The program in a process of its own, as a person runs it."""
    return subprocess.run(
        command(*arguments), env=surroundings(**more), capture_output=True, text=True, timeout=timeout, check=False
    )


def bytes_below(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its content, hidden ones too."""
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def states_below(folder: Path) -> Mapping[str, tuple[Any, ...]]:
    """Every file and folder with what a write to it would change: inode, size and times."""
    found = {}
    for path in [folder, *sorted(folder.rglob("*"))]:
        status = path.lstat()
        found[str(path)] = (status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns)
    return found
