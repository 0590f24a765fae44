"""Write d3-geo.min.js, the parts of the library d3-geo that the view of the sky uses, from its released packages.

Run: python themes/umbra/scripts/d3/make_d3_geo.py
(needs Node.js with npm; the packages are pinned, and the file comes out the same on every machine)
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
PACKAGES = ("d3-geo@3.1.1", "d3-array@3.2.4", "internmap@2.0.3", "esbuild@0.25.5")
ENTRY = 'export { geoGraticule, geoPath, geoProjection } from "d3-geo";\n'
BANNER = "/*! d3-geo 3.1.1 and d3-array 3.2.4, ISC licence: see LICENSE.txt */"


def main() -> None:
    """Install the packages into a folder that is thrown away, and bundle what is used."""
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        (work / "entry.js").write_text(ENTRY, encoding="utf-8")
        (work / "package.json").write_text('{"private": true}\n', encoding="utf-8")
        subprocess.run(["npm", "install", "--no-audit", "--no-fund", "--save-exact", *PACKAGES], cwd=work, check=True)
        made = work / "d3-geo.min.js"
        command = ["npx", "esbuild", "entry.js", "--bundle", "--minify", "--format=iife", "--global-name=d3"]
        command += [f"--banner:js={BANNER}", "--legal-comments=none", "--target=es2019", f"--outfile={made}"]
        subprocess.run(command, cwd=work, check=True)
        (HERE / made.name).write_bytes(made.read_bytes())
        licences = [(work / "node_modules" / name / "LICENSE").read_text(encoding="utf-8") for name in ("d3-geo", "d3-array")]
    parts = [f"{name}\n\n{text.strip()}\n" for name, text in zip(("d3-geo", "d3-array"), licences, strict=True)]
    (HERE / "LICENSE.txt").write_text("\n\n".join(parts), encoding="utf-8")


if __name__ == "__main__":
    main()
