"""Which catalogues each table of whole catalogues carries, in the order of naming, and where they were published."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Group:
    """One table: the catalogues it carries in the order of naming, with their sources, and what may be of it."""

    file: str
    sources: tuple[tuple[str, str], ...]
    kinds: frozenset[str]
    default_kind: str
    foreign: frozenset[str]  # kinds whose place and size are not the catalogued object's own
    joins: frozenset[str]  # types of the NGC/IC database whose entries these catalogues name

    @property
    def usual(self) -> str | None:
        """The kind of an entry without one; None where only a stated kind belongs in the table."""
        return None if self.default_kind == "planetary nebula" else self.default_kind

    @property
    def catalogues(self) -> tuple[str, ...]:
        return tuple(catalogue for catalogue, _ in self.sources)


_NEBULAE = frozenset({"nebula", "emission nebula", "reflection nebula", "emission and reflection nebula",
                      "supernova remnant", "open cluster with nebula", "star cloud"})  # fmt: skip
GROUPS = (
    Group(
        "bright_nebulae.csv",
        (
            ("Sh2-", "Sharpless 1959, ApJS 4, 257"),
            ("vdB", "van den Bergh 1966, AJ 71, 990"),
            ("RCW", "Rodgers, Campbell & Whiteoak 1960, MNRAS 121, 103"),
            ("Gum", "Gum 1955, Mem. RAS 67, 155"),
            ("LBN", "Lynds 1965, ApJS 12, 163"),
            ("Ced", "Cederblad 1946, Medd. Lund Obs. Ser. 2, 119"),
            ("vdBH", "van den Bergh & Herbst 1975, AJ 80, 208"),
            ("DWB", "Dickel, Wendker & Bieritz 1969, A&A 1, 270"),
            ("CTB", "Wilson & Bolton 1960, PASP 72, 331"),
            ("Abell", "Abell 1966, ApJ 144, 259"),
            ("SNR G", "Green, Catalogue of Galactic Supernova Remnants"),
        ),
        _NEBULAE | {"open cluster", "association of stars", "molecular cloud"},
        "nebula",
        frozenset({"open cluster", "association of stars"}),
        frozenset({"HII", "EmN", "Neb", "RfN", "Cl+N", "SNR"}),
    ),
    Group(
        "dark_nebulae.csv",
        (
            ("B", "Barnard 1927, A Photographic Atlas of Selected Regions of the Milky Way"),
            ("LDN", "Lynds 1962, ApJS 7, 1"),
            ("Bernes", "Bernes 1977, A&AS 29, 65"),
            ("SL", "Sandqvist & Lindroos 1976, A&A 53, 179"),
        ),
        frozenset({"dark nebula", "molecular cloud", "nebula"}),
        "dark nebula",
        frozenset(),
        frozenset({"DrkN"}),
    ),
    Group(
        "planetary_nebulae.csv",
        (
            ("Abell", "Abell 1966, ApJ 144, 259"),
            *((name, "named by its discoverer") for name in (
                "M", "K", "Jn", "JnEr", "PuWe", "DeHt", "HDW", "IsWe", "HFG", "LoTr", "Lo", "We", "WeSb", "Mz", "Vy",
                "Hu", "Hb", "Fg", "Sp", "Me", "My", "He", "Hen", "H", "Pe", "Sa", "KjPn", "KJPN", "Kn", "WRAY",
                "Sn", "Sd", "Hf", "Cn", "Na", "Ps", "Bl", "Th", "Sh", "EGB", "Y-C", "Vd", "Ps", "Pa", "HaTr", "HtTr"
            )),
            ("Sh2-", "Sharpless 1959, ApJS 4, 257"),
            ("LBN", "Lynds 1965, ApJS 12, 163"),
            ("RCW", "Rodgers, Campbell & Whiteoak 1960, MNRAS 121, 103"),
            ("PK", "Perek & Kohoutek 1967, Catalogue of Galactic Planetary Nebulae"),
            ("PN G", "Acker et al. 1992, Strasbourg-ESO Catalogue of Galactic Planetary Nebulae"),
        ),
        frozenset({"planetary nebula"}),
        "planetary nebula",
        frozenset(),
        frozenset({"PN"}),
    ),
    Group(
        "star_clusters.csv",
        (
            ("Stock", "Stock 1954–1959"),
            ("King", "King 1949–1966"),
            ("Be", "Setteducati & Weaver 1962 (Berkeley)"),
            ("Cz", "Czernik 1966"),
            ("Tr", "Trumpler 1930, Lick Obs. Bull. 14, 154"),
            ("Do", "Dolidze 1959–1961"),
            ("DoDz", "Dolidze & Dzimselejsvili 1966"),
            ("Ru", "Ruprecht 1966"),
            ("Pal", "Abell 1955, PASP 67, 258 (Palomar)"),
            ("Ter", "Terzan 1966–1971"),
            *((name, "lists of open clusters") for name in (
                "Pismis", "Haffner", "Hogg", "H", "Basel", "Bochum", "Lynga", "Roslund", "Biurakan", "Tombaugh",
                "Djorgovski", "HP"
            )),
            ("Mel", "Melotte 1915, Mem. RAS 60, 175"),
            ("Cr", "Collinder 1931, Ann. Obs. Lund 2, B1"),
            ("vdBHa", "van den Bergh & Hagen 1975, AJ 80, 11"),
        ),
        frozenset({"open cluster", "globular cluster", "association of stars", "open cluster with nebula"}),
        "open cluster",
        frozenset(),
        frozenset({"OCl", "Cl+N", "GCl", "*Ass"}),
    ),
)  # fmt: skip
